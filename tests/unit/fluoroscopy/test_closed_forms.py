"""Pictures against closed forms: water and bone, a ball's chords, magnification, a rod."""

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.fluoroscopy import Between, Projector
from vertebloc.fluoroscopy.film import transmitted
from vertebloc.fluoroscopy.solids import Ball, Implant, Rod, add_implants, lengths_in
from vertebloc.published import imaging

from .conftest import make_view, make_volume

TURNS = [(180, 0), (90, 0), (-90, 4), (180, -12), (150, 20), (135, 0), (180, 75)]


def box(hu):
    """100 mm of a box along y, voxel walls at its faces, air around."""
    values = np.full((40, 60, 40), -1000, np.int16)
    values[5:35, 5:55, 5:35] = hu
    return values


@pytest.mark.parametrize("between", list(Between))
def test_water_box_of_100_mm(between):
    """exp(-mu d) with mu of water at 60 keV ([hubbell1995]): 100 mm let 0.12745 through."""
    projector = Projector.of(make_volume(box(0)))
    found = projector.along([[0.0, -500.0, 0.0]], [[0.0, 500.0, 0.0]], between)
    assert found[0] == pytest.approx(100.0, abs=1e-9)
    assert transmitted(found)[0] == pytest.approx(0.12745, abs=5e-6)  # five digits are stated


def test_water_with_20_mm_of_bone():
    """The same: 80 mm of water and 20 mm of 1000 HU let 0.08442 through; the fast picture too."""
    values = box(0)
    values[5:35, 20:30, 5:35] = 1000
    projector = Projector.of(make_volume(values))
    straight = projector.along([[0.0, -500.0, 0.0]], [[0.0, 500.0, 0.0]])
    assert transmitted(straight)[0] == pytest.approx(0.08442, abs=5e-6)
    picture = projector.project(make_view(pixels=97))  # an odd number: a pixel on the axis
    # 16-bit planes and float32 sums: 1e-4 of 0.084
    assert transmitted(picture)[48, 48] == pytest.approx(0.08442, rel=1e-4)


@pytest.mark.parametrize(("primary", "secondary"), TURNS)
def test_box_from_anywhere(primary, secondary):
    """The exact tracer against the box's own chords, along every axis and between them."""
    projector = Projector.of(make_volume(box(0)))
    view = make_view(primary, secondary, pixels=24)
    found = projector.project_exactly(view, Between.BOXES).ravel()
    ray = view.pixel_points() - view.source
    low, high = np.array([-30.0, -50.0, -30.0]), np.array([30.0, 50.0, 30.0])
    with np.errstate(divide="ignore", invalid="ignore"):
        a, b = (low - view.source) / ray, (high - view.source) / ray
    share = np.nanmin(np.maximum(a, b), axis=1) - np.nanmax(np.minimum(a, b), axis=1)
    chords = np.maximum(share, 0.0) * np.linalg.norm(ray, axis=1)
    np.testing.assert_allclose(found, chords, atol=1e-6)


@pytest.mark.parametrize(("primary", "secondary"), TURNS)
def test_ball_by_formula_and_as_a_mesh(primary, secondary):
    """2 sqrt(r^2 - h^2); a mesh of 20 480 triangles lies at most 0.4 % of its radius inside."""
    import trimesh

    from vertebloc.space.surfaces import TriangleSurface

    view = make_view(primary, secondary, pixels=64)
    middle = np.array([6.0, -4.0, 9.0])
    found = lengths_in(view, Ball(middle=middle, radius_mm=20.0))
    ray = view.pixel_points() - view.source
    far = np.linalg.norm(np.cross(middle - view.source, ray), axis=1) / np.linalg.norm(ray, axis=1)
    expected = 2.0 * np.sqrt(np.maximum(400.0 - far**2, 0.0))
    np.testing.assert_allclose(found.ravel(), expected, atol=1e-9)
    ball = trimesh.creation.icosphere(subdivisions=5, radius=20.0)
    mesh = lengths_in(view, TriangleSurface(np.asarray(ball.vertices) + middle, ball.faces))
    assert np.all(mesh <= found + 1e-9)
    inner = found > 8.0  # near its edge a chord changes faster than the mesh's own error
    assert np.max((found - mesh)[inner]) < 0.12
    assert np.all(mesh[found == 0.0] == 0.0)


def test_mesh_without_a_hole_where_pixels_meet_edges():
    """A cube whose corners and diagonals lie exactly on rays: counted once, not twice or never."""
    import trimesh

    from vertebloc.space.surfaces import TriangleSurface

    cube = trimesh.creation.box(extents=(40.0, 40.0, 40.0))
    surface = TriangleSurface(np.asarray(cube.vertices), cube.faces)
    view = make_view(pixels=97, detector_mm=97.0, source_object_mm=500.0)
    found = lengths_in(view, surface)
    middle = 48
    assert found[middle, middle] == pytest.approx(40.0, abs=1e-9)
    ray = view.pixel_points() - view.source
    inside = (
        np.abs(ray[:, [0, 2]] / ray[:, 1:2] * 520.0).max(axis=1) < 20.0
    )  # leave by the far face
    lengths = 40.0 * np.linalg.norm(ray, axis=1) / 1000.0
    np.testing.assert_allclose(found.ravel()[inside], lengths[inside], atol=1e-9)


