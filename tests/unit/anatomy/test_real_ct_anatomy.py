"""The anatomy of a real thorax CT, with its machine-made labels as the answer key only.

Labels and their known faults: the CT's README in the shared data; the key is each label's
own name. There is no sac in it: the spinal cord's label is the surrogate for the canal.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.describe import default_diseased_level, describe_anatomy
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, CountedFrom, SideVerdict
from vertebloc.anatomy.outlines import mask_points, outline_mask, sample_mask
from vertebloc.anatomy.rays import first_entry_mm
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.exchange.nifti import read_nifti_labels
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume

pytestmark = [pytest.mark.real_data, pytest.mark.slow]

THORACIC = [Level(f"T{n}") for n in range(1, 13)]
ONE_SIDED = (Structure.AORTA, Structure.HEART, Structure.LIVER)


@dataclass
class Case:
    named: LabelMap
    withheld: LabelMap
    known: Anatomy
    counted: Anatomy

    def painted_as(self, mask):
        """Overlap (Dice) with the label that a mask holds most of, and that label's name."""
        named = self.named.volume
        index = named.grid.lps_from_ijk.inverse.points(mask_points(mask)).round().astype(int)
        values, counts = np.unique(named.values[tuple(index.T)], return_counts=True)
        value = int(values[np.argmax(counts)])
        whole = np.count_nonzero(named.values == value)
        return self.named.names[value][0], 2 * counts.max() / (len(index) + whole)


def withhold(named: LabelMap) -> LabelMap:
    """One number for all vertebrae, one for all ribs; their levels and sides are gone."""
    table = np.arange(256, dtype=np.uint8)
    names = {}
    for value, (contour, *_) in named.names.items():
        one = {Structure.VERTEBRA: 250, Structure.RIB: 251}.get(contour.structure)
        if one is None:
            names[value] = (contour,)
        else:
            table[value] = one
            names[one] = (Contour(contour.structure),)
    return LabelMap(Volume(named.volume.grid, table[named.volume.values]), names)


_CASES: dict[str, Case] = {}


@pytest.fixture
def case(thorax_ct_folder):
    """Read and described once."""
    if str(thorax_ct_folder) not in _CASES:
        named, _ = read_nifti_labels(
            thorax_ct_folder / "labels.nii.gz", thorax_ct_folder / "labels.json"
        )
        withheld = withhold(named)
        _CASES[str(thorax_ct_folder)] = Case(
            named,
            withheld,
            describe_anatomy(ContourSet(named)),
            describe_anatomy(ContourSet(withheld)),
        )
    return _CASES[str(thorax_ct_folder)]


def test_nothing_of_the_key_is_left_when_names_are_withheld(case):
    for contour, *_ in case.withheld.names.values():
        if contour.structure in (Structure.VERTEBRA, Structure.RIB):
            assert contour == Contour(contour.structure)
    assert len(np.unique(case.withheld.volume.values)) < len(np.unique(case.named.volume.values))


def test_all_24_ribs_are_on_their_level_and_side_with_names_withheld(case):
    found = [(rib.level, rib.side) for rib in case.counted.ribs]
    assert sorted(found, key=str) == sorted(
        ((level, side) for level in THORACIC for side in Side), key=str
    )
    for rib in case.counted.ribs:
        key, _ = case.painted_as(rib.mask)
        assert (rib.level, rib.side) == (key.level, key.side)


def test_vertebrae_are_counted_right_with_names_withheld(case):
    assert set(THORACIC) <= set(case.counted.vertebrae)
    for level, bone in case.counted.bone.items():
        key, _ = case.painted_as(bone)
        assert key == Contour(Structure.VERTEBRA, level)
    assert {CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB} == case.counted.ends_in_view


def test_separated_vertebrae_overlap_those_labelled_one_by_one(case):
    dice = {level: case.painted_as(case.counted.bone[level])[1] for level in THORACIC}
    assert min(dice.values()) > 0.8  # T1, whose joints are as stout as its pedicles
    assert np.median(list(dice.values())) > 0.95


