"""All sheets of a case, as the command writes them. Asked for: under 10 s.

Give the folder of a planned case (copy it first: sheets are written into it), or none for the
lead made-up patient on its finest grid. The first run counts, with imports, in a process of its
own as a person runs it; then five more, which only typeset.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from vertebloc.workflow.role_sheets import write_role_sheets

ASKED_S = 10.0


def main(folder):
    code = "from vertebloc.cli import main; main()"
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, "sheets", str(folder)], check=True)
    first = time.perf_counter() - began
    report = write_role_sheets(folder)
    again = []
    for _ in range(5):
        began = time.perf_counter()
        write_role_sheets(folder)
        again.append(time.perf_counter() - began)
    print(f"{len(report.files)} files, code {report.code}")
    print(f"the command: {first:.2f} s (asked: under {ASKED_S:g} s)")
    print(f"again: median {statistics.median(again):.2f} s of 5")
    return first < ASKED_S


def with_demo():
    from vertebloc.workflow.demo import make_demo

    with tempfile.TemporaryDirectory() as aside:
        return main(make_demo(Path(aside) / "demo").imported.case)


if __name__ == "__main__":
    sys.exit(0 if (main(Path(sys.argv[1])) if len(sys.argv) > 1 else with_demo()) else 1)
