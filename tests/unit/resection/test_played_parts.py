"""The bones taken apart to be looked at, and planned regions: against boxes worked by hand."""

from __future__ import annotations

from types import SimpleNamespace

import manifold3d
import numpy as np
import pytest
import trimesh

from vertebloc.resection.model import FaceKind
from vertebloc.resection.planned_regions import planned_regions
from vertebloc.resection.played_parts import played_parts
from vertebloc.space.frames import Frame
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.transforms import rigid_frame


def box(low, high):
    size = tuple(float(b - a) for a, b in zip(low, high, strict=True))
    cube = manifold3d.Manifold.cube(size).translate(tuple(map(float, low)))
    return surface_of_solid(cube)


#: A square of 20 x 20 mm at the height of 10 mm that looks towards the head.
FACE = PlanarFace(
    rigid_frame(np.array([0.0, 0.0, 10.0]), np.eye(3), target=Frame.PATIENT_LPS,
                source=Frame.PLANE),
    (np.array([[0.0, 0.0], [20.0, 0.0], [20.0, 20.0], [0.0, 20.0]]),),
)  # fmt: skip
PLAN = SimpleNamespace(
    piece=box((0, 0, 0), (20, 20, 10)),
    nibbled=box((20, 0, 0), (25, 20, 10)),
    faces=(
        SimpleNamespace(kind=FaceKind.BONE, face=FACE, name="cranial cut"),
        SimpleNamespace(kind=FaceKind.SOFT, face=None, name="dura"),
    ),
)
SOLIDS = SimpleNamespace(
    bone={"T9": box((0, 0, 10), (30, 20, 30)), "T10": box((0, 0, -5), (30, 20, 10))},
    tumour=box((5, 5, 2), (9, 9, 6)),
    ribs={"left rib of T10": box((24, 0, 0), (60, 5, 5))},
    sac=box((0, 25, -50), (10, 35, 50)),
    aorta=None,
)


def test_what_stays_is_the_bone_less_piece_and_nibbled() -> None:
    """By hand: T10 holds 30 x 20 x 15 mm3, of which 20 x 20 x 10 and 5 x 20 x 10 go."""
    parts = {part.name: part for part in played_parts(SOLIDS, PLAN)}  # type: ignore[arg-type]
    volumes = {name: part.surface.volume_mm3 for name, part in parts.items() if name != "cuts"}
    assert volumes["what stays of T9"] == pytest.approx(12000.0)
    assert volumes["what stays of T10"] == pytest.approx(9000.0 - 4000.0 - 1000.0)
    assert volumes["left rib of T10"] == pytest.approx(900.0 - 25.0)  # nibbled over 1 x 5 x 5 mm
    assert volumes["piece"] == pytest.approx(4000.0) and volumes["tumour"] == pytest.approx(64.0)
    assert {part.kind for part in parts.values()} == {
        "bone", "piece", "nibbled", "tumour", "rib", "sac", "blade",
    }  # fmt: skip
    blade = parts["cuts"].surface.vertices
    assert np.allclose(blade[:, 2], 10.0)
    assert np.allclose(np.ptp(blade, axis=0)[:2], 26.0)  # 1.3 times as wide, about its middle
    assert np.allclose(blade[:, :2].mean(axis=0), 10.0, atol=5.0)


def test_a_cut_is_a_slab_outside_the_piece() -> None:
    """By hand: 20 x 20 x 1.5 mm3 above the piece; trimesh finds it closed and in its place."""
    regions = planned_regions(PLAN, thick_mm=1.5)  # type: ignore[arg-type]
    assert [one.name for one in regions] == ["piece", "bone taken piecemeal", "cut: cranial cut"]
    slab = trimesh.Trimesh(regions[2].surface.vertices, regions[2].surface.triangles)
    assert slab.is_watertight and slab.volume == pytest.approx(600.0)
    assert np.allclose(slab.bounds, [[0.0, 0.0, 10.0], [20.0, 20.0, 11.5]])
    assert all(len(one.code) <= 16 and one.code.isupper() for one in regions)
