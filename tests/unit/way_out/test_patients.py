"""Whole patients: what must come out right, whatever the numbers are. All of it is made up."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import Choices
from vertebloc.exchange.nifti import read_nifti_labels
from vertebloc.resection.model import RibFate
from vertebloc.space.frames import Side
from vertebloc.way_out import Scenario, Substance, make_search
from vertebloc.way_out.kept_roots import with_roots_kept
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.obstacles import rib_obstacle
from vertebloc.way_out.pose_map import Margin
from vertebloc.way_out.twins import mirrored_room

from .patients import (
    COARSE,
    PLAIN,
    best_side,
    errors,
    made_up_room,
    room_in,
    scenario,
    searched,
    with_cord_for_sac,
)

sys.path.insert(0, str(Path(__file__).parents[3] / "tools"))
from plan_real_ct import with_tumour

pytestmark = pytest.mark.full
T10 = Level.parse("T10")


@pytest.fixture
def told(record_property, capsys):
    """Numbers for the report: kept with the results, and shown while it runs."""

    def tell(what, value):
        record_property(what, str(value))
        with capsys.disabled():
            sys.stdout.write(f"\n{what}: {value}")

    return tell


def is_root(obstacle):
    return obstacle.substance is Substance.ROOT


def test_lead_more_room_on_the_left_and_the_twin_on_the_right(told):
    """The tumour lies to the left: out to the left; the twin behind a looking glass, the right."""
    side, shown = best_side(searched("lead"))
    other, mirrored = best_side(searched("lead", mirrored=True))
    told("lead", shown)
    told("twin", mirrored)
    assert (side, other) == (Side.LEFT, Side.RIGHT)
    assert shown[Side.LEFT] > 0.0


def test_the_twin_gets_the_mirrored_answer_to_a_tenth(told):
    """Both rooms are the same to 0.02 mm at rest; the lower ends, which are searched, to 0.1."""
    twin, _ = made_up_room("lead", mirrored=True)
    again = make_search(mirrored_room(twin.room), COARSE)
    one = searched("lead")
    for side in Side:
        shown = [s.lower_mm(scenario(s, side), PLAIN)[0] for s in (one, again)]
        told(f"lead and twin, {side.value}", shown)
        assert abs(shown[0] - shown[1]) <= 0.1


def test_lead_without_ribs_given_up_is_shut():
    """Ribs kept as long as the plan leaves them: no way to either side, as far as is found."""
    search = searched("lead")
    for side in Side:
        kept = scenario(search, side, lambda o: o.substance is Substance.RIB)
        assert search.lower_mm(kept, PLAIN)[0] == CLOSED_MM


def test_lumbar_with_roots_kept_is_no_yes_from_behind_and_the_roots_decide(told):
    """L3, all roots kept: no way found; with the L2 and L3 roots gone there is one, in the model.

    The made-up patient says that both L2, L3 and L4 roots must be kept.
    """
    room, _ = made_up_room("lumbar")
    kept = with_roots_kept(room, None)
    assert sum(o.is_kept for o in kept.room.obstacles) == 6
    search = searched("lumbar")
    for side in Side:
        assert search.lower_mm(scenario(search, side, is_root), errors(search))[0] == CLOSED_MM
    side, shown = best_side(search)
    told("lumbar, roots given up", shown)
    assert shown[side] >= COARSE.least_mm


def test_both_pedicles_have_a_path_searched_nevertheless(told):
    """Tumour in both pedicles: contamination is planned, and the way out is still looked for."""
    _, plan = made_up_room("both-pedicles")
    assert plan.contamination and plan.contamination[0].area_mm2 > 0.0
    side, shown = best_side(searched("both-pedicles"))
    told("both pedicles", shown)
    assert shown[side] > CLOSED_MM


def test_rib_head_left_on_the_piece_changes_the_piece_and_is_searched_anew(told):
    """The left T10 rib's head stays on the piece: it is larger there, which is looked at anew."""
    plain, _ = made_up_room("lead")
    headed, plan = made_up_room("lead", head_on_piece=("T10", Side.LEFT))
    assert plan.rib_fates["left rib of T10"] is RibFate.HEAD_ON_PIECE
    assert headed.room.piece.volume_mm3 > plain.room.piece.volume_mm3 + 500.0
    search = searched("lead", head_on_piece=("T10", Side.LEFT))
    _, shown = best_side(search)
    _, before = best_side(searched("lead"))
    told("rib head on the piece", shown)
    told("without it", before)
    assert set(shown) == set(Side)
    for side in Side:  # whatever is found, it was measured on the larger piece
        upper = search.upper_mm(scenario(search, side), Margin(True))
        assert shown[side] <= upper


@cache
def in_real_ct(folder, level):
    labels, _ = read_nifti_labels(folder / "labels.nii.gz", folder / "labels.json")
    ill, _ = with_tumour(labels, level)
    return room_in(with_cord_for_sac(ill), level, Choices())


@pytest.mark.real_data
@pytest.mark.parametrize("level", ["T6", "T9"])
def test_it_runs_on_a_real_ct(thorax_ct_folder, level, told):
    """A run test, no clinical claim: the cord's label is the sac, the tumour is made up."""
    room, _ = in_real_ct(thorax_ct_folder, Level.parse(level))
    search = make_search(room.room, COARSE)
    side, shown = best_side(search)
    told(f"real CT {level}", shown)
    for one in Side:
        bracket = search.bracket(scenario(search, one), grown_mm=0.0, sac_grown_mm=0.0)
        assert bracket.lower_mm <= bracket.upper_mm
    assert shown[side] > CLOSED_MM


def test_how_much_rib_suffices_on_the_lead(told):
    """Common practice, no source: 3 to 4 cm of rib beside the joint. What this patient says."""
    search = searched("lead")
    room, _ = made_up_room("lead")
    for length in (35.0, 50.0, 65.0, 80.0, np.inf):
        gone = {
            rib_obstacle(rib, le)
            for rib, lengths in room.rib_lengths_mm.items()
            for le in lengths
            if le < length and (rib.startswith("left") or le < 20.0)
        }
        gone |= {o.name for o in room.room.obstacles if is_root(o) and o.name.startswith("left")}
        found = search.lower_mm(Scenario(side=Side.LEFT, given_up=frozenset(gone)), PLAIN)[0]
        told(f"left ribs up to {length:.0f} mm and left roots", found)
    assert found > CLOSED_MM


def test_a_general_planner_is_never_above_our_upper_end_in_the_lead_room(told):
    """OMPL's RRT-Connect with bisection, 60 s, on the same validity test of poses."""
    from .planner import Poses, best_of_planner

    search = searched("lead")
    one = scenario(search, Side.LEFT)
    bracket = search.bracket(one, grown_mm=0.0, sac_grown_mm=0.0)
    _, way = search.lower_mm(one, PLAIN)
    own = search.ground.room
    best = best_of_planner(
        Poses(search, one.given_up), way[-1], (own.x_mm, own.y_mm),
        above_mm=bracket.upper_mm + 1.0, seconds_per_step=2.0, seconds=60.0,
    )  # fmt: skip
    told("planner", best)
    told("ours", bracket)
    assert np.isfinite(best)
    assert best <= bracket.upper_mm
    assert bracket.lower_mm >= best - (bracket.upper_mm - bracket.lower_mm)
