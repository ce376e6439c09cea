"""Segmentations against an outside reader and writer: highdicom."""

from __future__ import annotations

from pathlib import Path

import highdicom
import numpy as np
import pydicom
import pytest

from vertebloc.anatomy.structures import Contour
from vertebloc.exchange.contour_files import read_contours
from vertebloc.exchange.dicom_seg_write import write_segmentation
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.space.grids import Volume

from .test_outline_files import SETTINGS, SHAPE, as_masks, grid, outlines


@pytest.mark.parametrize("kind", ["axial", "oblique"])
def test_highdicom_reads_what_we_write(
    kind: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    made = outlines(grid(kind), rng)
    write_segmentation(tmp_path / "s.dcm", made, SETTINGS)
    read = highdicom.seg.segread(tmp_path / "s.dcm")
    compared = 0
    for number, (contour, mask) in enumerate(as_masks(made).items(), start=1):
        assert read.get_segment_description(number).segment_label == contour.words
        if not mask.any():
            continue
        volume = read.get_volume(segment_numbers=[number], combine_segments=False)
        index = np.argwhere(np.asarray(volume.array)[..., 0] > 0)
        places = (volume.affine @ np.column_stack((index, np.ones(len(index)))).T).T[:, :3]
        ours = made.volume.grid.lps_from_ijk.points(np.argwhere(mask).astype(float))
        assert {tuple(p) for p in places.round(2)} == {tuple(p) for p in ours.round(2)}
        compared += 1
    assert compared == 5


def _described(number: int, contour: Contour) -> highdicom.seg.SegmentDescription:
    known = contour.snomed
    kind = (known.value, "SCT", known.meaning) if known else ("X", "99X", "unknown")
    return highdicom.seg.SegmentDescription(
        number,
        contour.words,
        highdicom.sr.CodedConcept("123037004", "SCT", "Anatomical Structure"),
        highdicom.sr.CodedConcept(*kind),
        highdicom.seg.SegmentAlgorithmTypeValues.MANUAL,
    )


@pytest.mark.parametrize("kind", ["BINARY", "FRACTIONAL"])
def test_we_read_what_highdicom_writes(
    kind: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    on = grid("oblique")
    masks = as_masks(outlines(on, rng))
    settings = SeriesSettings(seed_text="x", made_at=SETTINGS.made_at, description="x")
    empty = Volume(on, np.zeros(SHAPE, dtype=np.int16))
    files = write_dicom_series(tmp_path / "ct", empty, SETTINGS.identity, settings)
    source = [pydicom.dcmread(path) for path in files]
    values = np.stack([mask.transpose(2, 1, 0) for mask in masks.values()], -1)
    made = highdicom.seg.Segmentation(
        source,
        values.astype(np.uint8 if kind == "BINARY" else float),
        kind,
        [_described(n, c) for n, c in enumerate(masks, start=1)],
        highdicom.UID(), 1, highdicom.UID(), 1, "made up", "made up", "1", "1",
    )  # fmt: skip
    made.save_as(tmp_path / "s.dcm")
    read, _ = read_contours(tmp_path / "s.dcm", None, on, str(source[0].FrameOfReferenceUID))
    found = as_masks(read)
    assert found.keys() == masks.keys()
    for contour, mask in masks.items():
        assert np.array_equal(found[contour], mask), contour.words
