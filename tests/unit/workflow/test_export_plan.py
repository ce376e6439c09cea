"""A plan out of a case: what is refused, whose names go, and the whole of it on a made-up case."""

from __future__ import annotations

import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import manifold3d
import numpy as np
import pydicom
import pytest
import trimesh

from vertebloc.case.choices import Choices, Override
from vertebloc.case.identity import Identity
from vertebloc.case.level_choice import LevelChoice
from vertebloc.cli import main
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow import export_player, plan_case
from vertebloc.workflow.export_case import export_case, known_forms
from vertebloc.workflow.export_player import known_names, poses_of, refuse_names, without_names
from vertebloc.workflow.planned_again import plan_again

NOW = datetime(2026, 1, 5, 9, 30, tzinfo=UTC)
PLAN_FORMS = ("solids", "planned", "teaching", "consent")


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def run(*words: object) -> tuple[object, str, str]:
        monkeypatch.setattr(sys, "argv", ["vertebloc", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        said = capsys.readouterr()
        return stop.value.code, said.out, said.err

    return run


def test_what_cannot_be_exported_is_one_line_and_leaves_nothing(run, tmp_path: Path) -> None:
    CaseFolder.create(tmp_path / "case", NOW)
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "note.txt").write_text("mine")
    for form in PLAN_FORMS:
        assert form in known_forms()
        code, out, err = run("export", tmp_path / "case", tmp_path / "out", "--as", form)
        lines = [line for line in err.splitlines() if not line.startswith("...")]
        assert (code, out, len(lines)) == (2, "", 1)
        assert "holds no plan yet: make one with vertebloc plan" in lines[0]
        with pytest.raises(InputError, match="give a new or empty folder"):
            export_case(tmp_path / "case", tmp_path / "used", form)
    with pytest.raises(InputError, match=r"--as obj is not known: .*solids, planned"):
        export_case(tmp_path / "case", tmp_path / "out", "obj")
    with pytest.raises(InputError, match="--with-identity is for consent and teaching; solids"):
        export_case(tmp_path / "case", tmp_path / "out", "solids", with_identity=True)
    assert {path.name for path in tmp_path.iterdir()} == {"case", "used"}


FLAT = {"tilt_about_x_deg": 0.0, "tilt_about_y_deg": 0.0, "lift_mm": 0.0}


def test_poses_come_from_matrices_or_from_moves_in_the_plane_of_travel() -> None:
    """By hand: a quarter turn about the axis through (10, 20, 30), then 5 mm to the left."""
    travel = np.eye(4)
    travel[:3, 3] = [10.0, 20.0, 30.0]
    moves = [
        FLAT | {"x_mm": 0.0, "y_mm": 0.0, "turn_deg": 0.0},
        FLAT | {"x_mm": 5.0, "y_mm": 0.0, "turn_deg": 90.0},
    ]
    seat, moved = poses_of({"path": moves, "lps_from_travel": travel.tolist()})
    assert np.allclose(seat, np.eye(4))
    assert np.allclose(moved @ [10.0, 20.0, 30.0, 1.0], [15.0, 20.0, 30.0, 1.0])
    assert np.allclose(moved @ [11.0, 20.0, 30.0, 1.0], [15.0, 21.0, 30.0, 1.0])
    again = poses_of({"path": [seat.tolist(), moved.tolist()]})
    assert np.allclose(again[1], moved)
    assert poses_of(None) == poses_of({"path": []}) == ()
    mirrored = np.diag([-1.0, 1.0, 1.0, 1.0])
    with pytest.raises(InputError, match="no motion"):
        poses_of({"path": [np.eye(4).tolist(), mirrored.tolist()]})


def test_a_tilted_pose_is_played_tilted() -> None:
    """By hand: lean a quarter about x (y goes to z), lift by 2, a quarter turn about z, 5 along x.

    So (0, 1, 0) goes to (0, 0, 1), (0, 0, 3), stays there in the turn, and ends at (5, 0, 3);
    (1, 0, 0) stays in the lean, is lifted, turned to (0, 1, 2), and ends at (5, 1, 2).
    """
    way = FLAT | {"x_mm": 5.0, "y_mm": 0.0, "turn_deg": 90.0}
    leaned = way | {"tilt_about_x_deg": 90.0, "lift_mm": 2.0}
    moved = poses_of({"path": [way, leaned], "lps_from_travel": np.eye(4).tolist()})[1]
    assert np.allclose(moved @ [0.0, 1.0, 0.0, 1.0], [5.0, 0.0, 3.0, 1.0])
    assert np.allclose(moved @ [1.0, 0.0, 0.0, 1.0], [5.0, 1.0, 2.0, 1.0])


def test_names_are_taken_out_and_a_page_that_still_holds_one_is_stopped() -> None:
    """Danger: identity leaked."""
    uids = {"study_uid": "1.2.34", "series_uid": "", "frame_of_reference_uid": None}
    case = SimpleNamespace(
        has=lambda _: True,
        identity=lambda: Identity("Example, Person", "1961-04-30", "MU-0042"),
        json_of=lambda _: uids,
    )
    choices = Choices(
        level=LevelChoice(diseased="T10", confirmed_by="Dr Signer"),
        overrides=(Override(what="order", who="Dr Odd", reason="as Person Example wished"),),
    )
    known = known_names(case, choices)  # type: ignore[arg-type]
    document = {
        "a": ["confirmed by Dr Signer", 3.5],
        "b": {"c": "Dr Odd: as Person Example wished; MU-0042, 1961-04-30"},
    }
    clean = without_names(document, known)
    assert clean == {"a": ["confirmed by (removed)", 3.5],
                     "b": {"c": "(removed): (removed); (removed), (removed)"}}  # fmt: skip
    refuse_names(str(clean), known)
    for leak, what in (("Person Example", "name"), ("19610430", "birth"), ("MU-0042", "number"),
                       ("1.2.34", "identifier"), ("Dr Signer", "confirmed")):  # fmt: skip
        with pytest.raises(InputError, match=what):
            refuse_names(f"<p>so says {leak}</p>", known)


def solid_of(mesh: trimesh.Trimesh) -> manifold3d.Manifold:
    return manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.array(mesh.vertices), tri_verts=mesh.faces.astype(np.uint64)
        )
    )


