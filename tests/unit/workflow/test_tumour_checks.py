"""Tumours that cannot be planned for: one clear line each, before anything long is computed."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import write_nifti
from vertebloc.space.grids import Volume
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.compute_plan import prepare_plan
from vertebloc.workflow.load_case import Restamper, load_contours
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.saying import say_nothing
from vertebloc.workflow.tumour_checks import check_outline

NEW = 900
AT_T10 = Choices(level=LevelChoice(diseased="T10"))


@pytest.fixture(scope="module")
def label_map(small_case):
    return load_contours(CaseFolder.open(small_case)).label_map


def with_balls(label_map, *balls):
    """The same outlines with these balls (index of the middle, radius in voxels) as tumour."""
    names = {
        value: tuple(c for c in meanings if c.structure is not Structure.TUMOUR)
        for value, meanings in label_map.names.items()
    }
    values = label_map.volume.values.astype(np.int32)
    for middle, radius in balls:
        low = [max(0, m - radius) for m in middle]
        box = tuple(slice(a, m + radius + 1) for a, m in zip(low, middle, strict=True))
        index = np.indices(values[box].shape) + np.reshape(low, (3, 1, 1, 1))
        away = np.linalg.norm(index - np.reshape(middle, (3, 1, 1, 1)), axis=0)
        values[box][away <= radius] = NEW
    names = {value: meanings for value, meanings in names.items() if meanings}
    names[NEW] = (Contour(Structure.TUMOUR),)
    return ContourSet(LabelMap(Volume(label_map.volume.grid, values), names))


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("end", ["first", "last"])
def test_a_tumour_at_the_edge_of_the_images_is_refused(label_map, axis, end):
    middle = [100, 100, 60]
    middle[axis] = 4 if end == "first" else label_map.volume.grid.shape[axis] - 5
    check_outline(with_balls(label_map, (tuple(middle), 3)))  # one voxel of rim is enough
    with pytest.raises(InputError, match="reaches the edge of the images"):
        check_outline(with_balls(label_map, (tuple(middle), 4)))
    with pytest.raises(InputError, match="reaches the edge of the images"):
        prepare_plan(with_balls(label_map, (tuple(middle), 4)), AT_T10, say_nothing)


def test_two_tumours_are_said_with_their_volumes(label_map):
    """Closed form: a ball of 8 voxels' radius, 1 x 1 x 1.5 mm each, holds 3.2 ml."""
    (line,) = check_outline(with_balls(label_map, ((100, 100, 60), 8), ((140, 100, 60), 4)))
    assert "2 separate parts" in line
    large, small = (
        float(part.split()[0]) for part in line.split("(")[1].split(")")[0].split(", ")
    )
    assert large == pytest.approx(4 / 3 * np.pi * 8**3 * 1.5e-3, rel=0.02)
    assert small == pytest.approx(4 / 3 * np.pi * 4**3 * 1.5e-3, rel=0.06)


def test_one_tumour_is_not_said_to_be_several(label_map):
    assert check_outline(ContourSet(label_map)) == ()
    touching = with_balls(label_map, ((100, 100, 60), 8), ((112, 100, 60), 5))
    assert check_outline(touching) == ()
    speck = with_balls(label_map, ((100, 100, 60), 8), ((140, 100, 60), 0))
    assert check_outline(speck) == ()


@pytest.mark.slow
def test_a_tumour_in_no_vertebra_is_refused(label_map):
    """A ball of 1.5 cm in the muscle far behind and beside the spine."""
    grid = label_map.volume.grid
    bone = [
        value
        for value, meanings in label_map.names.items()
        if Contour(Structure.VERTEBRA, meanings[0].level) in meanings
        and str(meanings[0].level) == "T10"
    ]
    middle = np.argwhere(np.isin(label_map.volume.values, bone)).mean(axis=0)
    aside = grid.lps_from_ijk.points(middle[None])[0] + [60.0, 30.0, 0.0]
    ball = tuple(int(i) for i in np.rint(grid.lps_from_ijk.inverse.points(aside[None])[0]))
    with pytest.raises(InputError, match=r"does not lie in T10: it ends \d+\.\d mm from it"):
        prepare_plan(with_balls(label_map, (ball, 7)), AT_T10, say_nothing)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("balls", "said"),
    [((), "no tumour is outlined"), ((((4, 100, 60), 6),), "reaches the edge of the images")],
)
def test_an_open_case_says_it_in_one_line_and_stays_usable(own_case, label_map, balls, said):
    """The refusal comes out of the worker as it is; choices can be changed and undone."""
    volume = with_balls(label_map, *balls).label_map.volume
    folder = CaseFolder.open(own_case)
    names = folder.json_of("names")
    for entry in names["labels"]:
        entry["also"] = [m for m in entry.get("also", ()) if m["structure"] != "tumour"]
        if entry["structure"] == "tumour":
            entry["structure"] = "muscle beside the spine"
    names["labels"].append({"value": NEW, "structure": "tumour"})
    with folder.transaction(
        now=read_clock(), what="outlined again", restamp=Restamper(folder)
    ) as change:
        change.put_file("labels", "labels.nii.gz", lambda path: write_nifti(path, volume))
        change.put_json("names", "names.json", names)
    case = OpenCase.open(own_case)
    try:
        with ThreadPoolExecutor(1) as aside, pytest.raises(InputError, match=said) as error:
            # a thread of its own: a browser test before may have left a loop running here
            aside.submit(asyncio.run, case.prepare(say_nothing)).result()
        assert "\n" not in str(error.value)
        assert case.prepared is None
        case.change(Choices(level=AT_T10.level, kerf_mm=2.0), "kerf")
        assert case.undo() == "kerf"
    finally:
        case.close()
