"""Planned contamination against closed forms: planes through spheres and ellipsoids."""

import numpy as np
import pytest

from vertebloc.case.choice_words import OpenSide, Placement
from vertebloc.case.choices import ArchChoice, Choices, CutChoice, HalfPlacement
from vertebloc.resection.model import NO_BARRIER, FaceKind, OpensTumour
from vertebloc.space.frames import Side
from vertebloc.space.solids import Ellipsoid, Sphere

from .block_spine import ball, planned, solids_with


def at_height(height):
    half = HalfPlacement(height_mm=height)
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def test_no_contamination_where_nothing_meets_tumour():
    sphere = Sphere(np.array([6.0, 0.0, 0.0]), 4.0)
    plan = planned(solids_with(ball([6.0, 0.0, 0.0], 4.0), sphere))
    assert plan.contamination == ()
    assert plan.tumour_left.total_ml == 0.0


def test_a_plane_through_a_sphere():
    """Closed form: a disc of pi (R2 - d2), halved by the midline; the kerf grinds it away."""
    centre, radius, height = [0.0, 0.0, 0.0], 7.0, 4.0
    solids = solids_with(ball(centre, radius, 128), Sphere(np.array(centre), radius))
    plan = planned(solids, Choices(cranial_cut=at_height(height), kerf_mm=2.0))
    disc = np.pi * (radius**2 - height**2)
    found = {one.name: one for one in plan.contamination}
    assert set(found) == {f"{side} half of the cranial cut" for side in ("left", "right")}
    for one in found.values():
        assert one.how is OpensTumour.CUT
        assert one.area_mm2 == pytest.approx(disc / 2, rel=0.003)
        assert one.volume_ml == pytest.approx(disc / 2 * 2.0 / 1000.0, rel=0.003)
        # the deepest place of the disc is its middle, 3 mm inside the sphere
        assert one.deepest == pytest.approx([0.0, 0.0, height], abs=0.6)
        assert np.abs(one.triangles[:, :, 2] - height).max() < 0.02


def test_an_oblique_plane_through_an_ellipsoid():
    """Closed form: area pi abc / q (1 - d2/q2) with q2 = a2 nx2 + b2 ny2 + c2 nz2."""
    radii, tilt = np.array([6.0, 8.0, 5.0]), -5.0
    solids = solids_with(ball([0, 0, 0], radii, 128), Ellipsoid(np.zeros(3), radii))
    half = HalfPlacement(height_mm=3.0, tilt_deg=tilt)
    cut = CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))
    plan = planned(solids, Choices(cranial_cut=cut))
    plane = next(c.plane for c in plan.cuts if c.name == "left half of the cranial cut")
    q2 = float((radii**2 * plane.normal**2).sum())
    d2 = float(plane.point @ plane.normal) ** 2
    ellipse = np.pi * radii.prod() / np.sqrt(q2) * (1.0 - d2 / q2)
    assert sum(one.area_mm2 for one in plan.contamination) == pytest.approx(ellipse, rel=0.004)


def test_tumour_beside_the_bone_counts_where_the_blade_would_part_it():
    """A sphere wholly in soft tissue left of the body: the piece ends at the plane there too."""
    centre, radius = np.array([24.0, 0.0, 12.0]), 6.0
    solids = solids_with(ball(centre, radius, 128), Sphere(centre, radius))
    plan = planned(solids, Choices(cranial_cut=at_height(14.0)))
    (one,) = plan.contamination
    assert one.area_mm2 == pytest.approx(np.pi * (36.0 - 4.0), rel=0.003)
    assert all(f.tumour_crossed_mm2 == 0.0 for f in plan.faces)  # no bone face meets it
    assert plan.tumour_left.by_place_ml["above the cranial cut"] > 0.0


def test_nibbled_bone_that_holds_tumour():
    """A sphere in the left pedicle, opened all the same: the wall's plane is the disc."""
    centre, radius = np.array([11.0, 14.0, 4.0]), 2.5
    solids = solids_with(ball(centre, radius, 128), Sphere(centre, radius))
    plan = planned(solids, Choices(arch=ArchChoice(open_side=OpenSide.LEFT)))
    (one,) = plan.contamination
    assert one.how is OpensTumour.NIBBLED
    # the pedicle is 6 x 8 mm: the half sphere behind the wall lies wholly in it
    assert one.area_mm2 == pytest.approx(np.pi * radius**2, rel=0.003)
    assert one.volume_ml == pytest.approx(2 / 3 * np.pi * radius**3 / 1000.0, rel=0.01)
    assert "left" in one.name
    assert any("planned contamination" in note for note in plan.assumptions)


def test_nibbled_bone_that_only_touches_tumour():
    """A sphere behind the lamina, 0.2 mm off: closed form of the disc within 0.5 mm of it."""
    radius, gap = 4.0, 0.2
    centre = np.array([8.0, 28.0 + radius + gap, 3.0])
    solids = solids_with(ball(centre, radius, 128), Sphere(centre, radius))
    plan = planned(solids)
    one = next(c for c in plan.contamination if c.how is OpensTumour.TOUCHED)
    disc = np.pi * ((radius + 0.5) ** 2 - (radius + gap) ** 2)
    assert one.area_mm2 == pytest.approx(disc, rel=0.15)  # triangles of 1 mm
    assert one.volume_ml == 0.0
    off = np.array([8.0, 28.0 + radius + 1.2, 3.0])
    far = solids_with(ball(off, radius), Sphere(off, radius))
    assert planned(far).contamination == ()


def test_barriers_are_named_and_fall_with_the_endplate():
    inside = solids_with(ball([0, 0, 0], 6.0), Sphere(np.zeros(3), 6.0))
    plan = planned(inside, Choices(cranial_cut=at_height(12.5), caudal_cut=at_height(-18.0)))
    barrier = {face.name: face.barrier for face in plan.faces}
    assert barrier["left half of the caudal cut"] == "both endplates and disc"
    assert barrier["right pedicle base"] == NO_BARRIER
    assert barrier["front"] == "cortex and anterior ligament"
    assert barrier["left side"] == "cortex and periosteum"
    radii = np.array([6.0, 6.0, 13.0])
    broken = solids_with(ball([0, 0, 0], radii), Ellipsoid(np.zeros(3), radii))
    plan = planned(broken, Choices(cranial_cut=at_height(20.0), caudal_cut=at_height(-20.0)))
    bone = [f.barrier for f in plan.faces if f.kind is FaceKind.BONE]
    assert set(bone) == {NO_BARRIER}
