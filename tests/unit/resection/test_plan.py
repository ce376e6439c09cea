"""The whole plan: piece against voxels, mirror twin, laws, and refusals."""

import dataclasses

import numpy as np
import pytest

from vertebloc.anatomy.contours import LabelMap, mask_on_box
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choice_words import DeliverySide, OpenSide, Placement
from vertebloc.case.choices import ArchChoice, Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.resection import fates as fates_room
from vertebloc.resection.arch_bone import arch_bone
from vertebloc.resection.fates import plan_arch
from vertebloc.resection.model import BoneFate, FaceKind, RibFate
from vertebloc.resection.piece import piece_of, prepare_bones
from vertebloc.resection.placing import place_cuts
from vertebloc.resection.plan import measure_bone_faces
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform

from .conftest import Planned


def by_hand(height, *, roll_left=0.0, roll_right=0.0, tilt=0.0):
    return CutChoice(
        placed=Placement.BY_HAND,
        halves={
            Side.LEFT: HalfPlacement(height_mm=height, roll_deg=roll_left, tilt_deg=tilt),
            Side.RIGHT: HalfPlacement(height_mm=height, roll_deg=roll_right, tilt_deg=tilt),
        },
    )


def bone_faces(plan):
    return {f.name: f for f in plan.faces if f.kind is FaceKind.BONE}


def test_piece_against_voxels(lead):
    """Independent count: voxels of bone and tumour on the piece's side of every plane."""
    label_map, plan, lps = lead.label_map, lead.plan, lead.vertebra.lps_from_vertebra
    vertebrae = tuple(Contour(Structure.VERTEBRA, level) for level in lead.solids.bone)
    bone = mask_on_box(label_map, (*vertebrae, Contour(Structure.TUMOUR)))
    tumour = mask_on_box(label_map, (Contour(Structure.TUMOUR),))
    own = mask_on_box(label_map, (Contour(Structure.VERTEBRA, plan.level),))
    cuts = {c.name: c.plane for c in plan.cuts}

    def counted(mask, *, behind):
        points = mask.grid.lps_from_ijk.points(np.argwhere(mask.values).astype(float))
        local = lps.inverse.points(points)
        left = local[:, 0] > 0
        keep = np.ones(len(points), bool)
        for end in ("cranial", "caudal"):
            for side, here in (("left", left), ("right", ~left)):
                plane = cuts[f"{side} half of the {end} cut"]
                keep &= ~here | (plane.signed_distance_mm(points) < 0)
        back = local[:, 1] > lead.vertebra.posterior_wall_mm
        arch = cuts["left arch cut"].signed_distance_mm(points) < 0
        return keep & (~back if not behind else back & left & arch), points

    front, _ = counted(bone, behind=False)
    volume = front.sum() * bone.grid.voxel_volume_mm3
    back, _ = counted(own, behind=True)
    volume += back.sum() * own.grid.voxel_volume_mm3
    # tumour behind the wall that is not bone (epidural, paravertebral)
    soft, soft_points = counted(tumour, behind=True)
    is_bone = np.isin(
        np.round(soft_points[soft], 3).view([("", float)] * 3).ravel(),
        np.round(own.grid.lps_from_ijk.points(np.argwhere(own.values).astype(float)), 3)
        .view([("", float)] * 3)
        .ravel(),
    )
    volume += (~is_bone).sum() * tumour.grid.voxel_volume_mm3
    assert plan.piece.volume_mm3 == pytest.approx(volume, rel=0.03)
    assert plan.piece.is_closed


def test_the_lead_is_opened_on_the_right_and_keeps_the_left_pedicle_whole(lead):
    assert lead.plan.open_side is Side.RIGHT
    assert lead.plan.bone_fates["right pedicle"] is BoneFate.PIECEMEAL
    assert lead.plan.bone_fates["left pedicle"] is BoneFate.PIECE
    for side in ("left", "right"):
        assert lead.plan.rib_fates[f"{side} rib of T10"] is RibFate.REMOVED
        assert lead.plan.rib_fates[f"{side} rib of T9"] is RibFate.KEPT


