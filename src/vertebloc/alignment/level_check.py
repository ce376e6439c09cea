"""Is it the same vertebra? Levels look alike: the placement must beat its neighbours clearly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vertebloc.alignment import _kernels
from vertebloc.alignment.refine import Moving, Refined, refine
from vertebloc.alignment.region import Region
from vertebloc.alignment.shared_information import measure_match
from vertebloc.anatomy.model import CanalSpline
from vertebloc.errors import NoSolutionError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform

OFFSETS = (-2, -1, 1, 2)  #: levels by which the placement may be wrong; + is towards the feet
_CLEAR = 4.0  #: assumed: a difference of so many of its own standard errors is clear
_CLEAR_SHARE = 0.12  #: assumed: and the better placement must share so much more
_LEAST_COMMON = 0.3  #: of the points must be seen by both placements
_LEAST_BLOCKS = 12
_SLID_BACK = 0.4  #: of a level: a rival that ends so near is no rival


class LevelAnswer(Enum):
    """Whether both images show the same vertebra there."""

    SAME = "same level"
    OTHER = "another level"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """A placement some levels away against the one in question."""

    offset: int  #: levels towards the feet in the other image
    tested: bool
    slid_back: bool = False  #: the search led back to the placement in question
    gain: float = 0.0  #: how much more the placement in question shares, natural units a point
    error: float = 0.0  #: standard error of that, from blocks
    share: float = 0.0  #: gain as a share of what is shared
    by_kind: Mapping[str, float] = field(default_factory=dict)  #: gain by kind of tissue
    why_not: str = ""

    @property
    def clear(self) -> float:
        """Gain in standard errors; negative: the rival is better."""
        return self.gain / self.error if self.error > 0.0 else 0.0

    @property
    def is_beaten(self) -> bool:
        """Whether the placement in question is clearly better."""
        return self.slid_back or (
            self.tested and self.clear >= _CLEAR and self.share >= _CLEAR_SHARE
        )

    @property
    def is_better(self) -> bool:
        """Whether the rival is clearly better."""
        return self.tested and not self.slid_back and self.clear <= -_CLEAR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What is compared."""

    region: Region  #: points of the CT, wide: vertebrae, ribs, canal, what lies beside
    kinds: NDArray[np.int64]  #: (n,) which kind of tissue each point lies in
    names: tuple[str, ...]  #: the kinds
    moving: Moving  #: the other image


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelCheck:
    """The answer, and what it rests on."""

    answer: LevelAnswer
    rivals: tuple[Rival, ...]
    better_offset: int = 0  #: the rival that wins, if another level is the answer


def check_level(
    evidence: Evidence, placed: Transform, along: CanalSpline, at: tuple[float, float]
) -> LevelCheck:
    """Compare a placement with those one and two levels away.

    Parameters
    ----------
    evidence : Evidence
        Points of the CT and the other image.
    placed : Transform
        The placement in question.
    along : CanalSpline
        The canal in the CT.
    at : (float, float), mm
        Where along it the diseased vertebra lies, and how far the next level is.

    Returns
    -------
    LevelCheck
        ``SAME`` only if each placement that could be compared is clearly worse, and those one
        level away could be compared.

    Notes
    -----
    Each rival is refined as the placement is, then both are judged on the points that both see:
    a point says log p(a, b) / (p(a) p(b)) of its two brightnesses. The mean difference is set
    against its standard error from cubes of 20 mm. Ribs, growing bodies, processes, the cord's
    end and the tumour count by being there; that all is alike is answered *cannot tell*.
    """
    s_mm, apart_mm = at
    own = refine(evidence.region.samples, evidence.moving, placed)
    rivals = []
    for offset in OFFSETS:
        start = own.moving_from_fixed @ _shift_along(along, s_mm, offset * apart_mm)
        rivals.append(_compare(evidence, own, start, offset, apart_mm))
    return _decide(tuple(rivals))


def _decide(rivals: tuple[Rival, ...]) -> LevelCheck:
    better = [rival for rival in rivals if rival.is_better]
    if better:
        best = min(better, key=lambda rival: rival.gain)
        return LevelCheck(answer=LevelAnswer.OTHER, rivals=rivals, better_offset=best.offset)
    next_ones = [rival for rival in rivals if abs(rival.offset) == 1]
    tested = [rival for rival in rivals if rival.tested]
    if all(r.tested for r in next_ones) and all(r.is_beaten for r in tested):
        return LevelCheck(answer=LevelAnswer.SAME, rivals=rivals)
    return LevelCheck(answer=LevelAnswer.CANNOT_TELL, rivals=rivals)


def _shift_along(canal: CanalSpline, s_mm: float, by_mm: float) -> Transform:
    """Carry a place along the canal, turned as the canal turns."""
    (here, there), (a, b) = canal.at([s_mm, s_mm + by_mm]), canal.tangent([s_mm, s_mm + by_mm])
    axis = np.cross(a, b)
    size = float(np.linalg.norm(axis))
    angle = float(np.arctan2(size, a @ b))
    turn = Rotation.from_rotvec(axis * (angle / size if size > 1e-12 else 0.0)).as_matrix()
    matrix = np.eye(4)
    matrix[:3, :3] = turn
    matrix[:3, 3] = there - turn @ here
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _compare(
    evidence: Evidence, own: Refined, start: Transform, offset: int, apart_mm: float
) -> Rival:
    try:
        rival = refine(evidence.region.samples, evidence.moving, start)
    except NoSolutionError:
        return Rival(offset=offset, tested=False, why_not="it would lie outside the other image")
    middle = evidence.region.samples.points.mean(axis=0)
    moved = rival.moving_from_fixed.points(middle) - own.moving_from_fixed.points(middle)
    if np.linalg.norm(moved) < _SLID_BACK * apart_mm:
        return Rival(offset=offset, tested=True, slid_back=True)
    common = (own.match.values >= 0.0) & (rival.match.values >= 0.0)
    if common.mean() < _LEAST_COMMON:
        return Rival(offset=offset, tested=False, why_not="too little is seen by both")
    return _judge(evidence, (own, rival), common, offset)


def _judge(
    evidence: Evidence, pair: tuple[Refined, Refined], common: NDArray[np.bool_], offset: int
) -> Rival:
    samples = evidence.region.samples.take(common)
    block, kind = evidence.region.block[common], evidence.kinds[common]
    moving, names = evidence.moving, evidence.names
    said = []
    for one in pair:
        match = measure_match(samples, moving.finest, one.moving_from_fixed, np.zeros(3))
        said.append(_kernels.gain_of_points(samples.fixed_bin, match.values, match.gain))
    ahead = said[0] - said[1]
    count = len(ahead)
    gain = float(ahead.mean())
    blocks = np.bincount(block, weights=ahead - gain)
    used = int(np.count_nonzero(np.bincount(block)))
    if used < _LEAST_BLOCKS:
        return Rival(offset=offset, tested=False, why_not="too little is seen by both")
    error = float(np.sqrt(np.sum(blocks**2) * used / (used - 1)) / count)
    by_kind = np.bincount(kind, weights=ahead, minlength=len(names)) / count
    return Rival(
        offset=offset,
        tested=True,
        gain=gain,
        error=error,
        share=gain / max(float(said[0].mean()), float(said[1].mean()), 1e-9),
        by_kind=dict(zip(names, map(float, by_kind), strict=True)),
    )
