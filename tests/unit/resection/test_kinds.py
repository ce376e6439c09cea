"""Kinds of resection on a spine of boxes: volumes by voxels, margins by closed forms."""

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    DeliverySide,
    KindChoice,
    OpenSide,
    Placement,
)
from vertebloc.case.choices import ArchChoice, Choices, CutChoice, HalfPlacement, LevelChoice
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.resection.kinds import resected_levels
from vertebloc.resection.model import BoneFate, FaceKind, Kind, OpensTumour
from vertebloc.space.frames import Side
from vertebloc.space.solids import Box, Capsule, Ellipsoid, Sphere, Union

from .block_spine import (
    PITCH_MM,
    T10,
    anatomy,
    ball,
    counted_mm3,
    in_boxes,
    is_one_solid,
    planned,
    solids_with,
)


def cut_at(height, **how):
    half = HalfPlacement(height_mm=height, **how)
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def sphere(centre, radius, **how):
    centre = np.asarray(centre, float)
    return solids_with(ball(centre, radius), Sphere(centre, radius), **how)


def face_of(plan, name):
    return next(face for face in plan.faces if face.name == name)


TWO = (T10, Level("T11"))
THREE = (Level("T9"), T10, Level("T11"))


@pytest.mark.parametrize(
    ("levels", "up", "down", "kind"),
    [
        ((T10,), 17.0, -18.0, Kind.WHOLE_BODY),
        (TWO, 17.0, -18.0 - PITCH_MM, Kind.TWO_BODIES),
        (THREE, 17.0 + PITCH_MM, -18.0 - PITCH_MM, Kind.THREE_BODIES),
    ],
)
def test_whole_bodies_of_one_to_three_levels(levels, up, down, kind):
    solids = sphere([4.0, 0.0, 0.0], 5.0, levels=levels, reach_mm=50.0)
    names = tuple(str(level) for level in levels) if len(levels) > 1 else ()
    plan = planned(solids, Choices(levels=names, cranial_cut=cut_at(up), caudal_cut=cut_at(down)))
    assert plan.kind is kind
    assert plan.levels == levels

    def inside(points):
        z, y = points[:, 2], points[:, 1]
        return in_boxes(points) & (y < 14.0) & (z < up) & (z > down)

    counted = counted_mm3(inside, (-20, -16, down - 2), (20, 16, up + 2))
    assert plan.piece.volume_mm3 == pytest.approx(counted, rel=0.02)
    # the cut is square to z: the nearest point of the face lies straight above the middle
    assert face_of(plan, "left half of the cranial cut").margin_mm == pytest.approx(
        up - 5.0, abs=0.05
    )
    assert face_of(plan, "left half of the caudal cut").margin_mm == pytest.approx(
        -down - 5.0, abs=0.05
    )
    assert plan.tumour_left.total_ml == 0.0
    above = Level(f"T{levels[0].number - 1}")
    assert {c.level for c in plan.cuts if "cranial" in c.name} == {above}


def test_cuts_by_rule_pass_the_ends_of_two_levels():
    """Tumour in both bodies and the disc between: an ellipsoid from -35 to 10 mm."""
    radii, middle = np.array([6.0, 6.0, 20.0]), np.array([0.0, 0.0, -12.5])
    solids = solids_with(ball(middle, radii), Ellipsoid(middle, radii), levels=TWO)
    plan = planned(solids, Choices(levels=("T10", "T11")))
    heights = {c.name: float(c.entry[2]) for c in plan.cuts}
    # upper end 7.5 mm: the disc's middle at 12.5 keeps 5 mm; lower end -32.5: disc at -37.5
    assert heights["left half of the cranial cut"] == pytest.approx(12.5, abs=0.02)
    assert heights["left half of the caudal cut"] == pytest.approx(-37.5, abs=0.02)
    assert plan.tumour_left.total_ml == 0.0
    words = {c.passes_through for c in plan.cuts if "half of" in c.name}
    assert words == {"disc T9/T10", "disc T11/T12"}