def test_every_bone_face_has_an_allowance_and_no_soft_one(lead):
    for face in lead.plan.faces:
        assert (face.allowance is not None) == (face.kind is FaceKind.BONE)
        if face.allowance is not None:
            # moving a face by its margin cannot touch tumour: distances change by the way moved
            assert face.allowance.offset_mm >= face.margin_mm - 0.02


def test_body_cuts_by_rule_keep_the_wanted_margin(lead):
    for name, face in bone_faces(lead.plan).items():
        if "half of" in name:
            assert face.margin_mm >= lead.plan.wanted_margin_mm - 0.01


def test_sac_face_is_bare_and_never_negative(lead):
    soft = [f for f in lead.plan.faces if f.kind is FaceKind.SOFT]
    assert {f.name for f in soft} == {"sac", "left side", "right side", "front"}
    assert all(f.margin_mm >= 0 for f in soft)
    assert lead.face("sac").margin_mm == pytest.approx(0.0, abs=0.3)


@pytest.mark.slow
def test_the_mirror_twin_swaps_left_and_right_everywhere(lead, twin):
    assert twin.plan.open_side is lead.plan.open_side.other
    swapped = {"left": "right", "right": "left"}
    theirs = bone_faces(twin.plan)
    for name, face in bone_faces(lead.plan).items():
        first, _, rest = name.partition(" ")
        other = theirs[f"{swapped.get(first, first)} {rest}"]
        # the arch cut grazes the lamina: thinning the triangles by 0.05 mm moves its rim by more
        tolerance_mm = 0.3 if "arch" in name else 0.1
        assert other.margin_mm == pytest.approx(face.margin_mm, abs=tolerance_mm), name
        assert other.area_mm2 == pytest.approx(face.area_mm2, rel=0.05, abs=5.0), name
        assert other.weakest * [-1, 1, 1] == pytest.approx(face.weakest, abs=2.0), name
    assert twin.plan.piece.volume_ml == pytest.approx(lead.plan.piece.volume_ml, rel=0.005)


