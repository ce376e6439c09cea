"""The made-up patient's CT and label map."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import erfc

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.made_up.patients import MadeUpPatient, mirror_of_space
from vertebloc.made_up.sampling import sample_solid
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.solids import Solid

#: depth under the surface, (n,) mm -> Hounsfield units, (n,)
Tissue = Callable[[NDArray[np.float32]], NDArray[np.float32]]

NOISE_HU = 16.0  #: standard deviation of the noise
BLUR_MM = 0.55  #: standard deviation of the blur of an edge
_BAND_MM = 2.1  #: edges and cortex end within this
_THIN_BAND_MM = 0.01  #: enough to keep the sign
_AIR_HU = -1000.0


def default_grid(patient: MadeUpPatient) -> Grid:
    """512 x 512 x 190 voxels of 0.5 x 0.5 x 1 mm, symmetrical about the midsagittal plane.

    Parameters
    ----------
    patient : MadeUpPatient
        Whose grid; all made-up patients so far lie around the origin.

    Returns
    -------
    Grid
        Axial slices down from the first outlined vertebra (lead: from above T7 to below T12);
        the chest's sides lie outside the field of view.
    """
    _, high = patient.of(Structure.VERTEBRA)[_first_vertebra(patient)].bounds_mm()
    top_mm = np.ceil(high[2])
    matrix = np.diag([0.5, 0.5, 1.0, 1.0])
    aside, back = patient.view_moved_mm
    matrix[:3, 3] = [aside - 127.75, back - 164.75, top_mm - 189.0]
    return Grid.from_matrix((512, 512, 190), matrix)


def _first_vertebra(patient: MadeUpPatient) -> Contour:
    return min(patient.of(Structure.VERTEBRA), key=lambda c: c.level or patient.level)


def hounsfield_volume(patient: MadeUpPatient, grid: Grid, rng: Generator) -> Volume:
    """The CT: tissues from below to above, blurred edges, noise.

    Parameters
    ----------
    patient : MadeUpPatient
        Who is scanned.
    grid : Grid
        Where the voxels lie; any affine.
    rng : numpy.random.Generator
        Source of the noise: the same state gives the same bytes. A twin's noise is mirrored too.

    Returns
    -------
    Volume
        int16 Hounsfield units.

    Notes
    -----
    A voxel takes the share erfc(d / (sqrt(2) blur)) / 2 of a tissue whose surface lies at
    signed distance d: exact for a flat surface and a Gaussian blur, not at sharp edges. No
    scatter, beam hardening, movement or metal: cleaner than any real CT.
    """
    if patient.twin_of is not None:
        seen = hounsfield_volume(patient.twin_of, _mirrored_grid(grid), rng)
        return Volume(grid, np.ascontiguousarray(seen.values[::-1]))
    values = np.full(grid.shape, _AIR_HU, dtype=np.float32)
    for solid, tissue in _tissues(patient):
        _paint(values, solid, grid, tissue)
    whole = np.empty(grid.shape, dtype=np.int16)
    for i in range(grid.shape[0]):  # slab by slab: a whole volume of noise is not needed at once
        noise = rng.standard_normal(grid.shape[1:], dtype=np.float32)
        whole[i] = np.rint(values[i] + np.float32(NOISE_HU) * noise)
    return Volume(grid, whole)


def _paint(values: NDArray[np.float32], solid: Solid, grid: Grid, tissue: Tissue) -> None:
    deep = tissue(np.full(1, _BAND_MM, dtype=np.float32))[0]
    scale = np.float32(1.0 / (np.sqrt(2.0) * BLUR_MM))
    for block in sample_solid(solid, grid, _BAND_MM):
        if block.distance_mm is None:
            values[block.box] = deep
            continue
        share = np.float32(0.5) * erfc(block.distance_mm * scale)
        below = values[block.box]
        below += share * (tissue(-block.distance_mm) - below)


def _even(hu: float) -> Tissue:
    return lambda depth: np.full(depth.shape, hu, dtype=np.float32)


def _layered(shell_hu: float, core_hu: float, shell_mm: float, fade_mm: float) -> Tissue:
    def tissue(depth: NDArray[np.float32]) -> NDArray[np.float32]:
        into_core = np.clip((depth - np.float32(shell_mm)) / np.float32(fade_mm), 0.0, 1.0)
        return np.asarray(shell_hu + (core_hu - shell_hu) * into_core, dtype=np.float32)

    return tissue


_BONE = _layered(780.0, 190.0, 0.9, 1.2)
_TISSUES: dict[Structure, Tissue] = {
    Structure.SKIN: _even(40.0),
    Structure.LUNG: _even(-830.0),
    Structure.MUSCLE: _even(55.0),
    Structure.AORTA: _layered(60.0, 190.0, 0.6, 1.0),
    Structure.AZYGOS: _even(110.0),
    Structure.OESOPHAGUS: _even(35.0),
    Structure.INFERIOR_CAVA: _even(115.0),
    Structure.SEGMENTAL_VESSEL: _even(110.0),
    Structure.ROOT: _even(30.0),
    Structure.DISC: _layered(95.0, 70.0, 1.0, 1.5),
    Structure.RIB: _layered(720.0, 150.0, 0.7, 1.0),
    Structure.VERTEBRA: _BONE,
    Structure.SAC: _even(12.0),
    Structure.CORD: _even(42.0),
    Structure.TUMOUR: _even(82.0),
    Structure.TRACT: _even(25.0),
}


#: invented, after the look of an older person's chest with contrast in the vessels
_THIN_BONE = _layered(560.0, 115.0, 0.5, 0.9)
_BRIGHT_DISCS: dict[Structure, Tissue] = {
    **_TISSUES,
    Structure.AORTA: _layered(60.0, 390.0, 0.6, 1.0),
    Structure.AZYGOS: _even(170.0),
    Structure.INFERIOR_CAVA: _even(190.0),
    Structure.SEGMENTAL_VESSEL: _even(200.0),
    Structure.DISC: _layered(185.0, 215.0, 1.0, 1.5),
    Structure.RIB: _layered(560.0, 105.0, 0.5, 0.8),
    Structure.VERTEBRA: _THIN_BONE,
}


def _tissues(patient: MadeUpPatient) -> list[tuple[Solid, Tissue]]:
    """Every solid with its tissue, from below to above."""
    unnamed, bright = patient.unnamed, patient.bright_discs
    tissues, bone = (_BRIGHT_DISCS, _THIN_BONE) if bright else (_TISSUES, _BONE)
    below: list[tuple[Solid, Tissue]] = [
        (unnamed["outline"], _even(-95.0)),
        (unnamed["wall"], _even(45.0)),
        (unnamed["mediastinal fat"], _even(-90.0)),
        (unnamed["heart"], _even(330.0 if bright else 90.0)),
        (unnamed["abdomen"], _even(58.0)),
    ]
    between: list[tuple[Solid, Tissue]] = [
        (unnamed["canal"], _even(-70.0)),
        (unnamed["end discs"], _even(205.0 if bright else 75.0)),
        (unnamed["neighbouring vertebrae"], bone),
    ]
    named = [(c.structure, (solid, tissues[c.structure])) for c, solid in patient.solids.items()]
    soft = (Structure.SKIN, Structure.LUNG, Structure.MUSCLE)
    return [
        *below,
        *(pair for structure, pair in named if structure in soft),
        *between,
        *(pair for structure, pair in named if structure not in (*soft, Structure.TRACT)),
        *((unnamed[name], _even(420.0)) for name in ("calcified rings",) if name in unnamed),
        *(pair for structure, pair in named if structure is Structure.TRACT),
    ]


_BRANCHES = (Structure.ROOT, Structure.SEGMENTAL_VESSEL)
_BEFORE_THE_SPINE = (Structure.OESOPHAGUS, Structure.INFERIOR_CAVA)
_MOST = 4096  #: numbers of labels and of their combinations that can be told apart

#: Structures that lie within others: those others' voxels stay what they were as well.
_ALSO: dict[Structure, tuple[Structure, ...]] = {
    Structure.ROOT: (Structure.MUSCLE, Structure.LUNG),
    Structure.SEGMENTAL_VESSEL: (Structure.MUSCLE, Structure.LUNG),
    Structure.OESOPHAGUS: (Structure.LUNG,),
    Structure.INFERIOR_CAVA: (Structure.LUNG,),
    Structure.CORD: (Structure.SAC,),
    Structure.TUMOUR: (Structure.VERTEBRA, Structure.RIB, *_BRANCHES),
    Structure.TRACT: (Structure.VERTEBRA, Structure.RIB, Structure.TUMOUR),
}


def label_map(patient: MadeUpPatient, grid: Grid) -> LabelMap:
    """The outlines as labels: a voxel belongs to a structure if its centre lies within.

    Parameters
    ----------
    patient : MadeUpPatient
        Whose outlines.
    grid : Grid
        Where the voxels lie; any affine.

    Returns
    -------
    LabelMap
        uint16 or uint8 labels. Where structures meet, the later in ``patient.solids`` wins: skin,
        lungs, muscles, oesophagus, segmental vessels, roots, great vessels, discs, ribs,
        vertebrae, sac, cord, tumour, tract. Cord is also sac; roots and small vessels in muscle
        or lung are also those; tumour within bone, root or vessel is also that; tract within
        bone or tumour is also those.
    """
    if patient.twin_of is not None:
        seen = label_map(patient.twin_of, _mirrored_grid(grid))
        names = {value: tuple(map(_other_side, named)) for value, named in seen.names.items()}
        return LabelMap(Volume(grid, np.ascontiguousarray(seen.volume.values[::-1])), names)
    labels = np.zeros(grid.shape, dtype=np.uint16)
    names = {value: (contour,) for value, contour in enumerate(patient.solids, start=1)}
    for value, (contour, solid) in enumerate(patient.solids.items(), start=1):
        renamed = _renaming(value, contour, names)
        for block in sample_solid(solid, grid, _THIN_BAND_MM):
            here = labels[block.box]
            if block.distance_mm is None:
                here[...] = renamed[here]
            else:
                inside = block.distance_mm < 0.0
                here[inside] = renamed[here[inside]]
    return _consecutive(labels, names, grid)


def _consecutive(
    labels: NDArray[np.uint16], names: dict[int, tuple[Contour, ...]], grid: Grid
) -> LabelMap:
    """Leave out combinations that do not occur; number the others without gaps."""
    occurs = np.bincount(labels.ravel(), minlength=_MOST) > 0
    kept = [value for value, named in names.items() if len(named) == 1 or occurs[value]]
    smallest = np.uint8 if len(kept) < 256 else np.uint16
    renumbered = np.zeros(_MOST, dtype=smallest)
    renumbered[kept] = np.arange(1, len(kept) + 1)
    numbered = {int(renumbered[value]): names[value] for value in kept}
    return LabelMap(Volume(grid, renumbered[labels]), numbered)


def _renaming(
    value: int, contour: Contour, names: dict[int, tuple[Contour, ...]]
) -> NDArray[np.uint16]:
    """What each label becomes where the contour lies on it; new names are added."""
    renamed = np.full(_MOST, value, dtype=np.uint16)
    for below, named in list(names.items()):
        if named[0].structure in _ALSO.get(contour.structure, ()):
            new = max(names) + 1
            renamed[below] = new
            first = contour.structure in (Structure.CORD, *_BRANCHES, *_BEFORE_THE_SPINE)
            names[new] = (contour, *named) if first else (*named, contour)
    return renamed


def _other_side(contour: Contour) -> Contour:
    side = contour.side.other if contour.side else None
    return Contour(contour.structure, contour.level, side, contour.part)


def _mirrored_grid(grid: Grid) -> Grid:
    """Grid whose reflection, read backwards along i, is the given one."""
    flip = np.diag([-1.0, 1.0, 1.0, 1.0])
    flip[0, 3] = grid.shape[0] - 1.0
    matrix = mirror_of_space().matrix @ grid.lps_from_ijk.matrix @ flip
    return Grid.from_matrix(grid.shape, matrix)
