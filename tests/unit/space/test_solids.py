"""Closed-form distances against brute force, an optimiser and random sampling."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from vertebloc.errors import InputError
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.solids import (
    Box,
    Capsule,
    Complement,
    Difference,
    Ellipsoid,
    EllipticCylinder,
    Grown,
    HalfSpace,
    Intersection,
    Layer,
    Moved,
    Rod,
    RoundCone,
    RoundedBox,
    SmoothUnion,
    Sphere,
    Union,
)
from vertebloc.space.transforms import Transform

TURN = Rotation.from_euler("xyz", [25, -40, 70], degrees=True).as_matrix()
CENTRE = np.array([3.0, -2.0, 5.0])
END = CENTRE + np.array([3.0, 8.0, -2.0])

PRIMITIVES = {
    "sphere": Sphere(CENTRE, 7.0),
    "ellipsoid": Ellipsoid(CENTRE, [9.0, 4.0, 6.5], TURN),
    "flat ellipsoid": Ellipsoid(CENTRE, [12.0, 12.0, 1.5], TURN),
    "box": Box(CENTRE, [4.0, 6.0, 3.0], TURN),
    "rounded box": RoundedBox(CENTRE, [4.0, 6.0, 3.0], 1.2, TURN),
    "capsule": Capsule(CENTRE, END, 2.5),
    "round cone": RoundCone(CENTRE, END, 4.0, 1.0),
    "widening cone": RoundCone(CENTRE, END, 1.5, 5.0),
    "cylinder": EllipticCylinder(CENTRE, [5.0, 3.0], 6.0, TURN),
}


def _points(solid, count, seed):
    low, high = solid.bounds_mm()
    return np.random.default_rng(seed).uniform(low - 6.0, high + 6.0, (count, 3))


def _inside_by_definition(name, solid, p):
    """Membership written down anew, from what the solid is, not from its distance."""
    local = (p - CENTRE) @ TURN.T
    if name == "sphere":
        return ((p - CENTRE) ** 2).sum(axis=1) < 49.0
    if "ellipsoid" in name:
        return ((local / solid.half_axes_mm) ** 2).sum(axis=1) < 1.0
    if name == "box":
        return np.all(np.abs(local) < [4.0, 6.0, 3.0], axis=1)
    if name == "rounded box":
        core = np.clip(local, [-2.8, -4.8, -1.8], [2.8, 4.8, 1.8])
        return ((local - core) ** 2).sum(axis=1) < 1.2**2
    if name == "cylinder":
        across = (local[:, 0] / 5.0) ** 2 + (local[:, 1] / 3.0) ** 2 < 1.0
        return across & (np.abs(local[:, 2]) < 6.0)
    t = np.linspace(0.0, 1.0, 2001)  # a round cone is the union of the balls along it
    balls = solid.start + t[:, None] * (solid.end - solid.start)
    radii = solid.start_radius_mm + t * (solid.end_radius_mm - solid.start_radius_mm)
    apart = ((p[:, None, :] - balls[None]) ** 2).sum(axis=2)
    return np.any(apart < radii**2, axis=1)


@pytest.mark.parametrize("name", PRIMITIVES)
def test_sign_is_membership(name):
    solid = PRIMITIVES[name]
    p = _points(solid, 3000, 1)
    found = solid.signed_distance_mm(p)
    clear = np.abs(found) > 1e-3  # the sampled balls of a cone leave a ripple of 1e-5 mm
    assert np.array_equal((found < 0)[clear], _inside_by_definition(name, solid, p)[clear])


def _sizes(solid):
    if isinstance(solid, EllipticCylinder):
        return np.array([*solid.half_axes_mm, solid.half_length_mm])
    for name in ("half_axes_mm", "half_sizes_mm"):
        if hasattr(solid, name):
            return getattr(solid, name)
    return np.full(3, 4.0)


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow if isinstance(solid, RoundCone) else ())
        for name, solid in PRIMITIVES.items()
    ],
)
def test_distance_is_that_to_the_nearest_of_many_surface_points(name):
    """Surface found by bisection on membership along random rays; a k-d tree does the rest."""
    solid = PRIMITIVES[name]
    rng = np.random.default_rng(2)
    inner = 0.5 * (solid.start + solid.end) if isinstance(solid, RoundCone) else CENTRE
    ray = rng.normal(size=(20_000 if isinstance(solid, RoundCone) else 60_000, 3))
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    ray = (ray * _sizes(solid)) @ TURN  # as dense at a flat solid's edge as on its face
    low, high = np.zeros(len(ray)), np.full(len(ray), 8.0)
    membership = _inside_by_definition if not isinstance(solid, RoundCone) else _inside_cone
    for _ in range(33):  # 8 mm / 2^33 is far below what is asked of it
        middle = 0.5 * (low + high)
        inside = membership(name, solid, inner + middle[:, None] * ray)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    surface = inner + low[:, None] * ray
    p = _points(solid, 400, 3)
    brute, _ = cKDTree(surface).query(p)
    found = np.abs(solid.signed_distance_mm(p))
    assert np.all(found <= brute + 1e-6)  # no surface point is nearer than the distance says
    far = found > 1.0  # close to the surface the samples' spacing shows
    assert np.max(brute[far] - found[far]) < 0.15  # three times the samples' mean spacing


def _inside_cone(_name, solid, p):
    """Membership of the hull of two balls: the best ball along the axis, by golden section."""
    low, high = np.zeros(len(p)), np.ones(len(p))

    def excess(t):
        ball = solid.start + t[:, None] * (solid.end - solid.start)
        radius = solid.start_radius_mm + t * (solid.end_radius_mm - solid.start_radius_mm)
        return np.linalg.norm(p - ball, axis=1) - radius

    for _ in range(36):
        a, b = low + 0.382 * (high - low), low + 0.618 * (high - low)
        left = excess(a) < excess(b)
        low, high = np.where(left, low, a), np.where(left, b, high)
    return excess(0.5 * (low + high)) < 0.0


@pytest.mark.parametrize(
    "half_axes",
    [[9.0, 4.0, 6.5], pytest.param([20.0, 1.0, 1.0], marks=pytest.mark.slow), [5.0, 5.0, 5.0]],
)
def test_ellipsoid_distance_against_an_optimiser(half_axes):
    solid = Ellipsoid(np.zeros(3), half_axes)
    p = np.concatenate((_points(solid, 12, 4), [[0.2, 0.0, 0.0], [0.0, 0.3, -0.1], [0, 0, 0]]))

    def on_surface(angles):
        u, v = angles
        unit = np.array([np.cos(u) * np.cos(v), np.sin(u) * np.cos(v), np.sin(v)])
        return np.array(half_axes) * unit

    for point, found in zip(p, solid.signed_distance_mm(p), strict=True):
        tries = [
            minimize(lambda a, q=point: np.sum((on_surface(a) - q) ** 2), start, tol=1e-14).fun
            for start in [(u, v) for u in (0.1, 1.6, 3.2, 4.7) for v in (-1.2, 0.05, 1.2)]
        ]
        assert abs(found) == pytest.approx(np.sqrt(min(tries)), abs=2e-6)


def test_ellipsoid_distance_at_its_hardest_places():
    """Centre, focal plane, poles: the nearest point is known by hand."""
    solid = Ellipsoid(np.zeros(3), [10.0, 5.0, 2.0])
    # centre: the shortest half axis; pole: outside along the long axis;
    # (9, 0, 0): inside the focal segment, foot at x = 9 / (1 - 4 / 100) = 9.375
    height = 2.0 * np.sqrt(1.0 - 0.9375**2)
    expected = [-2.0, 3.0, 0.0, -np.hypot(0.375, height)]
    found = solid.signed_distance_mm([[0, 0, 0], [13, 0, 0], [0, 5, 0], [9, 0, 0]])
    assert found == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("name", PRIMITIVES)
def test_volume_and_box_against_random_points(name):
    solid = PRIMITIVES[name]
    low, high = solid.bounds_mm()
    p = np.random.default_rng(5).uniform(low - 1.0, high + 1.0, (400_000, 3))
    inside = solid.signed_distance_mm(p) < 0
    share = inside.mean()
    whole = float(np.prod(high - low + 2.0))
    # five standard errors of a share drawn 400 000 times
    assert solid.volume_mm3 == pytest.approx(
        share * whole, abs=5 * whole * np.sqrt(share * (1 - share) / len(p))
    )
    assert np.all(p[inside] >= low) and np.all(p[inside] <= high)
    assert np.all(p[inside].min(axis=0) - low < 1.0)  # and the box is not much too large
    assert np.all(high - p[inside].max(axis=0) < 1.0)


def test_box_rounded_all_the_way_is_a_ball():
    box = RoundedBox([1, 2, 3], [2.0, 2.0, 2.0], 2.0)
    assert box.volume_mm3 == pytest.approx(Sphere([1, 2, 3], 2.0).volume_mm3)


def test_union_is_exact_outside_and_never_optimistic_inside():
    """Two overlapping balls: the truth inside is the distance to their common outer surface."""
    union = Union((Sphere([-2, 0, 0], 4.0), Sphere([2, 0, 0], 4.0)))
    rng = np.random.default_rng(6)
    unit = rng.normal(size=(80_000, 3))
    unit /= np.linalg.norm(unit, axis=1, keepdims=True)
    shell = np.concatenate((4.0 * unit + [-2, 0, 0], 4.0 * unit + [2, 0, 0]))
    apart = np.minimum(
        np.linalg.norm(shell - [-2, 0, 0], axis=1), np.linalg.norm(shell - [2, 0, 0], axis=1)
    )
    surface = shell[apart > 4.0 - 1e-9]
    p = rng.uniform(-8, 8, (2000, 3))
    truth, _ = cKDTree(surface).query(p)
    found = union.signed_distance_mm(p)
    outside = found > 0
    assert np.max(np.abs(found - truth)[outside]) < 0.1  # samples lie 0.05 mm apart on average
    assert np.all(-found[~outside] <= truth[~outside] + 1e-9)
    # a bound, as the docstring says: the rim is sqrt(4^2 - 2^2) mm from the middle
    assert union.signed_distance_mm([0, 0, 0])[0] == pytest.approx(-2.0)
    assert np.hypot(*surface[np.argmin(np.linalg.norm(surface, axis=1)), 1:]) > 3.4


def test_difference_is_exact_inside_and_a_bound_outside():
    ring = Difference(Sphere([0, 0, 0], 8.0), EllipticCylinder([0, 0, 0], [3.0, 3.0], 20.0))
    assert ring.signed_distance_mm([[5.0, 0, 0], [0, 0, 0], [0, 10.0, 0]]) == pytest.approx(
        [-2.0, 3.0, 2.0]
    )
    # above the hole the nearest rim point is (3, 0, sqrt(55)): the bound says less
    point = np.array([[0.0, 0.0, 9.0]])
    truth = np.hypot(3.0, 9.0 - np.sqrt(55.0))
    assert 0.0 < ring.signed_distance_mm(point)[0] < truth


def test_smooth_union_keeps_sign_order_and_bounds():
    parts = (Sphere([-3, 0, 0], 4.0), Sphere([3, 0, 0], 4.0), Sphere([0, 5, 0], 2.0))
    smooth, plain = SmoothUnion(parts, 2.0), Union(parts)
    p = np.random.default_rng(7).uniform(-10, 10, (5000, 3))
    a, b = smooth.signed_distance_mm(p), plain.signed_distance_mm(p)
    assert np.all(a <= b) and np.all(a >= b - 1.0)
    low, high = smooth.bounds_mm()
    assert np.all(p[a < 0] > low) and np.all(p[a < 0] < high)
    # no steeper than 1 mm per mm, which is what makes it a bound
    q = p + np.random.default_rng(8).normal(size=p.shape) * 0.1
    step = np.linalg.norm(q - p, axis=1)
    assert np.all(np.abs(smooth.signed_distance_mm(q) - a) <= step + 1e-12)


def test_leaving_out_far_parts_changes_nothing():
    """Many points at once and one point at a time must agree to the last bit."""
    rng = np.random.default_rng(9)
    balls = tuple(
        Sphere(c, r)
        for c, r in zip(rng.uniform(-60, 60, (25, 3)), rng.uniform(2, 9, 25), strict=True)
    )
    p = rng.uniform([12, 2, -13], [28, 18, 3], (300, 3))
    for made in (Union(balls), Intersection(balls), SmoothUnion(balls, 3.0)):
        alone = np.array([made.signed_distance_mm(point)[0] for point in p])
        assert np.array_equal(made.signed_distance_mm(p), alone)


@pytest.mark.parametrize("mirrored", [False, True])
def test_moved_solid_is_the_solid_seen_from_the_moved_place(mirrored):
    matrix = np.eye(4)
    matrix[:3, :3] = TURN @ np.diag([-1.0 if mirrored else 1.0, 1.0, 1.0])
    matrix[:3, 3] = [10, -4, 2]
    motion = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    solid = RoundCone([0, 0, 0], [9, 2, 1], 3.0, 1.0)
    moved = Moved(solid, motion)
    by_hand = RoundCone(*motion.points([[0, 0, 0], [9, 2, 1]]), 3.0, 1.0)
    p = _points(by_hand, 500, 10)
    assert moved.signed_distance_mm(p) == pytest.approx(by_hand.signed_distance_mm(p), abs=1e-9)
    low, high = moved.bounds_mm()
    exact_low, exact_high = by_hand.bounds_mm()
    assert np.all(low <= exact_low + 1e-9) and np.all(high >= exact_high - 1e-9)


def test_grown_complement_and_half_space():
    ball = Sphere([0, 0, 0], 5.0)
    assert Grown(ball, 2.0).signed_distance_mm([[9, 0, 0]])[0] == pytest.approx(2.0)
    for sign, corner in zip((-1.0, 1.0), Grown(ball, 2.0).bounds_mm(), strict=True):
        assert corner == pytest.approx(sign * np.full(3, 7.0))
    assert Complement(ball).signed_distance_mm([[9, 0, 0]])[0] == pytest.approx(-4.0)
    half = HalfSpace(Plane(np.array([0, 0, 3.0]), np.array([0, 0, 2.0])))
    assert half.signed_distance_mm([[7, 7, 1], [0, 0, 4]]) == pytest.approx([-2.0, 1.0])
    dome = Intersection((ball, half))
    assert dome.bounds_mm()[1] == pytest.approx([5, 5, 5])


def test_rod_is_the_union_of_its_round_cones():
    knots = np.array([[0, 0, 0], [6, 1, 0], [9, 6, 2], [8, 12, 5]], dtype=float)
    radii = np.array([2.0, 3.0, 1.5, 1.0])
    pieces = zip(knots[:-1], knots[1:], radii[:-1], radii[1:], strict=True)
    union = Union([RoundCone(a, b, r, q) for a, b, r, q in pieces])
    rod = Rod(knots, radii)
    p = _points(rod, 2000, 11)
    assert rod.signed_distance_mm(p) == pytest.approx(union.signed_distance_mm(p), abs=1e-12)
    for ours, theirs in zip(rod.bounds_mm(), union.bounds_mm(), strict=True):
        assert ours == pytest.approx(theirs)


def test_layer_is_what_lies_little_under_the_surface():
    layer = Layer(Sphere([0, 0, 0], 10.0), 2.0)
    found = layer.signed_distance_mm([[11, 0, 0], [9.5, 0, 0], [8.5, 0, 0], [0, 3, 0]])
    assert found == pytest.approx([1.0, -0.5, -0.5, 5.0])


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Sphere([0, 0, 0], 0.0), "> 0 mm"),
        (lambda: Sphere([0, np.nan, 0], 1.0), "finite"),
        (lambda: Ellipsoid([0, 0, 0], [1, 2, -3]), "half axes"),
        (lambda: Ellipsoid([0, 0, 0], [1, 2, 3], np.ones((3, 3))), "perpendicular"),
        (lambda: RoundedBox([0, 0, 0], [1, 2, 3], 1.5), "rounding"),
        (lambda: RoundCone([0, 0, 0], [1, 0, 0], 3.0, 1.0), "use a Sphere"),
        (lambda: Rod([[0, 0, 0]], [1.0]), "two knots"),
        (lambda: Rod([[0, 0, 0], [1, 0, np.inf]], [1.0, 1.0]), "finite"),
        (lambda: Rod([[0, 0, 0], [1, 0, 0]], [3.0, 1.0]), "neighbouring radii"),
        (lambda: Rod([[0, 0, 0], [9, 0, 0]], [3.0, 0.0]), "radii"),
        (lambda: Layer(Sphere([0, 0, 0], 1.0), 0.0), "depth"),
        (lambda: Union(()), "at least one"),
        (lambda: SmoothUnion((Sphere([0, 0, 0], 1.0),), 0.0), "blend"),
        (
            lambda: Moved(
                Sphere([0, 0, 0], 1.0),
                Transform(
                    np.diag([2.0, 1, 1, 1]), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS
                ),
            ),
            "stretched",
        ),
        (
            lambda: Moved(
                Sphere([0, 0, 0], 1.0),
                Transform(np.eye(4), target=Frame.SCREEN, source=Frame.PATIENT_LPS),
            ),
            "same frame",
        ),
    ],
)
def test_impossible_solids_are_refused_with_a_reason(make, words):
    with pytest.raises(InputError, match=words):
        make()