@pytest.mark.slow
def test_moving_and_turning_the_patient_changes_no_number(lead):
    """The same voxels under another correct header: turned by 20, 10 and 5 degrees and moved."""
    angles = np.radians([20.0, 10.0, 5.0])
    turn = np.eye(4)
    for axis, angle in enumerate(angles):
        a, b = (axis + 1) % 3, (axis + 2) % 3
        one = np.eye(4)
        one[a, a] = one[b, b] = np.cos(angle)
        one[a, b], one[b, a] = -np.sin(angle), np.sin(angle)
        turn = turn @ one
    turn[:3, 3] = (35.0, -60.0, 210.0)
    grid = lead.label_map.volume.grid
    moved_grid = Grid.from_matrix(grid.shape, turn @ grid.lps_from_ijk.matrix)
    moved = Planned(
        LabelMap(Volume(moved_grid, lead.label_map.volume.values), lead.label_map.names)
    )
    motion = Transform(turn, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    theirs = bone_faces(moved.plan)
    for name, face in bone_faces(lead.plan).items():
        # 0.05 mm: cuts are placed on hundredths of a mm, the canal line is fitted anew
        assert theirs[name].margin_mm == pytest.approx(face.margin_mm, abs=0.05), name
        # where margins are level the place may slide: what it found is as weak in the first plan
        back = motion.inverse.points(theirs[name].weakest)
        there = lead.solids.tumour_field.signed_distance_mm(back)[0]
        assert there == pytest.approx(face.margin_mm, abs=0.1), name
    assert moved.plan.piece.volume_ml == pytest.approx(lead.plan.piece.volume_ml, rel=0.003)


def test_moving_a_cut_away_adds_at_most_the_way_moved(lead):
    near = lead.again(Choices(cranial_cut=by_hand(17.0)))
    away = lead.again(Choices(cranial_cut=by_hand(20.0)))
    for side in ("left", "right"):
        name = f"{side} half of the cranial cut"
        gained = bone_faces(away)[name].margin_mm - bone_faces(near)[name].margin_mm
        assert -0.3 < gained <= 3.0 + 0.02


@pytest.mark.slow
def test_growing_the_tumour_never_widens_a_margin(lead):
    from scipy.ndimage import binary_dilation

    labels = lead.label_map
    values, names = np.array(labels.volume.values, dtype=np.int32), dict(labels.names)
    tumour = Contour(Structure.TUMOUR)
    ill = np.isin(values, labels.values_of(tumour))
    grown = binary_dilation(ill) & ~ill
    for old in np.unique(values[grown]):
        new = max(names) + 1 + int(old)
        names[new] = (*names.get(int(old), ()), tumour)
        values[grown & (values == old)] = new
    worse = Planned(LabelMap(Volume(labels.volume.grid, values), names))
    heights = {
        c.name: float(lead.vertebra.lps_from_vertebra.inverse.points(c.entry)[0, 2])
        for c in lead.plan.cuts
    }
    same = worse.again(
        Choices(
            cranial_cut=by_hand(round(heights["left half of the cranial cut"], 2)),
            caudal_cut=by_hand(round(heights["left half of the caudal cut"], 2)),
        )
    )
    for name, face in bone_faces(lead.plan).items():
        if "half of" in name:  # the arch cut moves with the tumour
            assert bone_faces(same)[name].margin_mm <= face.margin_mm - 0.5, name


@pytest.mark.slow
def test_keystone_by_hand(lead):
    """Rolled by 3 degrees on each side of both cuts: the taper is 2 tan 3 degrees."""
    choices = Choices(
        cranial_cut=by_hand(18.0, roll_left=3.0, roll_right=3.0),
        caudal_cut=by_hand(-18.0, roll_left=-3.0, roll_right=-3.0),
    )
    found = lead.again(choices).keystone
    # each half pivots at its own entry, half way out: both halves rise to the left by tan 3
    left, right = lead.vertebra.left_wall_mm, lead.vertebra.right_wall_mm
    rise = np.tan(np.radians(3.0)) * (left / 2 - right / 2) * 2
    assert found.opens_to_left_mm_per_10_mm == pytest.approx(rise / (left - right) * 10, abs=0.02)
    locks = dataclasses.replace(choices, delivery_side=DeliverySide.RIGHT)
    with pytest.raises(NoSolutionError, match="wedge that locks"):
        lead.again(locks)
    opens = dataclasses.replace(choices, delivery_side=DeliverySide.LEFT)
    assert "opens" in lead.again(opens).keystone.words


def test_parallel_cuts_are_said_to_be_parallel(lead):
    assert "parallel" in lead.plan.keystone.words


@pytest.mark.parametrize(
    ("choices", "words"),
    [
        (Choices(cranial_cut=by_hand(-5.0)), "below the middle"),
        (Choices(cranial_cut=by_hand(0.2), caudal_cut=by_hand(-0.2)), "cross"),
    ],
)
def test_cuts_on_the_wrong_side_or_crossing_are_refused(lead, choices, words):
    with pytest.raises(InputError, match=words):
        lead.again(choices)


def test_a_cut_through_tumour_reads_negative(lead):
    through = lead.again(Choices(caudal_cut=by_hand(-4.0)))
    face = bone_faces(through)["left half of the caudal cut"]
    assert face.margin_mm < -1.0
    assert face.tumour_crossed_mm2 > 50.0
    assert face.allowance.offset_mm == 0.0
    assert through.tumour_left.by_place_ml["below the caudal cut"] > 0.1


@pytest.mark.parametrize(("left_mm3", "right_mm3"), [(3.0, 0.0), (29.0, 0.0), (600.0, 20.0)])
def test_the_ring_is_opened_where_less_tumour_lies(lead, monkeypatch, left_mm3, right_mm3):
    """Even a little tumour decides, wherever the middle of the whole tumour lies."""
    inside = {Side.LEFT: left_mm3, Side.RIGHT: right_mm3}
    monkeypatch.setattr(fates_room, "_tumour_in_pedicle_mm3", lambda _v, _s, side: inside[side])
    flipped = dataclasses.replace(
        lead.solids,
        tumour=type(lead.solids.tumour)(
            lead.solids.tumour.vertices * [-1.0, 1.0, 1.0], lead.solids.tumour.triangles
        ),
    )  # its middle now lies on the right
    arch = fates_room.plan_arch(lead.vertebra, flipped, Choices())
    assert arch.open_side is Side.RIGHT
    assert arch.fates["left pedicle"] is BoneFate.PIECE
    assert bool(arch.notes) == (right_mm3 > fates_room.PEDICLE_DISEASED_MM3)


def test_the_half_of_the_arch_that_is_cut_is_said_to_be_split(lead):
    """The cut leaves bone on both of its sides; neither fate alone would be true."""
    arch = lead.face("left arch cut")
    assert arch.area_mm2 > 20.0
    for part in ("left lamina", "left transverse process", "left facets"):
        assert lead.plan.bone_fates[part] is BoneFate.SPLIT
    assert lead.plan.bone_fates["right lamina"] is BoneFate.PIECEMEAL


def test_tumour_that_touches_nibbled_bone_is_said(lead):
    words = "tumour touches bone that is nibbled away"
    assert not any(words in note for note in lead.plan.assumptions)
    through = lead.again(Choices(arch=ArchChoice(open_side=OpenSide.LEFT)))
    assert any(words in note for note in through.assumptions)
    assert any("opened through the left pedicle" in note for note in through.assumptions)


def test_what_is_kept_from_an_earlier_plan_changes_nothing(lead):
    """Bones that were cut before give the same piece and faces as fresh ones."""
    used = prepare_bones(lead.solids, lead.vertebra)
    found = []
    for wanted_margin_mm in (5.0, 9.0, 2.0):  # moves the arch cut as well as the body cuts
        choices = Choices(wanted_margin_mm=wanted_margin_mm)
        arch = plan_arch(lead.vertebra, lead.solids, choices)
        both = []
        for bones in (used, prepare_bones(lead.solids, lead.vertebra)):
            cuts = place_cuts(lead.anatomy, lead.solids, bones, choices, arch)
            faces = measure_bone_faces(bones, lead.solids, lead.vertebra, cuts)
            piece = piece_of(bones, lead.vertebra, cuts, arch_bone(bones, lead.vertebra, cuts))
            both.append((piece.volume(), {f.name: (f.margin_mm, f.area_mm2) for f in faces}))
        assert both[0][0] == pytest.approx(both[1][0], rel=1e-12)
        assert both[0][1] == both[1][1]
        found.append(both[0][0])
    assert found[1] > found[0] > found[2]  # and each is a piece of its own


def test_only_a_face_that_is_the_same_to_the_last_bit_is_taken_over(lead):
    bones = prepare_bones(lead.solids, lead.vertebra)
    arch = plan_arch(lead.vertebra, lead.solids, Choices())
    cuts = place_cuts(lead.anatomy, lead.solids, bones, Choices(), arch)
    before = measure_bone_faces(bones, lead.solids, lead.vertebra, cuts)
    lower = dataclasses.replace(Choices(), caudal_cut=by_hand(-24.0))
    moved = dataclasses.replace(
        cuts, caudal=place_cuts(lead.anatomy, lead.solids, bones, lower, arch).caudal
    )
    fresh = measure_bone_faces(bones, lead.solids, lead.vertebra, moved)
    after = measure_bone_faces(bones, lead.solids, lead.vertebra, moved, before)
    assert [(f.name, f.margin_mm, f.area_mm2, f.allowance) for f in after] == [
        (f.name, f.margin_mm, f.area_mm2, f.allowance) for f in fresh
    ]
    taken = {f.name for f in after if any(f is b for b in before)}
    assert {"left half of the cranial cut", "right half of the cranial cut"} <= taken
    assert not any("caudal" in name for name in taken)
