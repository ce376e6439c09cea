"""Pairs of scans with a known placement, made from the made-up patients' CT and outlines.

The MR is made from label and brightness at each place, not by the package's own MR: tissue
brightness is drawn anew for each scan, so that no fixed contrast can be learnt by heart.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import ndimage
from scipy.spatial.transform import Rotation

from vertebloc import made_up
from vertebloc.alignment import Outlined, Trust, fit_landmarks, lay_on_ct
from vertebloc.alignment.lay import _along
from vertebloc.alignment.level_check import LevelAnswer, _shift_along
from vertebloc.alignment.refine import perturbed
from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform

ALIKE = "all alike"  #: a spine whose vertebrae nobody could tell apart


@dataclass(frozen=True)
class Scan:
    """What the second scanner sees."""

    volume: Volume
    mr_from_ct: Transform  #: the truth at the diseased vertebra


@cache
def ct_of(name: str) -> Outlined:
    """A made-up patient's CT at 1 x 1 x 1.5 mm, or a spine whose levels are all alike."""
    if name == ALIKE:
        return _alike()
    plain, _, twin = name.partition(" ")
    patient = made_up.patient_named(plain)
    if twin:
        patient = patient.mirrored()
    fine = made_up.default_grid(patient).lps_from_ijk.matrix
    coarse = fine @ np.diag([2.0, 2.0, 1.5, 1.0])
    coarse[:3, 3] += fine[:3, :3] @ [100.0, 80.0, 0.0]
    grid = Grid.from_matrix((156, 160, 126), coarse)
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(7))
    return Outlined(ct=ct, labels=made_up.label_map(patient, grid), level=patient.level)


def _alike() -> Outlined:
    """Body, disc, arch and spinous process repeated every 26 mm, a straight canal, no more."""
    grid = Grid.from_matrix(
        (140, 150, 170), [[1, 0, 0, -70], [0, 1, 0, -60], [0, 0, 1, -91], [0, 0, 0, 1.0]]
    )
    x, y, z = grid.centres().T.reshape(3, *grid.shape)
    number = np.floor((z + 13.0) / 26.0).astype(int)
    within = z + 13.0 - 26.0 * number
    body = (x / 18.0) ** 2 + (y / 15.0) ** 2 < 1.0
    bone = body & (within > 3.0) & (within < 23.0)
    canal = (x / 9.0) ** 2 + ((y - 23.0) / 8.0) ** 2 < 1.0
    ring = ((x / 13.0) ** 2 + ((y - 23.0) / 11.0) ** 2 < 1.0) & ~canal
    bone |= ring & (within > 8.0) & (within < 20.0)
    bone |= (np.abs(x) < 3.5) & (y > 32.0) & (y < 58.0) & (within > 4.0) & (within < 14.0)
    labels = np.zeros(grid.shape, dtype=np.uint8)
    labels[canal] = 1
    names = {1: (Contour(Structure.SAC),)}
    hu = np.full(grid.shape, 50.0)
    hu[body] = 90.0
    hu[canal] = 15.0
    hu[bone] = 300.0
    for level, count in zip(("T12", "T11", "T10", "T9", "T8"), range(-2, 3), strict=True):
        value = 4 + count
        labels[bone & (number == count)] = value
        names[value] = (Contour(Structure.VERTEBRA, Level(level)),)
    hu += np.random.default_rng(3).normal(0.0, 16.0, grid.shape)
    ct = Volume(grid, np.rint(hu).astype(np.int16))
    return Outlined(ct=ct, labels=LabelMap(Volume(grid, labels), names), level=Level("T10"))


def scan(fixed: Outlined, rng: np.random.Generator, *, plain: bool = False) -> Scan:
    """Scan the same patient elsewhere, with any contrast, field of view, noise and some bending.

    ``plain`` keeps the field of view large and the patient as he lay in the CT.
    """
    middle = middle_of(fixed)
    truth = _moved(rng, middle)
    width = int(rng.integers(9, 20)) if not plain else 18
    tall_mm = rng.uniform(80.0, 190.0) if not plain else 180.0
    deep_mm = rng.uniform(110.0, 150.0)
    pixel = rng.uniform(0.8, 1.2)
    thick = rng.uniform(3.0, 4.5)
    shape = (int(deep_mm / pixel), int(tall_mm / pixel), width)
    matrix = np.zeros((4, 4))
    matrix[1, 0], matrix[2, 1], matrix[0, 2], matrix[3, 3] = pixel, -pixel, -thick, 1.0
    place = truth.points(middle)[0] + rng.uniform(-1.0, 1.0, 3) * [6.0, 10.0, 0.12 * tall_mm]
    half = 0.5 * (np.array(shape) - 1.0)
    matrix[:3, 3] = place - matrix[:3, :3] @ half + [0.0, 15.0, 0.0]
    grid = Grid.from_matrix(shape, matrix)
    bend = 0.0 if plain else rng.uniform(-4.0, 4.0)
    signal = _signal(fixed, grid, truth, middle, np.deg2rad(bend) / 100.0, rng)
    noise = rng.uniform(8.0, 45.0) if not plain else 15.0
    both = rng.normal(0.0, noise, (2, *shape))
    return Scan(Volume(grid, np.hypot(signal + both[0], both[1]).astype(np.float32)), truth)


def middle_of(fixed: Outlined) -> np.ndarray:
    """Middle of the diseased vertebra, (3,), patient LPS of the CT."""
    values = fixed.labels.values_of(Contour(Structure.VERTEBRA, fixed.level))
    cells = np.argwhere(np.isin(fixed.labels.volume.values, values)).astype(float)
    return fixed.labels.volume.grid.lps_from_ijk.points(cells).mean(axis=0)


