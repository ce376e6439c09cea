"""Damaged DICOM files: one clear line each, no traceback, no hang, the case as it was.

No outside source: the expectation is the issue's own ("Bad input").
"""

from __future__ import annotations

import hashlib
import multiprocessing
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydicom import dcmread

from vertebloc.errors import VertBlocError
from vertebloc.exchange.dicom_read import read_dicom_folder
from vertebloc.workflow import import_case

from .conftest import Maker, save
from .damage import SYNTAXES, copy_with_damage, enhanced, series_in
from .test_outline_files import BIG, SETTINGS, WRITERS, outlines

LONGEST_S = 5.0
CT_KINDS = (*SYNTAXES, "enhanced")
KINDS = (*CT_KINDS, *WRITERS)


def _intact(tmp_path: Path, kind: str) -> Path:
    maker = Maker(tmp_path)
    if kind in SYNTAXES:
        return series_in(maker, kind)
    if kind == "enhanced":
        made = maker(name="single", count=4)
        images = [dcmread(path) for path in sorted(made.folder.iterdir())]
        folder = tmp_path / "enhanced"
        folder.mkdir()
        save(enhanced(images), folder / "all.dcm")
        return folder
    folder = tmp_path / kind
    folder.mkdir()
    matrix = np.array(_grid().lps_from_ijk.matrix)
    made_outlines = outlines(type(BIG).from_matrix((13, 11, 7), matrix), np.random.default_rng(1))
    WRITERS[kind](folder / "outlines.dcm", made_outlines, SETTINGS)
    return folder


def _grid() -> Any:
    return BIG.crop((20, 20, 10), (33, 31, 17))


def _tree(case: Path) -> dict[str, str]:
    return {
        str(path.relative_to(case)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(case.rglob("*"))
        if path.is_file()
    }


def _try_all(tmp_path: Path, kind: str, count: int, seed: int) -> dict[str, int]:
    """Import ``count`` damaged copies into one case; what became of them."""
    from vertebloc.exchange.nifti import write_nifti
    from vertebloc.space.grids import Volume

    intact = _intact(tmp_path, kind)
    case, ct = tmp_path / "case", tmp_path / "ct.nii"
    if kind in CT_KINDS:
        import_case(intact, case)
    else:
        write_nifti(ct, Volume(_grid(), np.zeros((13, 11, 7), dtype=np.int16)))
        import_case(ct, case)
    before, became = _tree(case), {"refused": 0, "read": 0}
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        damaged, what = copy_with_damage(intact, tmp_path / f"damaged-{number}", rng)
        started = time.monotonic()
        try:
            if kind in CT_KINDS:
                read_dicom_folder(damaged.parent)
                import_case(damaged.parent, tmp_path / f"new-{number}")
            else:
                import_case(ct, tmp_path / f"new-{number}", labels=damaged)
            became["read"] += 1
        except VertBlocError as error:
            became["refused"] += 1
            line = str(error)
            assert line.strip() and "\n" not in line and len(line) < 1000, (what, number)
            assert "Traceback" not in line
            assert not (tmp_path / f"new-{number}").exists(), "a case of a refused import"
            _refused_again(damaged, case, ct, kind)
            assert _tree(case) == before, f"the case was touched by {what} {number}"
        assert time.monotonic() - started < LONGEST_S, (what, number)
    return became


def _refused_again(damaged: Path, case: Path, ct: Path, kind: str) -> None:
    with pytest.raises(VertBlocError):
        if kind in CT_KINDS:
            import_case(damaged.parent, case)
        else:
            import_case(ct, case, labels=damaged)


@pytest.mark.parametrize("kind", KINDS)
def test_twenty_damaged_copies_of_each_kind(kind: str, tmp_path: Path) -> None:
    """Ten kinds, twenty each: two hundred in every run."""
    became = _try_all(tmp_path, kind, 20, seed=4)
    assert became["refused"] >= 4 and sum(became.values()) == 20
    assert len(KINDS) * 20 == 200


@pytest.mark.full
@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_two_hundred_damaged_copies_of_each_kind(kind: str, tmp_path: Path) -> None:
    """Ten kinds, two hundred each: two thousand."""
    became = _try_all(tmp_path, kind, 200, seed=5)
    assert became["refused"] >= 40 and sum(became.values()) == 200


def test_a_decoder_that_ends_itself_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The process that decodes is killed while it works: an error, and the next image is read."""
    from vertebloc.exchange import decoding_apart

    folder = series_in(Maker(tmp_path), "jpeglossless")
    intact = read_dicom_folder(folder)
    started = decoding_apart._started

    def killed() -> Any:
        pool = started()
        for process in multiprocessing.active_children():
            if process.pid in pool._processes:
                process.kill()
                process.join()
        return pool

    with monkeypatch.context() as patch:
        patch.setattr(decoding_apart, "_started", killed)
        with pytest.raises(VertBlocError, match="the decoder gave up"):
            read_dicom_folder(folder)
    again = read_dicom_folder(folder)
    assert np.array_equal(again.volume.values, intact.volume.values)
