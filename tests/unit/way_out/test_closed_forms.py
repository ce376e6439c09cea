"""Rooms whose widest way out is known in closed form: the bracket must hold it.

Sources beside each: plane geometry, worked out in the docstring; the ladder round a corner is
the textbook problem (common practice, no source).
"""

import manifold3d
import numpy as np
import pytest

from vertebloc.space.frames import Side
from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Obstacle, Room, Scenario, Substance, WayOutSettings, make_search
from vertebloc.way_out.judge import BRACKET_MM
from vertebloc.way_out.narrowing import make_narrowing
from vertebloc.way_out.pose_map import Margin

GRIDS = [
    (3.0, 7.5),
    pytest.param((2.0, 5.0), marks=pytest.mark.full),
    pytest.param((1.5, 3.75), marks=pytest.mark.full),
]
#: the lower end stays below the truth by: field error 0.1, half a step of the closer look 0.1,
#: between sample points 0.2 (1 mm edges at a clearance of 1 mm), and by what the lattice misses
#: of the best path at a narrow place
SHORT_MM = 0.4
NOTHING = frozenset()


def box(low, high):
    low, high = np.array(low, float), np.array(high, float)
    return manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def turned(solid, degrees, mirrored=False):
    if mirrored:
        solid = solid.mirror((1.0, 0.0, 0.0))
    return solid.rotate((0.0, 0.0, degrees))


def search_in(room, grid, **settings):
    step_mm, step_deg = grid
    # SHORT_MM is worked out for edges of 1 mm
    wanted = {"clear_after_mm": 5.0, "edge_mm": 1.0, **settings}
    return make_search(room, WayOutSettings(step_mm=step_mm, step_deg=step_deg, **wanted))


def bracket_of(search, side=None, given_up=NOTHING):
    """As the ledger gives it, on the finer grids: the upper end brought down by smaller cells."""
    scenario, plain = Scenario(side=side, given_up=given_up), Margin(False)
    if search.map.lattice.step_mm >= GRIDS[0][0]:  # the lattice's own certificate is soon had
        return search.bracket(scenario, grown_mm=0.0, sac_grown_mm=0.0)
    lower, names = search.lower_mm(scenario, plain)[0], search.staying(scenario)
    narrowing = make_narrowing(search.map, lambda: None)
    return narrowing.bracket(scenario, names, lower, BRACKET_MM)


def check(bracket, truth, search, lattice_misses=0.0):
    covers = search.map.covers_mm
    assert bracket.lower_mm <= truth <= bracket.upper_mm
    assert bracket.lower_mm >= truth - SHORT_MM - lattice_misses
    # no node's cell is better than the truth by more than its own size and the field's error
    assert bracket.upper_mm <= truth + 1.0 * covers + covers + 0.2


