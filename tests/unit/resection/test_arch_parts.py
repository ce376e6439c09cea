"""Parts of the arch: closed forms on a spine of boxes, chosen fates, refusals, presets."""

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import ArchPart, BoneChoice, Placement
from vertebloc.case.choices import ArchChoice, Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError
from vertebloc.published.morphometry import VERTEBRA_SIZES
from vertebloc.resection.arch_parts import arch_planes, split_arch
from vertebloc.resection.arch_presets import PRESETS_SOURCE, arch_presets
from vertebloc.resection.faces import faces_of
from vertebloc.resection.fates import plan_arch
from vertebloc.resection.model import BoneFate, FaceKind, OpensTumour
from vertebloc.resection.piece import prepare_bones
from vertebloc.resection.placing import place_cuts
from vertebloc.space.frames import Side
from vertebloc.space.sections import trimmed
from vertebloc.space.solids import Sphere

from .block_spine import (
    T10,
    anatomy,
    ball,
    bone_solid,
    is_one_solid,
    planned,
    solids_with,
    vertebra,
)

BODY_MM3 = 30.0 * 28.0 * 20.0
#: by hand from the boxes and the planes of T10: pedicle ends 7.75 mm behind the wall, transverse
#: process from 18.1 mm on, spinous process from 22.5 mm behind the wall on, facets past +-10 mm
PEDICLE_MM3 = 6.0 * 7.75 * 8.0
TRANSVERSE_MM3 = 9.9 * 4.0 * 6.0
FACETS_MM3 = 5.0 * 2.0 * 4.0 + 5.0 * 1.5 * 4.0
SPINOUS_MM3 = 4.0 * 8.5 * 8.0
LAMINA_MM3 = (
    14.0 * 4.0 * 16.0  # plate
    + 6.0 * 2.25 * 8.0  # rear of the pedicle's box
    + 4.1 * 4.0 * 6.0  # root of the transverse process
    + 2.0 * 8.5 * 8.0  # half the root of the spinous process
    + 5.0 * 2.0 * 2.0  # roots of the facets
    + 5.0 * 1.5 * 2.0
)
IN_LEFT_PEDICLE = (np.array([11.0, 17.0, 4.0]), 2.0)


def with_parts(**fates):
    return Choices(
        arch=ArchChoice(
            parts={ArchPart(n.replace("_", " ")): BoneChoice(f) for n, f in fates.items()}
        )
    )


def diseased_pedicle(choices):
    centre, radius = IN_LEFT_PEDICLE
    return planned(solids_with(ball(centre, radius), Sphere(centre, radius)), choices)


def test_planes_come_from_the_published_sizes_of_the_level():
    at, sizes = arch_planes(vertebra(T10)), VERTEBRA_SIZES["T10"]
    assert at.pedicle_end_mm == 14.0 + sizes.canal_depth.value / 2
    assert at.transverse_from_mm == sizes.canal_width.value / 2 + sizes.pedicle_width.value
    assert at.pedicle_end_mm < at.lamina_back_mm


def test_every_bit_of_the_arch_belongs_to_one_part():
    from vertebloc.resection.piece import wall_plane

    arch = trimmed(bone_solid(T10), [wall_plane(vertebra(T10), keep_front=False)])
    volume = {
        part.value: solid.volume() for part, solid in split_arch(arch, vertebra(T10)).items()
    }
    assert set(volume) == {part.value for part in ArchPart}
    for side in ("left", "right"):
        assert volume[f"{side} pedicle"] == pytest.approx(PEDICLE_MM3, rel=1e-6)
        assert volume[f"{side} lamina"] == pytest.approx(LAMINA_MM3, rel=1e-6)
        assert volume[f"{side} transverse process"] == pytest.approx(TRANSVERSE_MM3, rel=1e-6)
        assert volume[f"{side} facets"] == pytest.approx(FACETS_MM3, rel=1e-6)
    assert volume["spinous process"] == pytest.approx(SPINOUS_MM3, rel=1e-6)
    assert sum(volume.values()) == pytest.approx(arch.volume(), rel=1e-9)


def test_a_lamina_that_leaves_with_its_pedicle():
    plan = diseased_pedicle(
        with_parts(
            left_lamina="piece", left_transverse_process="piecemeal", left_facets="piecemeal"
        )
    )
    assert plan.bone_fates["left lamina"] is BoneFate.PIECE
    assert plan.piece.volume_mm3 == pytest.approx(BODY_MM3 + PEDICLE_MM3 + LAMINA_MM3, rel=0.002)
    assert is_one_solid(plan.piece)
    area = {f.name: f.area_mm2 for f in plan.faces if f.kind is FaceKind.BONE}
    assert area["arch cut in the midline"] == pytest.approx(4.0 * 16.0 + 8.5 * 8.0, rel=0.01)
    assert area["arch cut at the left transverse process"] == pytest.approx(4.0 * 6.0, rel=0.01)
    assert area["arch cut at the left upper facet"] == pytest.approx(5.0 * 2.0, rel=0.01)
    assert area["arch cut in front of the spinous process"] == pytest.approx(2.0 * 8.0, rel=0.01)
    assert not any("right" in name for name in area if "arch" in name)
    middle = next(f for f in plan.faces if f.name == "arch cut in the midline")
    # nearest point of that face: in the midline at the front of the lamina, level with the tumour
    assert middle.margin_mm == pytest.approx(np.hypot(11.0, 24.0 - 17.0) - 2.0, abs=0.1)
    assert middle.allowance is not None