@pytest.mark.parametrize(
    ("x_mm", "centre", "side"),
    [(0.0, 8.0, Side.LEFT), (-3.0, 8.0, Side.LEFT), (2.0, -8.0, Side.RIGHT)],
)
def test_half_a_body(x_mm, centre, side):
    solids = sphere([centre, 0.0, 0.0], 4.0)
    choices = Choices(
        kind=KindChoice.HALF_BODY,
        sagittal_cut_mm=x_mm,
        cranial_cut=cut_at(17.0),
        caudal_cut=cut_at(-17.0),
    )
    plan = planned(solids, choices)
    assert plan.kind is Kind.HALF_BODY
    sign = side.sign

    def inside(points):
        x, y, z = points.T
        taken = (x - x_mm) * sign > 0
        return in_boxes(points) & (y < 14.0) & (np.abs(z) < 17.0) & taken

    counted = counted_mm3(inside, (-20, -16, -19), (20, 16, 19))
    assert plan.piece.volume_mm3 == pytest.approx(counted, rel=0.02)
    assert is_one_solid(plan.piece) is False  # three bodies' parts, the discs are not drawn
    lengthwise = face_of(plan, "sagittal cut")
    assert lengthwise.kind is FaceKind.BONE
    # body, and 2 mm of each neighbour
    assert lengthwise.area_mm2 == pytest.approx(28.0 * (20.0 + 2.0 + 2.0), rel=0.01)
    assert lengthwise.margin_mm == pytest.approx(abs(centre - x_mm) - 4.0, abs=0.05)
    assert lengthwise.allowance.offset_mm == pytest.approx(lengthwise.margin_mm, abs=0.1)
    assert {c.side for c in plan.cuts if "half of" in c.name} == {side}
    assert plan.open_side is side
    assert plan.bone_fates[f"{side.other.value} pedicle"] is BoneFate.STAYS
    assert plan.bone_fates[f"{side.value} lamina"] is BoneFate.PIECEMEAL
    assert plan.tumour_left.total_ml == 0.0


def test_tumour_beyond_the_sagittal_cut_is_left_and_the_cut_counted():
    """Closed forms: the cap beyond the plane, and its disc."""
    solids = sphere([2.0, 0.0, 0.0], 5.0)
    plan = planned(solids, Choices(kind=KindChoice.HALF_BODY))
    cap_mm3 = np.pi * 3.0**2 * (3 * 5.0 - 3.0) / 3
    left = plan.tumour_left.by_place_ml
    assert left == {"beyond the sagittal cut": pytest.approx(cap_mm3 / 1000.0, rel=0.02)}
    (one,) = plan.contamination
    assert (one.how, one.name) == (OpensTumour.CUT, "sagittal cut")
    assert one.area_mm2 == pytest.approx(np.pi * (25.0 - 4.0), rel=0.01)
    assert face_of(plan, "sagittal cut").margin_mm == pytest.approx(-3.0, abs=0.1)


def test_tumour_in_the_arch_that_stays_is_named_apart():
    """A second bulb in the lamina of the half that stays: its whole volume is left."""
    from vertebloc.space.sections import solid_from_surface, surface_of_solid, united

    body, lamina = np.array([8.0, 0.0, 0.0]), np.array([-7.0, 26.0, -3.0])
    parts = [solid_from_surface(ball(body, 4.0)), solid_from_surface(ball(lamina, 1.5))]
    distance = Union([Sphere(body, 4.0), Sphere(lamina, 1.5)])
    plan = planned(
        solids_with(surface_of_solid(united(parts)), distance), Choices(kind=KindChoice.HALF_BODY)
    )
    bulb_ml = 4 / 3 * np.pi * 1.5**3 / 1000.0
    assert plan.tumour_left.by_place_ml == {
        "in arch bone that stays": pytest.approx(bulb_ml, rel=0.01)
    }


def test_half_a_body_with_its_diseased_pedicle():
    centre = np.array([9.0, 12.0, 4.0])
    tumour = Capsule(centre, np.array([11.0, 17.0, 4.0]), 2.0)
    import manifold3d

    from vertebloc.space.sections import surface_of_solid

    ends = [
        manifold3d.Manifold.sphere(2.0, 64).translate(tuple(p)) for p in (tumour.start, tumour.end)
    ]
    surface = surface_of_solid(manifold3d.Manifold.batch_hull(ends))
    plan = planned(solids_with(surface, tumour), Choices(kind=KindChoice.HALF_BODY))
    assert plan.bone_fates["left pedicle"] is BoneFate.PIECE
    assert plan.tumour_left.total_ml == 0.0
    assert face_of(plan, "left arch cut").margin_mm >= 5.0
    assert is_one_solid(plan.piece)


def test_half_a_wedge_locks_too():
    choices = Choices(
        kind=KindChoice.HALF_BODY,
        cranial_cut=cut_at(17.0, roll_deg=5.0),
        caudal_cut=cut_at(-17.0, roll_deg=-5.0),
        delivery_side=DeliverySide.RIGHT,
    )
    with pytest.raises(NoSolutionError, match="wedge that locks"):
        planned(sphere([8.0, 0.0, 0.0], 4.0), choices)