@pytest.mark.parametrize("degrees", [0.0, 24.0])
@pytest.mark.parametrize("grid", GRIDS)
def test_straight_corridor(grid, degrees):
    """A block 12 mm wide between walls 18 mm apart keeps 3 mm from both."""
    piece = turned(box([-6, -8, -5], [6, 8, 5]), degrees)
    walls = turned(box([-30, -40, -15], [-9, 60, 15]) + box([9, -40, -15], [30, 60, 15]), degrees)
    room = Room(
        piece=surface_of_solid(piece), sac=surface_of_solid(walls), obstacles=(),
        delivered_y_mm=62.0, x_mm=(-60.0, 30.0), y_mm=(-3.0, 80.0), sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    search = search_in(room, grid)
    check(bracket_of(search), 3.0, search, lattice_misses=0.0 if degrees == 0.0 else grid[0] / 3.0)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("grid", GRIDS)
def test_round_a_corner(grid, mirrored):
    """A block of length L and thickness t turns from one corridor of width W into another.

    With clearance c its outer side touches both outer walls, moved in by c; the inner corner
    keeps c from its inner side. At every angle a:
    (W - c)(sin a + cos a) - L sin a cos a - t >= c, and 2 c <= W - t in the straight parts.
    """
    length, thick, wide = 30.0, 4.0, 16.0
    a = np.linspace(0.0, np.pi / 2.0, 2001)
    sum_, product = np.sin(a) + np.cos(a), np.sin(a) * np.cos(a)
    truth = float(np.min((wide * sum_ - length * product - thick) / (1.0 + sum_)))
    piece = box([-15, -2, -4], [15, 2, 4])
    corner = np.array([30.0, -8.0, 0.0])  # outer corner of the two corridors
    walls = box([-60, -30, -10], [60, corner[1], 10]) + box([corner[0], -30, -10], [60, 90, 10])
    walls += box([-60, corner[1] + wide, -10], [corner[0] - wide, 90, 10])
    walls += box([-60, -30, -10], [-24, 90, 10])
    room = Room(
        piece=surface_of_solid(turned(piece, 0.0, mirrored)),
        sac=surface_of_solid(turned(walls, 0.0, mirrored)), obstacles=(),
        delivered_y_mm=30.0, x_mm=(-80.0, 80.0), y_mm=(-8.0, 52.0), sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    search = search_in(room, grid)
    check(bracket_of(search), truth, search, lattice_misses=grid[0] / 2.0)


@pytest.mark.parametrize("grid", GRIDS)
def test_disc_round_a_post(grid):
    """A disc of radius R between a post and a wall at a gap G, pressing the wall by 1 mm.

    Clearance to the post: G + 1 - 2 R; the gaps differ by side. The wall is pressed: there all of
    what may lie between sample points counts, so they are as close together as for patients.
    """
    disc = manifold3d.Manifold.cylinder(8.0, 7.0, circular_segments=128, center=True)
    post = manifold3d.Manifold.cylinder(30.0, 5.0, circular_segments=128, center=True)
    post = post.translate((0.0, 20.0, 0.0))
    left = box([5.0 + 16.0, -12, -15], [40, 60, 15])
    right = box([-40, -12, -15], [-5.0 - 14.0, 60, 15])
    room = Room(
        piece=surface_of_solid(disc), sac=surface_of_solid(post),
        obstacles=(
            Obstacle(
                name="walls", substance=Substance.BONE, may_press_mm=1.0,
                surface=surface_of_solid(left + right),
            ),
        ),
        delivered_y_mm=34.0, x_mm=(-50.0, 50.0), y_mm=(-3.0, 44.0), sac_middle_mm=(0.0, 20.0),
    )  # fmt: skip
    search = search_in(room, grid, edge_mm=0.5)
    for side, truth in ((Side.LEFT, 3.0), (Side.RIGHT, 1.0)):
        check(bracket_of(search, side), truth, search, lattice_misses=grid[0] / 2.0)
    check(bracket_of(search), 3.0, search, lattice_misses=grid[0] / 2.0)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("grid", GRIDS)
def test_ring_that_must_turn(grid, mirrored):
    """An open ring round a post, its mouth to the side, in a corridor too narrow to go sideways.

    The post's middle must cross the line between the two corners of the mouth, a distance m
    apart: nothing is better than m / 2 - p. The ring has to turn until its mouth looks forward.
    """
    inner, outer, half_mouth, p = 14.0, 18.0, np.radians(40.0), 5.0
    truth = inner * np.sin(half_mouth) - p
    round_ = {"circular_segments": 180, "center": True}
    ring = manifold3d.Manifold.cylinder(8.0, outer, **round_)
    ring -= manifold3d.Manifold.cylinder(9.0, inner, **round_)
    far = 60.0
    wedge = manifold3d.CrossSection(
        [[(0.0, 0.0), (far, -far * np.tan(half_mouth)), (far, far * np.tan(half_mouth))]]
    )
    ring -= manifold3d.Manifold.extrude(wedge, 20.0).translate((0.0, 0.0, -10.0))
    post = manifold3d.Manifold.cylinder(30.0, p, circular_segments=128, center=True)
    walls = box([-50, -30, -12], [-19.5, 70, 12]) + box([19.5, -30, -12], [50, 70, 12])
    room = Room(
        piece=surface_of_solid(turned(ring, 0.0, mirrored)), sac=surface_of_solid(post),
        obstacles=(
            Obstacle(
                name="walls", substance=Substance.BONE, may_press_mm=1.0,
                surface=surface_of_solid(walls),
            ),
        ),
        delivered_y_mm=14.0, x_mm=(-60.0, 60.0), y_mm=(-6.0, 46.0), sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    search = search_in(room, grid)
    bracket = bracket_of(search)
    check(bracket, truth, search, lattice_misses=grid[0] / 2.0)


def wedges(opens: float, degrees=12.0, gap=1.0):
    """A keystone and the bone above and below it; the wedge is wider behind if opens is 1."""
    slope = opens * np.tan(np.radians(degrees))
    lean = gap / np.cos(np.radians(degrees))

    def slab(low, high):
        # y, z outline of a block of 20 mm along x
        outline = manifold3d.CrossSection([low + high[::-1]])
        solid = manifold3d.Manifold.extrude(outline, 20.0)  # along z: turn it to x
        return solid.transform(
            np.array([[0.0, 0.0, 1.0, -10.0], [1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0]])
        )

    def top(y, more):
        return 8.0 + slope * y + more

    ends = (-10.0, 10.0)
    piece = slab([(y, -top(y, 0.0)) for y in ends], [(y, top(y, 0.0)) for y in ends])
    above = slab([(y, top(y, lean)) for y in ends], [(y, 30.0) for y in ends])
    below = slab([(y, -30.0) for y in ends], [(y, -top(y, lean)) for y in ends])
    return piece, above, below


@pytest.mark.parametrize("grid", GRIDS)
def test_converging_cuts_that_open(grid):
    """Cuts that open to the back by 12 degrees a side: after s mm the gap has grown by s sin 12.

    The rising demand meets the growing gap where the piece is clear of its seat, at 5 mm:
    1 + 5 sin 12 (measured square to the cut). Walls at the sides keep it on its way.
    """
    piece, above, below = wedges(1.0)
    sides = box([-30, -10, -7], [-10.5, 40, 7]) + box([10.5, -10, -7], [30, 40, 7])
    front = box([-30, -30, -7], [30, -11, 7])
    room = Room(
        piece=surface_of_solid(piece), sac=surface_of_solid(above + below),
        obstacles=(
            Obstacle(
                name="walls", substance=Substance.BONE, may_press_mm=1.0,
                surface=surface_of_solid(sides + front),
            ),
        ),
        delivered_y_mm=12.0, x_mm=(-40.0, 40.0), y_mm=(-3.0, 30.0), sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    search = search_in(room, grid)
    truth = 1.0 + 5.0 * np.sin(np.radians(12.0))
    # the first 5 mm are a step or two of the lattice: the demand rises by 0.4 mm a mm on the way
    check(bracket_of(search), truth, search, lattice_misses=0.6)


@pytest.mark.parametrize("grid", GRIDS)
def test_converging_cuts_that_lock(grid):
    """The same wedge the other way round cannot leave to the back: 12 mm further the gap is gone.

    On 20 mm the wedge narrows by 2 x 20 tan 12 = 8.5 mm: it would have to be pressed in by over
    3 mm a side. Given up, the bone above and below lets it go.
    """
    piece, above, below = wedges(-1.0)
    sides = box([-30, -10, -7], [-10.5, 40, 7]) + box([10.5, -10, -7], [30, 40, 7])
    front = box([-30, -30, -7], [30, -11, 7])
    post = manifold3d.Manifold.cylinder(30.0, 2.0, circular_segments=64, center=True)
    rest = {"substance": Substance.BONE, "may_press_mm": 1.0}
    room = Room(
        piece=surface_of_solid(piece), sac=surface_of_solid(post.translate((0.0, 45.0, 0.0))),
        obstacles=(
            Obstacle(name="walls", surface=surface_of_solid(sides + front), **rest),
            Obstacle(
                name="bone", surface=surface_of_solid(above + below), sacrifice="bone", **rest
            ),
        ),
        delivered_y_mm=12.0, x_mm=(-40.0, 40.0), y_mm=(-3.0, 30.0), sac_middle_mm=(0.0, 45.0),
    )  # fmt: skip
    search = search_in(room, grid)
    shut, free = bracket_of(search), bracket_of(search, given_up=frozenset({"bone"}))
    assert shut.lower_mm == -np.inf
    assert free.lower_mm > 5.0
    if grid[0] < 3.0:  # the coarsest cells are as large as the wedge is narrow: no proof there
        assert shut.upper_mm == -np.inf
