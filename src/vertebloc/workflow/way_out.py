"""The way out of a planned piece: computed on demand, kept as long as what it stands on."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import FrontBefore, FrontRelease, StandingSide
from vertebloc.case.choices import ASSUMED_FINGER_REACH_MM, Choices, SidesChoice
from vertebloc.case.level_choice import LevelChoice
from vertebloc.case.provenance import Inputs, canonical_bytes
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.case.way_out_choice import RootsKept
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.published.way_out import MOTOR_ROOTS
from vertebloc.reports.way_out_check import check_document
from vertebloc.reports.way_out_choosing import with_ranking
from vertebloc.reports.way_out_distraction import distraction_document
from vertebloc.reports.way_out_document import way_out_document
from vertebloc.reports.way_out_tilted import tilted_document
from vertebloc.resection import ResectionPlan
from vertebloc.resection.model import Kind
from vertebloc.way_out import WayOutSettings
from vertebloc.way_out.front_freed import settings_freed, with_front_freed
from vertebloc.way_out.kept_roots import with_roots_kept
from vertebloc.way_out.obstacles import room_of_plan
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.saying import Say
from vertebloc.workflow.way_out_pulled import find_both, scenes_of

STEP, FILE = "way_out", "way-out.json"
_WHOLE_BODIES = (Kind.WHOLE_BODY, Kind.TWO_BODIES, Kind.THREE_BODIES)
#: Counted up whenever what is kept changes: a way out from before is then out of date.
_CONTENT = 2
_MADE_FROM = ("labels", "names", "surfaces", "drawn", "package_version", "schema")


def settings_of(choices: Choices) -> WayOutSettings:
    """The settings of a search: the team's own, the rest as built in.

    Parameters
    ----------
    choices : Choices
        The team's choices.

    Returns
    -------
    WayOutSettings
        Lengths in mm; every one is assumed.
    """
    own = choices.way_out
    return WayOutSettings(
        least_mm=own.least_mm,
        clear_after_mm=own.clear_after_mm,
        tolerance_mm=own.tolerance_mm,
        sac_motion_mm=own.sac_motion_mm,
        contour_error_mm=choices.contour_error_mm,
    )


def kept_by(choices: Choices) -> tuple[tuple[Level, Level], ...] | None:
    """Levels whose roots no plan may give up.

    Parameters
    ----------
    choices : Choices
        What the team said of roots.

    Returns
    -------
    tuple of (Level, Level), or None
        First and last of each run; None: of all.
    """
    if choices.way_out.roots is RootsKept.ALL:
        return None
    if choices.way_out.roots is RootsKept.NONE:
        return ()
    return tuple((Level.parse(first), Level.parse(last)) for first, last in MOTOR_ROOTS)


def key_of_way_out(inputs: Inputs, choices: Choices) -> str:
    """Stand for everything that a way out depends on.

    Parameters
    ----------
    inputs : Inputs
        Hashes of what the plan was computed from.
    choices : Choices
        Cuts, fates, settings; what is only said, shown or ranked does not count.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    hashes = {name: value for name, value in inputs.as_dict().items() if name in _MADE_FROM}
    counts = replace(
        choices,
        level=LevelChoice(diseased=choices.level.diseased),
        standing_side=StandingSide.LEFT,
        finger_reach_mm=ASSUMED_FINGER_REACH_MM,
        front_before=FrontBefore.NOT_SAID,
        way_out=replace(choices.way_out, spare_first=()),
        sides=SidesChoice(),
        acts_order=(),
        overrides=(),
        theatre=TheatreChoice(),
        other_counts=(),
    )
    parts = [_CONTENT, hashes, counts, settings_of(choices)]
    return hashlib.sha256(canonical_bytes(parts)).hexdigest()


