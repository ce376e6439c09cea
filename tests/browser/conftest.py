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

import pytest

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


@pytest.fixture(scope="session")
def browser():
    """Headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=CHROMIUM)
        yield found
        found.close()