def test_the_arch_alone():
    """A sphere in the lamina: pedicles are cut half way, all behind leaves to the back."""
    solids = sphere([3.0, 26.0, 0.0], 1.8)
    plan = planned(solids, Choices(kind=KindChoice.ARCH_ONLY))
    assert plan.kind is Kind.ARCH_ONLY
    at = 14.0 + 15.5 / 4  # half way from the wall to the pedicle's end

    def inside(points):
        return in_boxes(points, levels=(T10,)) & (points[:, 1] > at)

    counted = counted_mm3(inside, (-30, 12, -16), (30, 47, 16))
    assert plan.piece.volume_mm3 == pytest.approx(counted, rel=0.02)
    assert is_one_solid(plan.piece)
    bone = {f.name: f for f in plan.faces if f.kind is FaceKind.BONE}
    assert set(bone) == {f"{side} arch cut at the pedicle" for side in ("left", "right")}
    left = bone["left arch cut at the pedicle"]
    assert left.area_mm2 == pytest.approx(6.0 * 8.0, rel=0.01)
    # nearest corner line of the pedicle's section: x 8, y at the cut, z 0
    assert left.margin_mm == pytest.approx(np.hypot(8.0 - 3.0, 26.0 - at) - 1.8, abs=0.05)
    assert plan.tumour_left.total_ml == 0.0
    assert plan.nibbled is None
    assert plan.depths == ()
    assert "back" in plan.keystone.words
    soft = {f.name for f in plan.faces if f.kind is FaceKind.SOFT}
    assert soft == {"sac", "left side", "right side"}
    # the lamina's front, 24 mm behind mid-body, faces the sac; its back at 28 mm does not
    assert face_of(plan, "sac").weakest[1] == pytest.approx(24.0, abs=0.01)


def test_pedicle_cuts_go_forward_until_the_margin_is_kept():
    solids = sphere([11.0, 24.0, 4.0], 2.0)
    plan = planned(solids, Choices(kind=KindChoice.ARCH_ONLY, wanted_margin_mm=5.0))
    left = face_of(plan, "left arch cut at the pedicle")
    assert left.margin_mm == pytest.approx(5.1, abs=0.12)
    right = face_of(plan, "right arch cut at the pedicle")
    assert right.margin_mm > left.margin_mm


def test_tumour_in_front_of_the_pedicle_cuts_is_left():
    solids = sphere([11.0, 14.0, 4.0], 2.0)
    plan = planned(solids, Choices(kind=KindChoice.ARCH_ONLY))
    assert list(plan.tumour_left.by_place_ml) == ["in front of the pedicle cuts"]
    assert plan.tumour_left.total_ml > 0.01


def test_parts_of_the_arch_may_stay_when_it_is_taken_alone():
    solids = sphere([3.0, 26.0, 0.0], 1.8)
    stays = ArchChoice(parts={ArchPart.RIGHT_TRANSVERSE_PROCESS: BoneChoice.STAYS})
    plan = planned(solids, Choices(kind=KindChoice.ARCH_ONLY, arch=stays))
    whole = planned(solids, Choices(kind=KindChoice.ARCH_ONLY))
    lost = whole.piece.volume_mm3 - plan.piece.volume_mm3
    assert lost == pytest.approx(9.9 * 4.0 * 6.0, rel=0.01)
    cut = face_of(plan, "arch cut at the right transverse process")
    assert cut.area_mm2 == pytest.approx(4.0 * 6.0, rel=0.01)


def dumb_bell():
    """Bulb in the body, bulb beside the spine, neck through the foramen beside the pedicle."""
    return [([6.0, 4.0, -4.0], 4.0), ([22.0, 18.0, -5.0], 6.0)]