def saved_way_out(case: CaseFolder, inputs: Inputs, choices: Choices) -> dict[str, Any] | None:
    """The way out of the case, if it was computed from the very same inputs and settings.

    Parameters
    ----------
    case : CaseFolder
        The case.
    inputs : Inputs
        Of the plan as it would be computed now.
    choices : Choices
        As they are now; their order of what to spare puts the ledger in order.

    Returns
    -------
    dict or None
        ``way_out`` of plan.json. None: there is none, or something has changed since.
    """
    saved = kept_way_out(case)
    if saved is None or saved["key"] != key_of_way_out(inputs, choices):
        return None
    return with_ranking(saved["way_out"], saved["ways"], choices.way_out.spare_first)


def kept_way_out(case: CaseFolder) -> dict[str, Any] | None:
    """The way out as it lies in the case, whether or not it still holds.

    Parameters
    ----------
    case : CaseFolder
        The case.

    Returns
    -------
    dict or None
        ``key``, ``way_out``, ``ways`` (what each line of the ledger looks like played) and
        ``scene``; None: none was ever computed.

    Raises
    ------
    InputError
        If its file is damaged.
    """
    if not case.has(STEP):
        return None
    saved = case.json_of(STEP)
    if not {"key", "way_out", "ways", "scene"} <= set(saved):
        raise InputError(f"{case.path_of(STEP)} is damaged: compute the way out again")
    return saved


def put_way_out(change: Transaction, found: Mapping[str, Any]) -> None:
    """Put a way out into a change of the case.

    Parameters
    ----------
    change : Transaction
        The change.
    found : mapping
        From ``find_way_out_of``.
    """
    written = json.dumps(found, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    change.put_bytes(STEP, FILE, (written + "\n").encode())


def find_way_out_of(
    contours: ContourSet,
    prepared: Prepared,
    plan: ResectionPlan,
    choices: Choices,
    inputs: Inputs,
    say: Say,
) -> dict[str, Any]:
    """Say whether, where and at what price a planned piece can be delivered.

    Parameters
    ----------
    contours : ContourSet
        Roots, skin.
    prepared : Prepared
        Anatomy and solids.
    plan : ResectionPlan
        The piece.
    choices : Choices
        Kerf, contour error, the way out's own settings.
    inputs : Inputs
        Hashes of what the plan was computed from.
    say : callable
        Called before each long step; raises to stop.

    Returns
    -------
    dict
        To be kept with ``put_way_out``.

    Raises
    ------
    InputError
        If no sac is outlined, or the spine cannot be pulled apart as the team set it.
    """
    key = key_of_way_out(inputs, choices)
    if plan.kind not in _WHOLE_BODIES:
        words = f"The way out is not computed for the kind '{plan.kind.value}' yet."
        return {"key": key, "way_out": {"answer": "cannot_tell", "words": words},
                "ways": [], "scene": {}}  # fmt: skip
    say("collecting what is in the way")
    is_freed = choices.front_release is FrontRelease.STAGE_BEFORE
    settings = settings_freed(settings_of(choices)) if is_freed else settings_of(choices)
    room = room_of_plan(
        contours, prepared.anatomy, prepared.solids, plan, settings, choices.kerf_mm
    )
    room = with_roots_kept(room, kept_by(choices))
    if is_freed:
        room = with_front_freed(room, settings)
    both = find_both(room, plan, prepared, choices, settings, say)
    say("drawing the way out")
    inside = {"tumour": prepared.solids.tumour, "cord": prepared.solids.cord}
    scene, ways = scenes_of(both, {n: s for n, s in inside.items() if s is not None})
    found = both.way_out
    return {
        "key": key,
        "way_out": way_out_document(found, room, plan.levels)
        | check_document(found)
        | tilted_document(found)
        | distraction_document(found, both.pull)
        | {"settings": _settings(settings)},
        "ways": ways,
        "scene": scene,
    }


def _settings(settings: WayOutSettings) -> dict[str, float]:
    """The lengths that a team may set, as they were used."""
    names = ("least_mm", "clear_after_mm", "tolerance_mm", "sac_motion_mm", "contour_error_mm")
    return {name: float(getattr(settings, name)) for name in names}
