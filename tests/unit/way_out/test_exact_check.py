"""Exact distances of python-fcl beside plain geometry and beside our clearances."""

import fcl
import numpy as np
import pytest

from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Obstacle, Room, Substance, WayOutSettings
from vertebloc.way_out.answer import is_contradicted
from vertebloc.way_out.exact_check import (
    ExactCheck,
    capsules_of,
    check_exactly,
    exact_distances,
    mesh_of,
)
from vertebloc.way_out.model import Path
from vertebloc.way_out.poses import moves_of
from vertebloc.way_out.search import make_ground

from .rooms import bar, box


def test_block_beside_block():
    """A block 12 mm wide moved 10 mm towards a wall 20 mm off its middle: 4 mm are left."""
    piece = mesh_of(surface_of_solid(box([-6, -6, -8], [6, 6, 8])))
    wall = mesh_of(surface_of_solid(box([20, -30, -20], [60, 30, 20])))
    still = [fcl.CollisionObject(wall, fcl.Transform())]
    poses = np.array([[0.0, 0.0, 0.0], [10.0, 3.0, 0.0], [16.0, 0.0, 0.0]])
    found = exact_distances(piece, still, moves_of(poses))
    assert np.allclose(found, [14.0, 4.0, 0.0], atol=1e-6)


@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_a_root_is_capsules(turn):
    """A nerve 1.5 mm thick along x, 24 mm behind the middle of a block with corners at 6, 6."""
    line = bar("left T10 root", 24.0).line
    piece = mesh_of(surface_of_solid(box([-6, -6, -8], [6, 6, 8])))
    found = exact_distances(piece, capsules_of(line, 1.5), moves_of(np.array([[0.0, 0.0, turn]])))
    back = 6.0 * (np.cos(turn) + np.sin(turn))
    assert found[0] == pytest.approx(24.0 - back - 1.5, abs=0.01)


def checked(grown_mm=0.0):
    wall = surface_of_solid(box([20, -30, -20], [60, 30, 20]))
    room = Room(
        piece=surface_of_solid(box([-6, -6, -8], [6, 6, 8])), sac=wall,
        obstacles=(
            bar("left T10 root", 12.0),
            Obstacle(
                name="wall", substance=Substance.BONE, may_press_mm=1.0,
                surface=surface_of_solid(box([-60, -30, -20], [-9, 30, 20])),
            ),
        ),
        delivered_y_mm=30.0, x_mm=(-50.0, 50.0), y_mm=(-3.0, 40.0), sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    ground = make_ground(room, WayOutSettings())
    poses = np.column_stack((np.linspace(0.0, 12.0, 13), np.zeros(13), np.linspace(0, 0.2, 13)))
    path = Path(
        poses=poses, tilts=np.zeros_like(poses), clearance_mm=np.zeros(13),
        gone_mm=np.linspace(0.0, 14.0, 13), narrowest=12,
    )  # fmt: skip

    def measure(name, moves):
        return ground.gauges[name].measure(moves, None, (-14.0, 8.0)).astype(float) + grown_mm

    return check_exactly(room, path, frozenset(), measure, lambda: None)


def test_ours_agree_with_exact_distances():
    """To 0.25 mm (asked of surfaces), against meshes and capsules."""
    found = checked()
    assert found.agrees
    assert set(found.most_above_mm) == {"sac", "left T10 root", "wall"}
    assert found.sac_mm.min() < 2.5


def test_a_clearance_that_promises_too_much_is_found():
    """Ours made 0.4 mm too large on purpose."""
    assert not checked(grown_mm=0.4).agrees


def test_a_check_that_measured_otherwise_takes_a_yes_back():
    """The same poses, once with ours as measured, once half a millimetre too generous."""
    checks = [
        ExactCheck(
            poses=np.arange(2),
            sac_mm=np.array([3.0, 4.0]),
            ours_mm=np.array([3.0, 4.0]) + off,
            most_above_mm={"sac": off},
            most_below_mm={"sac": 0.0},
            distances_measured=2,
        )
        for off in (0.02, 0.5)
    ]
    assert [is_contradicted(one) for one in (None, *checks)] == [False, False, True]
