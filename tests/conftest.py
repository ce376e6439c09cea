"""What all tests share: seeded chance, the real CT, and an honest closing line.

A check that needs a system program (``@pytest.mark.system("dciodvfy")``) or the real CT
(fixture ``thorax_ct_folder``) runs if it is there; else the last line of the run names it as
NOT RUN. A check may be left out for no other reason: any other skip fails the run, and so does
a NOT RUN that this machine has no excuse for.
"""

from __future__ import annotations

import asyncio
import importlib.util
import os
import shutil
from collections import Counter
from collections.abc import Callable, Coroutine, Generator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

FAIL_ON_NOT_RUN = "VERTEBLOC_FAIL_ON_NOT_RUN"
NOT_RUN = "NOT RUN"  #: key under which a report carries what it lacked
REAL_DATA = "real thorax CT"
REPOSITORY = Path(__file__).resolve().parents[1]


def _load_tool(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, REPOSITORY / "tools" / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


thorax_ct = _load_tool("thorax_ct")


@pytest.fixture
def run_apart() -> Callable[[Coroutine[Any, Any, Any]], Any]:
    """Run a coroutine in a thread of its own: a browser test may have left a loop in this one."""

    def run(work: Coroutine[Any, Any, Any]) -> Any:
        with ThreadPoolExecutor(1) as aside:
            return aside.submit(asyncio.run, work).result()

    return run


@pytest.fixture
def rng() -> np.random.Generator:
    """Chance that is the same in every run."""
    return np.random.default_rng(20260)


@pytest.fixture(scope="session")
def _thorax_ct_or_reason() -> Path | str:
    try:
        return thorax_ct.find_or_fetch()
    except thorax_ct.CannotBeHadError as error:
        return str(error)


@pytest.fixture
def thorax_ct_folder(request: pytest.FixtureRequest, _thorax_ct_or_reason: Path | str) -> Path:
    """Folder with ``ct.nii.gz``, ``labels.nii.gz`` and the names file ``labels.json``."""
    if isinstance(_thorax_ct_or_reason, str):
        request.node.user_properties.append((NOT_RUN, REAL_DATA))
        pytest.skip(f"{NOT_RUN}: {_thorax_ct_or_reason}")
    return _thorax_ct_or_reason


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what uses the real CT, so that it can be chosen or left out by mark."""
    for item in items:
        if "thorax_ct_folder" in getattr(item, "fixturenames", ()):
            item.add_marker("real_data")
        if item.get_closest_marker("real_data"):
            item.user_properties.append(("uses", REAL_DATA))
        for mark in item.iter_markers("system"):
            if len(mark.args) != 1 or not isinstance(mark.args[0], str):
                raise pytest.UsageError(
                    f"{item.nodeid}: the system mark names one program: "
                    '@pytest.mark.system("dciodvfy")'
                )


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Leave out a check whose system program is absent, and keep its name."""
    for mark in item.iter_markers("system"):
        program = mark.args[0]
        if shutil.which(program) is None:
            item.user_properties.append((NOT_RUN, program))
            pytest.skip(f"{NOT_RUN}: the program {program} is not on this machine")


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_sessionfinish(session: pytest.Session) -> Generator[None, object, object]:
    """After pytest's own closing line, name what was NOT RUN; fail the run where it counts."""
    result = yield
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if hasattr(session.config, "workerinput") or reporter is None:
        return result  # a worker of a parallel run: the run that started it tells
    skipped = [
        report for report in reporter.stats.get("skipped", []) if hasattr(report, "longrepr")
    ]
    lines, failed = closing_lines(skipped)
    if failed and session.exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
    for line in lines:
        reporter.write_line(line, red=failed, bold=True)
    return result


def closing_lines(skipped: list[pytest.TestReport]) -> tuple[list[str], bool]:
    """Lines that name what was left out, and whether that fails the run."""
    lacking: Counter[str] = Counter()
    faults: list[str] = []
    for report in skipped:
        properties = dict(getattr(report, "user_properties", ()))
        what = properties.get(NOT_RUN)
        if what is None:
            faults.append(f"{report.nodeid} was skipped without naming what it lacked")
        else:
            lacking[str(what)] += 1
        if REAL_DATA in (what, properties.get("uses")) and thorax_ct.find_copy() is not None:
            faults.append(f"{report.nodeid} was skipped although the real CT is here")
    lines = [f"FAILED: {fault}" for fault in faults]
    failed = bool(faults)
    if lacking:
        names = ", ".join(
            f"{what} ({count} check{'s' if count > 1 else ''})"
            for what, count in sorted(lacking.items())
        )
        strict = bool(os.environ.get(FAIL_ON_NOT_RUN))
        failed = failed or strict
        lines.append(f"NOT RUN: {names}" + ("; this fails the run" if strict else ""))
    return lines, failed


@pytest.fixture(scope="session")
def way_out_by_hand() -> ModuleType:
    """A way out known in closed form; see ``tests/way_out_by_hand.py``."""
    path = REPOSITORY / "tests" / "way_out_by_hand.py"
    spec = importlib.util.spec_from_file_location("way_out_by_hand", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def small_case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The lead made-up patient on 1 x 1 x 1.5 mm voxels: an eighth of the work, the same plan."""
    from vertebloc import made_up
    from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
    from vertebloc.exchange.names_file import NamesFile, write_names_file
    from vertebloc.exchange.nifti import write_nifti
    from vertebloc.space.grids import Grid
    from vertebloc.workflow import import_case
    from vertebloc.workflow.demo import SCANNED_AT, SEED

    folder = tmp_path_factory.mktemp("small")
    patient = made_up.lead_patient()
    fine = made_up.default_grid(patient)
    matrix = fine.lps_from_ijk.matrix @ np.diag([2.0, 2.0, 1.5, 1.0])
    grid = Grid.from_matrix((256, 256, 126), matrix)
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(SEED))
    settings = SeriesSettings(
        seed_text="small", made_at=SCANNED_AT, description="made-up thorax, not a person"
    )
    write_dicom_series(folder / "ct", ct, patient.identity, settings)
    labels = made_up.label_map(patient, grid)
    write_nifti(folder / "labels.nii.gz", labels.volume)
    write_names_file(
        folder / "names.json", NamesFile(about=patient.about, labels=dict(labels.names))
    )
    import_case(
        folder / "ct", folder / "case",
        labels=folder / "labels.nii.gz", names=folder / "names.json",
    )  # fmt: skip
    return folder / "case"


@pytest.fixture
def own_case(small_case: Path, tmp_path: Path) -> Path:
    """A copy of the small case that a test may change."""
    return Path(shutil.copytree(small_case, tmp_path / "case"))
