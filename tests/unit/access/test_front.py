"""The way round a round body, and vessels beside it, against closed forms in oblique planes."""

import numpy as np
import pytest
import SimpleITK
from scipy.spatial import cKDTree

from tests.unit.access.ring_scene import OBLIQUE, STRAIGHT
from vertebloc.access import FrontAnswer, FrontSettings, judge_front
from vertebloc.access.body_wall import contact_deg, distances_mm, outline_points
from vertebloc.access.front_model import StationGround
from vertebloc.case.choice_words import FrontBefore, FrontRelease
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace

BODY_MM, AORTA_MM = 16.0, 11.0
MOTIONS = pytest.mark.parametrize("motion", (STRAIGHT, OBLIQUE), ids=("straight", "oblique"))
CALM = FrontBefore.NONE


def circle(radius, centre, count=720):
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    return np.column_stack((np.cos(angle), np.sin(angle))) * radius + centre


def ground(motion=STRAIGHT, *, side=Side.LEFT, tumour=(), structures=None, tethers=None, cut=True):
    """A round body whose back lies at the origin, front at y = -2 R; x to the left."""
    plane = Plane(motion.points([0.0, 0.0, 0.0])[0], motion.vectors([0.0, 0.0, 1.0])[0])
    lps_from_plane = plane.frame(motion.vectors([1.0, 0.0, 0.0])[0])

    def face(loops):
        return PlanarFace(lps_from_plane, tuple(np.asarray(loop) for loop in loops))

    return StationGround(
        name="cranial cut" if cut else "between the cuts", side=side, is_cut=cut,
        bone=face([circle(BODY_MM, (0.0, -BODY_MM))]), tumour=face(tumour),
        structures={name: face(loops) for name, loops in (structures or {}).items()},
        rib_heads={"rib of T10": motion.points([side.sign * 30.0, -BODY_MM, 0.0])[0]},
        origin=motion.points([0.0, 0.0, 0.0])[0],
        outward=motion.vectors([side.sign * 1.0, 0.0, 0.0])[0],
        forward=motion.vectors([0.0, -1.0, 0.0])[0],
        tethers={} if tethers is None else
        {name: motion.points(points) for name, points in tethers.items()},
    )  # fmt: skip


def judged(*grounds, reach=50.0, error=0.0, before=CALM, needed=(), outlined=("aorta",)):
    settings = FrontSettings(finger_reach_mm=reach, contour_error_mm=error, before=before)
    return judge_front(
        grounds, settings, needed=needed, outlined=outlined, release=FrontRelease.NOT_PLANNED
    )


@MOTIONS
@pytest.mark.parametrize("side", tuple(Side))
def test_a_quarter_of_a_round_body_is_the_way(motion, side):
    """From the side, where the rib's head points, to the front: a quarter circle, pi R / 2."""
    way = judged(ground(motion, side=side)).stations[0].way
    assert way.length_mm == pytest.approx(0.5 * np.pi * BODY_MM, abs=0.3)
    assert way.turn_rad == pytest.approx(0.5 * np.pi, abs=0.03)
    # Steiner: a circle larger by d is longer by d x pi / 2
    assert way.longest_mm(2.0) == pytest.approx(0.5 * np.pi * (BODY_MM + 2.0), abs=0.4)


def test_reach_decides_in_three_answers():
    """The way is 25.1 mm; outlines 1 mm larger make it 26.7 mm, smaller 23.6 mm."""
    one = ground()
    assert judged(one, reach=27.0, error=1.0).answer is FrontAnswer.POSTERIOR
    assert judged(one, reach=25.5, error=1.0).answer is FrontAnswer.CANNOT_TELL
    found = judged(one, reach=23.0, error=1.0)
    assert found.answer is FrontAnswer.RELEASE and "23 mm" in found.decided_by
    assert found.stage is not None and not found.stage.chosen
    assert judged(one, reach=25.5, error=1.0).would_settle


