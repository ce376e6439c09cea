"""Oddities of real scanners and planning systems, on package-carried files and made ones."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
from matplotlib.path import Path as Outline
from pydicom.data import get_testdata_file

from vertebloc.exchange.dicom_read import read_dicom_folder
from vertebloc.exchange.dicom_rtstruct import read_structure_set
from vertebloc.exchange.masks import split_masks
from vertebloc.space.grids import Grid


def test_a_packaged_structure_set_is_filled_as_matplotlib_fills_it() -> None:
    """pydicom carries rtstruct.dcm: one outlined body on three planes, two of points only.

    Outside: matplotlib's test of a point in a polygon, slice by slice.
    """
    path = Path(str(get_testdata_file("rtstruct.dcm")))
    ds = pydicom.dcmread(path, force=True)
    matrix = np.diag([7.0, 7.0, 5.0, 1.0])
    matrix[:3, 3] = (-251.3, -201.7, -230.0)
    grid = Grid.from_matrix((73, 59, 20), matrix)
    label_map, notes = read_structure_set(ds, path.name, grid)
    masks = {contour.words: mask for contour, mask in split_masks(label_map).items()}
    drawn = {name: mask for name, mask in masks.items() if mask is not None}
    assert len(masks) == 3 and len(drawn) == 1
    assert sum("points" in note for note in notes) == 2
    (mask,) = drawn.values()
    found = np.zeros(grid.shape, dtype=bool)
    found[tuple(slice(s, s + n) for s, n in zip(mask.start, mask.inside.shape, strict=True))] = (
        mask.inside
    )
    rings = [
        np.array(c.ContourData, dtype=float).reshape(-1, 3)
        for c in ds.ROIContourSequence[0].ContourSequence
    ]
    planes = np.array([ring[0, 2] for ring in rings])
    half = 0.5 * np.diff(np.sort(planes)).min()
    x, y, z = (grid.centres()[:, n].reshape(grid.shape) for n in range(3))
    expected = np.zeros(grid.shape, dtype=bool)
    for k in range(grid.shape[2]):
        away = np.abs(planes - z[0, 0, k])
        if away.min() > half + 1e-6 or np.count_nonzero(away <= away.min() + 1e-6) > 1:
            expected[:, :, k] = found[:, :, k]  # half way between two planes: either
            continue
        ring = rings[int(away.argmin())][:, :2]
        flat = np.column_stack((x[:, :, k].ravel(), y[:, :, k].ravel()))
        expected[:, :, k] = Outline(ring).contains_points(flat).reshape(grid.shape[:2])
    assert np.array_equal(found, expected) and expected.sum() > 3000
    assert not found[:, :, np.abs(z[0, 0] - planes[:, None]).min(axis=0) > half + 1e-6].any()


@pytest.mark.parametrize("intercept", ["0", "-1000", "-1024"])
@pytest.mark.parametrize("padding", [-2000, -2048])
def test_signed_values_with_padding_and_any_intercept(
    make_series: Any, intercept: str, padding: int
) -> None:
    """By hand: stored + intercept; padding outside the round field stays far below all tissue."""

    def edit(ds: Any, _: int) -> None:
        stored = np.frombuffer(ds.PixelData, dtype="<u2").reshape(ds.Rows, ds.Columns)
        signed = stored.astype("<i2") - 1000
        signed[0, :] = padding
        ds.PixelRepresentation, ds.BitsStored, ds.HighBit = 1, 16, 15
        ds.RescaleIntercept = intercept
        ds.add_new("PixelPaddingValue", "SS", padding)
        ds["PixelData"].value = signed.tobytes()

    made = make_series(edit=edit)
    read = read_dicom_folder(made.folder).volume.values
    expected = made.stored.astype(int) - 1000 + int(intercept)
    order = np.argsort(made.positions[:, 2])
    inside = read.transpose(2, 1, 0)[:, 1:]
    assert np.array_equal(inside, expected[order][:, 1:])
    assert read.transpose(2, 1, 0)[:, 0].max() <= -1000
