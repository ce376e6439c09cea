"""When a plan must tell of the other scan anew."""

from __future__ import annotations

from pathlib import Path

from vertebloc.case.provenance import Inputs
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import write_nifti
from vertebloc.workflow import ImportSettings, import_case
from vertebloc.workflow.lay_second import save_pairs
from vertebloc.workflow.other_scan_state import has_other_scan_changed, other_scan_of

from .conftest import small_ct


def test_a_scan_that_comes_in_and_a_pair_that_is_marked_are_noticed(
    tmp_path: Path, nifti: Path
) -> None:
    import_case(nifti, tmp_path / "case")
    held = CaseFolder.open(tmp_path / "case")  # as an open case holds it
    none = Inputs.of({"choices": "c"})
    assert not has_other_scan_changed(held, none) and other_scan_of(held) == {}
    second = small_ct(start_mm=1.0)
    write_nifti(tmp_path / "second.nii", second)
    beside = ImportSettings(beside=True)
    import_case(tmp_path / "second.nii", tmp_path / "case", settings=beside)
    assert has_other_scan_changed(held, none)
    assert other_scan_of(held)["answer"] == "not_laid"
    told = Inputs.of({"choices": "c", "second": held.hash_of("second")})
    assert not has_other_scan_changed(held, told)
    save_pairs(tmp_path / "case", [((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))])
    assert has_other_scan_changed(held, told)
