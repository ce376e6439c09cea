"""Computing processes begin as copies of one that has loaded, and end with the program."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

SCRIPT = """
import asyncio, os, sys

def main():
    from vertebloc.cli.load_ahead import NEEDED, load_ahead
    load_ahead()
    assert NEEDED not in sys.modules, "what is to be loaded beside was loaded here"
    from multiprocessing.forkserver import _forkserver
    from vertebloc.workflow.workers import Workers
    workers = Workers(lost=lambda: None)
    loop = asyncio.new_event_loop()
    parent = loop.run_until_complete(workers.ask("plans", os.getppid))
    print(parent, _forkserver._forkserver_pid, os.getpid(), flush=True)
    os.kill(os.getpid(), 9)

if __name__ == "__main__":
    main()
"""


@pytest.mark.slow
def test_workers_are_copies_and_end_with_a_program_that_is_killed(tmp_path):
    (tmp_path / "program.py").write_text(SCRIPT)
    ran = subprocess.run(
        [sys.executable, str(tmp_path / "program.py")], capture_output=True, text=True, check=False
    )
    parent, copied_from, program = map(int, ran.stdout.split())
    assert parent == copied_from != program
    for _ in range(100):
        if not Path(f"/proc/{copied_from}").exists():
            return
        time.sleep(0.1)
    raise AssertionError("the process that was loaded ahead outlived its program")
