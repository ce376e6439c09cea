"""The margin map on the piece against closed forms, the plan's faces and the carton's own map."""

import numpy as np
import pytest

from vertebloc.case.choice_words import Placement
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError
from vertebloc.resection.disc_sections import is_in_disc
from vertebloc.resection.margin_map import map_margins
from vertebloc.resection.model import FaceKind
from vertebloc.resection.piece_map import map_piece
from vertebloc.space.frames import Side
from vertebloc.space.solids import Ellipsoid, Sphere

from .block_spine import ball, planned, solids_with

EDGE_MM = 1.5


def within_mm(found):
    """Most that a picture drawn from corner to corner can be wrong by.

    A place of a triangle lies at most (longest edge) / sqrt(3) from its nearest corner (the
    circumradius of the equilateral triangle), and distances are 1-Lipschitz.
    """
    return found.longest_edge_mm / np.sqrt(3.0)


@pytest.fixture(scope="module")
def block():
    """A sphere of radius 6 mm in the middle of a block body."""
    sphere = Sphere(np.zeros(3), 6.0)
    plan = planned(solids_with(ball([0.0, 0.0, 0.0], 6.0, 128), sphere), Choices())
    return plan, sphere, map_piece(plan.piece, plan.faces, sphere, EDGE_MM)


def at_height(height_mm):
    half = HalfPlacement(height_mm=height_mm)
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def drawn_at(found, name, places):
    """What is drawn at places of a flat face: straight between the corners of a triangle."""
    triangles = found.surface.triangles[found.face_of == found.names.index(name)]
    a, b, c = np.moveaxis(found.surface.vertices[triangles], 1, 0)
    values = found.margins_mm[triangles]
    drawn = np.full(len(places), np.nan)
    for at, place in enumerate(places):
        basis = np.stack((b - a, c - a), axis=2)
        gram = np.einsum("nij,nik->njk", basis, basis)
        fine = np.abs(np.linalg.det(gram)) > 1e-9
        share = np.full((len(a), 2), -1.0)
        right = np.einsum("nij,ni->nj", basis, place - a)
        share[fine] = np.linalg.solve(gram[fine], right[fine][..., None])[..., 0]
        inside = np.flatnonzero((share.min(axis=1) > -1e-6) & (share.sum(axis=1) < 1.0 + 1e-6))
        if len(inside):
            u, v = share[inside[0]]
            drawn[at] = values[inside[0]] @ np.array([1.0 - u - v, u, v])
    return drawn


def test_every_corner_carries_the_spheres_own_distance(block):
    """Closed form: |x| - 6."""
    _, _, found = block
    expected = np.linalg.norm(found.surface.vertices, axis=1) - 6.0
    assert found.margins_mm == pytest.approx(expected, abs=1e-9)


def test_it_is_the_same_piece_in_smaller_triangles(block):
    plan, _, found = block
    corners = found.surface.corners
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    assert found.longest_edge_mm == pytest.approx(edges.max())
    assert edges.max() <= 2.2 * EDGE_MM  # edges are split; those that then run inside are longer
    assert found.surface.volume_mm3 == pytest.approx(plan.piece.volume_mm3, rel=1e-9)
    assert found.surface.is_closed


def test_each_face_has_its_own_area_and_its_own_least_margin(block):
    plan, _, found = block
    in_disc = {cut.name for cut in plan.cuts if is_in_disc(cut)}
    for face in (face for face in plan.faces if face.kind is FaceKind.BONE):
        if face.name in in_disc:  # what these blades pass is no bone, and the piece is of bone
            assert not np.any(found.face_of == found.names.index(face.name))
            continue
        corners = found.surface.corners[found.face_of == found.names.index(face.name)]
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(across, axis=1).sum() / 2.0
        assert area == pytest.approx(face.area_mm2, rel=0.02, abs=1.0)
        least = found.margins_mm[found.corners_of(face.name)].min()
        assert face.margin_mm - 1e-6 <= least + within_mm(found)
        assert least <= face.margin_mm + within_mm(found)


@pytest.mark.parametrize("radii", [(6.0, 6.0, 6.0), (5.0, 7.0, 9.0)])
def test_what_is_drawn_is_what_the_carton_shows(radii):
    """The carton's cells are measured one by one; the piece is drawn between corners."""
    solid = Ellipsoid(np.array([2.0, -1.0, 0.5]), np.array(radii))
    choices = Choices(cranial_cut=at_height(18.0), caudal_cut=at_height(-18.0))
    plan = planned(solids_with(ball([2.0, -1.0, 0.5], radii, 128), solid), choices)
    found = map_piece(plan.piece, plan.faces, solid, EDGE_MM)
    for name in ("left half of the cranial cut", "right half of the caudal cut"):
        face = next(face for face in plan.faces if face.name == name)
        cells = map_margins(face.face, solid)
        drawn = drawn_at(found, name, cells.points)
        seen = np.isfinite(drawn)
        assert seen.mean() > 0.9  # the lattice begins within a hair of the rim of a square face
        off = np.abs(drawn - cells.margins_mm)[seen]
        assert off.max() <= within_mm(found)
        # a distance d curves by at most 1 / d: a chord of length h is off by at most h2 / (8 d)
        bound = found.longest_edge_mm**2 / (8.0 * cells.margins_mm[seen])
        assert np.all(off <= bound + 1e-6)


def test_the_weakest_place_of_the_plan_lies_on_the_piece_and_carries_its_number(lead):
    found = map_piece(lead.plan.piece, lead.plan.faces, lead.solids.tumour_field)
    bone = [face for face in lead.plan.faces if face.kind is FaceKind.BONE]
    weakest = min(bone, key=lambda face: face.margin_mm)
    corners = found.surface.vertices[found.corners_of(weakest.name)]
    away = np.linalg.norm(corners - weakest.weakest, axis=1)
    assert away.min() <= within_mm(found)
    nearest = found.margins_mm[found.corners_of(weakest.name)][np.argmin(away)]
    assert nearest == pytest.approx(weakest.margin_mm, abs=away.min() + 1e-3)  # 1-Lipschitz


def test_dissected_bone_lies_on_no_cut(lead):
    found = map_piece(lead.plan.piece, lead.plan.faces, lead.solids.tumour_field)
    middles = found.surface.corners[~found.on_cut].mean(axis=1)
    for face in lead.plan.faces:
        if face.face is None or "half of the c" not in face.name:
            continue
        local = face.face.lps_from_plane.inverse.points(middles)
        side = lead.vertebra.lps_from_vertebra.inverse.points(middles)[:, 0]
        own = side > 1.0 if face.name.startswith("left") else side < -1.0
        assert local[own, 2].max() < 0.0  # behind the plane, in the piece


def test_edges_of_nothing_are_refused(block):
    plan, sphere, _ = block
    with pytest.raises(InputError, match="longer than 0 mm"):
        map_piece(plan.piece, plan.faces, sphere, 0.0)