@MOTIONS
@pytest.mark.parametrize("gap", (0.4, 3.0, 12.0))
def test_a_round_vessel_at_a_known_gap(motion, gap):
    """Before the front midline: centre at R + gap + r from the body's middle."""
    centre = (0.0, -BODY_MM - (BODY_MM + gap + AORTA_MM))
    station = judged(ground(motion, structures={"aorta": [circle(AORTA_MM, centre)]})).stations[0]
    aorta = station.neighbours[0]
    assert aorta.gap_mm == pytest.approx(gap, abs=0.02)
    # touching within 1 mm: two circles; cosine rule between their centres gives the half angle.
    # The way ends at the midline, so that half of the contact is on this side's way; beyond its
    # end the distance to it grows a little faster than to the circle.
    apart, near = BODY_MM + gap + AORTA_MM, BODY_MM + 1.0
    cosine = (AORTA_MM**2 + apart**2 - near**2) / (2.0 * AORTA_MM * apart)
    half = np.degrees(np.arccos(cosine)) if gap < 1.0 else 0.0
    assert 1.2 * half - 0.5 <= aorta.contact_deg <= 2.0 * half + 0.5


@pytest.mark.parametrize(("gap", "within"), ((0.0, 1.0), (0.5, 2.0), (2.0, 1.0)))
def test_contact_with_a_flat_wall(gap, within):
    """2 arccos(1 - (within - gap) / r) for a circle before a straight line."""
    vessel = outline_points(circle(AORTA_MM, (0.0, AORTA_MM + gap)))
    wall = np.array([[-100.0, -5.0], [100.0, -5.0], [100.0, 0.0], [-100.0, 0.0]])
    found = contact_deg(vessel, distances_mm(vessel, [wall]), within)
    exact = 2.0 * np.degrees(np.arccos(min(1.0, 1.0 - (within - gap) / AORTA_MM)))
    assert found == pytest.approx(exact, abs=1.5)


def test_tumour_round_the_aorta_decides_by_the_published_arcs():
    """A ring of tumour round part of the aorta: its arc is known; 45 and 90 degrees decide."""
    centre = np.array((0.0, -50.0))

    def arc(degrees):
        turn = np.radians(np.linspace(90.0 - degrees / 2, 90.0 + degrees / 2, 200))
        spokes = np.column_stack((np.cos(turn), np.sin(turn)))
        return np.vstack(((AORTA_MM + 0.2) * spokes, (AORTA_MM + 4.0) * spokes[::-1])) + centre

    answers = {}
    for degrees in (30.0, 70.0, 120.0):
        structures = {"aorta": [circle(AORTA_MM, centre)]}
        found = judged(ground(tumour=[arc(degrees)], structures=structures), reach=150.0)
        aorta = found.stations[0].neighbours[0]
        # within 1 mm of the tumour's edge counts as well: 1 mm on either side is some 10 degrees
        assert degrees - 1.0 <= aorta.tumour_contact_deg <= degrees + 11.0
        answers[degrees] = found.answer
    assert answers == {
        30.0: FrontAnswer.POSTERIOR, 70.0: FrontAnswer.CANNOT_TELL, 120.0: FrontAnswer.RELEASE
    }  # fmt: skip


def test_contour_error_makes_a_held_vessel_cannot_tell():
    centre = np.array((0.0, -BODY_MM * 2 - AORTA_MM - 1.2))
    tumour = [circle(BODY_MM, (0.0, -BODY_MM))]
    structures = {"aorta": [circle(AORTA_MM, centre)]}
    sure = judged(ground(tumour=tumour, structures=structures), error=0.0)
    unsure = judged(ground(tumour=tumour, structures=structures), error=3.0)
    assert sure.answer is FrontAnswer.POSTERIOR and unsure.answer is FrontAnswer.CANNOT_TELL


def test_moving_a_vessel_away_never_decides_for_release(rng):
    """A law: the answer only ever gets easier, and tumour touches less of the vessel."""
    order = [FrontAnswer.RELEASE, FrontAnswer.CANNOT_TELL, FrontAnswer.POSTERIOR]
    for _ in range(15):
        way = np.radians(rng.uniform(-150.0, -30.0))
        out = np.array((np.cos(way), np.sin(way)))
        tumour = [circle(rng.uniform(10.0, 22.0), (0.0, -BODY_MM)) * (1.0, 1.0)]
        before = None
        for apart in (12.0, 18.0, 24.0, 30.0, 40.0):
            centre = np.array((0.0, -BODY_MM)) + out * apart
            structures = {"aorta": [circle(8.0, centre)]}
            found = judged(ground(tumour=tumour, structures=structures), reach=150.0, error=1.0)
            held = [n.tumour_contact_deg for n in found.stations[0].neighbours] or [0.0]
            now = (order.index(found.answer), -held[0])
            if before is not None:
                assert now[0] >= before[0] and now[1] >= before[1] - 1e-6
            before = now


