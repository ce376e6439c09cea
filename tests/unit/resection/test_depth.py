"""Depths to the far cortex: closed forms, and rays cast by an independent library (trimesh)."""

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, CanalSpline, Handedness, SideVerdict, Vertebra
from vertebloc.case.choice_words import Placement
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.resection.cuts import half_cut
from vertebloc.resection.depth import FRONT_RIMS, DepthBones, measure_depths
from vertebloc.resection.depth_model import DepthSettings
from vertebloc.resection.piece import prepare_bones
from vertebloc.space.flat_rays import inside_stretches
from vertebloc.space.frames import Frame, Side
from vertebloc.space.sections import KnownSections, solid_from_surface, surface_of_solid
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import rigid_frame

T9, T10 = Level("T9"), Level("T10")
EXACT = DepthSettings(contour_error_mm=0.0, stop_short_mm=0.0)
#: Rounding of a turned, cut and looked-up mesh, mm: far below what anyone can measure.
ROUNDING_MM = 1e-3


def vertebra_at(origin=(0.0, 0.0, 0.0), half=20.0, back=15.0):
    """A body whose frame is the patient's, its middle at ``origin``."""
    lps = rigid_frame(np.array(origin), np.eye(3), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA)
    return Vertebra(
        level=T10,
        lps_from_vertebra=lps,
        canal_s_mm=0.0,
        posterior_wall_mm=back,
        anterior_wall_mm=-15.0,
        upper_endplate_mm=12.0,
        lower_endplate_mm=-12.0,
        left_wall_mm=half,
        right_wall_mm=-half,
        frame_from_neighbours=False,
        own_frame_differs_deg=0.0,
    )


def anatomy_of(vertebra):
    line = np.array([[0.0, 25.0, 60.0], [0.0, 25.0, 0.0], [0.0, 25.0, -60.0]])
    sides = Handedness(verdict=SideVerdict.AGREES, evidence=(), words="agrees")
    return Anatomy(
        canal=CanalSpline(np.array([0.0, 60.0, 120.0]), line, "made up"),
        vertebrae={T9: vertebra_at((0.0, 0.0, 28.0)), T10: vertebra},
        ribs=(),
        bone={},
        warnings=(),
        handedness=sides,
        ends_in_view=frozenset(),
        counting="made up",
    )


def solid(mesh):
    return solid_from_surface(TriangleSurface(mesh.vertices, mesh.faces))


def cut_at(vertebra, side=Side.LEFT, words="body of T10", **how):
    placement = HalfPlacement(**({"height_mm": 0.0} | how))
    return half_cut(vertebra, placement, side, cranial=True, words=words, level=T10)


def fan_of(mesh, vertebra=None, *, vessels=(), settings=EXACT, error=0.0, side=Side.LEFT, **how):
    vertebra = vertebra or vertebra_at()
    bones = DepthBones(
        front=solid(mesh),
        vessels={name: solid(vessel) for name, vessel in vessels},
        known=KnownSections(),
    )
    (fan,) = measure_depths(
        anatomy_of(vertebra),
        T10,
        bones,
        [cut_at(vertebra, side, **how)],
        settings=settings,
        bone_error_mm=error,
    )
    return fan


def box(low, high):
    return trimesh.creation.box(bounds=np.array((low, high), float))


BODY = box((-20, -15, -12), (20, 15, 12))


def rod(start, stop, radius):
    return trimesh.creation.cylinder(radius, segment=np.array((start, stop), float), sections=256)


def test_box_by_its_closed_form():
    """From back wall to front wall: 30 mm / cos(angle), while the line leaves by the front."""
    fan = fan_of(BODY)
    assert len(fan.rays) == len(EXACT.angles_deg) * len(EXACT.entries)
    for ray in fan.rays:
        turned = np.radians(ray.angle_deg)
        x = 20.0 * (0.5 + (ray.entry_share - 0.5))
        to_front = 30.0 / np.cos(turned)
        to_side = (20.0 - x) / np.sin(-turned) if turned < 0 else np.inf
        assert ray.depth_mm == pytest.approx(min(to_front, to_side), abs=ROUNDING_MM)
        assert ray.entry == pytest.approx([x, 15.0, 0.0], abs=ROUNDING_MM)
    assert fan.planned.exit == pytest.approx([10.0, -15.0, 0.0], abs=ROUNDING_MM)


