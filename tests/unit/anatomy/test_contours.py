"""Label maps: boxes, masks, odd numbers."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.contours import ContourSet, LabelMap, crop_mask, mask_on_box
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume

BONE = Contour(Structure.VERTEBRA, Level("T10"))
TUMOUR = Contour(Structure.TUMOUR)
GRID = Grid.from_matrix((12, 10, 8), np.diag([2.0, -1.0, 3.0, 1.0]))


def label_map(names, dtype=np.uint8, values=(3, 7)):
    labels = np.zeros(GRID.shape, dtype=dtype)
    labels[2:5, 3:6, 1:4] = values[0]
    labels[5:7, 3:6, 1:4] = values[1]
    return LabelMap(Volume(GRID, labels), names)


def test_one_number_may_stand_for_two_things():
    both = label_map({3: (BONE,), 7: (BONE, TUMOUR)})
    assert np.count_nonzero(mask_on_box(both, (BONE,)).values) == 5 * 9
    assert np.count_nonzero(mask_on_box(both, (TUMOUR,)).values) == 2 * 9
    assert both.values_of(BONE) == (3, 7)


def test_the_box_is_tight_and_lies_where_it_was_cut():
    mask = mask_on_box(label_map({3: (BONE,), 7: (TUMOUR,)}), (TUMOUR,))
    assert mask.values.shape == (2, 3, 3)
    assert np.allclose(mask.grid.lps_from_ijk.origin, [10.0, -3.0, 3.0])


def test_the_pad_is_in_mm_and_stays_on_the_grid():
    mask = mask_on_box(label_map({3: (BONE,), 7: (TUMOUR,)}), (TUMOUR,), pad_mm=4.0)
    # 4 mm are 2, 4 and 2 voxels; k = 1 has only one below, j = 3 only three
    assert mask.values.shape == (6, 10, 6)
    assert np.count_nonzero(mask.values) == 18


@pytest.mark.parametrize("values", [(3, 7), (300, 70000), (1_000_000, 2_000_000)])
def test_any_whole_numbers_will_do(values):
    found = label_map({values[0]: (BONE,)}, np.int32, values)
    assert set(found.boxes()) == set(values)
    assert mask_on_box(found, (BONE,)).values.all()
    assert mask_on_box(found, (BONE,)).values.shape == (3, 3, 3)


def test_a_name_without_a_voxel_gives_no_mask():
    assert mask_on_box(label_map({9: (BONE,)}), (BONE,)) is None
    assert mask_on_box(label_map({}), (BONE,)) is None


def test_an_empty_label_map_has_no_boxes():
    empty = LabelMap(Volume(GRID, np.zeros(GRID.shape, dtype=np.uint8)), {1: (BONE,)})
    assert dict(empty.boxes()) == {}


def test_crop_of_nothing_is_nothing():
    assert crop_mask(Volume(GRID, np.zeros(GRID.shape, dtype=bool)), 1.0) is None


def test_a_name_for_the_background_is_refused():
    with pytest.raises(InputError, match="above 0"):
        label_map({0: (BONE,)})


def test_labels_must_be_whole_numbers():
    with pytest.raises(InputError, match="whole numbers"):
        label_map({}, np.float32)


def test_contours_are_listed_once():
    contours = ContourSet(label_map({3: (BONE,), 7: (BONE, TUMOUR)}))
    assert contours.contours() == (BONE, TUMOUR)
    assert contours.of(Structure.TUMOUR) == (TUMOUR,)