def test_a_tumour_beside_the_body_is_gone_round():
    """Hull of two circles: two quarter arcs and a straight stretch are longer than one quarter."""
    plain = judged(ground()).stations[0].way.length_mm
    bulge = judged(ground(tumour=[circle(8.0, (18.0, -20.0))])).stations[0].way.length_mm
    assert bulge > plain + 5.0
    far = judged(ground(side=Side.RIGHT, tumour=[circle(8.0, (18.0, -20.0))])).stations[0]
    assert far.way.length_mm == pytest.approx(plain, abs=0.3)


def test_segmental_vessel_beyond_reach_is_a_tether():
    angle = np.radians(np.linspace(0.0, -85.0, 60))
    points = np.column_stack((17.0 * np.cos(angle), 17.0 * np.sin(angle) - BODY_MM, 0.0 * angle))
    one = ground(tethers={"left segmental vessel of T10": points}, cut=False)
    found = judged(one, reach=20.0)
    assert found.answer is FrontAnswer.RELEASE and "segmental" in found.decided_by
    tether = found.stations[0].tethers[0]
    assert tether.to_mm == pytest.approx(np.radians(85.0) * BODY_MM, abs=0.5)
    assert judged(one, reach=30.0).answer is FrontAnswer.POSTERIOR


def test_what_was_done_before_and_what_is_not_outlined():
    assert judged(ground(), before=FrontBefore.OPERATED).answer is FrontAnswer.RELEASE
    assert judged(ground(), before=FrontBefore.NOT_SAID).answer is FrontAnswer.POSTERIOR
    unknown = judged(ground(), needed=("aorta",), outlined=())
    assert unknown.answer is FrontAnswer.CANNOT_TELL and "aorta" in unknown.would_settle
    none = judged()
    assert none.answer is FrontAnswer.POSTERIOR and "no body is cut" in none.decided_by


def test_distances_agree_with_a_distance_map(rng):
    """Independent: SimpleITK's signed Maurer map of the same shapes on a 0.1 mm grid."""
    loops = [circle(6.0, (0.0, 0.0)), circle(4.0, (14.0, 3.0))]
    pitch, size = 0.1, 400
    grid = (np.arange(size) - size / 4) * pitch
    x, y = np.meshgrid(grid, grid)
    inside = (np.hypot(x, y) <= 6.0) | (np.hypot(x - 14.0, y - 3.0) <= 4.0)
    image = SimpleITK.GetImageFromArray(inside.astype(np.uint8))
    image.SetSpacing((pitch, pitch))
    field = SimpleITK.GetArrayFromImage(
        SimpleITK.SignedMaurerDistanceMap(image, squaredDistance=False, useImageSpacing=True)
    )
    pick = rng.integers(0, size, (400, 2))
    points = np.column_stack((grid[pick[:, 1]], grid[pick[:, 0]]))
    theirs = np.maximum(field[pick[:, 0], pick[:, 1]], 0.0)
    assert distances_mm(points, loops) == pytest.approx(theirs, abs=0.12)  # a pixel


def test_the_way_is_a_taut_line():
    """Every bend lies on bone or tumour, and all bends turn the same way."""
    way = judged(ground(tumour=[circle(8.0, (12.0, -24.0))])).stations[0].way
    outlines = np.vstack((circle(BODY_MM, (0.0, BODY_MM)), circle(8.0, (12.0, 24.0))))
    tree = cKDTree(outlines)
    steps = np.diff(way.points, axis=0)
    bend = np.abs(np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))))
    corners = way.points[1:-1][bend > 1e-3]
    assert len(corners) and tree.query(corners)[0].max() < 0.2
    assert np.all(np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))) >= -1e-9)  # convex
