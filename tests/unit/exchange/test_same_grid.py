"""A label map and its CT: the same voxels, or a refusal that says what differs."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813

from vertebloc.errors import InputError
from vertebloc.exchange.same_grid import check_same_grid, lay_on_grid
from vertebloc.space.grids import Grid, Volume

MATRIX = np.array([[0.5, 0.1, 0, -20], [-0.1, 0.7, 0.2, 30], [0, -0.1, 1.5, -400], [0, 0, 0, 1.0]])
CT = Grid.from_matrix((6, 5, 4), MATRIX)


def test_the_same_grid_passes_and_rounding_too() -> None:
    rounded = Grid.from_matrix(CT.shape, MATRIX.astype(np.float32).astype(float))
    check_same_grid(CT, rounded)
    labels = Volume(rounded, np.ones(CT.shape, np.uint8))
    laid, notes = lay_on_grid(CT, labels)
    assert laid.grid is CT
    assert notes == ()


@pytest.mark.parametrize("order", list(permutations(range(3))))
def test_axes_in_any_order_and_sense_are_put_right(order: tuple[int, int, int]) -> None:
    """SimpleITK's PermuteAxes and Flip make the reordered image: an independent witness."""
    values = np.arange(120, dtype=np.int16).reshape(CT.shape)
    # SimpleITK takes no sheared image: an orthogonal grid for this one
    turn = np.linalg.qr(MATRIX[:3, :3])[0]
    image = sitk.GetImageFromArray(values.transpose(2, 1, 0))
    image.SetDirection(turn.ravel())
    image.SetSpacing((0.5, 0.75, 1.5))
    image.SetOrigin((-20, 30, -400))
    ct = _volume(image).grid
    for flips in product((False, True), repeat=3):
        moved = sitk.Flip(sitk.PermuteAxes(image, order), flips, False)
        laid, notes = lay_on_grid(ct, _volume(moved))
        assert np.array_equal(laid.values, values)
        assert laid.grid is ct
        assert bool(notes) == (order != (0, 1, 2) or any(flips))


def _volume(image: sitk.Image) -> Volume:
    matrix = np.eye(4)
    matrix[:3, :3] = np.array(image.GetDirection()).reshape(3, 3) * np.array(image.GetSpacing())
    matrix[:3, 3] = image.GetOrigin()
    return Volume(
        Grid.from_matrix(image.GetSize(), matrix), sitk.GetArrayFromImage(image).transpose(2, 1, 0)
    )


def test_the_note_says_which_axes() -> None:
    flipped = MATRIX.copy()
    flipped[:3, 3] += flipped[:3, 0] * 5
    flipped[:3, 0] *= -1
    labels = Volume(Grid.from_matrix(CT.shape, flipped), np.zeros(CT.shape, np.uint8))
    assert lay_on_grid(CT, labels)[1] == (
        "the label map's axes were put in the CT's order (-i +j +k of the label map)",
    )


@pytest.mark.parametrize(
    ("shape", "change", "words"),
    [
        ((6, 5, 3), (0, 3, 0.0), "6 x 5 x 3 voxels, the CT has 6 x 5 x 4"),
        ((6, 5, 4), (0, 3, 0.3), "0.30 to 0.30 mm from the CT's"),
        ((6, 5, 4), (2, 2, 1.0), "voxels measure"),
        ((6, 5, 4), (1, 0, 0.2), "origin or orientation differ"),
    ],
)
def test_what_differs_is_said(
    shape: tuple[int, int, int], change: tuple[int, int, float], words: str
) -> None:
    other = MATRIX.copy()
    other[change[:2]] += change[2]
    labels = Volume(Grid.from_matrix(shape, other), np.zeros(shape, np.uint8))
    with pytest.raises(InputError, match="does not lie on the CT's grid") as caught:
        check_same_grid(CT, labels.grid)
    assert words in str(caught.value)
    with pytest.raises(InputError, match="does not lie on the CT's grid"):
        lay_on_grid(CT, labels)
