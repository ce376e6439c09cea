"""A small made-up case, a server for it, and a headless browser; all stopped by the tests."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.space.grids import Grid
from vertebloc.workflow import import_case
from vertebloc.workflow.demo import SCANNED_AT, SEED

START = "from vertebloc.cli import main; main()"
#: No screen, no graphics card, and nothing of the browser's own calls home.
CHROMIUM = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]


@pytest.fixture(scope="session")
def small_case(tmp_path_factory) -> Path:
    """The lead made-up patient on 1 x 1 x 1.5 mm voxels: an eighth of the work, the same plan."""
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


class Served:
    """A case served by a process of its own."""

    def __init__(self, case: Path) -> None:
        self.case = case
        self.process = subprocess.Popen(
            [sys.executable, "-c", START, "open", str(case), "--no-browser"],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1", "NUMBA_NUM_THREADS": "1"},
        )  # fmt: skip
        self.lines: list[str] = []
        for line in self.process.stdout:
            self.lines.append(line)
            if found := re.search(r"http://\S+", line):
                self.address = found[0]
                break
        else:
            raise AssertionError(f"no address: {self.lines}")
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        for line in self.process.stdout:
            self.lines.append(line)

    def stop(self, *, kill: bool = False) -> None:
        """End the process, as Ctrl-C does, or at once."""
        (self.process.kill if kill else self.process.terminate)()
        self.process.wait(20)
        self.reader.join(5)
        self.process.stdout.close()


@contextlib.contextmanager
def _serving(case: Path):
    served = Served(case)
    try:
        yield served
    finally:
        if served.process.poll() is None:
            served.stop()


@pytest.fixture(scope="session")
def serving():
    """Serve a case, and stop."""
    return _serving


@pytest.fixture
def own_case(small_case, tmp_path) -> Path:
    """A copy of the small case that a test may change."""
    return Path(shutil.copytree(small_case, tmp_path / "case"))


@pytest.fixture(scope="session")
def browser():
    """Headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=CHROMIUM)
        yield found
        found.close()
