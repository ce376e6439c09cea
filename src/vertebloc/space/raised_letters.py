"""Tags that carry a side, a level and a length in raised letters, to be fused to a solid."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import manifold3d
import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space.sections import Solid, united

#: Edge of a tag and of the cube, mm: measured with a ruler, a wrong unit or scale is noticed.
TAG_MM = 20.0
TAG_THICK_MM = 2.4
RAISED_MM = 0.8  #: several layers of a printer's usual 0.2 mm (assumed)
STROKE_MM = 1.0  #: two and more widths of a printer's usual 0.4 mm nozzle (assumed)
STEM_RADIUS_MM = 1.6
_SUNK_MM = 0.8

#: Strokes on a field of 4 by 6, drawn by us: corner to corner, y upwards.
_STROKES: dict[str, tuple[tuple[tuple[float, float], ...], ...]] = {
    "L": (((0, 6), (0, 0), (4, 0)),),
    "E": (((4, 6), (0, 6), (0, 0), (4, 0)), ((0, 3), (3, 3))),
    "F": (((4, 6), (0, 6), (0, 0)), ((0, 3), (3, 3))),
    "T": (((0, 6), (4, 6)), ((2, 6), (2, 0))),
    "R": (((0, 0), (0, 6), (3, 6), (4, 5), (4, 4), (3, 3), (0, 3)), ((2, 3), (4, 0))),
    "I": (((2, 0), (2, 6)), ((1, 6), (3, 6)), ((1, 0), (3, 0))),
    "G": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0), (3, 0), (4, 1), (4, 3), (2, 3)),),
    "H": (((0, 0), (0, 6)), ((4, 0), (4, 6)), ((0, 3), (4, 3))),
    "C": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0), (3, 0), (4, 1)),),
    "S": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 4), (1, 3), (3, 3), (4, 2), (4, 1), (3, 0),
           (1, 0), (0, 1)),),
    "m": (((0, 0), (0, 4), (1, 4), (2, 3), (2, 0)), ((2, 3), (3, 4), (4, 3), (4, 0))),
    "?": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (2, 2.6), (2, 2)), ((2, 0), (2, 0.3))),
    "0": (((1, 0), (0, 1), (0, 5), (1, 6), (3, 6), (4, 5), (4, 1), (3, 0), (1, 0)),),
    "1": (((0.6, 4.6), (2, 6), (2, 0)), ((0.6, 0), (3.4, 0))),
    "2": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (0, 0), (4, 0)),),
    "3": (((0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (3, 3), (4, 2), (4, 1), (3, 0), (1, 0),
           (0, 1)), ((1.6, 3), (3, 3))),
    "4": (((3, 0), (3, 6), (0, 2), (4, 2)),),
    "5": (((4, 6), (0, 6), (0, 3.4), (3, 3.4), (4, 2.4), (4, 1), (3, 0), (1, 0), (0, 1)),),
    "6": (((4, 5), (3, 6), (1, 6), (0, 5), (0, 1), (1, 0), (3, 0), (4, 1), (4, 2), (3, 3),
           (0, 3)),),
    "7": (((0, 6), (4, 6), (1.4, 0)),),
    "8": (((1, 3), (0, 4), (0, 5), (1, 6), (3, 6), (4, 5), (4, 4), (3, 3), (1, 3), (0, 2),
           (0, 1), (1, 0), (3, 0), (4, 1), (4, 2), (3, 3)),),
    "9": (((0, 1), (1, 0), (3, 0), (4, 1), (4, 5), (3, 6), (1, 6), (0, 5), (0, 4), (1, 3),
           (4, 3)),),
    " ": (),
}  # fmt: skip


def tag_solid(rows: Sequence[str]) -> Solid:
    """A square plate with the same raised words on both faces, each readable from its side.

    Parameters
    ----------
    rows : sequence of str
        Words from top to bottom; letters that ``_STROKES`` knows.

    Returns
    -------
    Solid
        Centre at 0; x to the reader's right, y up, z towards the reader of the front. Edges of
        exactly ``TAG_MM``.

    Raises
    ------
    InputError
        If a letter is not known or the words do not fit.
    """
    plate = manifold3d.Manifold.cube((TAG_MM, TAG_MM, TAG_THICK_MM), True)
    words = _words(rows, TAG_MM - 2.4)
    root = 0.2  # letters begin inside the plate, so that they grow together with it
    raised = words.extrude(RAISED_MM + root).translate((0.0, 0.0, TAG_THICK_MM / 2.0 - root))
    return united([plate, raised, raised.rotate((0.0, 180.0, 0.0))])


def scale_cube() -> Solid:
    """A cube with edges of exactly ``TAG_MM`` and its sunk length, L and R at its sides.

    Returns
    -------
    Solid
        Centre at 0; x to the left of the patient, y to the back, z to the head.
    """
    cube = manifold3d.Manifold.cube((TAG_MM,) * 3, True)
    half = TAG_MM / 2.0
    #: of each face: the reader's right and up, and outward
    faces = (
        (("20", "mm"), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
        (("20", "mm"), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, -1.0, 0.0)),
        (("L",), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)),
        (("R",), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0)),
    )
    for rows, right, up, out in faces:
        sunk = _words(rows, TAG_MM - 6.0).extrude(_SUNK_MM + 1.0)
        out_of = np.asarray(out) * (half - _SUNK_MM)
        cube = cube - sunk.transform(_placing(right, up, out, out_of))
    return cube


def placed_tag(
    tag: Solid, *, right: ArrayLike, up: ArrayLike, centre: ArrayLike, stem: ArrayLike
) -> Solid:
    """A tag where it belongs, with a round stem to the solid that it marks.

    Parameters
    ----------
    tag : Solid
        From ``tag_solid``.
    right, up : (3,) float64
        The reader's right and up, unit vectors at a right angle, patient LPS.
    centre : (3,) float64, mm, patient LPS
        Middle of the tag.
    stem : (3,) float64, mm, patient LPS
        Where the stem ends, inside the solid.

    Returns
    -------
    Solid
        Tag and stem as one.

    Raises
    ------
    InputError
        If right and up are no unit vectors at a right angle.
    """
    r, u = np.asarray(right, dtype=np.float64), np.asarray(up, dtype=np.float64)
    if abs(r @ r - 1.0) > 1e-9 or abs(u @ u - 1.0) > 1e-9 or abs(r @ u) > 1e-9:
        raise InputError(f"right and up must be unit vectors at a right angle, got {r} and {u}")
    middle, end = np.asarray(centre, dtype=np.float64), np.asarray(stem, dtype=np.float64)
    plate = tag.transform(_placing(r, u, np.cross(r, u), middle))
    to_end = (end - middle) / np.linalg.norm(end - middle)
    start = middle + to_end * (TAG_MM / 2.0 - 1.0)
    return united([plate, _rod(start, end)])


def _rod(start: NDArray[np.float64], end: NDArray[np.float64]) -> Solid:
    along = end - start
    length = float(np.linalg.norm(along))
    z = along / length
    x = np.cross(z, np.eye(3)[int(np.argmin(np.abs(z)))])
    x /= np.linalg.norm(x)
    rod = manifold3d.Manifold.cylinder(length, STEM_RADIUS_MM, STEM_RADIUS_MM, 24)
    return rod.transform(_placing(x, np.cross(z, x), z, start))


def _placing(
    right: ArrayLike, up: ArrayLike, out: ArrayLike, at: ArrayLike
) -> NDArray[np.float64]:
    return np.ascontiguousarray(np.column_stack((right, up, out, at)), dtype=np.float64)


def _words(rows: Sequence[str], wide_mm: float) -> manifold3d.CrossSection:
    """Words in rows about 0, as large as fits into a square."""
    pitch_x, pitch_y = 6.0, 8.4  # a letter's field with its gap
    columns = max(len(row) for row in rows)
    unit = min(wide_mm / (pitch_x * columns - 2.0), wide_mm / (pitch_y * len(rows) - 2.4))
    if unit * 2.0 < STROKE_MM:
        raise InputError(f"{list(rows)} is too long for a tag of {TAG_MM:g} mm")
    parts = []
    for row, word in enumerate(rows):
        left = -(pitch_x * len(word) - 2.0) / 2.0
        low = (pitch_y * len(rows) - 2.4) / 2.0 - 6.0 - row * pitch_y
        for place, letter in enumerate(word):
            if letter not in _STROKES:
                raise InputError(f"{letter!r} in {word!r} has no shape to be raised")
            at = np.array([left + place * pitch_x, low])
            for stroke in _STROKES[letter]:
                corners = (np.asarray(stroke, dtype=np.float64) + at) * unit
                parts += [_line(one, other) for one, other in itertools.pairwise(corners)]
    return manifold3d.CrossSection.batch_boolean(parts, manifold3d.OpType.Add)


def _line(one: NDArray[np.float64], other: NDArray[np.float64]) -> manifold3d.CrossSection:
    """A stroke with round ends."""
    dot = manifold3d.CrossSection.circle(STROKE_MM / 2.0, 12)
    return manifold3d.CrossSection.batch_hull(
        [dot.translate(tuple(one)), dot.translate(tuple(other))]
    )