def _moved(rng: np.random.Generator, middle: np.ndarray) -> Transform:
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(np.deg2rad(rng.uniform(-8.0, 8.0, 3))).as_matrix()
    matrix[:3, 3] = middle + rng.uniform(-40.0, 40.0, 3) - matrix[:3, :3] @ middle
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _signal(fixed, grid, truth, middle, bend_per_mm, rng) -> np.ndarray:
    """Mean of three thin slices: a brightness for each label, dark where bone is dense."""
    labels = np.asarray(fixed.labels.volume.values)
    bright = rng.uniform(20.0, 800.0, int(labels.max()) + 1)
    marrow, fluid, cord = rng.uniform(200, 450), rng.uniform(600, 900), rng.uniform(250, 450)
    soft = rng.uniform(60.0, 250.0)
    for value, named in fixed.labels.names.items():
        kinds = {contour.structure for contour in named}
        if value >= len(bright):
            continue
        if kinds & {Structure.VERTEBRA, Structure.RIB}:
            bright[value] = marrow if Structure.TUMOUR not in kinds else rng.uniform(100, 800)
        elif Structure.CORD in kinds:
            bright[value] = cord
        elif Structure.SAC in kinds:
            bright[value] = fluid
        elif Structure.MUSCLE in kinds:
            bright[value] = soft
        elif Structure.LUNG in kinds:
            bright[value] = 15.0
    bright[0] = rng.uniform(100.0, 600.0)
    total = np.zeros(grid.shape)
    index = np.indices(grid.shape, dtype=float).reshape(3, -1).T
    for part in (-1 / 3, 0.0, 1 / 3):
        p = truth.inverse.points(grid.lps_from_ijk.points(index + np.array([0.0, 0.0, part])))
        p = _bent(p, middle, bend_per_mm)
        places = fixed.ct.grid.lps_from_ijk.inverse.points(p).T
        seen = ndimage.map_coordinates(labels, places, order=0, mode="constant")
        hu = ndimage.map_coordinates(
            fixed.ct.values, places, order=1, mode="constant", cval=-1000.0, output=float
        )
        value = bright[seen]
        value[hu > 380.0] = 45.0
        value[hu < -600.0] = 8.0
        total += value.reshape(grid.shape)
    i, j, _ = (np.linspace(-1.0, 1.0, n) for n in grid.shape)
    coil = 1.0 + rng.uniform(-0.3, 0.3) * i[:, None, None] + 0.15 * np.cos(2.0 * j)[None, :, None]
    return total / 3.0 * coil


def _bent(p: np.ndarray, middle: np.ndarray, per_mm: float) -> np.ndarray:
    """Turn each height about the left-right axis by so much per mm; none at the vertebra."""
    y, z = p[:, 1] - middle[1], p[:, 2] - middle[2]
    angle = per_mm * z
    aside = -0.5 * per_mm * z * z
    return np.column_stack((p[:, 0], middle[1] + y + aside, middle[2] + z + angle * y))


PATIENTS = (
    "lead", "lumbar", "both-pedicles", "arch", "before", "thirteen-ribs", "scoliosis",
    "lumbar twin", "scoliosis twin",
)  # fmt: skip


@dataclass(frozen=True)
class Trial:
    """What was answered for one pair whose start is right, or a level off."""

    name: str
    offset: int  #: by how many levels the start was off
    answer: Trust
    level: LevelAnswer
    off_mm: float  #: how far the diseased vertebra lies from where it is
    within_mm: float  #: what was said of that

    @property
    def is_silent_accept(self) -> bool:
        """Whether a placement elsewhere than on the vertebra was called good."""
        return self.answer is Trust.YES and self.off_mm > 5.0


def _clicked(middle: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Five places around the vertebra; drawn again if they happen to lie on a line."""
    while True:
        offsets = rng.uniform(-1.0, 1.0, (5, 3)) * [20.0, 25.0, 14.0]
        spread = np.linalg.svd(offsets - offsets.mean(axis=0), compute_uv=False)
        if spread[1] / np.sqrt(5.0) > 6.0:
            return middle + offsets


def run_trial(number: int, *, right: bool) -> Trial:
    """One pair: any patient, any second scan; every tenth has levels that are all alike.

    Half of them start from five clicked pairs of points, the others from a map.
    """
    rng = np.random.default_rng([20261128, number])
    name = ALIKE if number % 10 == 9 else PATIENTS[number % len(PATIENTS)]
    fixed = ct_of(name)
    middle = middle_of(fixed)
    second = scan(fixed, rng)
    canal = find_canal(ContourSet(fixed.labels))
    s_mm, apart_mm = _along(fixed, canal)
    offset = 0 if right else int(rng.choice([-1, 1]))
    start = second.mr_from_ct @ _shift_along(canal, s_mm, offset * apart_mm)
    if number % 2:
        clicked = _clicked(middle, rng)
        seen = start.points(clicked) + rng.normal(0.0, 1.2, (5, 3))
        laid = lay_on_ct(fixed, second.volume, fit_landmarks(clicked, seen), rng)
    else:
        moved = perturbed(start, middle, rng.uniform(-3, 3, 3), rng.uniform(-3, 3, 3))
        laid = lay_on_ct(fixed, second.volume, moved, rng)
    apart = laid.moving_from_fixed.points(middle) - second.mr_from_ct.points(middle)
    return Trial(
        name=name,
        offset=offset,
        answer=laid.trust,
        level=laid.level_check.answer,
        off_mm=float(np.linalg.norm(apart)),
        within_mm=laid.within_mm,
    )