@pytest.mark.full
@pytest.mark.slow
def test_a_made_up_case_goes_out_in_every_form(small_case: Path, own_case: Path, tmp_path: Path):
    """Outside: trimesh, manifold3d and pydicom on the files; label voxels for the volumes."""
    del small_case
    with pytest.raises(InputError, match="holds no plan yet"):
        export_case(own_case, tmp_path / "early", "solids")
    plan_case(own_case)
    for form in PLAN_FORMS:
        report = export_case(own_case, tmp_path / form, form)
        assert any("UNCONFIRMED" in line for line in report.lines), form
        assert all("UNCONFIRMED" in path.name for path in report.files if path.suffix != ".txt")
    planned = plan_again(own_case, lambda _: None)
    meshes = {
        name: trimesh.load_mesh(tmp_path / "solids" / f"UNCONFIRMED-{name}.stl")
        for name in ("spine", "piece", "tumour", "scale-cube")
    }
    for name, mesh in meshes.items():
        assert mesh.is_watertight and mesh.is_winding_consistent, name
    assert np.allclose(np.ptp(meshes["scale-cube"].vertices, axis=0), 20.0, atol=1e-4)
    piece = planned.plan.piece
    own = solid_of(trimesh.Trimesh(piece.vertices, piece.triangles, process=False))
    inside = (own ^ solid_of(meshes["piece"])).volume()
    assert inside == pytest.approx(piece.volume_mm3, rel=2e-3)
    labels = planned.contours.label_map
    assert labels is not None
    voxel = labels.volume.grid.voxel_volume_mm3
    named = [n for n, several in labels.names.items() if any(c.structure.value in
             ("vertebra", "disc", "tumour") for c in several)]  # fmt: skip
    spine_mm3 = float(np.isin(labels.volume.values, named).sum()) * voxel
    tags_mm3 = 2500.0  # two plates with stems and letters, most of them outside the bone
    assert meshes["spine"].volume == pytest.approx(spine_mm3 + tags_mm3, rel=0.1)
    with zipfile.ZipFile(tmp_path / "solids" / "UNCONFIRMED-solids.3mf") as package:
        model = package.read("3D/3dmodel.model").decode()
    assert 'unit="millimeter"' in model and "patient LPS" in model and "UNCONFIRMED" in model
    readme = (tmp_path / "solids" / "README.txt").read_text()
    assert "UNCONFIRMED" in readme and "20 mm" in readme and "patient LPS" in readme
    seg = pydicom.dcmread(tmp_path / "planned" / "UNCONFIRMED-planned-seg.dcm")
    frames = seg.pixel_array[[
        one.SegmentIdentificationSequence[0].ReferencedSegmentNumber == 1
        for one in seg.PerFrameFunctionalGroupsSequence
    ]]  # fmt: skip
    assert float(frames.sum()) * voxel == pytest.approx(piece.volume_mm3, rel=0.02)
    assert seg.StudyInstanceUID == planned.case.json_of("series")["study_uid"]
    for form in ("teaching", "consent"):
        page = (tmp_path / form / f"UNCONFIRMED-{form}.html").read_text("utf-8")
        identity = planned.case.identity()
        assert identity.name and identity.name not in page and identity.number not in page
    assert "MADE-UP" in export_player.make_page(
        planned, export_player.Audience.CONSENT, with_identity=True
    )
