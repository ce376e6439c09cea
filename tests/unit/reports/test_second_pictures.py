"""Slices of both scans: a marked place is seen where a person would look for it."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from vertebloc.reports import second_pictures as pictures
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform

PLACE = np.array([12.0, 30.0, 40.0])  #: mm, patient LPS: left, back, head


def block(at: np.ndarray, inside: float, outside: float) -> Volume:
    """A bright cube of 6 mm."""
    matrix = np.diag([1.0, 1.0, 1.0, 1.0])
    matrix[:3, 3] = -80.0
    grid = Grid.from_matrix((161, 161, 161), matrix)
    values = np.full(grid.shape, outside, dtype=np.float32)
    low = np.rint(grid.lps_from_ijk.inverse.points(at - 3.0)[0]).astype(int)
    values[tuple(slice(n, n + 7) for n in low)] = inside
    return Volume(grid, values)


def brightest_mm(png: bytes) -> np.ndarray:
    """Middle of what is bright, mm to the right of and above the picture's middle."""
    grey = np.asarray(Image.open(io.BytesIO(png)).convert("L"), dtype=float)
    rows, columns = np.nonzero(grey > 128)
    height, width = grey.shape
    return (
        np.array([(columns.mean() + 0.5 - width / 2), (height / 2 - rows.mean() - 0.5)])
        * pictures.PIXEL_MM
    )


@pytest.mark.parametrize(
    ("plane", "depth", "seen"),
    [
        # from the left, head up: back is to the right, head is up, left is towards the viewer
        ("side", 12.0, (30.0, 40.0)),
        # from the feet, back up: the patient's left is at the left, head is away from the viewer
        ("across", -40.0, (-12.0, 30.0)),
    ],
)
def test_a_marked_place_is_where_a_person_would_see_it(plane, depth, seen) -> None:
    planes = pictures.planes_at([0.0, 0.0, 0.0])
    png = pictures.draw_ct(block(PLACE, 1000.0, -1000.0), planes[plane], depth)
    assert brightest_mm(png) == pytest.approx(seen, abs=0.6)


def test_the_second_scan_is_drawn_where_it_lies_on_the_ct() -> None:
    """By hand: what lies 10 mm to the left and 5 mm up in the other scan is carried back."""
    matrix = np.eye(4)
    matrix[:3, 3] = [10.0, 0.0, 5.0]
    lies = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    other = block(PLACE + np.array([10.0, 0.0, 5.0]), 500.0, 0.0)
    plane = pictures.planes_at([0.0, 0.0, 0.0])["side"]
    png = pictures.draw_second(other, lies, plane, 12.0, (0.0, 500.0))
    assert brightest_mm(png) == pytest.approx((30.0, 40.0), abs=0.6)


def test_edges_run_along_the_cube() -> None:
    plane = pictures.planes_at([0.0, 0.0, 0.0])["side"]
    png = pictures.draw_edges(block(PLACE, 1000.0, 0.0), plane, 12.0)
    image = np.asarray(Image.open(io.BytesIO(png)))
    rows, columns = np.nonzero(image[..., 3])
    height, width = image.shape[:2]
    x = (columns + 0.5 - width / 2) * pictures.PIXEL_MM
    y = (height / 2 - rows - 0.5) * pictures.PIXEL_MM
    off = np.maximum(np.abs(x - 30.0), np.abs(y - 40.0))
    assert len(rows) > 40
    assert np.median(off) == pytest.approx(3.5, abs=0.5) and off.max() < 5.5
