"""Solids cut by planes against closed forms: finite faces, half planes, holes, trimmed volumes."""

import numpy as np
import pytest
import trimesh

from vertebloc.errors import InputError
from vertebloc.space.planes import Plane
from vertebloc.space.sections import (
    face_of_solid,
    solid_from_surface,
    space_within,
    surface_of_solid,
    trimmed,
    united,
)
from vertebloc.space.surfaces import TriangleSurface


def solid_of(mesh):
    return solid_from_surface(TriangleSurface(mesh.vertices, mesh.faces))


def ball(radius=10.0, at=(0, 0, 0)):
    mesh = trimesh.creation.icosphere(subdivisions=5, radius=radius)
    mesh.apply_translation(at)
    return solid_of(mesh)


def box(x, y, z, at=(0, 0, 0)):
    mesh = trimesh.creation.box((x, y, z))
    mesh.apply_translation(at)
    return solid_of(mesh)


@pytest.mark.parametrize("height", [0.0, 3.0, -7.5])
@pytest.mark.parametrize("normal", [(0, 0, 1), (0, 0, -1), (1, 2, -3)])
def test_plane_through_a_ball_is_a_disc(height, normal):
    """Circle of radius sqrt(R^2 - h^2); the facets of the ball lie within 0.2 % of it."""
    plane = Plane(height * np.array(normal) / np.linalg.norm(normal), normal)
    face = face_of_solid(ball(), plane.frame((0.3, 1.0, 0.2)))
    assert face.area_mm2 == pytest.approx(np.pi * (100.0 - height**2), rel=3e-3)
    (loop,) = face.loops_lps()
    assert np.abs(plane.signed_distance_mm(loop)).max() < 1e-6
    assert np.abs(np.linalg.norm(loop, axis=1) - 10.0).max() < 0.02


def test_slanted_plane_through_a_box_is_longer_by_the_cosine():
    plane = Plane((1.0, 0.0, 0.5), (0.0, np.sin(0.4), np.cos(0.4)))
    face = face_of_solid(box(20.0, 10.0, 30.0), plane.frame((1, 0, 0)))
    assert face.area_mm2 == pytest.approx(20.0 * 10.0 / np.cos(0.4), rel=1e-9)


@pytest.mark.parametrize("degrees", [1e-7, 0.001, 0.1, 0.5, 1.0, 2.0, 30.0])
@pytest.mark.parametrize(("height", "is_kept"), [(-39.0, False), (39.0, True)])
def test_a_nearly_parallel_plane_keeps_all_of_a_face_or_nothing(degrees, height, is_kept):
    """They meet farther off than any patient is large; the face must not vanish for that."""
    angle = np.radians(degrees)
    bound = Plane((0.0, 0.0, height), (0.0, np.sin(angle), np.cos(angle)))
    face = face_of_solid(
        box(20.0, 10.0, 30.0), Plane((0, 0, 0), (0, 0, 1)).frame((1, 0, 0)), [bound]
    )
    # a plane tilted by 30 degrees meets this one 68 mm away: beyond the box as well
    assert face.area_mm2 == pytest.approx(200.0 if is_kept else 0.0, abs=1e-6)


def test_plane_beside_the_solid_has_no_face():
    face = face_of_solid(ball(), Plane((0, 0, 10.5), (0, 0, 1)).frame((1, 0, 0)))
    assert face.is_empty
    assert face.area_mm2 == 0.0


DIRECTIONS = {"right": (-1, 0, 0), "left": (1, 0, 0), "front": (0, -1, 0), "back": (0, 1, 0)}


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("up", [1, -1])
def test_half_plane_keeps_the_negative_side_in_all_four_directions(direction, up):
    """A box of 20 x 12 off centre: the part kept is a rectangle known by hand."""
    normal = np.array(DIRECTIONS[direction], float)
    axis = int(np.argmax(np.abs(normal)))
    centre, half = np.array([3.0, -2.0, 0.0]), np.array([10.0, 6.0, 5.0])
    edge = Plane(normal * 4.0, normal)
    lps_from_plane = Plane((0, 0, 1.0), (0, 0, up)).frame((1, 1, 0))
    face = face_of_solid(box(*(2 * half), at=centre), lps_from_plane, [edge])
    other = half[1 - axis] * 2
    kept = 4.0 - (centre @ normal - half[axis])
    assert face.area_mm2 == pytest.approx(kept * other, rel=1e-9)
    corners = np.vstack(face.loops_lps())
    assert edge.signed_distance_mm(corners).max() == pytest.approx(0.0, abs=1e-6)
    assert edge.signed_distance_mm(corners).min() == pytest.approx(-kept, abs=1e-6)


