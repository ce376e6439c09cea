"""The way out as plan.json writes it, and the answer in one sentence."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.published import way_out as published
from vertebloc.reports import text
from vertebloc.space.frames import Side
from vertebloc.way_out.answer import Entry, WayOut
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.distraction import ASSUMPTIONS as OF_DISTRACTION
from vertebloc.way_out.front_freed import ASSUMPTION as OF_STAGE
from vertebloc.way_out.model import Answer, Bracket, Path, WayOutSettings
from vertebloc.way_out.obstacles import ASSUMPTIONS, RoomOfPlan, rib_obstacle

NONE_FOUND, NONE_EXISTS = "none found", "none exists"
_EVERY_MM = 3.0  #: poses of the path are written so far apart


def way_out_document(found: WayOut, room: RoomOfPlan, levels: tuple[Level, ...]) -> dict[str, Any]:
    """The key ``way_out`` of plan.json.

    Parameters
    ----------
    found : WayOut
        The answer.
    room : RoomOfPlan
        Knows ribs and roots.
    levels : tuple of Level
        Whose bodies come out.

    Returns
    -------
    dict
        Lengths in mm, angles in degrees.
    """
    best = found.best
    return {
        "answer": found.answer.value,
        "words": way_out_words(found, room),
        "side": found.side.value if found.side else None,
        "clearance_bracket_mm": bracket_list(best.model),
        "with_errors_mm": bracket_list(best.with_errors),
        "family": found.family,
        "blocking": list(best.blocking),
        "ledger": [_entry(entry, room, levels) for entry in found.ledger],
        "path": _path(best.path),
        "lps_from_travel": np.round(room.lps_from_travel.matrix, 6).tolist(),
        "scenarios_searched": found.scenarios_searched,
        "assumptions": list(way_out_assumptions(found, room)),
    }


def bracket_list(bracket: Bracket) -> list[float | str]:
    """Lower and upper end, in words where there is none.

    Parameters
    ----------
    bracket : Bracket
        In mm.

    Returns
    -------
    list
        Rounded so that it never promises more or rules out more than was shown.
    """
    lower, upper = bracket.lower_mm, bracket.upper_mm
    return [
        float(np.floor(lower * 100.0) / 100.0) if np.isfinite(lower) else NONE_FOUND,
        float(np.ceil(upper * 100.0) / 100.0) if np.isfinite(upper) else NONE_EXISTS,
    ]


def rib_prices(entry: Entry, room: RoomOfPlan) -> dict[str, float]:
    """Length taken of each rib that is shortened, mm from its head.

    Parameters
    ----------
    entry : Entry
        One line of the ledger.
    room : RoomOfPlan
        Lengths that were looked at.

    Returns
    -------
    dict of str to float, mm
        Infinite where all that lies in reach is given up.
    """
    found = {}
    for rib, lengths in room.rib_lengths_mm.items():
        stays = [le for le in lengths if rib_obstacle(rib, le) not in entry.given_up]
        taken = stays[0] if stays else np.inf
        if taken > 0.0:
            found[rib] = float(taken)
    return found


def root_prices(entry: Entry, room: RoomOfPlan) -> tuple[str, ...]:
    """Roots that are given up.

    Parameters
    ----------
    entry : Entry
        One line of the ledger.
    room : RoomOfPlan
        All roots.

    Returns
    -------
    tuple of str
        Their names.
    """
    return tuple(root.name for root in room.roots if root.name in entry.given_up)


def _arteries(entry: Entry, room: RoomOfPlan, levels: tuple[Level, ...]) -> tuple[list[str], int]:
    """Segmental arteries that go with the piece or with a root; bilateral levels in a row."""
    gone = {(side, level) for side in Side for level in levels}
    gone |= {(r.side, r.level) for r in room.roots if r.name in entry.given_up}
    both = sorted({level for _, level in gone if all((side, level) in gone for side in Side)})
    order = sorted({root.level for root in room.roots} | set(levels))
    runs = [
        len(list(group))
        for is_gone, group in itertools.groupby(order, key=lambda level: level in both)
        if is_gone
    ]
    names = [
        f"{side.value} {level}" for side, level in sorted(gone, key=lambda g: (g[1], g[0].value))
    ]
    return names, max(runs, default=0)


def _kept(entry: Entry, room: RoomOfPlan) -> list[str]:
    """What could have been given up and is not."""
    return [
        o.name
        for o in room.room.obstacles
        if o.sacrifice is not None and not o.is_kept and o.name not in entry.given_up
    ]


def _asked_for(entry: Entry, room: RoomOfPlan) -> tuple[str, ...]:
    """The one root that a line keeps to see whether it must go, all else being given up."""
    if entry.answer is Answer.YES:
        return ()
    kept = _kept(entry, room)
    own = {root.name for root in room.roots if root.side is entry.side}
    return tuple(kept) if len(kept) == 1 and set(kept) <= own and entry.given_up else ()


def _entry(entry: Entry, room: RoomOfPlan, levels: tuple[Level, ...]) -> dict[str, Any]:
    arteries, in_a_row = _arteries(entry, room, levels)
    return {
        "side": entry.side.value,
        "answer": entry.answer.value,
        "ribs_mm": {
            rib: length if np.isfinite(length) else "all in reach"
            for rib, length in rib_prices(entry, room).items()
        },
        "roots": list(root_prices(entry, room)),
        "asks_for": list(_asked_for(entry, room)),
        "all_given_up": entry.answer is not Answer.YES and not _kept(entry, room),
        "arteries": arteries,
        "bilateral_levels_in_a_row": in_a_row,
        "distraction_mm": entry.distraction_mm,
        "clearance_bracket_mm": bracket_list(entry.model),
        "with_errors_mm": bracket_list(entry.with_errors),
        "blocking": list(entry.blocking),
        "decided_by": list(entry.decided_by),
    }


def _path(path: Path | None) -> list[dict[str, float]]:
    """Poses of the path, every few mm, the narrowest among them."""
    if path is None:
        return []
    far = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(path.gone_mm)))))
    every = np.unique(np.floor(far / _EVERY_MM), return_index=True)[1]
    kept = sorted({*every.tolist(), path.narrowest, len(path.poses) - 1})
    return [
        {
            "x_mm": round(float(path.poses[i, 0]), 3),
            "y_mm": round(float(path.poses[i, 1]), 3),
            "turn_deg": round(float(np.degrees(path.poses[i, 2])), 3),
            "tilt_about_x_deg": round(float(path.tilts[i, 0]), 3) + 0.0,
            "tilt_about_y_deg": round(float(path.tilts[i, 1]), 3) + 0.0,
            "lift_mm": round(float(path.tilts[i, 2]), 3) + 0.0,
            "moved_mm": round(float(path.gone_mm[i]), 2),
            "clearance_mm": round(float(path.clearance_mm[i]), 2),
        }
        for i in kept
    ]


def way_out_words(found: WayOut, room: RoomOfPlan) -> str:
    """The answer in one sentence.

    Parameters
    ----------
    found : WayOut
        The answer.
    room : RoomOfPlan
        Ribs and roots.

    Returns
    -------
    str
        With the clearance of the model and with errors apart.
    """
    s = found.settings
    errors = f"contours {s.contour_error_mm:.1f} mm wrong and the sac {s.sac_motion_mm:.1f} mm off"
    before = "With the front freed in a stage before: " if room.front_freed else ""
    return before + _words(found, room, errors)


def _words(found: WayOut, room: RoomOfPlan, errors: str) -> str:
    """The answer without the stage before."""
    s, best = found.settings, found.best
    if found.answer is Answer.NO:
        return (
            f"No way out, on either side, whatever is given up: {', '.join(best.blocking)} shut "
            f"every way together. Proven for {found.family}, even with {errors}."
        )
    if found.answer is Answer.CANNOT_TELL:
        return (
            "Cannot tell whether there is a way out: room at the sac on the "
            f"{best.side.value}, in the model {_ends(best.model)}; with {errors} "
            f"{_ends(best.with_errors)}; {s.least_mm:.1f} mm are wanted. {_what_decides(best, s)}"
        )
    given = [*(f"the {name}" for name in root_prices(best, room)), *_rib_words(best, room)]
    pulled = (
        f" ONLY WITH DISTRACTION of {_mm(best.distraction_mm)}, set by the team, and"
        if best.distraction_mm > 0.0
        else ""
    )
    return (
        f"Out to the {best.side.value}{pulled} if {_listed(given)} given up: once clear of its "
        f"seat the piece stays at least {_mm(best.model.lower_mm)} from the sac in the model "
        f"(at best {_upper(best.model)}), at least {_mm(best.with_errors.lower_mm)} "
        f"with {errors} (at best {_upper(best.with_errors)} with both the other way)."
    )


def _distraction_assumptions(found: WayOut) -> tuple[str, ...]:
    if all(entry.distraction_mm == 0.0 for entry in found.ledger):
        return ("no distraction",)
    return OF_DISTRACTION


def _what_decides(entry: Entry, settings: WayOutSettings) -> str:
    if entry.decided_by:
        return f"Without the {' or the '.join(entry.decided_by)} there would be a way."
    if entry.model.lower_mm >= settings.least_mm:
        return (
            "With outlines and sac just as they are drawn it would be a yes: surer ones would "
            "settle it."
        )
    return "No single thing in the way decides it; a finer search would tell more."


def _rib_words(entry: Entry, room: RoomOfPlan) -> list[str]:
    return [
        f"{length:.0f} mm of the {rib}"
        if np.isfinite(length)
        else f"the {rib} as far as it reaches"
        for rib, length in rib_prices(entry, room).items()
    ]


def _listed(names: list[str]) -> str:
    if not names:
        return "nothing more is"
    return f"{text.listed(names)} {'is' if len(names) == 1 else 'are'}"


def _mm(length: float) -> str:
    return f"{length:.1f} mm"


def _upper(bracket: Bracket) -> str:
    """The upper end; room is measured up to a length, beyond it is only known to be more."""
    if not np.isfinite(bracket.upper_mm):
        return NONE_EXISTS
    return _mm(bracket.upper_mm) + (" or more" if bracket.upper_mm >= CLIP_MM else "")


def _ends(bracket: Bracket) -> str:
    low = NONE_FOUND
    if np.isfinite(bracket.lower_mm):
        low = f"{_mm(bracket.lower_mm)} shown"
        if bracket.lower_mm < 0.0:
            low = f"the best way found may press {_mm(-bracket.lower_mm)} into the sac"
    high = f"at best {_upper(bracket)}" if np.isfinite(bracket.upper_mm) else NONE_EXISTS
    return f"{low}, {high}"


def way_out_assumptions(found: WayOut, room: RoomOfPlan) -> tuple[str, ...]:
    """What nobody measured, in words.

    Parameters
    ----------
    found : WayOut
        Its settings.
    room : RoomOfPlan
        Whether roots were outlined.

    Returns
    -------
    tuple of str
        One sentence each.
    """
    s = found.settings
    modelled = sorted({str(r.level) for r in room.roots if not r.is_outlined})
    notes: tuple[str, ...] = (
        f"clearance to the sac {s.least_mm:.1f} mm wanted once the piece has moved "
        f"{s.clear_after_mm:.0f} mm (assumed)",
        f"bone and ribs may be touched or pressed by {s.tolerance_mm:.1f} mm (assumed)",
        f"roots that stay may be moved {s.root_gives_mm:.1f} mm, freed vessels "
        f"{s.vessel_gives_mm:.1f} mm, of which {s.hand_mm:.1f} mm are for the hand (assumed)",
        f"the wound is open {s.sideways_mm:.0f} mm to each side (assumed)",
        *_distraction_assumptions(found),
        *((OF_STAGE,) if room.front_freed else ()),
        *ASSUMPTIONS,
    )
    kept = [o.name for o in room.room.obstacles if o.is_kept]
    if kept:
        notes += (f"no plan gives up the {text.listed(kept)}: {published.KEPT_ROOTS.what}",)
    if modelled:
        notes += (f"roots of {', '.join(modelled)} are modelled, not outlined",)
    return notes
