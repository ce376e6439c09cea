"""Ring and front as plan.json holds them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from vertebloc.access import Front, Ring
from vertebloc.access.front_model import Neighbour, Station, Tether
from vertebloc.access.ring_model import (
    LeastContaminated,
    Opening,
    Surrogate,
    UnmeasuredRing,
)
from vertebloc.reports import access_text
from vertebloc.reports.document_numbers import FINE_DIGITS, rounded

_JSON = {"cannot tell": "cannot_tell"}


def add_access(
    document: Mapping[str, Any], ring: Ring | UnmeasuredRing, front: Front
) -> dict[str, Any]:
    """The plan's document with ring and front in it.

    Parameters
    ----------
    document : mapping
        Content of plan.json, from ``plan_document``.
    ring : Ring or UnmeasuredRing
        From ``judge_ring``.
    front : Front
        From ``judge_front``.

    Returns
    -------
    dict
        Where ring or front stand against the plan, the answer says so before what is still
        open; else each has its own page only. Disagreements are warnings.
    """
    access = {"ring": ring_document(ring), "front": front_document(front)}
    parts = document["answer_parts"]
    said = [
        {"about": name, "words": one["words"], "must_not_be_overlooked": True}
        for name, one in access.items()
        if one["answer"] not in ("yes", "posterior_alone")
    ]
    parts = [*parts[:-1], *said, *parts[-1:]]
    warnings = [*document["warnings"], *ring.disagreements]
    return {
        **document,
        "answer": " ".join(part["words"] for part in parts),
        "answer_parts": parts,
        **access,
        "warnings": list(dict.fromkeys(warnings)),
    }


def ring_document(ring: Ring | UnmeasuredRing) -> dict[str, Any]:
    """Write the ring down.

    Parameters
    ----------
    ring : Ring or UnmeasuredRing
        From ``judge_ring``.

    Returns
    -------
    dict
        ``ring`` of plan.json; without openings and without what they are measured on if the ring
        could not be measured.

    Raises
    ------
    InputError
        If a number is not finite.
    """
    written: dict[str, Any] = {
        "answer": _JSON.get(ring.answer.value, ring.answer.value),
        "decided_by": ring.decided_by,
        "asked": ring.demand.value,
        "gaps": [],
        "openings": [],
        "planned_side": ring.planned_side.value,
        "rules": ring.rule_words,
        "disagreements": list(ring.disagreements),
    }
    if isinstance(ring, Ring):
        written |= _measured(ring)
    return written | {"words": access_text.ring_sentence(written)}


def _measured(ring: Ring) -> dict[str, Any]:
    written: dict[str, Any] = {
        "sac_size_from": ring.map.surrogate.value,
        "sac_is_outlined": ring.map.surrogate is Surrogate.SAC,
        "angles_about": ring.map.middle_words,
        "gaps": [
            {"from_deg": rounded(gap.first_deg, "gap"), "to_deg": rounded(gap.last_deg, "gap"),
             "words": gap.words}
            for gap in ring.gaps
        ],
        "openings": [_opening(one) for one in ring.openings],
        "planned": ring.planned_words,
        "assumed": list(ring.assumptions),
        "contour_error_mm": rounded(ring.map.settings.contour_error_mm, "contour error"),
    }  # fmt: skip
    if ring.least is not None:
        written["least_contaminated"] = _least(ring.least)
    return written


def _opening(one: Opening) -> dict[str, Any]:
    written: dict[str, Any] = {
        "side": one.side.value if one.side else "behind only",
        "answer": _JSON.get(one.answer.value, one.answer.value),
        "words": one.words,
    }
    if one.width_mm > 0.0:
        written |= {
            "from_deg": rounded(one.first_deg, one.words),
            "to_deg": rounded(one.last_deg, one.words),
            "sac_mm": rounded(one.needed_mm, one.words),
            "nothing_in_the_way": one.is_clear,
        }
        if not one.is_clear:
            written["width_mm"] = rounded(one.width_mm, one.words)
    return written


def _least(one: LeastContaminated) -> dict[str, Any]:
    return {
        "side": one.side.value,
        "from_deg": rounded(one.first_deg, "least contaminated opening"),
        "to_deg": rounded(one.last_deg, "least contaminated opening"),
        "tumour_crossed_mm2": rounded(one.crossed_mm2, "tumour crossed"),
        "area_fraction": rounded(one.between_share, "tumour between", FINE_DIGITS),
        "margin_class": one.margin_class,
        "place": one.place,
    }


def front_document(front: Front) -> dict[str, Any]:
    """Write the front down.

    Parameters
    ----------
    front : Front
        From ``judge_front``.

    Returns
    -------
    dict
        ``front`` of plan.json.

    Raises
    ------
    InputError
        If a number is not finite.
    """
    written: dict[str, Any] = {
        "answer": front.answer.value.replace(" ", "_"),
        "decided_by": front.decided_by,
        "would_settle": front.would_settle,
        "finger_reach_mm": rounded(front.finger_reach_mm, "finger reach"),
        "before": front.before.value,
        "not_outlined": list(front.not_outlined),
        "planes": [_station(one) for one in front.stations],
        "assumed": list(front.assumptions),
    }
    if front.stage is not None:
        stage = front.stage
        written["stage"] = {
            "approach": stage.approach,
            "acts": list(stage.acts),
            "frees": list(stage.frees),
            "chosen": stage.chosen,
        }
    return written | {"words": access_text.front_sentence(written)}


def _station(one: Station) -> dict[str, Any]:
    name = f"{one.name}, {one.side.value}"
    return {
        "plane": one.name,
        "side": one.side.value,
        "is_cut": one.is_cut,
        "begins_at": one.way.from_rib,
        "wall_mm": rounded(one.way.length_mm, name),
        "wall_turn_deg": rounded(math.degrees(one.way.turn_rad), name),
        "answer": one.answer.value.replace(" ", "_"),
        "structures": [_neighbour(n) for n in one.neighbours],
        "tethers": [_tether(t) for t in one.tethers],
    }


def _neighbour(one: Neighbour) -> dict[str, Any]:
    written: dict[str, Any] = {
        "name": one.name,
        "gap_mm": rounded(one.gap_mm, one.name),
        "contact_deg": rounded(one.contact_deg, one.name),
        "along_wall_mm": rounded(one.along_mm, one.name),
        "answer": one.answer.value.replace(" ", "_"),
    }
    if one.tumour_gap_mm < 1e6:
        written |= {
            "tumour_gap_mm": rounded(one.tumour_gap_mm, one.name),
            "tumour_contact_deg": rounded(one.tumour_contact_deg, one.name),
            "tumour_contact_least_deg": rounded(one.tumour_contact_least_deg, one.name),
            "tumour_contact_most_deg": rounded(one.tumour_contact_most_deg, one.name),
        }
    return written


def _tether(one: Tether) -> dict[str, Any]:
    return {
        "name": one.name,
        "from_mm": rounded(one.from_mm, one.name),
        "to_mm": rounded(one.to_mm, one.name),
        "answer": one.answer.value.replace(" ", "_"),
    }
