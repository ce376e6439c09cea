"""What decides at the front, in words."""

from __future__ import annotations

from collections.abc import Sequence

from vertebloc.access.front_model import FrontAnswer, FrontSettings, Station
from vertebloc.published import access as published

STAGE_APPROACH = "from the front or the side, before the stage from behind"
STAGE_ACTS = (
    "tie the segmental vessels at the levels of the piece",
    "free great vessels, oesophagus and pleura from the front of the body",
    "lay a protector between the body and what was freed",
)
FRONT_WALL = "front wall of the body"
OUTLINES_MENDED = "mend what the reason names; a defect of the program is to be reported"
NO_BODY_CUT = "no body is cut, so that the front need not be reached"


def where(station: Station) -> str:
    """A station in words.

    Parameters
    ----------
    station : Station
        Plane and side.

    Returns
    -------
    str
        Such as ``cranial cut, left``.
    """
    return f"{station.name}, {station.side.value}"


def decided_by(
    answer: FrontAnswer,
    stations: tuple[Station, ...],
    settings: FrontSettings,
    missing: Sequence[str],
) -> str:
    """The structure that decides.

    Parameters
    ----------
    answer : FrontAnswer
        The answer.
    stations : tuple of Station
        All planes.
    settings : FrontSettings
        Reach, and what was done before.
    missing : sequence of str
        Structures that are needed but not outlined.

    Returns
    -------
    str
        One phrase with its numbers.
    """
    if not stations:
        return NO_BODY_CUT
    said = [line for station in stations for line in _said(station, answer, settings)]
    if answer is FrontAnswer.RELEASE and settings.before.value not in ("not said", "none"):
        said.insert(0, f"front {settings.before.value} before (common practice, no source)")
    if answer is FrontAnswer.CANNOT_TELL and missing:
        said.append(f"{' and '.join(missing)} not outlined")
    if said:
        return "; ".join(dict.fromkeys(said))
    cuts = [one for one in stations if one.is_cut] or stations
    tight = max(cuts, key=lambda one: one.way.length_mm)
    return (
        f"longest way: {tight.way.length_mm:.0f} mm of {settings.finger_reach_mm:.0f} mm "
        f"({where(tight)})"
    )


def _said(station: Station, answer: FrontAnswer, settings: FrontSettings) -> list[str]:
    """What at a station has the deciding answer; nothing has if all can be reached."""
    if answer is FrontAnswer.POSTERIOR:
        return []
    found = []
    error = settings.contour_error_mm
    if station.reach is answer:
        low, high = (station.way.longest_mm(by) for by in (-error, error))
        found.append(
            f"wall at the {where(station)}: {station.way.length_mm:.0f} mm ({low:.0f} to "
            f"{high:.0f}) from the rib bed to the front midline, reach "
            f"{settings.finger_reach_mm:.0f} mm"
        )
    for one in station.neighbours:
        if one.answer is answer:
            found.append(
                f"{one.name} at the {where(station)}: tumour on {one.tumour_contact_deg:.0f} "
                f"degrees of its outline ({one.tumour_contact_least_deg:.0f} to "
                f"{one.tumour_contact_most_deg:.0f}; held from "
                f"{published.CONTACT_HELD_DEG.value:.0f} on)"
            )
    found += [
        f"{one.name} at the {where(station)}: tethers as far as {one.to_mm:.0f} mm along the wall"
        for one in station.tethers
        if one.answer is answer
    ]
    return found


def would_settle(
    answer: FrontAnswer, stations: tuple[Station, ...], missing: Sequence[str]
) -> str:
    """What would settle a cannot tell.

    Parameters
    ----------
    answer : FrontAnswer
        The answer.
    stations : tuple of Station
        All planes.
    missing : sequence of str
        Structures that are needed but not outlined.

    Returns
    -------
    str
        Empty unless it cannot be told.
    """
    if answer is not FrontAnswer.CANNOT_TELL:
        return ""
    parts = [f"outline the {name}" for name in missing]
    if any(one.reach is answer for one in stations):
        parts.append("the team's own finger reach, and a finer outline of the body's wall")
    if any(n.answer is answer for one in stations for n in one.neighbours):
        parts.append("MR or angiography of the contact between tumour and vessel")
    if any(t.answer is answer for one in stations for t in one.tethers):
        parts.append("where the segmental vessels leave, on angiography")
    return "; ".join(parts)
