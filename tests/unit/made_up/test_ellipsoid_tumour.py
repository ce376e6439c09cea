"""The ellipsoid tumour painted into somebody else's label map."""

import numpy as np
import pytest

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.made_up import add_ellipsoid_tumour
from vertebloc.space.grids import Grid, Volume

T8 = Contour(Structure.VERTEBRA, Level("T8"))
TUMOUR = Contour(Structure.TUMOUR)
AXES = np.array([[0.8, 0.6, 0.0], [-0.6, 0.8, 0.0], [0.0, 0.0, 1.0]])
CENTRE, HALF = np.array([4.0, 3.0, 20.0]), np.array([9.0, 6.0, 7.0])


def _outlines(dtype=np.int16, left_handed=True):
    """A block of bone in a left-handed grid, an unnamed label beside it, nothing elsewhere."""
    matrix = np.diag([-0.7 if left_handed else 0.7, 0.7, 2.5, 1.0])
    matrix[:3, 3] = [21.0 if left_handed else -21.0, -21.0, 0.0]
    labels = np.zeros((60, 60, 20), dtype=dtype)
    labels[10:50, 10:40, 4:14] = 60
    labels[10:50, 40:50, 4:14] = 7
    return LabelMap(Volume(Grid.from_matrix(labels.shape, matrix), labels), {60: (T8,)})


def _expected(grid):
    local = (grid.centres() - CENTRE) @ AXES.T
    return (((local / HALF) ** 2).sum(axis=1) < 1.0).reshape(grid.shape)


@pytest.mark.parametrize("left_handed", [True, False])
def test_tumour_takes_the_voxels_of_the_ellipsoid_and_bone_stays_bone(left_handed):
    before = _outlines(left_handed=left_handed)
    after, solid = add_ellipsoid_tumour(before, CENTRE, AXES, HALF)
    inside = _expected(before.volume.grid)
    old, new = before.volume.values, after.volume.values
    assert np.array_equal(np.isin(new, after.values_of(TUMOUR)), inside)
    assert np.array_equal(np.isin(new, after.values_of(T8)), old == 60)
    assert np.array_equal(new[~inside], old[~inside])
    both = [v for v, named in after.names.items() if named == (T8, TUMOUR)]
    assert len(both) == 1 and np.all(old[new == both[0]] == 60)
    assert solid.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 9.0 * 6.0 * 7.0)
    voxels = inside.sum() * before.volume.grid.voxel_volume_mm3
    assert voxels == pytest.approx(solid.volume_mm3, rel=0.02)
    assert not before.values_of(TUMOUR)  # the given outlines are left as they were


def test_labels_that_need_more_room_get_it():
    before = _outlines(np.uint8)
    full = before.volume.values.copy()
    full[0, 0, 0] = 255
    after, _ = add_ellipsoid_tumour(
        LabelMap(Volume(before.volume.grid, full), before.names), CENTRE, AXES, HALF
    )
    assert after.volume.values.max() > 255 and after.volume.values[0, 0, 0] == 255


@pytest.mark.parametrize(
    ("centre", "half", "words"),
    [
        ([400.0, 0.0, 20.0], HALF, "out of the label map"),
        ([4.0, 3.0, 21.2], [0.1, 0.1, 0.1], "no voxel centre"),
        (CENTRE, [0.0, 1.0, 1.0], "half axes"),
    ],
)
def test_ellipsoids_that_make_no_tumour_are_refused(centre, half, words):
    with pytest.raises(InputError, match=words):
        add_ellipsoid_tumour(_outlines(), centre, AXES, half)


def test_second_tumour_is_refused():
    after, _ = add_ellipsoid_tumour(_outlines(), CENTRE, AXES, HALF)
    with pytest.raises(InputError, match="tumour already"):
        add_ellipsoid_tumour(after, CENTRE, AXES, HALF)
