"""The lead made-up patient, whose vertebrae were placed by known maps, and its twin."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy import ContourSet, CountedFrom, Level, default_diseased_level
from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.model import SideVerdict
from vertebloc.made_up.images import default_grid, label_map
from vertebloc.made_up.patients import lead_patient
from vertebloc.made_up.spine import make_spine
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid

LEVELS = [Level(f"T{n}") for n in range(7, 13)]


MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


def describe(patient, space=None):
    """Described on voxels twice as coarse as the lead's CT, or on their mirror image."""
    fine = default_grid(lead_patient())
    matrix = np.array(fine.lps_from_ijk.matrix)
    matrix[:3, :3] *= 2.0
    matrix = matrix if space is None else space @ matrix
    shape = tuple(n // 2 for n in fine.shape)
    contours = ContourSet(label_map(patient, Grid.from_matrix(shape, matrix)))
    return contours, describe_anatomy(contours)


@pytest.fixture(scope="module")
def lead():
    return describe(lead_patient())


def test_frames_are_those_by_which_the_vertebrae_were_placed(lead):
    _, anatomy = lead
    assert list(anatomy.vertebrae) == LEVELS
    for level, placed in make_spine().vertebrae.items():
        if level not in anatomy.vertebrae:
            continue
        found = anatomy.vertebrae[level].lps_from_vertebra.matrix
        true = placed.lps_from_own.matrix
        cosines = np.clip((found[:3, :3] * true[:3, :3]).sum(axis=0), -1.0, 1.0)
        # our +z follows the canal, theirs the body, which is tilted against it by up to 3
        assert np.degrees(np.arccos(cosines)).max() < 3.5
        off = true[:3, :3].T @ (found[:3, 3] - true[:3, 3])
        assert abs(off[0]) < 0.5
        assert abs(off[2]) < 1.0
        assert 0.0 < off[1] < 3.0  # theirs is half way, ours the centroid, with the hollow back


def test_the_diseased_vertebra_is_found_and_its_frame_is_the_neighbours(lead):
    contours, anatomy = lead
    assert default_diseased_level(contours, anatomy) == Level("T10")
    sick = anatomy.vertebrae[Level("T10")]
    assert sick.frame_from_neighbours
    assert 0.0 < sick.own_frame_differs_deg < 5.0


def test_the_line_lies_in_the_true_canal_though_the_sac_is_pushed(lead):
    _, anatomy = lead
    canal = lead_patient().unnamed["canal"]
    s = [anatomy.vertebrae[level].canal_s_mm for level in (LEVELS[0], LEVELS[-1])]
    line = anatomy.canal.at(np.arange(s[0] - 8.0, s[1] + 8.0))
    # the canal is 15.5 mm deep: its middle is 7.75 mm from its wall
    assert canal.signed_distance_mm(line).max() < -5.0
    assert any("bridged from above" in note for note in anatomy.canal.notes)


def test_all_twelve_ribs_have_their_owner_and_the_last_is_in_view(lead):
    _, anatomy = lead
    assert {(rib.level, rib.side) for rib in anatomy.ribs} == {
        (level, side) for level in LEVELS for side in Side
    }
    assert not any("DO NOT AGREE" in warning for warning in anatomy.warnings)
    assert anatomy.ends_in_view == {CountedFrom.LAST_RIB}


@pytest.mark.slow
def test_the_mirror_twin_is_mirrored_and_its_aorta_is_noticed(lead):
    _, anatomy = lead
    _, twin = describe(lead_patient().mirrored(), MIRROR)
    for level, vertebra in anatomy.vertebrae.items():
        wanted = MIRROR @ vertebra.lps_from_vertebra.matrix @ MIRROR
        assert np.abs(twin.vertebrae[level].lps_from_vertebra.matrix - wanted).max() < 0.05
    assert anatomy.handedness.verdict is SideVerdict.AGREES
    assert twin.handedness.verdict is SideVerdict.CONTRADICTS  # situs inversus by design
