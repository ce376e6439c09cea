"""Openings of a round ring against their closed form, in straight and oblique axes."""

import numpy as np
import pytest

from tests.unit.access.ring_scene import (
    EDGE_DEG,
    INNER_MM,
    OBLIQUE,
    OUTER_MM,
    SAC_MM,
    STRAIGHT,
    RingScene,
    any_staging,
    plan_of,
    sectors,
)
from vertebloc.access import judge_ring
from vertebloc.access.openings import DRAWN, beside_deg, find_windows
from vertebloc.access.ring_model import Demand, Surrogate
from vertebloc.resection.model import Kind
from vertebloc.space.frames import Side
from vertebloc.staging import Answer

MOTIONS = pytest.mark.parametrize("motion", (STRAIGHT, OBLIQUE), ids=("straight", "oblique"))


def judged(scene, staging=None, **plan):
    ring, nibbled = scene.unrolled(), np.zeros((13, 360), bool)
    return judge_ring(ring, plan_of(**plan), staging or any_staging(), nibbled)


def side_of(ring, side):
    return next(one for one in ring.openings if one.side is side)


@MOTIONS
def test_known_gap_has_its_chord_as_width(motion):
    """Free from -130 to -20 degrees: 110 degrees, chord 2 R sin(55 degrees)."""
    scene = RingScene(sectors((-20.0, 139.0), (-139.0, -130.0)), motion)
    right = side_of(judged(scene), Side.RIGHT)
    # banks lie on a lattice of 3 degrees and rays 1 degree apart: each may lie 3 degrees inside
    least = 2 * INNER_MM * np.sin(np.radians(0.5 * (110.0 - 7.0)))
    most = 2 * INNER_MM * np.sin(np.radians(55.0)) + 0.05
    assert least <= right.width_mm <= most
    assert right.needed_mm == pytest.approx(2 * SAC_MM, abs=0.05)
    assert right.answer is Answer.YES
    assert (right.first_deg, right.last_deg) == pytest.approx((-130.0, -20.0), abs=3.5)


@MOTIONS
def test_gap_narrower_than_the_sac_is_no_opening(motion):
    """Free from -120 to -50: chord 9.2 mm, the sac is 12 mm wide."""
    scene = RingScene(sectors((-50.0, 139.0), (-139.0, -120.0)), motion)
    ring = judged(scene)
    assert side_of(ring, Side.RIGHT).answer is Answer.NO
    assert ring.answer is Answer.NO


@MOTIONS
def test_half_the_ring_free_leaves_nothing_in_the_way(motion):
    """Tumour in the left pedicle only, from 60 degrees on: more than 180 degrees are free."""
    ring = judged(RingScene(sectors((60.0, 139.0)), motion))
    right, left = side_of(ring, Side.RIGHT), side_of(ring, Side.LEFT)
    assert ring.answer is Answer.YES and right.is_clear and left.answer is Answer.NO
    assert right.first_deg == pytest.approx(-EDGE_DEG, abs=1.0)
    assert "pedicle" in left.words and ring.least is None


def test_both_pedicles_give_the_least_contaminated_opening_with_its_area():
    """The left one is held by tumour over half its height: a cut there crosses half as much."""
    low = sectors((70.0, 139.0), half_height=3.0)
    high = sectors((-139.0, -70.0), half_height=6.0)
    ring = judged(RingScene(lambda p: np.minimum(low(p), high(p))))
    assert ring.answer is Answer.NO
    least = ring.least
    assert least.side is Side.LEFT and least.margin_class == "intralesional"
    # one bank lies in the clean lamina; the other cuts the pedicle: height x (outer - inner)
    exact = 6.0 * (OUTER_MM - INNER_MM)
    # planes lie 2 mm apart: three of them hold it
    assert least.crossed_mm2 == pytest.approx(exact, rel=0.02)


def test_a_gap_behind_alone_is_on_no_side():
    ring = judged(RingScene(sectors((70.0, 139.0), (-139.0, -70.0))))
    behind = side_of(ring, None)
    assert behind.answer is Answer.YES  # the sac passes, but the piece embraces it on both sides
    assert behind.width_mm == pytest.approx(2 * INNER_MM * np.sin(np.radians(70.0)), abs=0.4)
    assert ring.answer is Answer.NO


