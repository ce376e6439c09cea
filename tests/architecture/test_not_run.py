"""What was NOT RUN is said last, and fails the run where it counts."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
CLOSING = " in "  # pytest's own closing line: "1 passed, 1 skipped in 0.01s"


def run_probe(folder: Path, source: str, **more: str) -> tuple[int, list[str]]:
    """Run a small test file under this project's conftest; exit code and printed lines."""
    probe = folder / "test_probe.py"
    probe.write_text(source)
    (folder / "pytest.ini").write_text(
        "[pytest]\nmarkers =\n    system(program): x\n    real_data: x\n"
    )
    left_out = ("VERTEBLOC_FAIL_ON_NOT_RUN", "PYTEST_ADDOPTS", "PYTEST_XDIST_WORKER")
    environment = {k: v for k, v in os.environ.items() if k not in left_out}
    ran = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "conftest", "-p", "no:cacheprovider", str(probe)],
        cwd=folder,
        env=environment | {"PYTHONPATH": str(TESTS)} | more,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return ran.returncode, ran.stdout.strip().splitlines()


ABSENT = """
import pytest

@pytest.mark.system("no-such-program-1")
def test_absent():
    raise AssertionError("must not run")

def test_runs():
    pass
"""


def test_an_absent_program_is_named_after_pytests_closing_line(tmp_path: Path) -> None:
    code, lines = run_probe(tmp_path, ABSENT)
    assert code == 0
    assert "1 passed, 1 skipped" in lines[-2] and CLOSING in lines[-2]
    assert lines[-1] == "NOT RUN: no-such-program-1 (1 check)"


def test_ci_fails_when_a_check_was_not_run(tmp_path: Path) -> None:
    code, lines = run_probe(tmp_path, ABSENT, VERTEBLOC_FAIL_ON_NOT_RUN="1")
    assert code == 1
    assert lines[-1] == "NOT RUN: no-such-program-1 (1 check); this fails the run"


def test_a_skip_that_names_nothing_fails_the_run(tmp_path: Path) -> None:
    code, lines = run_probe(tmp_path, "import pytest\n\ndef test_x():\n    pytest.skip('late')\n")
    assert code == 1
    assert lines[-1].startswith("FAILED: ") and "without naming what it lacked" in lines[-1]


SKIP_BY_HAND = '@pytest.mark.skipif(True, reason="no time")'

REAL = """
import pytest
{skip}
def test_real(thorax_ct_folder):
    assert thorax_ct_folder.is_dir()
"""


def test_real_data_skipped_while_a_copy_is_here_fails_the_run(tmp_path: Path) -> None:
    """A skip by hand, as somebody in a hurry would write it, while a copy is on the machine."""
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("ct.nii.gz", "labels.nii.gz", "labels.json"):
        (copy / name).touch()
    source = REAL.replace("{skip}", SKIP_BY_HAND)
    code, lines = run_probe(tmp_path, source, VERTEBLOC_THORAX_CT=str(copy))
    assert code == 1
    assert any("was skipped although the real CT is here" in line for line in lines[-3:])


def test_a_wrong_file_is_an_error_and_not_a_skip(tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("ct.nii.gz", "labels.nii.gz", "labels.json"):
        (copy / name).touch()
    code, lines = run_probe(tmp_path, REAL.replace("{skip}", ""), VERTEBLOC_THORAX_CT=str(copy))
    assert code == 1
    assert any("has sha256" in line for line in lines)


def test_the_system_mark_must_name_its_program(tmp_path: Path) -> None:
    source = "import pytest\n\n@pytest.mark.system\ndef test_x():\n    pass\n"
    code, lines = run_probe(tmp_path, source)
    assert code == pytest.ExitCode.USAGE_ERROR
    assert not any("passed" in line for line in lines)