def test_a_dumb_bell_beside_a_pedicle_where_an_infinite_plane_would_lie():
    """The outer bulb crosses the pedicle base's plane far from the pedicle: the face is clean."""
    import manifold3d

    from vertebloc.space.sections import surface_of_solid, united

    (body, r_body), (out, r_out) = dumb_bell()
    neck = [manifold3d.Manifold.sphere(1.5, 48).translate(tuple(p)) for p in (body, out)]
    parts = [
        manifold3d.Manifold.sphere(r_body, 96).translate(tuple(body)),
        manifold3d.Manifold.sphere(r_out, 96).translate(tuple(out)),
        manifold3d.Manifold.batch_hull(neck),
    ]
    distance = Union(
        [Sphere(np.array(body), r_body), Sphere(np.array(out), r_out),
         Capsule(np.array(body), np.array(out), 1.5)]
    )  # fmt: skip
    solids = solids_with(surface_of_solid(united(parts)), distance)
    plan = planned(solids, Choices(arch=ArchChoice(open_side=OpenSide.LEFT)))
    face = face_of(plan, "left pedicle base")
    # the infinite plane y = 14 runs through the outer bulb, 2 mm inside it ...
    assert abs(14.0 - out[1]) < r_out
    # ... the finite face keeps: its points are 8..14, 14, 0..8
    grid = np.stack(np.meshgrid(np.linspace(8, 14, 121), [14.0], np.linspace(0, 8, 161)), -1)
    truth = float(distance.signed_distance_mm(grid.reshape(-1, 3)).min())
    assert truth > 1.0
    assert face.margin_mm == pytest.approx(truth, abs=0.1)
    assert face.tumour_crossed_mm2 == 0.0


def test_a_box_tumour():
    """Closed form: a box from -5 to 5 mm; the cut's face lies straight above it."""
    import manifold3d

    from vertebloc.space.sections import surface_of_solid

    box = Box(np.zeros(3), np.array([5.0, 5.0, 5.0]))
    surface = surface_of_solid(manifold3d.Manifold.cube((10.0, 10.0, 10.0), True))
    plan = planned(solids_with(surface, box), Choices(cranial_cut=cut_at(17.0)))
    assert face_of(plan, "left half of the cranial cut").margin_mm == pytest.approx(12.0, abs=0.05)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("T8", "T9", "T10"), "above T8 is not outlined"),
        (("T9", "T11"), "neighbours from head to feet"),
        (("T11", "T10"), "neighbours from head to feet"),
        (("T11", "T12"), "T10 among them"),
        (("T10", "L3"), "L3 is not among the outlined"),
    ],
)
def test_levels_that_cannot_be_taken_are_refused(names, words):
    with pytest.raises(InputError, match=words) as refused:
        resected_levels(anatomy(), T10, names)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"levels": ("T7", "T8", "T9", "T10")}, "one to 3"),
        ({"levels": ("T10", "T10")}, "different vertebrae"),
        ({"levels": ("T10", "T11"), "kind": KindChoice.HALF_BODY}, "is for one vertebra"),
        ({"levels": ("T11",), "level": LevelChoice(diseased="T10")}, "without the diseased"),
        ({"sagittal_cut_mm": 3.0}, "goes with 'half body' only"),
        ({"sagittal_cut_mm": 99.0, "kind": KindChoice.HALF_BODY}, "use a number from -30 to 30"),
    ],
)
def test_choices_that_contradict_are_refused(how, words):
    with pytest.raises(InputError, match=words):
        Choices(**how)


@pytest.mark.parametrize(
    ("kind", "part", "words"),
    [
        (KindChoice.HALF_BODY, {ArchPart.RIGHT_LAMINA: BoneChoice.PIECE}, "half that stays"),
        (KindChoice.HALF_BODY, {ArchPart.LEFT_PEDICLE: BoneChoice.STAYS}, "frees no piece"),
        (
            KindChoice.ARCH_ONLY,
            {ArchPart.LEFT_PEDICLE: BoneChoice.PIECEMEAL},
            "both pedicles are cut",
        ),
    ],
)
def test_arch_choices_against_the_kind_are_refused(kind, part, words):
    with pytest.raises(InputError, match=words):
        planned(sphere([8.0, 0.0, 0.0], 4.0), Choices(kind=kind, arch=ArchChoice(parts=part)))


def test_tumour_in_another_body_s_nibbled_arch_is_counted():
    """Closed form: a ball of 1.9 mm lies wholly in the left lamina of T11."""
    solids = sphere([7.0, 26.0, -3.0 - PITCH_MM], 1.9, levels=TWO, reach_mm=60.0)
    plan = planned(
        solids,
        Choices(
            levels=("T10", "T11"),
            cranial_cut=cut_at(17.0),
            caudal_cut=cut_at(-18.0 - PITCH_MM),
        ),
    )
    (one,) = plan.contamination
    assert (one.name, one.how) == ("other arch bone on the left", OpensTumour.NIBBLED)
    assert one.volume_ml == pytest.approx(4 / 3 * np.pi * 1.9**3 / 1000.0, rel=0.02)
