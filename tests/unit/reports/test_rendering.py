"""Sections, reslices and shaded depth against places known by hand."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from vertebloc.reports import palette
from vertebloc.reports.rendering import render_depth
from vertebloc.reports.slicing import Field, reslice, section_loops, section_of_face
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.views import View, screen_from_body

SCREEN = screen_from_body(View.THEATRE_HEAD_UP)  # right = patient's right, up = head, out = back
FIELD = Field(
    centre_x_mm=0.0, centre_y_mm=0.0, half_width_mm=40.0, half_height_mm=20.0, pixel_mm=0.5
)


def ball(middle: tuple[float, float, float], radius: float) -> TriangleSurface:
    made = trimesh.creation.icosphere(subdivisions=4, radius=radius)
    return TriangleSurface(made.vertices + middle, made.faces)


def area(loop: np.ndarray) -> float:
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def test_section_of_a_ball_is_the_circle_of_its_depth() -> None:
    # A ball of radius 10 cut 6 mm off its middle is a circle of radius 8 (6-8-10 triangle).
    (loop,) = section_loops(ball((5.0, 30.0, -3.0), 10.0), SCREEN, 36.0)
    assert np.allclose(loop.mean(axis=0), (-5.0, -3.0), atol=0.1)
    assert np.hypot(*(loop - (-5.0, -3.0)).T) == pytest.approx(8.0, abs=0.05)  # faceted ball
    assert abs(area(loop)) == pytest.approx(np.pi * 64, rel=0.005)


def test_a_plane_beside_the_ball_gives_nothing() -> None:
    assert section_loops(ball((0.0, 0.0, 0.0), 10.0), SCREEN, 10.5) == ()


def test_a_hollow_gives_a_loop_that_runs_the_other_way() -> None:
    outer, inner = trimesh.creation.icosphere(4, 10.0), trimesh.creation.icosphere(4, 4.0)
    inner.invert()
    both = trimesh.util.concatenate([outer, inner])
    loops = section_loops(TriangleSurface(both.vertices, both.faces), SCREEN, 0.0)
    areas = sorted(area(loop) for loop in loops)
    assert len(areas) == 2
    assert areas[0] * areas[1] < 0
    assert abs(sum(areas)) == pytest.approx(np.pi * (100 - 16), rel=0.005)


def test_depth_of_a_ball_against_its_closed_form() -> None:
    middle, radius = np.array((5.0, 30.0, -3.0)), 10.0
    picture = render_depth(ball(tuple(middle), radius), SCREEN, FIELD)
    x, y = FIELD.pixel_centres()
    beside = np.hypot(x + middle[0], y - middle[2])
    well_inside = beside < radius - 1.0
    assert picture.seen[well_inside].all()
    assert not picture.seen[beside > radius + 0.5].any()
    truth = middle[1] + np.sqrt(radius**2 - beside[well_inside] ** 2)
    # A sample lies up to half a pixel diagonal off the pixel's middle, on a slope of up to 2.
    assert np.abs(picture.depth_mm[well_inside] - truth).max() < 0.5 * 0.71 * 2.1 + 0.1


def test_the_nearer_ball_hides_the_farther_and_faces_the_light() -> None:
    near, far = ball((0.0, 30.0, 0.0), 10.0), ball((0.0, -30.0, 0.0), 10.0)
    both = TriangleSurface(
        np.vstack((near.vertices, far.vertices)),
        np.vstack((near.triangles, far.triangles + len(near.vertices))),
    )
    picture = render_depth(both, SCREEN, FIELD)
    assert picture.depth_mm[picture.seen].min() > 25.0
    # The light comes from above the viewer's left shoulder.
    rows, columns = np.nonzero(picture.seen)
    upper_left = (rows < 40 - 6) & (columns < 80 - 6)
    lower_right = (rows > 40 + 6) & (columns > 80 + 6)
    shade = picture.shade[rows, columns]
    assert shade[upper_left].mean() > shade[lower_right].mean() + 0.2


def test_an_inside_out_surface_looks_the_same() -> None:
    right = ball((3.0, 4.0, 5.0), 9.0)
    wrong = TriangleSurface(right.vertices, right.triangles[:, ::-1])
    first, second = (render_depth(surface, SCREEN, FIELD) for surface in (right, wrong))
    assert np.array_equal(first.seen, second.seen)
    assert np.allclose(first.depth_mm[first.seen], second.depth_mm[first.seen], atol=1e-4)


def test_large_triangles_leave_no_hole() -> None:
    box = trimesh.creation.box(bounds=np.array(((-70.0, -5.0, -30.0), (70.0, 5.0, 30.0))))
    picture = render_depth(TriangleSurface(box.vertices, box.faces), SCREEN, FIELD)
    assert picture.seen.all()
    assert np.allclose(picture.depth_mm, 5.0, atol=1e-4)


def test_reslice_reads_a_ramp_exactly_whatever_the_affine() -> None:
    # Left-handed, oblique affine; the value of a voxel is 2x - 3y + 5z of its centre.
    turn = np.array(((0.8, 0.0, 0.6), (0.0, -1.0, 0.0), (-0.6, 0.0, 0.8)))
    matrix = np.eye(4)
    matrix[:3, :3] = turn * (2.0, 2.5, 3.0)
    assert np.linalg.det(turn) < 0
    matrix[:3, 3] = -matrix[:3, :3] @ (40.0, 30.0, 30.0)
    grid = Grid.from_matrix((80, 60, 60), matrix)
    ramp = np.array((2.0, -3.0, 5.0))
    volume = Volume(grid, (grid.centres() @ ramp).reshape(grid.shape))
    values = reslice(volume, SCREEN, FIELD, 4.0, slab_mm=3.0)
    x, y = FIELD.pixel_centres()
    # Head-up theatre view: patient x = -screen x, y = depth, z = screen y; a slab of a ramp is
    # its middle.
    assert np.allclose(values, 2 * -x - 3 * 4.0 + 5 * y, atol=1e-6)


def test_face_with_a_hole_meets_a_plane_in_two_pieces() -> None:
    plane = Plane(np.zeros(3), np.array((0.0, 0.0, 1.0)))
    square = np.array(((-10.0, -10.0), (10.0, -10.0), (10.0, 10.0), (-10.0, 10.0)))
    face = PlanarFace(plane.frame((1.0, 0.0, 0.0)), (square, 0.3 * square[::-1]))
    pieces = section_of_face(face, SCREEN, 0.5)  # patient y = 0.5 runs along patient x
    ends = sorted(sorted((float(a[0]), float(b[0]))) for a, b in pieces)
    assert np.allclose(ends, [[-10.0, -3.0], [3.0, 10.0]])


def test_room_ramp_is_dark_where_thin_and_ends_where_told() -> None:
    assert palette.room_colour(0.0, 10.0) == palette.ROOM_RAMP[0]
    assert palette.room_colour(5.0, 10.0) == palette.ROOM_RAMP[1]
    assert palette.room_colour(99.0, 10.0) == palette.ROOM_RAMP[2]
    lightness = [palette.rgb(palette.room_colour(mm, 10.0)).sum() for mm in range(11)]
    assert lightness == sorted(lightness)
