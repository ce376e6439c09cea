"""Choosing a series of a mixed folder on the first page: bad ones say why, one line each."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pydicom
import pytest
from pydicom.uid import MRImageStorage, generate_uid

from vertebloc.app.desk import Desk
from vertebloc.case.identity import Identity
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow.demo import SCANNED_AT


def in_a_thread(what):
    """Run to the end; a browser test before may have left a loop running in this thread."""
    with ThreadPoolExecutor(1) as aside:
        return aside.submit(asyncio.run, what).result()


WHO = Identity(name="MADE-UP, FOLDER", number="VB-F-1", birth_date="1970-01-01")


@pytest.fixture
def mixed(tmp_path):
    """Two CTs of one person, and an MR made from the second's first images."""
    for name, sizes in (("thin", (16, 16, 6)), ("thick", (20, 20, 4))):
        grid = Grid.from_matrix(sizes, np.diag([1.0, 1.0, 2.0, 1.0]))
        values = np.arange(grid.size if hasattr(grid, "size") else np.prod(sizes))
        volume = Volume(grid, (values % 900).reshape(sizes).astype(np.int16))
        settings = SeriesSettings(seed_text=name, made_at=SCANNED_AT, description=f"{name} slices")
        write_dicom_series(tmp_path / "scan" / name, volume, WHO, settings)
    uid = generate_uid()
    for path in sorted((tmp_path / "scan" / "thick").iterdir())[:2]:
        image = pydicom.dcmread(path)
        image.SOPClassUID = image.file_meta.MediaStorageSOPClassUID = MRImageStorage
        image.Modality, image.SeriesInstanceUID = "MR", uid
        image.SOPInstanceUID = image.file_meta.MediaStorageSOPInstanceUID = generate_uid()
        image.save_as(tmp_path / "scan" / f"mr {path.name}")
    return tmp_path / "scan"


def test_series_are_listed_with_pictures_and_the_chosen_one_comes_in(mixed, tmp_path):
    desk = Desk(tmp_path / "case")
    told = []
    desk.listen("one", lambda: told.append(desk.doing))

    async def choose():
        desk.series.name(f" {mixed} ")
        await desk.series.look()
        found = desk.series.found
        assert len(found.series) == 3
        assert all(line.picture.startswith(b"\x89PNG") for line in found.series)
        (mr,) = [line for line in found.series if not line.can_be_planned_on]
        assert "MR" in mr.words and "not for planning" in mr.words
        (thick,) = [line for line in found.series if "'thick slices'" in line.words
                    and line.can_be_planned_on]  # fmt: skip
        await desk.series.take(mr.number)
        assert "import the CT first" in desk.error and "\n" not in desk.error
        assert desk.is_empty and not (tmp_path / "case").exists()
        await desk.series.take(thick.number)
        await asyncio.sleep(0.2)

    in_a_thread(choose())
    assert desk.error == "" and not desk.is_empty
    assert CaseFolder.open(tmp_path / "case").json_of("series")["description"] == "thick slices"
    assert any("looking through the folder" in words for words in told)
    assert "FOLDER" in desk.pictures.answer[0].words
    desk.close()


@pytest.mark.parametrize(
    ("typed", "why"), [("", "no folder is named"), ("/nowhere/at all", "nowhere/at all")]
)
def test_a_folder_that_is_none_is_one_line(tmp_path, typed, why):
    desk = Desk(tmp_path / "case")
    desk.series.name(typed)
    in_a_thread(desk.series.look())
    assert why in desk.error and "\n" not in desk.error
    assert desk.series.found is None and desk.doing == ""