@pytest.mark.parametrize("which", ["known", "counted"])
def test_frames_face_front_and_follow_one_another(case, which):
    anatomy = getattr(case, which)
    frames = [anatomy.vertebrae[level].lps_from_vertebra for level in THORACIC]
    for frame in frames:
        assert frame.axis(1)[1] > 0.7  # front is -y; the upper spine leans by 45 degrees
        assert frame.axis(2)[2] > 0.7
        assert frame.axis(0)[0] > 0.9
    for above, below in pairwise(frames):
        between = np.degrees(np.arccos(np.clip(above.axis(2) @ below.axis(2), -1.0, 1.0)))
        assert between < 15.0


def test_separating_hardly_moves_a_frame(case):
    for level in THORACIC:
        one = case.known.vertebrae[level].lps_from_vertebra
        other = case.counted.vertebrae[level].lps_from_vertebra
        # the labels' slices are 2.5 mm thick
        assert np.linalg.norm(one.origin - other.origin) < 2.5
        assert np.degrees(np.arccos(np.clip(one.axis(1) @ other.axis(1), -1, 1))) < 5.0


def test_bodies_have_the_size_of_bodies(case):
    """Panjabi 1991, means: T1 24.5 wide and 18.5 deep, T12 39 wide, 33 deep; height 14 to 23."""
    for level in THORACIC:
        v = case.known.vertebrae[level]
        assert 20.0 < v.left_wall_mm - v.right_wall_mm < 42.0
        assert 15.0 < v.posterior_wall_mm - v.anterior_wall_mm < 36.0
        assert 13.0 < v.upper_endplate_mm - v.lower_endplate_mm < 27.0


def thoracic_stretch(case):
    s = [case.known.vertebrae[level].canal_s_mm for level in (THORACIC[0], THORACIC[-1])]
    return np.arange(s[0] - 8.0, s[1] + 8.0, 1.0)


def test_the_canals_line_is_in_no_bone_and_inside_the_cords_label(case):
    contours = ContourSet(case.named)
    line = find_canal(contours).at(thoracic_stretch(case))
    bone = outline_mask(contours, contours.of(Structure.VERTEBRA))
    cord = outline_mask(contours, contours.of(Structure.CORD))
    assert sample_mask(bone, line).max() == 0.0
    assert sample_mask(cord, line).min() > 0.5


def test_the_canals_line_is_ringed_by_bone_where_the_ring_is_complete(case):
    contours = ContourSet(case.named)
    canal = case.known.canal
    for level in THORACIC:
        bone = outline_mask(contours, (Contour(Structure.VERTEBRA, level),))
        vertebra = case.known.vertebrae[level]
        frame = vertebra.lps_from_vertebra
        angle = np.radians(np.arange(0.0, 360.0, 5.0))
        rays = np.cos(angle)[:, None] * frame.axis(0) + np.sin(angle)[:, None] * frame.axis(1)
        heights = vertebra.canal_s_mm + np.arange(-12.0, 12.1, 1.0)
        starts = canal.at(heights)
        hit = [
            np.isfinite(first_entry_mm((bone,), np.tile(start, (len(rays), 1)), rays, 25.0)).mean()
            for start in starts
        ]
        assert max(hit) > 0.97


def test_left_and_right_agree(case):
    assert case.known.handedness.verdict is SideVerdict.AGREES
    assert any("the aorta lies" in sentence for sentence in case.counted.handedness.evidence)


def mirrored(label_map, keep):
    """First axis backwards, header unchanged; only the outlines that ``keep`` allows."""
    flipped = Volume(label_map.volume.grid, label_map.volume.values[::-1])
    names = {v: named for v, named in label_map.names.items() if keep(named[0])}
    return ContourSet(LabelMap(flipped, names))


