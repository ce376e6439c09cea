"""All sheets of a case, as the command writes them. Asked for: under 10 s.

Give the folder of a planned case (copy it first: sheets are written into it). The first run
counts, with imports; then five more, which only typeset.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

ASKED_S = 10.0


def main(folder):
    began = time.perf_counter()
    from vertebloc.workflow.role_sheets import write_role_sheets

    report = write_role_sheets(folder)
    first = time.perf_counter() - began
    again = []
    for _ in range(5):
        began = time.perf_counter()
        write_role_sheets(folder)
        again.append(time.perf_counter() - began)
    print(f"{len(report.files)} files, code {report.code}")
    print(f"first, with imports: {first:.2f} s (asked: under {ASKED_S:g} s)")
    print(f"again: median {statistics.median(again):.2f} s of 5")
    return first < ASKED_S


if __name__ == "__main__":
    sys.exit(0 if main(Path(sys.argv[1])) else 1)
