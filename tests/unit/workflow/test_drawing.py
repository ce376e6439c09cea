"""Outlines drawn in a case: saved as they are made, taken back, found again, confirmed by name."""

from __future__ import annotations

import json
import zipfile

import numpy as np
import pytest

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import write_nifti
from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.overlay import mask_of
from vertebloc.outlining.record import AFTER_TREATMENT, OutlineState, fence_of
from vertebloc.outlining.spreading import SpreadLimits
from vertebloc.space.grids import Volume
from vertebloc.workflow import import_case, outline_tools, pack_case
from vertebloc.workflow.case_hold import CaseHold
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.first_drafts import DraftMaker
from vertebloc.workflow.load_case import load_contours, load_drafts
from vertebloc.workflow.open_case import OpenCase

TUMOUR, CORD = Contour(Structure.TUMOUR), Contour(Structure.CORD)
TRACT, SCAR = Contour(Structure.TRACT), Contour(Structure.SCAR)
UP = np.array([0.0, 0.0, 1.0])


@pytest.fixture
def opened(own_case):
    case = OpenCase.open(own_case)
    yield case
    case.close()


@pytest.fixture
def drawing(opened):
    return Drawing.open(opened, opened.ct.grid)


def stroke_at(grid, i, j, k, radius_mm=4.0):
    return Stroke(grid.lps_from_ijk.points(np.array([[i, j, k]], float)), UP, radius_mm)


def again(case_dir):
    case = OpenCase.open(case_dir)
    try:
        return Drawing.open(case, case.ct.grid)
    finally:
        case.close()


def test_a_stroke_is_on_disk_before_it_is_acknowledged(drawing, opened, own_case):
    drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60), rub_out=False, by="A. Drawer")
    drawing.stroke(SCAR, stroke_at(drawing.grid, 106, 90, 60), rub_out=False, by="A. Drawer")
    drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60, 2.0), rub_out=True, by="B. Other")
    found = again(own_case).outline(SCAR)
    assert found.mask.is_same(drawing.outline(SCAR).mask) and found.mask.count > 20
    assert found.state is OutlineState.DRAFT
    assert [one.name for one in found.record.drawn_by] == ["A. Drawer", "B. Other"]
    assert [change.what for change in found.changes] == ["drawn", "drawn", "rubbed out"]
    lines = [change.what for change in opened.folder.journal().changes[-3:]]
    assert lines[0] == "outline of scarred or irradiated bed: drawn"
    assert opened.folder.verify() == []


def test_what_was_drawn_is_taken_back_and_made_again_after_a_restart(drawing, own_case):
    before = drawing.outline(TUMOUR)
    assert before.state is OutlineState.IMPORTED and before.mask.count > 1000
    drawing.stroke(TUMOUR, stroke_at(drawing.grid, 20, 20, 60), rub_out=False, by="A. Drawer")
    after = drawing.outline(TUMOUR).mask
    later = again(own_case)
    later.undo(TUMOUR)
    assert later.outline(TUMOUR).mask.is_same(before.mask)
    assert later.outline(TUMOUR).state is OutlineState.IMPORTED
    latest = again(own_case)
    latest.redo(TUMOUR)
    assert latest.outline(TUMOUR).mask.is_same(after)
    with pytest.raises(InputError, match="no change of tumour was taken back"):
        latest.redo(TUMOUR)


def test_each_structure_has_a_past_of_its_own(drawing):
    drawing.stroke(TRACT, stroke_at(drawing.grid, 30, 90, 60), rub_out=False, by="A")
    drawing.stroke(SCAR, stroke_at(drawing.grid, 60, 90, 60), rub_out=False, by="A")
    scar = drawing.outline(SCAR).mask
    drawing.undo(TRACT)
    assert drawing.outline(SCAR).mask.is_same(scar)
    with pytest.raises(InputError, match="no change of spinal cord is left"):
        drawing.undo(CORD)


