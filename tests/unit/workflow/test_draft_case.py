"""A first draft made in a case: right place, right structure, a draft until confirmed."""

from pathlib import Path

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.agreement import compare
from vertebloc.outlining.record import OutlineState
from vertebloc.workflow.draft_case import draft_case
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.first_drafts import DRAFT_MAKERS, maker_named
from vertebloc.workflow.load_case import load_contours, load_ct
from vertebloc.workflow.open_case import OpenCase

T9 = Contour(Structure.VERTEBRA, Level("T9"))


def voxel(case_dir: Path, lps: np.ndarray) -> str:
    case = OpenCase.open(case_dir)
    try:
        index = case.ct.grid.lps_from_ijk.inverse.points(lps)[0]
    finally:
        case.close()
    return ",".join(str(round(float(x))) for x in index)


@pytest.mark.slow
def test_a_vertebra_drafted_in_a_case_lies_where_it_was_made_up(own_case: Path) -> None:
    """Against the closed-form vertebra's own labels (1 x 1 x 1.5 mm voxels)."""
    middle = made_up.gallery.spine_of("lead").vertebrae[T9.level].lps_from_own.origin
    report = draft_case(own_case, "vertebra of T9", [voxel(own_case, middle)], by="A. Person")
    assert "DRAFT" in report.lines[0] and "vertebra of T9" in report.lines[0]
    case = OpenCase.open(own_case)
    try:
        grid = load_ct(case.folder).grid
        found = Drawing.open(case, grid).outline(T9)
        labels = load_contours(case.folder).label_map
    finally:
        case.close()
    assert found.state is OutlineState.DRAFT
    assert found.record.drawn_by[0].name == "A. Person"
    drafted = np.zeros(grid.shape, dtype=bool)
    box = tuple(slice(a, b) for a, b in zip(found.mask.start, found.mask.stop, strict=True))
    drafted[box] = found.mask.inside
    assert labels is not None
    made = np.isin(labels.volume.values, labels.values_of(T9))
    assert compare(drafted, made, grid.spacing_mm).dice > 0.85


@pytest.mark.parametrize(
    ("what", "places", "why"),
    [
        ("vertebra of S1", ["10,10,10"], "cannot be drafted"),
        ("aorta", ["10,10"], "three numbers"),
        ("aorta", ["10,10,x"], "must be i,j,k"),
        ("aorta", ["10,10,9999"], "within 256 x 256 x 126"),
        ("aorta", ["100,100,60"], "takes 2 places, got 1"),
    ],
)
def test_bad_requests_are_refused_in_one_line(
    own_case: Path, what: str, places: list[str], why: str
) -> None:
    with pytest.raises(InputError, match=why):
        draft_case(own_case, what, places)


def test_every_structure_has_its_maker() -> None:
    words = {maker.words for maker in DRAFT_MAKERS}
    wanted = {"skin", "left lung", "right lung", "spinal canal", "aorta", "other, bone"}
    wanted |= {f"vertebra of T{n}" for n in range(1, 13)}
    wanted |= {f"{side} rib of T{n}" for side in ("left", "right") for n in range(1, 13)}
    assert wanted <= words
    assert len(maker_named("Aorta").places) == 2
    assert len(maker_named("vertebra  of t8").places) == 1