def test_parts_that_leave_whole_take_no_body_beyond_the_cuts():
    """Cut 7 mm above mid-body, through the body itself; the parts leave uncut all the same."""
    half = HalfPlacement(height_mm=7.0)
    cut = CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))
    fates = with_parts(
        left_lamina="piece", left_transverse_process="piecemeal", left_facets="piecemeal"
    )
    plan = diseased_pedicle(replace(fates, cranial_cut=cut))
    body = 30.0 * 28.0 * (10.0 + 7.0)
    assert plan.piece.volume_mm3 == pytest.approx(body + PEDICLE_MM3 + LAMINA_MM3, rel=0.002)
    assert is_one_solid(plan.piece)


def test_without_chosen_parts_the_arch_cut_stands():
    plan = diseased_pedicle(Choices())
    names = {f.name for f in plan.faces if f.kind is FaceKind.BONE}
    assert "left arch cut" in names
    assert plan.bone_fates["left lamina"] is BoneFate.SPLIT


def test_a_nibbled_lamina_ends_the_piece_where_its_pedicle_ends():
    plan = diseased_pedicle(
        with_parts(
            left_lamina="piecemeal", left_transverse_process="piecemeal", left_facets="piecemeal"
        )
    )
    assert plan.bone_fates["left lamina"] is BoneFate.PIECEMEAL
    assert plan.piece.volume_mm3 == pytest.approx(BODY_MM3 + PEDICLE_MM3, rel=0.002)
    end = next(f for f in plan.faces if f.name == "arch cut behind the left pedicle")
    assert end.area_mm2 == pytest.approx(6.0 * 8.0, rel=0.01)
    assert end.margin_mm == pytest.approx(21.75 - 19.0, abs=0.05)


def test_tumour_in_a_part_that_stays_is_left_and_not_called_nibbled():
    centre, radius = np.array([23.0, 26.0, 3.0]), 1.8
    solids = solids_with(ball(centre, radius), Sphere(centre, radius))
    stays = planned(solids, with_parts(left_transverse_process="stays"))
    assert stays.bone_fates["left transverse process"] is BoneFate.STAYS
    whole = solids.tumour.volume_ml
    assert stays.tumour_left.by_place_ml["in arch bone that stays"] == pytest.approx(
        whole, rel=1e-3
    )
    assert stays.contamination == ()
    nibbled = planned(solids, with_parts(left_transverse_process="piecemeal"))
    (one,) = nibbled.contamination
    assert one.how is OpensTumour.NIBBLED
    assert one.name == "left transverse process"
    assert one.volume_ml == pytest.approx(whole, rel=1e-3)
    assert one.area_mm2 == 0.0  # it lies inside the part: no surface of bone opens it
    assert one.deepest == pytest.approx(centre, abs=0.1)


@pytest.mark.parametrize(
    ("fates", "words"),
    [
        (
            {"left_lamina": "piecemeal", "left_transverse_process": "piece"},
            "left transverse process = 'piece' would come out loose",
        ),
        (
            {"left_lamina": "piecemeal", "right_lamina": "piece"},
            "right lamina = 'piece' would come out loose",
        ),
        ({"left_pedicle": "piece", "right_pedicle": "piece"}, "one pedicle must be piecemeal"),
        ({"left_pedicle": "stays"}, "left pedicle = 'stays' frees no piece"),
    ],
)
def test_loose_parts_and_closed_rings_are_refused_in_one_line(fates, words):
    with pytest.raises(InputError, match=words) as refused:
        diseased_pedicle(with_parts(**fates))
    assert "\n" not in str(refused.value)


def test_presets_name_every_part_from_t1_to_l6():
    """Common practice, no source: only that the table is whole and leaves pedicles alone."""
    assert PRESETS_SOURCE == "common practice, no source"
    for name in [f"T{n}" for n in range(1, 14)] + [f"L{n}" for n in range(1, 7)]:
        preset = arch_presets(Level(name))
        assert set(preset) == set(ArchPart)
        assert preset[ArchPart.LEFT_PEDICLE] is BoneChoice.BY_RULE
        ArchChoice(parts=preset)
        assert preset[ArchPart.SPINOUS_PROCESS] is BoneChoice.PIECEMEAL
    assert arch_presets(Level("T7"))[ArchPart.LEFT_TRANSVERSE_PROCESS] is BoneChoice.BY_RULE
    assert arch_presets(Level("L3"))[ArchPart.LEFT_TRANSVERSE_PROCESS] is BoneChoice.STAYS
    with pytest.raises(InputError, match="T1 to L6"):
        arch_presets(Level("C5"))


def test_a_preset_can_be_planned():
    plan = diseased_pedicle(Choices(arch=ArchChoice(parts=arch_presets(T10))))
    assert plan.tumour_left.total_ml == 0.0
    assert plan.contamination == ()


def test_sections_kept_from_earlier_cuts_change_no_face():
    """A cut pulled down through the pedicle and back: as if each place were the first."""
    centre, radius = IN_LEFT_PEDICLE
    solids = solids_with(ball(centre, radius), Sphere(centre, radius))
    fates = with_parts(spinous_process="piecemeal", right_lamina="stays")
    kept = prepare_bones(solids, vertebra(T10))
    areas = []
    for height in (17.0, 6.0, 3.0, 17.0):
        half = HalfPlacement(height_mm=height)
        cut = CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))
        choices = replace(fates, cranial_cut=cut)
        found = []
        for bones in (kept, prepare_bones(solids, vertebra(T10))):
            arch = plan_arch(vertebra(T10), solids, choices)
            cuts = place_cuts(anatomy(), solids, bones, choices, arch)
            faces = faces_of(bones, vertebra(T10), cuts)
            found.append({cut.name: round(face.area_mm2, 6) for cut, face in faces})
        assert found[0] == found[1]
        areas.append(sum(area for name, area in found[0].items() if "arch" in name))
    assert areas[0] == areas[3] > areas[1] > areas[2]
