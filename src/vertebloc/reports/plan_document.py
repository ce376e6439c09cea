"""The plan as data: one dictionary that becomes plan.json, checked by docs/plan.schema.json.

Holds numbers with their unit in the name, words beside them, hashes of what went in - and never
who the patient is.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any

from vertebloc import __version__
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, LevelConfirmation, Vertebra
from vertebloc.errors import InputError
from vertebloc.reports import text
from vertebloc.reports.answer import (
    About,
    AnswerPart,
    answer_parts,
    body_cut_height_mm,
    vertebra_of,
    why_unconfirmed,
)
from vertebloc.reports.document_numbers import FINE_DIGITS, all_rounded, rounded
from vertebloc.reports.theatre_document import acts_document, depths_document
from vertebloc.reports.theatre_text import warning_open, warning_set_aside
from vertebloc.resection.acts_model import OrderWarning
from vertebloc.resection.model import (
    Allowance,
    Contamination,
    FaceKind,
    FaceMargin,
    HalfCut,
    ResectionPlan,
    RibFate,
)
from vertebloc.staging.model import SectorSpread, SideShare, Staging

#: Grows when a key changes its meaning or goes; new keys beside the old ones do not count.
SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanOrigin:
    """Where a plan comes from: what went in, when, and what has changed since."""

    made_at: datetime
    code: str  #: short code that tells a current sheet from an old one
    inputs: Mapping[str, str]  #: hash of everything that went in, by name
    stale: tuple[str, ...] = ()  #: what has changed since, one reason each; empty = current
    drafts: tuple[str, ...] = ()  #: outlines that nobody has confirmed, in words
    sources: tuple[str, ...] = ()  #: published sources that were used, in words
    assumptions: tuple[str, ...] = field(default=())  #: beside those of plan and staging

    def __post_init__(self) -> None:
        """Freeze the hashes; refuse a time without its offset, or a plan without a code."""
        if self.made_at.tzinfo is None:
            raise InputError(
                f"the plan's time has no offset from UTC: {self.made_at.isoformat()}; "
                "give a time with its zone"
            )
        if not self.code or not self.inputs:
            raise InputError("a plan needs its short code and the hashes of what went in")
        object.__setattr__(self, "inputs", MappingProxyType(dict(self.inputs)))


def plan_document(
    *,
    plan: ResectionPlan,
    staging: Staging,
    anatomy: Anatomy,
    confirmation: LevelConfirmation,
    tumour_side: SideShare,
    origin: PlanOrigin,
) -> dict[str, Any]:
    """Write a plan down as the content of plan.json.

    Parameters
    ----------
    plan : ResectionPlan
        The piece and what was measured on it.
    staging : Staging
        Sectors and layers.
    anatomy : Anatomy
        Frames of the bodies that are cut; what was found out about left and right.
    confirmation : LevelConfirmation
        Who confirmed the level.
    tumour_side : SideShare
        On which side of the vertebra's mid-plane the tumour lies.
    origin : PlanOrigin
        What went in, when, and what has changed since.

    Returns
    -------
    dict
        Plain strings, numbers, lists and dictionaries; the same plan gives the same content.

    Raises
    ------
    InputError
        If a number is not finite, a bone face has no allowance, or a cut vertebra is not
        described.

    Notes
    -----
    Lengths, angles and volumes are rounded to 0.01, directions and shares to 0.0001.
    """
    parts = answer_parts(
        plan=plan,
        vertebrae=anatomy.vertebrae,
        confirmation=confirmation,
        stale=origin.stale,
        drafts=origin.drafts,
    )
    return {
        "schema": SCHEMA,
        "package": {"name": "vertebloc", "version": __version__},
        "made_at": origin.made_at.isoformat(timespec="seconds"),
        "code": origin.code,
        **_answer([_part(part) for part in parts]),
        "not_computed": list(text.NOT_COMPUTED),
        "level": str(plan.level),
        "level_confirmation": _confirmation(plan.level, confirmation, anatomy.counting),
        "tumour": {
            "side": tumour_side.side.value,
            "left_share": rounded(tumour_side.left_share, "left_share", FINE_DIGITS),
            "volume_ml": rounded(plan.tumour_volume_ml, "tumour volume"),
        },
        "staging": _staging(staging),
        "resection": _resection(plan, anatomy),
        "anatomy": {
            "handedness": {
                "verdict": anatomy.handedness.verdict.value,
                "words": anatomy.handedness.words,
                "evidence": list(anatomy.handedness.evidence),
            },
            "warnings": list(anatomy.warnings),
        },
        "inputs": dict(sorted(origin.inputs.items())),
        "assumptions": _each_once(
            plan.assumptions, staging.settings.assumptions, origin.assumptions
        ),
        "warnings": _each_once(
            anatomy.warnings, staging.warnings, map(_order_warning, plan.acts.warnings)
        ),
        "sources": list(origin.sources),
        "stale": list(origin.stale),
    }


def mark_stale(document: Mapping[str, Any], stale: Sequence[str]) -> dict[str, Any]:
    """The same document, saying what has changed since it was made.

    Parameters
    ----------
    document : mapping
        Content of plan.json, as it was made.
    stale : sequence of str
        What has changed since, one reason each; empty if nothing.

    Returns
    -------
    dict
        A copy whose ``stale`` and ``answer`` say so; nothing else is touched.
    """
    marked = dict(document)
    parts = [p for p in document["answer_parts"] if p["about"] != About.STALE.value]
    if stale:
        # Tumour left behind comes first, whatever else is to be said.
        place = sum(part["about"] == About.TUMOUR_LEFT.value for part in parts)
        parts.insert(place, _part(AnswerPart(About.STALE, text.stale(stale), True)))
    return marked | _answer(parts) | {"stale": list(stale)}


def _answer(parts: list[dict[str, Any]]) -> dict[str, Any]:
    return {"answer": " ".join(part["words"] for part in parts), "answer_parts": parts}


def _part(part: AnswerPart) -> dict[str, Any]:
    return {
        "about": part.about.value,
        "words": part.words,
        "must_not_be_overlooked": part.must_not_be_overlooked,
    }


def plan_json(document: Mapping[str, Any]) -> bytes:
    """The document as the bytes of plan.json: UTF-8, two blanks a step, one newline at the end."""
    written = json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False)
    return (written + "\n").encode()


def _order_warning(warning: OrderWarning) -> str:
    aside = warning.override
    if aside is None:
        return warning_open(warning.words)
    return warning_set_aside(warning.words, aside.who, aside.reason)


def _each_once(*groups: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(words for group in groups for words in group))


def _confirmation(level: Level, confirmation: LevelConfirmation, counting: str) -> dict[str, Any]:
    """Who confirmed the level, from which end theatre counts, and what is missing."""
    end = confirmation.counted_from
    if confirmation.is_confirmed and confirmation.confirmed_by:
        words = text.joined_sentences(
            text.level_confirmed(
                str(level),
                confirmation.confirmed_by,
                end.value,
                confirmation.confirmed_at,
                confirmation.number,
                confirmation.towards,
            ),
            text.RIB_PAIRS_WORDS.get(confirmation.rib_pairs.value, ""),
            text.TRANSITIONAL_WORDS.get(confirmation.transitional.value, ""),
        )
    else:
        words = text.unconfirmed(str(level), why_unconfirmed(confirmation))
    return {
        "confirmed": confirmation.is_confirmed,
        "confirmed_by": confirmation.confirmed_by,
        "confirmed_at": confirmation.confirmed_at or None,
        "counted_from": end.value or None,
        "marker_at": confirmation.marker_at or None,
        "end_in_view": confirmation.end_in_view,
        "number": confirmation.number or None,
        "numbers": [
            {"level": str(at), "number": said} for at, said in sorted(confirmation.beads.items())
        ],
        "rib_pairs": confirmation.rib_pairs.value or None,
        "transitional": confirmation.transitional.value or None,
        "conflicts": list(confirmation.conflicts),
        "words": words,
        "counting": counting,
    }


def _staging(staging: Staging) -> dict[str, Any]:
    return {
        "sectors": [_sector(spread) for spread in staging.sectors],
        "layers": list(staging.layer_letters),
        "layer_verdicts": [
            {
                "layer": spread.layer.value,
                "words": spread.layer.words,
                "involved": spread.involved.value,
            }
            for spread in staging.layers
        ],
        "epidural_compression": staging.epidural_compression,
    }


def _sector(spread: SectorSpread) -> dict[str, Any]:
    what = f"sector {spread.sector.words}"
    written: dict[str, Any] = {
        "side": spread.sector.side.value,
        "region": spread.sector.region.value,
        "words": spread.sector.words,
        "area_fraction": rounded(spread.area_fraction, what, FINE_DIGITS),
        "involved": spread.involved,
        "tumour_mm2": rounded(spread.tumour_mm2, what),
    }
    key = "flips_after_mm" if spread.flip_found else "no_flip_up_to_mm"
    written[key] = rounded(spread.flips_after_mm, what)
    return written


def _resection(plan: ResectionPlan, anatomy: Anatomy) -> dict[str, Any]:
    by_place = sorted(plan.tumour_left.by_place_ml.items())
    return {
        "kind": plan.kind.value,
        "levels": [str(level) for level in plan.levels],
        "wanted_margin_mm": rounded(plan.wanted_margin_mm, "wanted margin"),
        "cut_rule": plan.cut_rule,
        "cuts": [_cut(cut, plan, vertebra_of(anatomy.vertebrae, cut.level)) for cut in plan.cuts],
        "faces": [_face(face) for face in plan.faces],
        "piece": {"volume_ml": rounded(plan.piece.volume_ml, "piece volume")},
        "tumour_left_ml": rounded(plan.tumour_left.total_ml, "tumour left", FINE_DIGITS),
        "tumour_left_by_place": [
            {"place": place, "volume_ml": rounded(amount, place, FINE_DIGITS)}
            for place, amount in by_place
        ],
        "contamination": [_opened(one) for one in plan.contamination],
        "keystone": {
            "opens_to_left_mm_per_10_mm": rounded(
                plan.keystone.opens_to_left_mm_per_10_mm, "keystone"
            ),
            "words": plan.keystone.words,
        },
        "arch_opened_on": plan.open_side.value,
        "bone_fates": [
            {"part": part, "fate": fate.value} for part, fate in plan.bone_fates.items()
        ],
        "rib_fates": [_rib(rib, fate, plan) for rib, fate in plan.rib_fates.items()],
        "depths": depths_document(plan.depths),
        "acts": acts_document(plan.acts),
        "distance_error_words": plan.distance_error_words,
    }


def _rib(name: str, fate: RibFate, plan: ResectionPlan) -> dict[str, Any]:
    written: dict[str, Any] = {"rib": name, "fate": fate.value}
    if name in plan.rib_lengths_mm:
        written["length_mm"] = rounded(plan.rib_lengths_mm[name], name)
    return written


def _opened(one: Contamination) -> dict[str, Any]:
    return {
        "how": one.how.value,
        "name": one.name,
        "area_mm2": rounded(one.area_mm2, one.name),
        "volume_ml": rounded(one.volume_ml, one.name, FINE_DIGITS),
        "deepest_lps_mm": all_rounded(one.deepest, one.name),
        "deepest_in_words": one.deepest_in_words,
    }


def _cut(cut: HalfCut, plan: ResectionPlan, vertebra: Vertebra) -> dict[str, Any]:
    written: dict[str, Any] = {
        "name": cut.name,
        "side": cut.side.value,
        "level": str(cut.level),
        "passes_through": cut.passes_through,
        "entry_lps_mm": all_rounded(cut.entry, cut.name),
        "entry_edge": all_rounded(cut.entry_edge, cut.name, FINE_DIGITS),
        "normal": all_rounded(cut.plane.normal, cut.name, FINE_DIGITS),
        "blade": all_rounded(cut.blade, cut.name, FINE_DIGITS),
    }
    height = body_cut_height_mm(cut, vertebra)
    if cut.level != plan.level and height is not None:
        above_lower = cut.level < plan.level
        body = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
        written["height_mm"] = rounded(height, cut.name)  # above the lower endplate
        written["height_in_words"] = text.cut_height(
            str(cut.level), [height if above_lower else body - height], above_lower
        )
    return written


def _face(face: FaceMargin) -> dict[str, Any]:
    written: dict[str, Any] = {
        "name": face.name,
        "kind": face.kind.value,
        "area_mm2": rounded(face.area_mm2, face.name),
        "margin_mm": rounded(face.margin_mm, face.name),
        "weakest_lps_mm": all_rounded(face.weakest, face.name),
        "weakest_in_words": face.weakest_in_words,
        "tumour_crossed_mm2": rounded(face.tumour_crossed_mm2, face.name),
        "barrier": face.barrier,
    }
    if face.kind is FaceKind.BONE:
        if face.allowance is None:
            raise InputError(f"the bone face {face.name!r} has no allowance: measure it first")
        written |= _allowance(face.allowance, face.name)
    return written


def _allowance(allowance: Allowance, what: str) -> dict[str, float]:
    return {
        "allowance_keeps_mm": rounded(allowance.keeps_mm, what),
        "allowance_offset_mm": rounded(allowance.offset_mm, what),
        "allowance_tilt_deg": rounded(allowance.tilt_deg, what),
        "allowance_pivot_mm": rounded(allowance.pivot_mm, what),
        "allowance_offset_at_3_deg_mm": rounded(allowance.offset_at_3_deg_mm, what),
        "allowance_offset_at_6_deg_mm": rounded(allowance.offset_at_6_deg_mm, what),
        "allowance_searched_to_mm": rounded(allowance.searched_to_mm, what),
        "allowance_searched_to_deg": rounded(allowance.searched_to_deg, what),
    }
