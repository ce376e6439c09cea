"""The made-up patient's T2-like MR: thick sagittal slices, lying elsewhere than the CT."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import erfc

from vertebloc.anatomy.structures import Structure
from vertebloc.made_up.patients import MadeUpPatient, mirror_of_space
from vertebloc.made_up.sampling import sample_solid
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.solids import Solid
from vertebloc.space.transforms import Transform

#: How the patient lies in the MR against the CT: turned about x, y, z by these angles (z last),
#: then moved; known to everybody who tests laying an MR on a CT.
MR_TURN_DEG, MR_MOVED_MM = (4.0, -3.0, 2.5), (11.0, -7.0, 16.0)

SLICE_MM, PIXEL_MM = 4.0, 0.8  #: invented, as a thick sagittal stack often is
_SLICES, _PIXELS = 20, 240
_PARTS = 4  #: a thick slice is the mean of this many thin ones
NOISE = 18.0  #: standard deviation of either channel of the noise, in the scanner's own units
_BLUR_MM = 0.5
_BAND_MM = 2.0
_COIL_FALLS_MM = 260.0  #: a coil under the back: brightness falls to 1/e over this depth

#: Brightness (arbitrary units, invented) of the shell and the core, and the shell's thickness.
Look = tuple[float, float, float]
_FAT: Look = (600.0, 600.0, 0.0)
_BONE: Look = (35.0, 330.0, 1.0)
_LOOKS: dict[Structure, Look] = {
    Structure.SKIN: (250.0, 250.0, 0.0),
    Structure.LUNG: (15.0, 15.0, 0.0),
    Structure.MUSCLE: (150.0, 150.0, 0.0),
    Structure.AORTA: (180.0, 25.0, 0.8),  # flowing blood gives no signal
    Structure.AZYGOS: (60.0, 60.0, 0.0),
    Structure.OESOPHAGUS: (230.0, 230.0, 0.0),
    Structure.INFERIOR_CAVA: (60.0, 60.0, 0.0),
    Structure.SEGMENTAL_VESSEL: (60.0, 60.0, 0.0),
    Structure.ROOT: (400.0, 400.0, 0.0),
    Structure.DISC: (150.0, 520.0, 2.5),
    Structure.RIB: (35.0, 300.0, 0.9),
    Structure.VERTEBRA: _BONE,
    Structure.SAC: (900.0, 900.0, 0.0),
    Structure.CORD: (380.0, 380.0, 0.0),
    Structure.TUMOUR: (700.0, 700.0, 0.0),
    Structure.TRACT: (450.0, 450.0, 0.0),
}
_UNNAMED_BELOW: dict[str, Look] = {
    "outline": _FAT,
    "wall": (170.0, 170.0, 0.0),
    "mediastinal fat": _FAT,
    "heart": (120.0, 120.0, 0.0),
    "abdomen": (260.0, 260.0, 0.0),
}
_UNNAMED_BETWEEN: dict[str, Look] = {
    "canal": _FAT,
    "end discs": (150.0, 520.0, 2.5),
    "neighbouring vertebrae": _BONE,
}
_SOFT = (Structure.SKIN, Structure.LUNG, Structure.MUSCLE)


def mr_from_ct(patient: MadeUpPatient) -> Transform:
    """Where a point of the patient in the CT lies in the MR.

    Parameters
    ----------
    patient : MadeUpPatient
        Whose; a twin's is the mirror image of the other's.

    Returns
    -------
    Transform
        Rigid, patient LPS of the CT to patient LPS of the MR.
    """
    x, y, z = np.deg2rad(MR_TURN_DEG)
    about_x = [[1, 0, 0], [0, np.cos(x), -np.sin(x)], [0, np.sin(x), np.cos(x)]]
    about_y = [[np.cos(y), 0, np.sin(y)], [0, 1, 0], [-np.sin(y), 0, np.cos(y)]]
    about_z = [[np.cos(z), -np.sin(z), 0], [np.sin(z), np.cos(z), 0], [0, 0, 1]]
    matrix = np.eye(4)
    matrix[:3, :3] = np.array(about_z) @ np.array(about_y) @ np.array(about_x)
    matrix[:3, 3] = MR_MOVED_MM
    moved = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    if patient.twin_of is None:
        return moved
    mirror = mirror_of_space()
    return mirror @ moved @ mirror


def mr_grid(patient: MadeUpPatient) -> Grid:
    """240 x 240 pixels of 0.8 mm in 20 sagittal slices 4 mm apart, about the diseased vertebra.

    Parameters
    ----------
    patient : MadeUpPatient
        Whose; the stack is centred on the diseased body's neighbourhood and 80 mm wide: the
        spine with the inner ends of the ribs, as in daily work.

    Returns
    -------
    Grid
        In the patient LPS of the MR. Rows run to the back, columns to the feet, slices from
        the patient's left to the right; a twin's is the same stack mirrored.
    """
    if patient.twin_of is not None:
        grid = mr_grid(patient.twin_of)
        matrix = mirror_of_space().matrix @ grid.lps_from_ijk.matrix @ _reversed_slices(grid)
        return Grid.from_matrix(grid.shape, matrix)
    contour = next(c for c in patient.of(Structure.VERTEBRA) if c.level == patient.level)
    low, high = patient.solids[contour].bounds_mm()
    middle = mr_from_ct(patient).points(0.5 * (low + high))[0]
    matrix = np.zeros((4, 4))
    matrix[1, 0], matrix[2, 1], matrix[0, 2], matrix[3, 3] = PIXEL_MM, -PIXEL_MM, -SLICE_MM, 1.0
    half = 0.5 * (_PIXELS - 1) * PIXEL_MM
    # a little off the middle, as a hand places a stack; whole tenths of a mm in the header
    start = middle + np.array([0.5 * (_SLICES - 1) * SLICE_MM + 1.3, -half - 6.0, half + 4.0])
    matrix[:3, 3] = np.round(start, 1)
    return Grid.from_matrix((_PIXELS, _PIXELS, _SLICES), matrix)


def mr_volume(patient: MadeUpPatient, grid: Grid, rng: Generator) -> Volume:
    """The T2-like MR: own contrast, thick slices, an uneven coil, noise.

    Parameters
    ----------
    patient : MadeUpPatient
        Who is scanned.
    grid : Grid
        Where the voxels lie, in the patient LPS of the MR; slices along k are thick.
    rng : numpy.random.Generator
        Source of the noise: the same state gives the same bytes. A twin's noise is mirrored too.

    Returns
    -------
    Volume
        int16, the scanner's own units: 0 is no signal.

    Notes
    -----
    Fluid and tumour are bright, the cord grey, cortical bone, lung and flowing blood dark. Each
    thick slice is the mean of four thin ones; brightness falls with the distance from the back
    and waves a little; noise is that of a magnitude image. No chemical shift, no ghosts, no
    distortion: a real MR is bent by some tenths of a mm to some mm, this one is not.
    """
    if patient.twin_of is not None:
        matrix = mirror_of_space().matrix @ grid.lps_from_ijk.matrix @ _reversed_slices(grid)
        seen = mr_volume(patient.twin_of, Grid.from_matrix(grid.shape, matrix), rng)
        return Volume(grid, np.ascontiguousarray(seen.values[:, :, ::-1]))
    signal = _thick(_signal(patient, _thin_grid(patient, grid)))
    signal *= _coil(patient, grid)
    noise = rng.standard_normal((2, *grid.shape), dtype=np.float32) * np.float32(NOISE)
    seen_values = np.hypot(signal + noise[0], noise[1])
    return Volume(grid, np.rint(seen_values).astype(np.int16))


def _reversed_slices(grid: Grid) -> NDArray[np.float64]:
    flip = np.diag([1.0, 1.0, -1.0, 1.0])
    flip[2, 3] = grid.shape[2] - 1.0
    return flip


def _thin_grid(patient: MadeUpPatient, grid: Grid) -> Grid:
    """The thin slices, as they lie in the patient of the CT, where the solids are."""
    thin = np.diag([1.0, 1.0, 1.0 / _PARTS, 1.0])
    thin[2, 3] = 0.5 / _PARTS - 0.5
    matrix = mr_from_ct(patient).inverse.matrix @ grid.lps_from_ijk.matrix @ thin
    ni, nj, nk = grid.shape
    return Grid.from_matrix((ni, nj, nk * _PARTS), matrix)


def _thick(thin: NDArray[np.float32]) -> NDArray[np.float32]:
    ni, nj, nk = thin.shape
    parts = thin.reshape(ni, nj, nk // _PARTS, _PARTS)
    return np.asarray(parts.mean(axis=3, dtype=np.float32))


def _coil(patient: MadeUpPatient, grid: Grid) -> NDArray[np.float32]:
    """How brightly each place is seen: smooth, about 0.5 to 1.2 within the stack.

    The coil lies still: the same place is as bright in every grid.
    """
    stack = mr_grid(patient)
    unit = 2.0 / (np.array(stack.shape) - 1.0)
    to_stack = stack.lps_from_ijk.inverse.matrix @ grid.lps_from_ijk.matrix
    index = np.indices(grid.shape, dtype=np.float32).reshape(3, -1)
    i, j, k = unit[:, None] * (to_stack[:3, :3] @ index + to_stack[:3, 3:]) - 1.0
    deep = np.exp((i - 1.0) * 0.5 * _PIXELS * PIXEL_MM / _COIL_FALLS_MM)
    bright = deep * (1.0 + 0.12 * np.cos(1.9 * i) * np.cos(2.3 * j)) * (1.0 + 0.05 * k)
    return np.asarray(bright.reshape(grid.shape), dtype=np.float32)


def _signal(patient: MadeUpPatient, grid: Grid) -> NDArray[np.float32]:
    values = np.zeros(grid.shape, dtype=np.float32)
    for solid, look in _layers(patient):
        _paint(values, solid, grid, look)
    return values


def _layers(patient: MadeUpPatient) -> list[tuple[Solid, Look]]:
    """Every solid with its look, from below to above, as in the CT."""
    unnamed = patient.unnamed
    named = [(c.structure, solid) for c, solid in patient.solids.items()]
    chalk: Look = (40.0, 40.0, 0.0)
    rings = [(unnamed[name], chalk) for name in ("calcified rings",) if name in unnamed]
    return [
        *((unnamed[name], look) for name, look in _UNNAMED_BELOW.items()),
        *((solid, _LOOKS[kind]) for kind, solid in named if kind in _SOFT),
        *((unnamed[name], look) for name, look in _UNNAMED_BETWEEN.items()),
        *((solid, _LOOKS[kind]) for kind, solid in named if kind not in (*_SOFT, Structure.TRACT)),
        *rings,
        *((solid, _LOOKS[kind]) for kind, solid in named if kind is Structure.TRACT),
    ]


def _paint(values: NDArray[np.float32], solid: Solid, grid: Grid, look: Look) -> None:
    shell, core, thick_mm = look
    scale = np.float32(1.0 / (np.sqrt(2.0) * _BLUR_MM))
    band_mm = _BAND_MM + thick_mm
    for block in sample_solid(solid, grid, band_mm):
        if block.distance_mm is None:
            values[block.box] = core
            continue
        share = np.float32(0.5) * erfc(block.distance_mm * scale)
        into_core = np.float32(0.5) * erfc((block.distance_mm + np.float32(thick_mm)) * scale)
        own = np.float32(shell) + np.float32(core - shell) * into_core
        below = values[block.box]
        below += share * (own - below)
