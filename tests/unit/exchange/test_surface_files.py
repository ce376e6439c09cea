"""Surfaces in and out, beside trimesh's own writers and reader and closed forms."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.surface_files import read_surface, read_surfaces, write_ply
from vertebloc.space.surfaces import TriangleSurface

TUMOUR = Contour(Structure.TUMOUR)


def box(extents: tuple[float, float, float] = (20.0, 30.0, 40.0)) -> Any:
    mesh = trimesh.creation.box(extents)
    mesh.apply_translation((7, -90, 850))
    return mesh


def save(path: Path, mesh: Any, **options: Any) -> Path:
    mesh.export(path, **options)
    return path


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("b.ply", {}),
        ("a.ply", {"encoding": "ascii"}),
        ("b.stl", {}),
        ("a.STL", {"file_type": "stl_ascii"}),
    ],
)
def test_a_box_of_every_format_has_its_closed_form(
    name: str, options: dict[str, Any], tmp_path: Path
) -> None:
    surface, notes = read_surface(save(tmp_path / name, box(), **options), TUMOUR)
    assert notes == ()
    assert surface.is_closed
    assert len(surface.vertices) == 8
    assert len(surface.triangles) == 12
    assert surface.volume_mm3 == pytest.approx(20 * 30 * 40, rel=1e-6)  # box: a b c
    assert surface.vertices.min(axis=0) == pytest.approx((-3, -105, 830))
    assert surface.vertices.max(axis=0) == pytest.approx((17, -75, 870))


def test_an_inside_out_surface_is_turned_and_said(tmp_path: Path) -> None:
    mesh = box()
    mesh.invert()
    surface, notes = read_surface(save(tmp_path / "a.ply", mesh), TUMOUR)
    assert notes == ("a.ply: the surface was inside out and was turned",)
    assert surface.volume_mm3 == pytest.approx(24000, rel=1e-6)


def test_a_hole_is_refused_with_the_number_of_edges(tmp_path: Path) -> None:
    mesh = box()
    mesh.update_faces(np.arange(12) != 5)
    with pytest.raises(InputError, match="is not closed: 3 edges") as caught:
        read_surface(save(tmp_path / "a.stl", mesh), TUMOUR)
    assert "\n" not in str(caught.value)


def test_triangles_that_disagree_on_outside_are_refused(tmp_path: Path) -> None:
    mesh = box()
    faces = mesh.faces.copy()
    faces[4] = faces[4][::-1]
    with pytest.raises(InputError, match="is not closed"):
        odd = trimesh.Trimesh(mesh.vertices, faces, process=False)
        read_surface(save(tmp_path / "a.ply", odd), TUMOUR)


@pytest.mark.parametrize(
    ("scale", "structure", "words"),
    [
        (0.001, Structure.TUMOUR, r"tumour measures 0\.04 mm, 1 to 500 mm.*in metres"),
        (1000.0, Structure.TUMOUR, r"measures 4e\+04 mm.*another unit"),
        (0.1, Structure.SKIN, r"skin measures 4 mm, 50 to 2200 mm"),
    ],
)
def test_another_unit_than_mm_is_suspected(
    scale: float, structure: Structure, words: str, tmp_path: Path
) -> None:
    mesh = box()
    mesh.apply_scale(scale)
    with pytest.raises(InputError, match=words):
        read_surface(save(tmp_path / "a.ply", mesh), Contour(structure))


def test_skin_may_be_larger_than_a_tumour(tmp_path: Path) -> None:
    path = save(tmp_path / "a.ply", box((450.0, 300.0, 700.0)))
    assert read_surface(path, Contour(Structure.SKIN))[0].volume_ml == pytest.approx(94500)
    assert read_surface(path, Contour(Structure.CANAL))[0].volume_ml == pytest.approx(94500)
    with pytest.raises(InputError, match="measures 700 mm, 1 to 500 mm"):
        read_surface(path, TUMOUR)


@pytest.mark.parametrize("name", ["a.ply", "a.stl"])
def test_damaged_files_are_refused(name: str, tmp_path: Path) -> None:
    path = save(tmp_path / name, box())
    path.write_bytes(path.read_bytes()[:-40])
    with pytest.raises(InputError, match=r"a\.(ply|stl)"):
        read_surface(path, TUMOUR)
    path.write_bytes(b"nonsense")
    with pytest.raises(InputError, match=r"cannot be read as|holds no triangle"):
        read_surface(path, TUMOUR)


def test_other_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        read_surface(tmp_path / "none.ply", TUMOUR)
    with pytest.raises(InputError, match=r"\.ply and \.stl"):
        read_surface(tmp_path / "a.obj", TUMOUR)
    (tmp_path / "p.ply").write_text(
        "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\n"
        "property float z\nelement face 0\nproperty list uchar int vertex_indices\n"
        "end_header\n1 2 3\n"
    )
    with pytest.raises(InputError, match=r"p\.ply"):
        read_surface(tmp_path / "p.ply", TUMOUR)


def test_a_written_ply_agrees_with_trimesh_to_the_last_bit(tmp_path: Path) -> None:
    mesh = trimesh.creation.icosphere(subdivisions=2, radius=11.3)
    surface = TriangleSurface(
        mesh.vertices + np.array((1 / 3, -87.1, 844.7)), mesh.faces.astype(np.int32)
    )
    write_ply(tmp_path / "s.ply", surface)
    theirs = trimesh.load_mesh(tmp_path / "s.ply", process=False)
    assert np.array_equal(theirs.vertices, surface.vertices)
    assert np.array_equal(theirs.faces, surface.triangles)
    assert theirs.is_watertight
    back, _ = read_surface(tmp_path / "s.ply", TUMOUR)
    assert back.volume_mm3 == pytest.approx(surface.volume_mm3, rel=1e-12)
    write_ply(tmp_path / "t.ply", surface)
    assert (tmp_path / "s.ply").read_bytes() == (tmp_path / "t.ply").read_bytes()
    with pytest.raises(InputError, match=r"ends in \.ply"):
        write_ply(tmp_path / "s.stl", surface)


def test_a_names_file_lists_the_surfaces(tmp_path: Path) -> None:
    save(tmp_path / "t.ply", box())
    save(tmp_path / "k.stl", box())
    entries = [{"file": "t.ply", "structure": "tumour"}, {"file": "k.stl", "structure": "kidney"}]
    (tmp_path / "n.json").write_text(json.dumps({"surfaces": entries}))
    surfaces, notes = read_surfaces(tmp_path / "n.json")
    assert surfaces[TUMOUR].volume_ml == pytest.approx(24.0)
    assert [contour.structure for contour in surfaces] == [Structure.TUMOUR, Structure.OTHER]
    assert notes == ("structures that are not known, kept but not used: kidney",)
    twice = [entries[0], {"file": "k.stl", "structure": "tumour"}]
    (tmp_path / "n.json").write_text(json.dumps({"surfaces": twice}))
    with pytest.raises(InputError, match="two files stand for tumour"):
        read_surfaces(tmp_path / "n.json")
    (tmp_path / "n.json").write_text('{"labels": [{"value": 1, "structure": "sac"}]}')
    with pytest.raises(InputError, match="lists no surfaces"):
        read_surfaces(tmp_path / "n.json")
