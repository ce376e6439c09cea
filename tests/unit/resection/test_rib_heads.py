"""Ribs cut to the side, against closed forms: a straight rod and an arc of a circle."""

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Rib
from vertebloc.case.choice_words import RibFateChoice
from vertebloc.case.choices import ASSUMED_RIB_LENGTH_MM, Choices, RibChoice
from vertebloc.errors import InputError
from vertebloc.resection.model import FaceKind, RibFate
from vertebloc.resection.rib_heads import rib_axis
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.sections import solid_from_surface, surface_of_solid
from vertebloc.space.solids import Capsule, Sphere

from .block_spine import T10, ball, planned, solids_with

RADIUS_MM = 4.0
HEAD = np.array([17.0, 8.0, 4.0])
OUT = np.array([0.8, 0.6, 0.0])  # outwards and back
HEALTHY = (np.array([0.0, 0.0, 0.0]), 4.0)


def grid(low, high, pitch=1.0):
    matrix = np.diag([pitch, pitch, pitch, 1.0])
    matrix[:3, 3] = low
    shape = tuple(int(n) for n in np.ceil((np.asarray(high) - low) / pitch) + 1)
    return Grid.from_matrix(shape, matrix)


def rib(distance, low, high, *, level=T10, side=Side.LEFT, head=HEAD, pitch=0.5):
    box = grid(np.asarray(low, float), high, pitch)
    inside = (distance(box.centres()) < 0).reshape(box.shape)
    return Rib(level=level, side=side, head=head, mask=Volume(box, inside))


@pytest.fixture(scope="module")
def rod():
    end = HEAD + 80.0 * OUT
    axis = Capsule(HEAD + RADIUS_MM * OUT, end, RADIUS_MM)
    return rib(axis.signed_distance_mm, HEAD - 8.0, end + 8.0)


def planned_with(rod, **choice):
    centre, radius = HEALTHY
    surface = surface_from_mask(rod.mask, outward=False)
    solids = solids_with(
        ball(centre, radius),
        Sphere(centre, radius),
        ribs={"left rib of T10": surface},
        reach_mm=50.0,
    )
    choices = Choices(ribs={("T10", Side.LEFT): RibChoice(**choice)} if choice else {})
    return planned(solids, choices, ribs=[rod])


def test_a_straight_axis_is_as_long_as_it_is(rod):
    axis = rib_axis(rod, 50.0)
    along = (axis - HEAD) @ OUT
    off = np.linalg.norm(axis - HEAD - np.outer(along, OUT), axis=1)
    gone = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))))
    assert off.max() < 0.5
    assert np.abs(gone - along).max() < 0.5


def test_a_curved_axis_is_measured_along_the_curve():
    """Closed form: an arc of radius 60 mm; 40 mm along it are 38.2 degrees."""
    radius = 60.0
    head = np.array([radius, 0.0, 0.0])

    def distance(points):
        ring = np.hypot(points[:, 0], points[:, 1]) - radius
        off = np.hypot(ring, points[:, 2]) - RADIUS_MM
        return np.where(points[:, 1] >= 0.0, off, 99.0)

    arc = rib(distance, [-70.0, -5.0, -8.0], [70.0, 70.0, 8.0], head=head)
    axis = rib_axis(arc, 40.0)
    gone = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))))
    angle = np.arctan2(axis[:, 1], axis[:, 0])
    assert np.abs(gone - radius * angle).max() < 0.8


def test_a_head_on_the_piece_adds_its_bone_and_a_face(rod):
    plan = planned_with(rod, fate=RibFateChoice.HEAD_ON_PIECE, length_mm=30.0)
    assert plan.rib_fates["left rib of T10"] is RibFate.HEAD_ON_PIECE
    assert plan.rib_lengths_mm == {"left rib of T10": 30.0}
    face = next(f for f in plan.faces if f.name == "cut of the left rib of T10")
    assert face.kind is FaceKind.BONE
    assert face.allowance is not None
    # voxels of 0.5 mm make the rod's section up to a tenth larger or smaller
    assert face.area_mm2 == pytest.approx(np.pi * RADIUS_MM**2, rel=0.1)
    place = HEAD + 30.0 * OUT
    # the nearest point of the disc lies on its rim, towards the tumour
    across = np.array([-0.6, 0.8, 0.0])
    rim = min(
        np.linalg.norm(place + RADIUS_MM * (np.cos(t) * across + np.sin(t) * np.eye(3)[2]))
        for t in np.linspace(0, 2 * np.pi, 200)
    )
    assert face.margin_mm == pytest.approx(rim - HEALTHY[1], abs=0.5)
    without = planned_with(rod)
    gained = plan.piece.volume_mm3 - without.piece.volume_mm3
    # closed form: a half ball and a rod of 26 mm behind it
    rod_mm3 = np.pi * RADIUS_MM**2 * 26.0 + 2 / 3 * np.pi * RADIUS_MM**3
    assert gained == pytest.approx(rod_mm3, rel=0.02)


def test_by_rule_the_rib_is_removed_and_its_assumed_length_is_said(rod):
    plan = planned_with(rod)
    assert plan.rib_fates["left rib of T10"] is RibFate.REMOVED
    assert plan.rib_lengths_mm["left rib of T10"] == ASSUMED_RIB_LENGTH_MM
    assert any("length of the left rib of T10" in note for note in plan.assumptions)


def test_tumour_in_a_removed_rib_is_said(rod):
    centre = HEAD + 15.0 * OUT
    surface = surface_from_mask(rod.mask, outward=False)
    solids = solids_with(ball(centre, 2.0), Sphere(centre, 2.0), ribs={"left rib of T10": surface})
    plan = planned(solids, ribs=[rod])
    assert any("removed by itself" in note for note in plan.assumptions)
    kept = Choices(
        ribs={("T10", Side.LEFT): RibChoice(fate=RibFateChoice.HEAD_ON_PIECE, length_mm=40.0)}
    )
    assert not any(
        "removed by itself" in note for note in planned(solids, kept, ribs=[rod]).assumptions
    )


def test_a_length_beyond_the_outline_is_refused(rod):
    with pytest.raises(InputError, match=r"outlined for 8\d mm from its head only"):
        planned_with(rod, fate=RibFateChoice.HEAD_ON_PIECE, length_mm=120.0)


def test_a_head_outside_the_cuts_is_refused():
    head = np.array([17.0, 8.0, 15.0])
    end = head + 60.0 * OUT
    axis = Capsule(head, end, RADIUS_MM)
    high = rib(axis.signed_distance_mm, head - 8.0, end + 8.0, head=head)
    with pytest.raises(InputError, match="does not lie between the body cuts"):
        planned_with(high, fate=RibFateChoice.HEAD_ON_PIECE, length_mm=30.0)


def test_the_part_that_stays_on_the_piece_is_the_heads(rod):
    """A plane through a bent rib may meet it twice: only the head's side counts."""
    from vertebloc.resection.rib_heads import rib_head

    from .block_spine import vertebra

    solid = solid_from_surface(surface_from_mask(rod.mask, outward=False))
    made = rib_head(rod, solid, 20.0, vertebra(T10))
    along = (surface_of_solid(made.part).vertices - HEAD) @ OUT
    assert along.max() == pytest.approx(20.0, abs=0.5)
    assert made.cut.level == Level("T10")
    assert made.cut.plane.normal @ OUT == pytest.approx(1.0, abs=0.01)