def test_confirming_takes_a_name_and_a_stroke_takes_it_away(drawing, own_case):
    with pytest.raises(InputError, match="named person"):
        drawing.confirm(TUMOUR, "  ")
    with pytest.raises(InputError, match="no outline of scarred"):
        drawing.confirm(SCAR, "C. Surgeon")
    drawing.confirm(TUMOUR, "C. Surgeon")
    found = again(own_case).outline(TUMOUR)
    assert found.state is OutlineState.CONFIRMED
    assert found.record.confirmed_by.name == "C. Surgeon" and "T" in found.record.confirmed_by.time
    drawing.stroke(TUMOUR, stroke_at(drawing.grid, 20, 20, 60), rub_out=False, by="A. Drawer")
    assert drawing.outline(TUMOUR).state is OutlineState.DRAFT
    drawing.undo(TUMOUR)  # what had been confirmed stands again, voxel by voxel
    assert drawing.outline(TUMOUR).record.confirmed_by.name == "C. Surgeon"


def test_a_stroke_that_changes_nothing_is_not_saved(drawing, opened):
    changes = len(opened.folder.journal().changes)
    drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60), rub_out=True, by="A")
    assert len(opened.folder.journal().changes) == changes


def test_while_another_program_works_on_the_case_nothing_is_written(drawing, own_case):
    other = CaseHold(own_case)
    other.take("elsewhere")
    with pytest.raises(InputError, match="works on this case"):
        drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60), rub_out=False, by="A")
    assert drawing.outline(SCAR).mask.is_empty and not CaseFolder.open(own_case).has("drawn")
    other.release()


def test_outlines_of_other_images_are_refused(drawing, opened, own_case):
    drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60), rub_out=False, by="A")
    path = opened.folder.files_of("drawn")["outlines.json"]
    document = json.loads(path.read_text())
    document["ct"] = "0" * 64
    path.write_text(json.dumps(document))
    with pytest.raises(InputError, match="drawn on other images"):
        again(own_case)


def test_untouched_outlines_are_not_written_again_and_old_files_go(drawing, opened):
    drawing.stroke(SCAR, stroke_at(drawing.grid, 100, 90, 60), rub_out=False, by="A")
    first = opened.folder.files_of("drawn")
    scar = next(name for name in first if name.startswith("scarred"))
    written = first[scar].stat().st_mtime_ns
    for k in range(5):
        drawing.stroke(TRACT, stroke_at(drawing.grid, 30, 90, 50 + k), rub_out=False, by="A")
    now = opened.folder.files_of("drawn")
    assert now[scar] == first[scar] and now[scar].stat().st_mtime_ns == written
    named = {
        path for step in ("drawn", "strokes") for path in opened.folder.files_of(step).values()
    }
    folder = opened.folder.path / "contours"
    lying = {path for path in folder.rglob("*") if path.is_file()}
    kept = {opened.folder.path_of(step) for step in ("labels", "names")}
    assert lying == named | kept


def drawn_scar(drawing, by="A. Drawer"):
    for k in range(58, 63):
        drawing.stroke(SCAR, stroke_at(drawing.grid, 150, 165, k), rub_out=False, by=by)


def test_what_is_planned_on_is_the_drawn_outline_and_no_fence(drawing, own_case):
    drawn_scar(drawing)
    drawing.stroke(TUMOUR, stroke_at(drawing.grid, 145, 170, 60, 30.0), rub_out=True, by="A")
    after = Contour(Structure.TUMOUR, part=AFTER_TREATMENT)
    for other in (after, fence_of(TUMOUR)):
        drawing.stroke(other, stroke_at(drawing.grid, 20, 20, 60), rub_out=False, by="A")
    label_map = load_contours(CaseFolder.open(own_case)).label_map
    for contour in (SCAR, TUMOUR):
        assert mask_of(label_map, contour).is_same(drawing.outline(contour).mask)
    assert not {after, fence_of(TUMOUR)} & {c for held in label_map.names.values() for c in held}
    untouched = Contour(Structure.AORTA)
    assert mask_of(label_map, untouched).is_same(drawing.outline(untouched).mask)
    assert load_drafts(CaseFolder.open(own_case)) == ("scarred or irradiated bed", "tumour")