def test_the_widths_agree_with_a_sac_moved_out_step_by_step():
    """Independent of the formula: a disc of each size is pushed out between the banks."""
    scene = RingScene(sectors((10.0, 139.0), (-139.0, -125.0)))
    ring = scene.unrolled()
    windows = find_windows(ring, DRAWN)
    reach = windows.reaches(Side.RIGHT, beside_deg(ring, Side.RIGHT))
    pick = np.flatnonzero(windows.free & reach)[::5]
    angle = np.radians(np.arange(0.25, 360.0, 0.5))
    checked = 0
    for at in pick:
        first, last = windows.first_deg[at], windows.last_deg[at]
        signed = np.degrees((angle + np.pi) % (2 * np.pi) - np.pi)
        left = (signed < first) | (signed > last)
        wall = INNER_MM * np.column_stack((np.sin(angle), np.cos(angle)))[left]
        way = np.radians(0.5 * (first + last))
        out = np.array((np.sin(way), np.cos(way)))
        path = np.arange(0.0, 20.0, 0.05)[:, None] * out
        room = 2.0 * np.linalg.norm(wall[None] - path[:, None], axis=2).min()
        expected = min(room, 2 * INNER_MM)
        assert min(windows.width_mm[at], 2 * INNER_MM) == pytest.approx(expected, abs=0.25)
        checked += 1
    assert checked > 20


@pytest.mark.parametrize("error_mm", (0.5, 1.0))
def test_contour_error_turns_yes_and_no_into_cannot_tell(error_mm):
    """The chord must beat the sac with everything 1 error worse, or lose with 1 error better."""
    answers = []
    for free in (30.0, 75.0, 90.0, 110.0, 150.0):
        scene = RingScene(sectors((-130.0 + free, 139.0), (-139.0, -130.0)), error_mm=error_mm)
        answers.append(side_of(judged(scene), Side.RIGHT).answer)
    order = [Answer.NO, Answer.CANNOT_TELL, Answer.YES]
    places = [order.index(answer) for answer in answers]
    assert places == sorted(places) and set(places) >= {0, 1}
    exact = side_of(judged(RingScene(sectors((0.0, 139.0), (-139.0, -130.0)))), Side.RIGHT)
    assert exact.answer is Answer.YES


def test_without_a_sac_its_size_lies_between_cord_and_canal():
    """The cord passes a gap of 100 degrees, a sac as wide as the canal would not."""
    spans = sectors((-30.0, 139.0), (-139.0, -130.0))
    cord = RingScene(spans, surrogate=Surrogate.CORD, sac=lambda p: np.hypot(p[:, 0], p[:, 1]) - 4)
    ring = judged(cord)
    assert side_of(ring, Side.RIGHT).answer is Answer.CANNOT_TELL
    assert "spinal cord" in ring.decided_by
    nothing = judged(RingScene(spans, surrogate=Surrogate.CANAL, sac=None))
    assert nothing.answer is Answer.CANNOT_TELL


def test_arch_only_needs_a_clean_place_on_both_sides():
    free = judged(RingScene(sectors((-60.0, 50.0))), kind=Kind.ARCH_ONLY)
    assert free.demand is Demand.BOTH_SIDES and free.answer is Answer.YES
    held = judged(RingScene(sectors((-60.0, 139.0))), kind=Kind.ARCH_ONLY)
    assert held.answer is Answer.NO and "left" in held.decided_by


def test_half_body_is_cut_where_the_half_that_stays_is_clean():
    ring = judged(RingScene(sectors((20.0, 139.0))), kind=Kind.HALF_BODY, open_side=Side.LEFT)
    assert ring.answer is Answer.YES


def test_mirrored_ring_gives_the_mirrored_answer():
    spans, mirrored = ((-20.0, 139.0), (-139.0, -130.0)), ((-139.0, 20.0), (130.0, 139.0))
    one, other = judged(RingScene(sectors(*spans))), judged(RingScene(sectors(*mirrored)))
    right, left = side_of(one, Side.RIGHT), side_of(other, Side.LEFT)
    assert left.width_mm == pytest.approx(right.width_mm, abs=1e-6)
    assert (left.first_deg, left.last_deg) == pytest.approx((-right.last_deg, -right.first_deg))


def test_more_tumour_never_widens_an_opening(rng):
    """A law: each of 6 tumours is grown twice."""
    for _ in range(6):
        spans = [tuple(np.sort(rng.uniform(-139.0, 139.0, 2))) for _ in range(2)]
        spans = [(a, min(b, a + 60.0)) for a, b in spans]
        before = None
        for grow in (0.0, 5.0, 15.0):
            tumour = sectors(*((a - grow, b + grow) for a, b in spans))
            windows = find_windows(RingScene(tumour).unrolled(), DRAWN)
            best = np.where(windows.free, windows.spare_mm, -np.inf)
            if before is not None:
                assert np.all(best <= before + 1e-9)
            before = best


def test_rules_and_ring_may_disagree_and_then_it_is_said():
    """The rules see a free pedicle sector; the gap there is too narrow for the sac."""
    scene = RingScene(sectors((-90.0, 139.0)))
    ring = judged(scene, scene.staged())
    right = side_of(ring, Side.RIGHT)
    assert right.answer is Answer.NO
    assert any("disagree" in line for line in ring.disagreements)
    assert "boriani1997" in ring.rule_words


def test_plan_on_the_wrong_side_is_warned_of():
    ring = judged(RingScene(sectors((60.0, 139.0))), open_side=Side.LEFT)
    assert any("The plan opens the ring on the left" in line for line in ring.disagreements)