def test_a_tilted_blade_in_a_box():
    """Tip towards the head by 15 degrees: 30 mm / cos 15."""
    fan = fan_of(BODY, tilt_deg=15.0)
    assert fan.planned.depth_mm == pytest.approx(30.0 / np.cos(np.radians(15)), abs=ROUNDING_MM)
    assert fan.planned.exit[2] == pytest.approx(30.0 * np.tan(np.radians(15)), abs=ROUNDING_MM)


def test_cylinder_by_its_closed_form():
    """A chord of a circle of 20 mm radius, entered where the line meets it."""
    fan = fan_of(rod((0, 0, -12), (0, 0, 12), 20.0), vertebra_at(back=30.0))
    for ray in fan.rays:
        start = np.array([20.0 * ray.entry_share, 30.0])
        way = ray.direction[:2]
        foot = abs(start[0] * way[1] - start[1] * way[0])
        if foot > 19.0:
            continue
        # a 256-gon lies at most 20 (1 - cos(pi / 256)) = 0.0015 mm inside its circle
        chord = 2.0 * np.sqrt(400.0 - foot**2)
        assert ray.depth_mm == pytest.approx(chord, abs=0.0016 * 2 * 20.0 / (chord / 2.0))
    assert fan.planned.depth_mm == pytest.approx(2.0 * np.sqrt(300.0), abs=0.01)


def test_ellipsoid_by_its_closed_form():
    ball = trimesh.creation.icosphere(subdivisions=5)
    half = np.array([22.0, 16.0, 14.0])
    ball.apply_scale(half)
    fan = fan_of(ball, vertebra_at(back=25.0), height_mm=4.0, tilt_deg=5.0, roll_deg=-8.0)
    assert len(fan.rays) > 20
    for ray in fan.rays:
        way = ray.direction / half
        start = (ray.entry - 100.0 * ray.direction) / half
        a, b, c = way @ way, 2.0 * start @ way, start @ start - 1.0
        chord = np.sqrt(b * b - 4 * a * c) / a
        # facets of the 20480-sided ball lie up to 0.0006 of its radius inside it
        assert ray.depth_mm == pytest.approx(chord, abs=0.04 * 2 * 22.0 / chord)


@pytest.mark.parametrize("side", list(Side))
def test_made_up_patient_against_an_independent_ray_engine(lead, side):
    """Every line of both half cuts of a side, cast by trimesh through the same mesh."""
    bones = prepare_bones(lead.solids, lead.vertebra)
    mesh_of = surface_of_solid(bones.front)
    mesh = trimesh.Trimesh(mesh_of.vertices, mesh_of.triangles, process=False)
    engine = trimesh.ray.ray_triangle.RayMeshIntersector(mesh)
    fans = [fan for fan in lead.plan.depths if fan.side is side]
    assert len(fans) == 2
    rays = [ray for fan in fans for ray in fan.rays]
    starts = np.array([ray.entry - 3.0 * ray.direction for ray in rays])
    ways = np.array([ray.direction for ray in rays])
    places, which, _ = engine.intersects_location(starts, ways, multiple_hits=True)
    compared = 0
    for number, ray in enumerate(rays):
        hits = np.sort((places[which == number] - ray.entry) @ ray.direction)
        assert ray.depth_mm == pytest.approx(hits[-1], abs=0.01)
        compared += 1
    assert compared > 60


def test_vessels_of_the_made_up_patient_against_an_independent_ray_engine(lead):
    aorta = lead.solids.vessels["aorta"]
    mesh = trimesh.Trimesh(aorta.vertices, aorta.triangles, process=False)
    engine = trimesh.ray.ray_triangle.RayMeshIntersector(mesh)
    met = missed = 0
    for fan in lead.plan.depths:
        for ray in fan.rays:
            places, _, _ = engine.intersects_location(
                ray.exit[None], ray.direction[None], multiple_hits=True
            )
            first = min(((p - ray.exit) @ ray.direction for p in places), default=np.inf)
            if ray.vessel is not None and ray.vessel.vessel == "aorta":
                assert ray.vessel.gap_mm == pytest.approx(first, abs=0.01)
                met += 1
            elif ray.vessel is None:
                assert first > fan.looked_to_mm
                missed += 1
    assert met > 10 and missed > 10


