"""Whether left and right of the images agree with the body and with the names given.

An image mirrored without its header looks like any other; only what lies on one side of the
body tells. Some people's organs are mirrored (situs inversus): the finding is a warning for
a person, never an error and never a correction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.model import CanalSpline, Handedness, SideVerdict, Vertebra
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Side
from vertebloc.space.transforms import Points

_THIN_MM = 3.0  #: organs are looked at on points about this far apart
_NAMED_MM = 8.0  #: from the mid-plane, for a named side to be clear
_AORTA_NEAR_MM = 48.0  #: aorta that close to a body's middle is the descending one
_ORGANS = (
    (Structure.AORTA, Side.LEFT, 4.0),
    (Structure.HEART, Side.LEFT, 8.0),
    (Structure.LIVER, Side.RIGHT, 20.0),
)  #: usual side, and how far from the mid-plane its middle must lie to count, mm


@dataclass(frozen=True, slots=True)
class _Witness:
    """One piece of evidence about left and right."""

    agrees: bool
    sentence: str


def judge_handedness(
    contours: ContourSet, canal: CanalSpline, vertebrae: Sequence[Vertebra]
) -> Handedness:
    """Compare named sides and one-sided organs with the vertebral frames.

    Parameters
    ----------
    contours : ContourSet
        Outlines; those with a named side, aorta, heart and liver are the witnesses.
    canal : CanalSpline
        Middle of the canal.
    vertebrae : sequence of Vertebra
        Their frames say where left is by the header's account.

    Returns
    -------
    Handedness
        Contradicts as soon as one witness does; cannot tell without any.

    Notes
    -----
    The descending aorta lies left of the thoracic spine, the heart's middle left and the
    liver's right of the mid-plane. Names given on an image that was already mirrored agree
    with it: only the organs can speak then.
    """
    witnesses: list[_Witness] = []
    if vertebrae:
        points = _thin_points(contours)
        witnesses = _named_sides(points, canal, vertebrae)
        for structure, usual, least_mm in _ORGANS:
            mine = [p for c, p in points.items() if c.structure is structure and len(p)]
            if not mine:
                continue
            x = _organ_offset_mm(structure, np.concatenate(mine), canal, vertebrae)
            if x is not None and abs(x) >= least_mm:
                witnesses.append(_organ_witness(structure, usual, x))
    return _verdict(witnesses)


def _verdict(witnesses: list[_Witness]) -> Handedness:
    """Sum up."""
    evidence = tuple(w.sentence for w in witnesses)
    against = [w.sentence for w in witnesses if not w.agrees]
    if against:
        return Handedness(
            verdict=SideVerdict.CONTRADICTS,
            evidence=evidence,
            words=(
                f"LEFT AND RIGHT CONTRADICT: {'; '.join(against)}. The images may be mirrored "
                "without their header, the names swapped, or the organs mirrored (situs "
                "inversus): settle this at the patient before anything is planned."
            ),
        )
    if witnesses:
        return Handedness(
            verdict=SideVerdict.AGREES,
            evidence=evidence,
            words=f"Left and right agree: {'; '.join(evidence)}.",
        )
    return Handedness(
        verdict=SideVerdict.CANNOT_TELL,
        evidence=(),
        words=(
            "Whether the images are mirrored cannot be told: no outline with a named side, no "
            "aorta, heart or liver. Check a side marker or the patient."
        ),
    )


def _thin_points(contours: ContourSet) -> dict[Contour, Points]:
    """Some points of every outline that can bear witness."""
    wanted = {
        c
        for c in contours.contours()
        if c.side is not None or any(c.structure is structure for structure, _, _ in _ORGANS)
    }
    points = {c: contours.surfaces[c].vertices for c in wanted if c in contours.surfaces}
    if contours.label_map is not None:
        points |= _thin_label_points(contours.label_map, wanted - points.keys())
    return points


def _thin_label_points(label_map: LabelMap, wanted: set[Contour]) -> dict[Contour, Points]:
    """Points of labels on every so many-th voxel of each label's box."""
    found: dict[Contour, Points] = {}
    boxes = label_map.boxes()
    spacing = label_map.volume.grid.spacing_mm
    steps = np.maximum(1, np.round(_THIN_MM / spacing)).astype(int)
    for contour in wanted:
        parts = []
        for value in label_map.values_of(contour):
            if value not in boxes:
                continue
            box = boxes[value]
            thin = tuple(slice(r.start, r.stop, int(n)) for r, n in zip(box, steps, strict=True))
            index = np.argwhere(label_map.volume.values[thin] == value) * steps
            index = index + [r.start for r in box]
            parts.append(label_map.volume.grid.lps_from_ijk.points(index.astype(np.float64)))
        if parts:
            found[contour] = np.concatenate(parts)
    return found


def _local(points: Points, canal: CanalSpline, vertebrae: Sequence[Vertebra]) -> Points:
    """Points in the frame of the nearest vertebra, (n, 3)."""
    places = np.array([v.canal_s_mm for v in vertebrae])
    which = np.argmin(np.abs(canal.nearest_s_mm(points)[:, None] - places), axis=1)
    local = np.empty_like(points)
    for number in np.unique(which):
        mine = which == number
        local[mine] = vertebrae[number].lps_from_vertebra.inverse.points(points[mine])
    return local


def _named_sides(
    points: dict[Contour, Points], canal: CanalSpline, vertebrae: Sequence[Vertebra]
) -> list[_Witness]:
    """Outlines with a named side: on which side of the mid-plane their middles lie."""
    right, wrong = [], []
    for contour, mine in points.items():
        if contour.side is None or not len(mine):
            continue
        x = float(_local(mine.mean(axis=0)[None], canal, vertebrae)[0, 0]) * contour.side.sign
        if x > _NAMED_MM:
            right.append(contour)
        elif x < -_NAMED_MM:
            wrong.append(contour)
    found = []
    if right:
        found.append(_Witness(True, f"{len(right)} outlines lie on the side they are named for"))
    if wrong:
        some = sorted(c.words for c in wrong)
        names = ", ".join(some[:3]) + (f" and {len(some) - 3} more" if len(some) > 3 else "")
        found.append(_Witness(False, f"{names} on the side opposite to the name"))
    return found


def _organ_offset_mm(
    structure: Structure, points: Points, canal: CanalSpline, vertebrae: Sequence[Vertebra]
) -> float | None:
    """Mean distance of an organ to the left of the mid-plane; None if too little of it counts."""
    local = _local(points, canal, vertebrae)
    if structure is Structure.AORTA:
        local = local[np.linalg.norm(local[:, :2], axis=1) < _AORTA_NEAR_MM]
    return float(local[:, 0].mean()) if len(local) >= 10 else None


def _organ_witness(structure: Structure, usual: Side, offset_mm: float) -> _Witness:
    """Whether an organ lies on its usual side."""
    lies = Side.LEFT if offset_mm > 0 else Side.RIGHT
    sentence = f"the {structure.value} lies {abs(offset_mm):.0f} mm to the {lies.value}"
    if lies is usual:
        return _Witness(True, sentence)
    return _Witness(False, f"{sentence}, usually to the {usual.value}")