def test_a_packed_case_holds_the_outlines_and_nobody(drawing, own_case, tmp_path):
    drawn_scar(drawing, by="Secret Drawer")
    drawing.confirm(SCAR, "Secret Surgeon")
    pack_case(own_case, tmp_path / "packed.zip")
    with zipfile.ZipFile(tmp_path / "packed.zip") as packed:
        packed.extractall(tmp_path / "out")
    assert not [
        p for p in (tmp_path / "out").rglob("*") if p.is_file() and b"Secret" in p.read_bytes()
    ]
    case = next((tmp_path / "out").rglob("case.json")).parent
    found = again(case).outline(SCAR)
    assert found.mask.is_same(drawing.outline(SCAR).mask)
    assert found.state is OutlineState.DRAFT and not found.changes


def test_other_images_do_not_come_under_drawn_outlines(drawing, opened, own_case, tmp_path):
    drawn_scar(drawing)
    ct = opened.ct
    write_nifti(tmp_path / "other.nii", Volume(ct.grid, np.asarray(ct.values) + np.int16(1)))
    with pytest.raises(InputError, match="import them into a new folder"):
        import_case(tmp_path / "other.nii", own_case)
    assert again(own_case).outline(SCAR).mask.is_same(drawing.outline(SCAR).mask)


def test_tools_are_changes_like_any_other(drawing, opened):
    for k in (50, 60):
        drawing.stroke(SCAR, stroke_at(drawing.grid, 60, 200, k), rub_out=False, by="A")
    two = drawing.outline(SCAR).mask
    outline_tools.bridge(drawing, SCAR, [0.0, 0.0, 1.0], by="B")
    bridged = drawing.outline(SCAR)
    assert bridged.mask.inside.any(axis=(0, 1)).all() and bridged.mask.count > 5 * two.count
    assert bridged.changes[-1].what == outline_tools.BRIDGED
    drawing.undo(SCAR)
    assert drawing.outline(SCAR).mask.is_same(two)
    with pytest.raises(InputError, match="widen the limits"):
        limits = SpreadLimits(low=9000.0, high=9001.0)
        outline_tools.spread(drawing, SCAR, opened.ct, limits, by="B")


def test_the_fence_is_undone_with_its_outline_in_the_order_of_the_hand(drawing):
    drawing.stroke(SCAR, stroke_at(drawing.grid, 60, 200, 60), rub_out=False, by="A")
    fence = fence_of(SCAR)
    drawing.stroke(fence, stroke_at(drawing.grid, 80, 200, 60), rub_out=False, by="A")
    drawing.undo(SCAR)
    assert drawing.outline(fence).mask.is_empty and not drawing.outline(SCAR).mask.is_empty
    drawing.undo(SCAR)
    assert drawing.outline(SCAR).mask.is_empty
    drawing.redo(SCAR)
    drawing.redo(SCAR)
    assert not drawing.outline(fence).mask.is_empty


def test_a_first_draft_is_a_draft_and_asks_for_its_places(drawing, opened):
    ball = OutlineMask.of((50, 190, 55), np.ones((6, 6, 6), bool))
    maker = DraftMaker(contour=SCAR, places=("its middle",), make=lambda *_: {SCAR: ball})
    with pytest.raises(InputError, match="takes 1 places, got 2"):
        outline_tools.first_draft(drawing, maker, opened.ct, np.zeros((2, 3)), by="A")
    outline_tools.first_draft(drawing, maker, opened.ct, np.zeros((1, 3)), by="A")
    found = drawing.outline(SCAR)
    assert found.mask.is_same(ball) and found.state is OutlineState.DRAFT
    assert found.changes[-1].what == f"first draft of {SCAR.words}"
