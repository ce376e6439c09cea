"""A writer killed with SIGKILL at random moments leaves one whole state, never a mixture."""

import json
import os
import random
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from vertebloc.exchange.case_folder import CaseFolder

WRITER = textwrap.dedent("""
    import sys
    from datetime import datetime, timezone
    from pathlib import Path
    from vertebloc.exchange.case_folder import CaseFolder

    folder, start = Path(sys.argv[1]), int(sys.argv[2])
    now = datetime(2026, 1, 1, tzinfo=timezone.utc)
    case = CaseFolder.open(folder)
    print("ready", flush=True)
    number = start
    while True:
        number += 1
        with case.transaction(now=now, what="g", restamp=lambda document: b"") as change:
            change.put_bytes("ct", "ct.nii", f"ct {number} ".encode() * 5000)
            change.put_bytes("labels", "labels.nii.gz", f"labels {number} ".encode() * 500)
            change.put_json("names", "names.json", {"generation": number})
            change.put_json("identity", "identity.json",
                            {"name": str(number), "birth_date": "", "number": ""})
""")

#: The same without the manifest: files overwritten one after the other. Must be caught.
CARELESS = textwrap.dedent("""
    import json, sys
    from pathlib import Path
    folder, number = Path(sys.argv[1]), int(sys.argv[2])
    print("ready", flush=True)
    while True:
        number += 1
        (folder / "a").write_text(f"{number} " * 20000)
        (folder / "b").write_text(f"{number} " * 20000)
""")


def kill_at_random(script, folder, start, rng):
    process = subprocess.Popen(
        [sys.executable, "-c", script, str(folder), str(start)], stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    time.sleep(rng.uniform(0.0, 0.06))
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    process.stdout.close()


def generation_of(folder):
    """The one generation that every file of the case carries."""
    case = CaseFolder.open(folder)
    assert case.verify() == []
    if not case.has("ct"):
        return 0
    found = {
        int(case.path_of("ct").read_bytes().split()[1]),
        int(case.path_of("labels").read_bytes().split()[1]),
        int(json.loads(case.path_of("names").read_bytes())["generation"]),
        int(case.identity().name),
    }
    assert len(found) == 1, f"a mixture of generations: {found}"
    return found.pop()


def survive(tmp_path, times):
    from datetime import UTC, datetime

    folder: Path = tmp_path / "case"
    CaseFolder.create(folder, datetime(2026, 1, 1, tzinfo=UTC))
    rng, last, moved = random.Random(7), 0, 0
    for _ in range(times):
        kill_at_random(WRITER, folder, last, rng)
        found = generation_of(folder)
        assert found >= last  # what was once complete is not lost
        moved += found > last
        last = found
    assert moved > times / 4  # the writer did get to write between the kills


@pytest.mark.slow
def test_fifty_kills(tmp_path):
    survive(tmp_path, 50)


@pytest.mark.full
def test_five_hundred_kills(tmp_path):
    survive(tmp_path, 500)


def test_a_careless_writer_is_caught(tmp_path):
    """Shows that the kills of this file can fail: without a manifest a mixture appears."""
    rng, mixtures = random.Random(3), 0
    for start in range(0, 25):
        kill_at_random(CARELESS, tmp_path, 10**6 * (start + 1), rng)
        files = [tmp_path / name for name in "ab"]
        if not all(file.exists() for file in files):
            mixtures += 1
            continue
        texts = [set(file.read_text().split()) for file in files]
        mixtures += texts[0] != texts[1] or len(texts[0]) != 1
        if mixtures:
            break
    assert mixtures