def test_the_image_mirrored_without_its_header_is_caught_by_the_aorta(case):
    wrong = mirrored(
        case.withheld, lambda c: c.side is None and c.structure is not Structure.HEART
    )
    found = describe_anatomy(wrong).handedness
    assert found.verdict is SideVerdict.CONTRADICTS
    assert "aorta" in found.words


def test_the_image_mirrored_without_its_header_is_caught_by_named_ribs(case):
    wrong = mirrored(
        case.named, lambda c: c.structure not in ONE_SIDED and (c.level or c.side is None)
    )
    found = describe_anatomy(wrong).handedness
    assert found.verdict is SideVerdict.CONTRADICTS
    assert "rib" in found.words


def test_without_witnesses_a_mirrored_image_cannot_be_told(case):
    wrong = mirrored(case.withheld, lambda c: c.side is None and c.structure not in ONE_SIDED)
    assert describe_anatomy(wrong).handedness.verdict is SideVerdict.CANNOT_TELL


@pytest.mark.parametrize(
    ("absent", "pairs"), [("T12", 11), pytest.param("T1", 11, marks=pytest.mark.full)]
)
def test_eleven_pairs_are_asked_about(case, absent, pairs):
    gone = [v for v, (c, *_) in case.named.names.items() if _is_rib_of(c, absent)]
    values = np.where(np.isin(case.named.volume.values, gone), 0, case.withheld.volume.values)
    less = LabelMap(Volume(case.withheld.volume.grid, values), dict(case.withheld.names))
    anatomy = describe_anatomy(ContourSet(less))
    assert dict(anatomy.vertebrae) == {}
    assert any(f"{pairs} pairs of ribs" in warning for warning in anatomy.warnings)


def _is_rib_of(contour, name):
    return contour.structure is Structure.RIB and contour.level == Level(name)


def test_labels_read_with_an_axis_backwards_give_the_same_anatomy(case):
    volume = case.named.volume
    flip = np.eye(4)
    flip[0, 0], flip[0, 3] = -1.0, volume.grid.shape[0] - 1.0
    grid = type(volume.grid).from_matrix(volume.grid.shape, volume.grid.lps_from_ijk.matrix @ flip)
    other = describe_anatomy(
        ContourSet(replace(case.named, volume=Volume(grid, volume.values[::-1])))
    )
    for level in THORACIC:
        assert np.allclose(
            other.vertebrae[level].lps_from_vertebra.matrix,
            case.known.vertebrae[level].lps_from_vertebra.matrix,
            atol=0.05,
        )


def test_a_made_up_tumour_in_t8_takes_its_frame_from_t7_and_t9(case):
    """Half axes 9 mm aside, 9 front to back, 7 high; 6 mm left of the body's middle."""
    frame = case.known.vertebrae[Level("T8")].lps_from_vertebra
    volume = case.named.volume
    value = case.named.values_of(Contour(Structure.VERTEBRA, Level("T8")))[0]
    index = np.argwhere(volume.values == value)
    local = frame.inverse.points(volume.grid.lps_from_ijk.points(index.astype(float)))
    inside = (((local - [6.0, 0.0, 0.0]) / [9.0, 9.0, 7.0]) ** 2).sum(axis=1) < 1.0
    values = volume.values.copy()
    values[tuple(index[inside].T)] = 255
    names = dict(case.named.names)
    names[255] = (*names[value], Contour(Structure.TUMOUR))
    contours = ContourSet(LabelMap(Volume(volume.grid, values), names))
    anatomy = describe_anatomy(contours)
    assert default_diseased_level(contours, anatomy) == Level("T8")
    sick = anatomy.vertebrae[Level("T8")]
    assert sick.frame_from_neighbours
    assert sick.own_frame_differs_deg < 8.0
    assert np.linalg.norm(sick.lps_from_vertebra.origin - frame.origin) < 2.5
