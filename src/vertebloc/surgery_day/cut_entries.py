"""Where a blade enters, from what can be felt or seen, and which way it points."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.model import HalfCut
from vertebloc.surgery_day.landmarks import Landmark, LandmarkKind

_MOST = 3  #: landmarks a cut; more are not remembered


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryFrom:
    """A cut's entry, measured from one landmark along the diseased vertebra's own axes."""

    landmark: str
    headward_mm: float  #: negative: towards the feet
    leftward_mm: float  #: the patient's left; negative: right
    deeper_mm: float  #: away from the back; negative: nearer to the back


@dataclass(frozen=True, slots=True, kw_only=True)
class CutEntry:
    """One cut's entry and direction."""

    cut_name: str
    entries: tuple[EntryFrom, ...]  #: the nearest landmark first
    forward: float  #: the blade's direction in the diseased vertebra's frame, unit vector
    leftward: float
    headward: float
    forward_lps: float  #: and in the images' own axes, as the patient lay on the scanner
    leftward_lps: float
    headward_lps: float


def describe_entries(
    cuts: Sequence[HalfCut],
    vertebra: Vertebra,
    landmarks: Iterable[Landmark],
    taken: Sequence[Level],
) -> tuple[CutEntry, ...]:
    """Measure each cut's entry from landmarks on bone that stays.

    Parameters
    ----------
    cuts : sequence of HalfCut
        The plan's.
    vertebra : Vertebra
        The diseased one, along whose axes is measured.
    landmarks : iterable of Landmark
        From ``find_landmarks``.
    taken : sequence of Level
        Vertebrae that come out: what lies on them is gone when the blade enters.

    Returns
    -------
    tuple of CutEntry
        One a cut. Landmarks on bone that comes out, near tumour, or on the other side of the
        midline are not used.

    Notes
    -----
    Lengths are along the axes of the vertebra as it lay in the scanner, not along skin.
    """
    usable = [mark for mark in landmarks if mark.level not in taken and not mark.is_near_tumour]
    return tuple(_entry(cut, vertebra, usable) for cut in cuts)


def _entry(cut: HalfCut, vertebra: Vertebra, usable: Sequence[Landmark]) -> CutEntry:
    into = vertebra.lps_from_vertebra.inverse
    entry = into.points(cut.entry)[0]
    marks = [
        (mark, into.points(mark.place)[0])
        for mark in usable
        if mark.side is None or mark.side is cut.side
    ]
    order = sorted(marks, key=lambda one: (_rank(one[0], cut), np.linalg.norm(one[1] - entry)))
    blade, lps = into.vectors(cut.blade)[0], cut.blade
    return CutEntry(
        cut_name=cut.name,
        entries=tuple(
            EntryFrom(
                landmark=mark.words,
                headward_mm=float(entry[2] - place[2]),
                leftward_mm=float(entry[0] - place[0]),
                deeper_mm=float(place[1] - entry[1]),
            )
            for mark, place in order[:_MOST]
        ),
        forward=float(-blade[1]),
        leftward=float(blade[0]),
        headward=float(blade[2]),
        forward_lps=float(-lps[1]),
        leftward_lps=float(lps[0]),
        headward_lps=float(lps[2]),
    )


def _rank(mark: Landmark, cut: HalfCut) -> int:
    """Spinous process and transverse process of the cut's own vertebra first, ribs last."""
    own = mark.level == cut.level
    if mark.kind is LandmarkKind.RIB:
        return 3
    return (0 if mark.kind is LandmarkKind.SPINOUS else 1) if own else 2