@pytest.mark.parametrize(("primary", "secondary"), TURNS)
def test_rod_by_formula_against_a_mesh_library(primary, secondary):
    """Chords of a rod against trimesh's own ray caster on a fine cylinder (general library)."""
    import trimesh

    view = make_view(primary, secondary, pixels=12, detector_mm=60.0)
    start, end = np.array([-10.0, 5.0, -12.0]), np.array([8.0, -6.0, 15.0])
    rod = Rod(start=start, end=end, radius_mm=6.0)
    found = lengths_in(view, rod).ravel()
    mesh = trimesh.creation.cylinder(radius=6.0, segment=[start, end], sections=256)
    ray = view.pixel_points() - view.source
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    at, which, _ = mesh.ray.intersects_location(np.tile(view.source, (len(ray), 1)), ray)
    along = np.einsum("ij,ij->i", at - view.source, ray[which])
    chords = np.zeros(len(ray))
    for n in range(len(ray)):
        mine = np.unique(along[which == n].round(6))
        chords[n] = mine.max() - mine.min() if len(mine) > 1 else 0.0
    assert found.max() > 10.0
    # 256 sides: the flat of a side lies 6 (1 - cos(pi / 256)) = 0.0005 mm inside; near the wall
    # a chord's error is sqrt(2 r e) = 0.08 mm at most
    assert np.max(np.abs(found - chords)) < 0.2
    assert np.mean(np.abs(found - chords)) < 0.01


def test_magnification():
    """Similar triangles: 1000 over 600 is 1.667; a 0.2 mm pixel is 0.12 mm at the object."""
    view = make_view(detector_mm=0.2 * 96)
    assert view.arm.magnification == pytest.approx(1.667, abs=5e-4)
    assert view.arm.pitch_mm / view.arm.magnification == pytest.approx(0.12, abs=1e-12)
    right, _ = view.axes
    seen = view.on_detector([np.zeros(3), 0.12 * right])
    assert seen[1, 0] - seen[0, 0] == pytest.approx(0.2, abs=1e-12)


def test_titanium_needle_over_water():
    """What metal adds: mu of titanium over mu of water, for each mm."""
    view = make_view(pixels=97)
    needle = Implant(solid=Rod(start=np.array([-20.0, 0, 0]), end=np.array([20.0, 0, 0]),
                               radius_mm=1.0))  # fmt: skip
    found = add_implants(np.full((97, 97), 50.0), view, [needle])
    waters = imaging.TITANIUM_60_KEV.value / imaging.WATER_60_KEV.value
    assert found[48, 48] == pytest.approx(50.0 + 2.0 * waters, rel=1e-9)
    assert found[0, 0] == 50.0


def test_a_steel_rod_throws_a_shadow_of_the_size_of_its_tangents():
    """Closed forms: tangents from the tube's focus to a rod of 6 mm, 40 mm long, at 600 of 1000.

    Half its shadow is 1000 tan(asin(3 / 600)) = 5.0001 mm wide. Its near wall is nearest to the
    tube, where its ends are seen: 20 * 1000 / 597 = 33.50 mm each way. In the middle 6 mm of
    steel let through exp(-0.95 * 6) (FACTS: iron 9.5 per cm at 60 keV).
    """
    view = make_view(pixels=1001, detector_mm=100.1)
    rod = Rod(start=np.array([0, 0, -20.0]), end=np.array([0, 0, 20.0]), radius_mm=3.0)
    lengths = lengths_in(view, rod)
    seen = lengths > 0.0
    across = 2.0 * 1000.0 * np.tan(np.arcsin(3.0 / 600.0))
    along = 2.0 * 20.0 * 1000.0 / 597.0
    assert view.arm.pitch_mm == pytest.approx(0.1)
    # head at the left edge: the rod along the spine lies along the rows
    assert seen.any(axis=1).sum() * 0.1 == pytest.approx(across, abs=0.1)
    assert seen.any(axis=0).sum() * 0.1 == pytest.approx(along, abs=0.1)
    assert lengths[500, 500] == pytest.approx(6.0, rel=1e-9)
    steel = Implant(solid=rod, attenuation=imaging.STEEL_60_KEV)
    shadow = add_implants(np.zeros((1001, 1001)), view, [steel])
    assert transmitted(shadow)[500, 500] == pytest.approx(np.exp(-0.95 * 6.0), rel=1e-9)
    assert transmitted(shadow)[0, 0] == 1.0


def test_what_cannot_be_is_refused():
    with pytest.raises(InputError, match="beam along the spine"):
        make_view(180.0, 90.0)
    with pytest.raises(InputError, match="between source and detector"):
        make_view(source_object_mm=1200.0)
    with pytest.raises(InputError, match="length"):
        lengths_in(make_view(), Rod(start=np.zeros(3), end=np.zeros(3), radius_mm=1.0))


def test_a_ct_that_reaches_past_tube_or_detector_is_seen_between_them_only():
    """A box of 100 mm with the tube 20 mm before its middle: 70 mm of it are on the ray."""
    projector = Projector.of(make_volume(box(0)))
    near = make_view(source_object_mm=20.0, source_detector_mm=900.0, pixels=9, detector_mm=5.0)
    assert projector.project(near)[4, 4] == pytest.approx(70.0, abs=1e-3)
    # the detector 10 mm behind the middle: 60 mm
    far = make_view(source_object_mm=600.0, source_detector_mm=610.0, pixels=9, detector_mm=5.0)
    assert projector.project(far)[4, 4] == pytest.approx(60.0, abs=1e-3)