def test_two_half_planes_of_a_ball_leave_a_quarter_disc():
    within = [Plane((0, 0, 0), (1, 0, 0)), Plane((0, 0, 0), (0, -1, 0.3))]
    face = face_of_solid(ball(), Plane((0, 0, 0), (0, 0, 1)).frame((1, 0, 0)), within)
    assert face.area_mm2 == pytest.approx(np.pi * 100.0 / 4.0, rel=3e-3)
    corners = np.vstack(face.loops_lps())
    assert corners[:, 0].max() < 1e-6
    assert corners[:, 1].min() > -1e-6


@pytest.mark.parametrize(("height", "share"), [(2.0, 0.0), (-2.0, 1.0)])
def test_parallel_half_plane_keeps_all_or_nothing(height, share):
    within = [Plane((0, 0, -height), (0, 0, 1))]
    face = face_of_solid(ball(), Plane((0, 0, 0), (0, 0, 1)).frame((1, 0, 0)), within)
    assert face.area_mm2 == pytest.approx(share * np.pi * 100.0, rel=3e-3, abs=1e-9)


def test_hole_is_a_clockwise_loop_and_is_subtracted():
    ring = trimesh.creation.annulus(r_min=4.0, r_max=9.0, height=10.0, sections=256)
    face = face_of_solid(solid_of(ring), Plane((0, 0, 1), (0, 0, 1)).frame((1, 0, 0)))
    assert len(face.loops) == 2
    assert face.area_mm2 == pytest.approx(np.pi * (81.0 - 16.0), rel=1e-3)
    cut = face_of_solid(
        solid_of(ring), Plane((0, 0, 1), (0, 0, 1)).frame((1, 0, 0)), [Plane((0, 0, 0), (1, 0, 0))]
    )
    assert cut.area_mm2 == pytest.approx(np.pi * (81.0 - 16.0) / 2.0, rel=1e-3)


def test_trimmed_ball_is_a_cap():
    """Cap of height t: pi t^2 (3 R - t) / 3."""
    rest = trimmed(ball(), [Plane((0, 0, -4.0), (0, 0, 1))])
    assert rest.volume() == pytest.approx(np.pi * 36.0 * (30.0 - 6.0) / 3.0, rel=3e-3)
    surface = surface_of_solid(rest)
    assert surface.is_closed
    assert surface.volume_mm3 == pytest.approx(rest.volume(), rel=1e-9)
    assert surface.vertices[:, 2].max() == pytest.approx(-4.0, abs=1e-6)


def test_both_sides_of_a_plane_make_the_whole():
    whole = box(14.0, 9.0, 11.0, at=(3, 1, -2))
    plane = Plane((2.0, 1.0, -1.0), (1, -2, 0.5))
    sides = [
        trimmed(whole, [plane]).volume(),
        trimmed(whole, [Plane(plane.point, -plane.normal)]).volume(),
    ]
    assert min(sides) > 100.0
    assert sum(sides) == pytest.approx(14.0 * 9.0 * 11.0, rel=1e-9)


def test_united_boxes_count_their_overlap_once():
    both = united([box(10, 10, 10), box(10, 10, 10, at=(6, 0, 0))])
    assert both.volume() == pytest.approx(2000.0 - 400.0, rel=1e-9)


def test_open_surface_is_no_solid():
    mesh = trimesh.creation.box((2.0, 2.0, 2.0))
    with pytest.raises(InputError, match="no closed solid"):
        solid_from_surface(TriangleSurface(mesh.vertices, mesh.faces[1:]))


def test_space_within_planes_takes_away_what_trimming_keeps():
    """Closed form: a corner of a box, cut off by three planes."""
    planes = [
        Plane((-2.0, 0, 0), (1, 0, 0)),
        Plane((0, 1.0, 0), (0, 1, 0)),
        Plane((0, 0, 4.0), (0, 0, -1)),
    ]
    whole = box(20.0, 10.0, 30.0)
    corner = 8.0 * 6.0 * 11.0
    assert (whole - space_within(planes)).volume() == pytest.approx(6000.0 - corner, rel=1e-9)
    assert trimmed(whole, planes).volume() == pytest.approx(corner, rel=1e-9)