def test_mirror_twin_has_the_same_depths_on_the_other_side(lead, twin):
    """No number prefers a side. Making bones simpler moves each end by up to 0.05 mm in either
    patient: 0.2 mm across square walls, twice that along lines that leave at 60 degrees."""
    for fan in lead.plan.depths:
        other = next(
            f for f in twin.plan.depths if f.side is fan.side.other and f.level == fan.level
        )
        mine = [ray.depth_mm for ray in fan.rays]
        theirs = [ray.depth_mm for ray in other.rays]
        assert mine == pytest.approx(theirs, abs=0.4)
        assert np.median(np.abs(np.subtract(mine, theirs))) < 0.1


def test_front_osteophyte_counts_and_leaving_bone_is_said():
    """A spur 4 mm in front of the wall: the far cortex is the spur's, bone is left between."""
    spur = box((5, -23, -12), (15, -19, 12))
    body = trimesh.util.concatenate([BODY, spur])
    fan = fan_of(body)
    assert fan.planned.depth_mm == pytest.approx(38.0, abs=ROUNDING_MM)
    ((left, entered),) = fan.planned.left_again_mm
    assert (left, entered) == pytest.approx((30.0, 34.0), abs=ROUNDING_MM)
    assert fan.is_reentered
    assert not fan_of(BODY).is_reentered


def test_stop_is_earlier_by_margin_and_by_what_the_outline_may_be_wrong():
    """Both walls of a box may lie e further in: 30 - 2 e - margin."""
    settings = DepthSettings(contour_error_mm=1.0, stop_short_mm=5.0)
    fan = fan_of(BODY, settings=settings, error=0.25)
    assert fan.planned.stop_mm == pytest.approx(30.0 - 2 * 1.25 - 5.0, abs=ROUNDING_MM)
    assert fan.planned.depth_mm == pytest.approx(30.0, abs=ROUNDING_MM)
    assert fan.outline_error_mm == 1.25
    assert fan.stop_mm == pytest.approx(22.5, abs=ROUNDING_MM)


def test_oblique_wall_moves_the_stop_by_more_than_the_outline_error():
    """Front wall slanting by 60 degrees to the blade: an error of 1 mm is 1 / cos 60 along it."""
    slope = np.tan(np.radians(60.0))
    corners = np.array([(-20, 15), (20, 15), (20, -5), (-20, -5 - 40 * slope)], float)
    ends = [np.column_stack((corners, np.full(4, z))) for z in (-12.0, 12.0)]
    prism = trimesh.convex.convex_hull(np.concatenate(ends))
    settings = DepthSettings(contour_error_mm=1.0, stop_short_mm=0.0)
    fan = fan_of(prism, settings=settings)
    depth, stop = fan.planned.depth_mm, fan.planned.stop_mm
    assert depth - stop == pytest.approx(1.0 + 1.0 / np.cos(np.radians(60.0)), abs=ROUNDING_MM)


def test_thinner_bone_than_the_errors_leaves_no_first_pass():
    fan = fan_of(box((-20, 13, -12), (20, 15, 12)), settings=DepthSettings(contour_error_mm=1.0))
    assert fan.planned.depth_mm == pytest.approx(2.0, abs=ROUNDING_MM)
    assert fan.stop_mm == 0.0


def test_vessel_gap_along_the_blade():
    """A vessel 7 mm in front of the wall on the planned line, none towards the midline."""
    vessel = box((8, -40, -30), (18, -22, 30))
    fan = fan_of(BODY, vessels=[("aorta", vessel)])
    assert fan.planned.vessel.vessel == "aorta"
    assert fan.planned.vessel.gap_mm == pytest.approx(7.0, abs=ROUNDING_MM)
    inner = next(r for r in fan.rays if r.angle_deg == 0.0 and r.entry_share == 0.1)
    assert inner.vessel is None
    assert fan.nearest_vessel.vessel.gap_mm == pytest.approx(7.0, abs=ROUNDING_MM)


def test_a_vessel_that_touches_the_bone_has_no_gap_and_one_behind_does_not_count():
    touching = box((8, -40, -30), (18, -10, 30))
    behind = box((-19, 20, -30), (19, 30, 30))
    fan = fan_of(BODY, vessels=[("aorta", touching), ("azygos vein", behind)])
    assert fan.planned.vessel.gap_mm == 0.0
    assert {r.vessel.vessel for r in fan.rays if r.vessel} == {"aorta"}
    assert fan.vessels_outlined == ("aorta", "azygos vein")


def test_a_vessel_farther_than_was_looked_is_not_named():
    far = box((-60, -90, -30), (60, -70, 30))
    assert fan_of(BODY, vessels=[("aorta", far)]).nearest_vessel is None


