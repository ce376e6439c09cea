"""Places on the ring, and what decides, in words."""

from __future__ import annotations

from collections.abc import Sequence

from vertebloc.access.openings import DRAWN, blocked_rays
from vertebloc.access.ring_model import Demand, Opening, RingMap, Surrogate
from vertebloc.space.frames import Side
from vertebloc.staging import Answer
from vertebloc.staging.sectors import SECTOR_DEG, SECTORS

_AT_BODY_DEG = 4.0  #: a bank this near to the body's edge is named after it


def place_of(angle_deg: float) -> str:
    """The part of the ring at an angle.

    Parameters
    ----------
    angle_deg : float, deg
        From the back, positive to the patient's left.

    Returns
    -------
    str
        Such as ``left pedicle``.
    """
    return SECTORS[int((angle_deg % 360.0) // SECTOR_DEG)].words


def bank_of(ring: RingMap, angle_deg: float) -> str:
    """Where a bank of an opening lies: a part of the arch, or where the arch meets the body.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    angle_deg : float, deg
        From the back, positive to the patient's left.

    Returns
    -------
    str
        Such as ``left lamina`` or ``right edge of the body``.
    """
    right, left = ring.edges_deg
    if angle_deg <= right + _AT_BODY_DEG:
        return "right edge of the body"
    if angle_deg >= left - _AT_BODY_DEG:
        return "left edge of the body"
    return place_of(angle_deg)


def stretch(ring: RingMap, first_deg: float, last_deg: float) -> str:
    """A stretch of the ring.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    first_deg, last_deg : float, deg
        Its ends, from right to left.

    Returns
    -------
    str
        Names of the parts at its ends.
    """
    first, last = bank_of(ring, first_deg), bank_of(ring, last_deg)
    return f"within the {first}" if first == last else f"from the {first} to the {last}"


def banks(ring: RingMap, ends_deg: Sequence[float], crossed_mm2: Sequence[float]) -> str:
    """The two banks of an opening with the tumour that each crosses.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    ends_deg : sequence of float, deg
        Right and left bank.
    crossed_mm2 : sequence of float, mm2
        Tumour crossed at each.

    Returns
    -------
    str
        One phrase.
    """
    said = [
        f"the {bank_of(ring, end)} ({f'{area:.0f} mm² of tumour' if area else 'no tumour'})"
        for end, area in zip(ends_deg, crossed_mm2, strict=True)
    ]
    return f"between {said[0]} and {said[1]}"


def no_gap(ring: RingMap, side: Side | None) -> str:
    """Why there is no opening.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    side : Side or None
        Where; None: behind only.

    Returns
    -------
    str
        Which part of the ring tumour holds there.
    """
    blocked = blocked_rays(ring, DRAWN) & ring.is_arch
    if side is None:
        return "every gap reaches beside the sac" if not blocked.all() else "tumour all round"
    here = ring.angles_deg * side.sign
    held = sorted({place_of(a) for a in ring.angles_deg[blocked & (here > 60.0)]})
    return f"tumour in the {' and the '.join(held)}" if held else "no room"


def margin_class(distance_mm: float, error_mm: float) -> str:
    """The planned margin where an opening is made.

    Parameters
    ----------
    distance_mm : float, mm
        From its banks to tumour; negative in tumour.
    error_mm : float, mm
        How far outlines may be wrong.

    Returns
    -------
    str
        By the published classes: a plane that enters tumour is intralesional.
    """
    if distance_mm <= 0.0:
        return "intralesional"
    return "marginal at best" if distance_mm <= error_mm else "marginal or wide"


def decided_by(
    demand: Demand, answer: Answer, openings: tuple[Opening, ...], surrogate: Surrogate
) -> str:
    """What decides the answer.

    Parameters
    ----------
    demand : Demand
        What is asked of the ring.
    answer : Answer
        The answer.
    openings : tuple of Opening
        All that were found.
    surrogate : Surrogate
        What the sac's size was taken from.

    Returns
    -------
    str
        One phrase.
    """
    sided = [one for one in openings if one.side is not None]
    deciding = [one for one in sided if one.answer is answer] or sided
    said = "; ".join(f"{one.side.value}: {one.words}" for one in deciding if one.side)
    if answer is Answer.CANNOT_TELL:
        said += "; within the error of the outlines"
        if surrogate is not Surrogate.SAC and demand is Demand.OPENING:
            said += (
                f", and the sac is not outlined: its size lies between the {surrogate.value}'s "
                "and the canal's"
            )
    return said


def planned(opening: Opening, side: Side) -> str:
    """What the plan's own side comes to.

    Parameters
    ----------
    opening : Opening
        What was found there.
    side : Side
        On which the plan opens the arch.

    Returns
    -------
    str
        One phrase.
    """
    said = {
        Answer.YES: "free of tumour",
        Answer.NO: "not free of tumour, or too narrow",
        Answer.CANNOT_TELL: "free of tumour within the error of the outlines only",
    }[opening.answer]
    return f"the plan opens on the {side.value}: {said} ({opening.words})"


def planned_side_disagrees(opening: Opening, openings: tuple[Opening, ...]) -> str:
    """That the plan opens the ring where tumour is, though another side is free.

    Parameters
    ----------
    opening : Opening
        On the plan's side.
    openings : tuple of Opening
        All that were found.

    Returns
    -------
    str
        A warning.
    """
    free = [one.side.value for one in openings if one.side and one.answer is Answer.YES]
    here = opening.side.value if opening.side else "back"
    return (
        f"The plan opens the ring on the {here} ({opening.words}), but on the "
        f"{' and '.join(free)} a tumour-free opening was found"
    )
