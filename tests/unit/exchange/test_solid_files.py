"""Solids to print: read back by trimesh, by manifold3d, and by hand from the XML and the bytes."""

from __future__ import annotations

import struct
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import manifold3d
import numpy as np
import pytest
import trimesh

from vertebloc.errors import InputError
from vertebloc.exchange.solid_files import write_3mf, write_stl
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.surfaces import TriangleSurface

AT = np.array([-12.3, 250.25, 871.125])  #: off the origin, as scanners have it
CORE = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"


def ball(radius_mm: float) -> TriangleSurface:
    return surface_of_solid(manifold3d.Manifold.sphere(radius_mm, 48).translate(tuple(AT)))


def box() -> TriangleSurface:
    return surface_of_solid(manifold3d.Manifold.cube((20.0, 30.0, 40.0)).translate(tuple(AT)))


def test_stl_is_read_back_at_true_scale_and_place(tmp_path: Path) -> None:
    """Closed form: a box of 20 x 30 x 40 mm; reader: trimesh."""
    write_stl(tmp_path / "box.stl", box(), "box")
    read = trimesh.load_mesh(tmp_path / "box.stl")
    assert read.is_watertight and read.is_winding_consistent
    assert read.volume == pytest.approx(24000.0, rel=1e-5)  # 32-bit corners at 900 mm: 6e-5 mm
    assert np.allclose(read.bounds, [AT, AT + np.array([20.0, 30.0, 40.0])], atol=1e-4)


def test_stl_bytes_are_those_of_the_format(tmp_path: Path) -> None:
    """By hand: 80 bytes, a count, 50 bytes a triangle; normals outward and of unit length."""
    write_stl(tmp_path / "box.stl", box(), "box, " + "long " * 40)
    data = (tmp_path / "box.stl").read_bytes()
    assert data.startswith(b"binary STL, mm, patient LPS; box")
    (count,) = struct.unpack("<I", data[80:84])
    assert count == 12 and len(data) == 84 + 50 * count
    middle = AT + np.array([10.0, 15.0, 20.0])
    for at in range(84, len(data), 50):
        normal, a, b, c = np.array(struct.unpack("<12f", data[at : at + 48])).reshape(4, 3)
        assert np.linalg.norm(normal) == pytest.approx(1.0, abs=1e-5)
        assert normal @ ((a + b + c) / 3.0 - middle) > 0.0


def test_corners_that_fall_together_are_joined(tmp_path: Path) -> None:
    """A needle triangle of 1e-7 mm vanishes in 32 bits; trimesh still finds the solid closed."""
    cube = box()
    corners = np.vstack(
        [cube.vertices, cube.vertices[0] + (cube.vertices[1] - cube.vertices[0]) * 1e-8]
    )
    extra = len(cube.vertices)
    edge = [t for t in cube.triangles.tolist() if 0 in t and 1 in t]
    sides = [t for t in cube.triangles.tolist() if t not in edge]
    for t in edge:  # each triangle at the edge 0-1 is split at the corner beside 0
        sides += [[extra if v == 0 else v for v in t], [extra if v == 1 else v for v in t]]
    split = TriangleSurface(corners, np.array(sides, dtype=np.int32))
    assert split.is_closed
    write_stl(tmp_path / "split.stl", split, "split")
    read = trimesh.load_mesh(tmp_path / "split.stl")
    assert read.is_watertight and len(read.faces) == 12


def by_hand(path: Path) -> tuple[str, dict[str, tuple[np.ndarray, np.ndarray]]]:
    """Unit and meshes of a 3MF, from its XML alone."""
    with zipfile.ZipFile(path) as package:
        assert package.testzip() is None
        kinds = package.read("[Content_Types].xml").decode()
        assert "application/vnd.ms-package.3dmanufacturing-3dmodel+xml" in kinds
        relations = ET.fromstring(package.read("_rels/.rels"))
        (relation,) = list(relations)
        assert relation.get("Type", "").endswith("/2013/01/3dmodel")
        model = ET.fromstring(package.read(relation.get("Target", "").lstrip("/")))
    assert model.tag == f"{CORE}model"
    ids = {item.get("objectid") for item in model.iter(f"{CORE}item")}
    found = {}
    for one in model.iter(f"{CORE}object"):
        assert one.get("id") in ids
        corners = [[float(v.get(a, "")) for a in "xyz"] for v in one.iter(f"{CORE}vertex")]
        sides = [[int(t.get(f"v{n}", "")) for n in (1, 2, 3)] for t in one.iter(f"{CORE}triangle")]
        found[one.get("name", "")] = (np.array(corners), np.array(sides))
    return str(model.get("unit")), found


def test_3mf_is_read_back_by_hand_and_is_manifold(tmp_path: Path) -> None:
    """Closed forms: box and, from below, a ball; judge of the solid: manifold3d."""
    solids = {"a <box>": box(), "ball": ball(10.0)}
    colours = {"a <box>": "#e2d8c2", "ball": "#6d2f5e"}
    write_3mf(tmp_path / "s.3mf", solids, colours, "Frame & unit.")
    unit, read = by_hand(tmp_path / "s.3mf")
    assert unit == "millimeter" and list(read) == list(solids)
    volumes = []
    for corners, sides in read.values():
        solid = manifold3d.Manifold(
            manifold3d.Mesh64(vert_properties=corners, tri_verts=sides.astype(np.uint64))
        )
        assert solid.status() == manifold3d.Error.NoError
        volumes.append(solid.volume())
    assert volumes[0] == pytest.approx(24000.0, rel=1e-6)
    assert 0.98 < volumes[1] / (4.0 / 3.0 * np.pi * 1000.0) < 1.0  # 48 sides lie inside the ball
    again = tmp_path / "again.3mf"
    write_3mf(again, solids, colours, "Frame & unit.")
    assert again.read_bytes() == (tmp_path / "s.3mf").read_bytes()


def test_what_is_not_closed_is_not_written(tmp_path: Path) -> None:
    torn = TriangleSurface(box().vertices, box().triangles[1:])
    with pytest.raises(InputError, match="not closed"):
        write_stl(tmp_path / "torn.stl", torn, "torn")
    with pytest.raises(InputError, match="the torn is not closed"):
        write_3mf(tmp_path / "torn.3mf", {"torn": torn}, {"torn": "#000000"}, "")
    # two boxes a hair apart: in 32 bits at 871 mm they share a face, which no solid does
    size = (20.0, 20.0, 20.0)
    one = manifold3d.Manifold.cube(size).translate(tuple(AT))
    other = one.translate((0.0, 0.0, 20.000001))
    with pytest.raises(InputError, match="32 bits"):
        write_stl(tmp_path / "near.stl", surface_of_solid(one + other), "near")
    assert not list(tmp_path.iterdir())


def test_3mf_keeps_apart_what_a_reader_would_join(tmp_path: Path) -> None:
    """Outside: trimesh joins equal corners. Two boxes a hair of 1e-6 mm apart at the origin."""
    one = manifold3d.Manifold.cube((20.0, 20.0, 20.0))
    touching = surface_of_solid(one + one.translate((0.0, 0.0, -20.000001)))
    write_3mf(tmp_path / "s.3mf", {"two": touching}, {"two": "#000000"}, "")
    corners, sides = by_hand(tmp_path / "s.3mf")[1]["two"]
    joined = trimesh.Trimesh(corners.astype(np.float32), sides, process=True, validate=False)
    assert joined.is_watertight and joined.volume == pytest.approx(16000.0, rel=1e-6)