@pytest.mark.parametrize("height", [12.5, 14.0, 15.5])
def test_disc_cut_is_measured_to_the_nearer_front_rim(height):
    """Disc from 12 to 16 mm; the upper body reaches 15 mm forward, the lower one 12 mm.

    A hollow in an endplate does not count: the disc fills it.
    """
    upper, lower = box((-20, -15, 16), (20, 15, 40)), box((-20, -12, -12), (20, 15, 12))
    hollow = trimesh.creation.cylinder(radius=6.0, height=10.0)
    hollow.apply_translation((10.0, 0.0, 11.0))
    whole = solid(trimesh.util.concatenate([upper, lower])) - solid(hollow)
    mesh = surface_of_solid(whole)
    fan = fan_of(
        trimesh.Trimesh(mesh.vertices, mesh.triangles), words="disc T9/T10", height_mm=height
    )
    assert fan.planned.depth_mm == pytest.approx(27.0, abs=ROUNDING_MM)
    assert fan.measured_to == FRONT_RIMS
    assert fan.planned.exit == pytest.approx([10.0, -12.0, height], abs=ROUNDING_MM)
    assert not fan.is_reentered


def test_protector_lies_in_front_of_every_exit():
    fan = fan_of(BODY, height_mm=6.0)
    assert len(fan.protector) == len(fan.rays)
    assert fan.protector_in_words == (
        "in front of the body of T10, from 20 mm left of the midline to 9 mm right of the "
        "midline, 6 mm below its upper endplate"
    )
    order = fan.protector[:, 0]
    assert np.all(np.diff(order) >= -1e-9) or np.all(np.diff(order) <= 1e-9)


def test_growing_the_bone_never_makes_a_line_shorter():
    small = fan_of(BODY)
    large = fan_of(box((-22, -17, -12), (22, 15, 12)))
    for ray, longer in zip(small.rays, large.rays, strict=True):
        assert longer.depth_mm >= ray.depth_mm - ROUNDING_MM
        assert longer.stop_mm >= ray.stop_mm - ROUNDING_MM


def test_a_cut_past_all_bone_is_refused():
    with pytest.raises(NoSolutionError, match="meets no bone"):
        fan_of(BODY, height_mm=40.0)


@pytest.mark.parametrize(
    "wrong",
    [
        {"angles_deg": (5.0,)},
        {"entries": (0.1,)},
        {"stop_short_mm": -1.0},
    ],
)
def test_settings_without_the_planned_blade_are_refused(wrong):
    with pytest.raises(InputError, match="depths need"):
        DepthSettings(contour_error_mm=1.0, **wrong)


def test_the_assumed_margin_is_named_and_a_set_one_is_not():
    assert DepthSettings(contour_error_mm=1.0).assumptions == (
        "first passes stop 5.0 mm short of the far cortex (assumed)",
    )
    assert DepthSettings(contour_error_mm=1.0, stop_short_mm=4.0).assumptions == ()


def test_moving_one_cut_changes_its_depths_only(lead):
    assert any("short of the far cortex" in words for words in lead.plan.assumptions)
    hand = CutChoice(
        placed=Placement.BY_HAND,
        halves={side: HalfPlacement(height_mm=21.0, tilt_deg=4.0) for side in Side},
    )
    fans = lead.again(Choices(cranial_cut=hand)).depths
    assert {fan.cut_name for fan in fans} == {fan.cut_name for fan in lead.plan.depths}
    assert fans[2].planned.depth_mm == pytest.approx(lead.plan.depths[2].planned.depth_mm)
    assert fans[0].planned.depth_mm != pytest.approx(lead.plan.depths[0].planned.depth_mm)


def test_stretches_of_a_line_through_a_corner_pair_up():
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    along = np.array([1.0, 1.0]) / np.sqrt(2.0)
    assert inside_stretches([square], (-1.0, -1.0), along) == pytest.approx(
        np.array([[np.sqrt(2.0), 2.0 * np.sqrt(2.0)]])
    )
    assert inside_stretches([square], (-1.0, 0.5), (0.0, 1.0)).shape == (0, 2)
    hole = np.array([[0.4, 0.4], [0.4, 0.6], [0.6, 0.6], [0.6, 0.4]])
    assert inside_stretches([square, hole], (-1.0, 0.5), (1.0, 0.0)) == pytest.approx(
        np.array([[1.0, 1.4], [1.6, 2.0]])
    )
