"""Whole states of a case folder, each known by its generation number in every one of its files.

Run as a program, it is the process that gets killed: it forks a writer for every line that names
a folder, tells the writer's process id, and tells when the writer has died.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from vertebloc.case.provenance import Inputs
from vertebloc.case.short_code import short_code
from vertebloc.exchange import case_transaction
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_manifest import hash_of_step

NOW = datetime(2026, 1, 2, 3, 4, 5, tzinfo=timezone(timedelta(hours=1)))
NO_CASE, EMPTY_CASE = -1, 0


def restamp(document: dict[str, Any]) -> bytes:
    """A sheet that says what it was made from."""
    return f"sheet of generation {document['generation']}, stale: {document['stale']}".encode()


def content(step: str, generation: int, size: int = 300) -> bytes:
    return f"{step} of generation {generation}\n".encode().ljust(size, b".")


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def put_generation(case: CaseFolder, generation: int) -> None:
    """Save a state in which every file of the case carries the same number."""
    ct, labels = content("ct", generation, 200_000), content("labels", generation)
    names = content("names", generation)
    surfaces = {f"{name}.ply": content(name, generation) for name in ("tumour", "sac")}
    inputs = Inputs.of(
        {
            "ct": sha256(ct),
            "labels": sha256(labels),
            "names": sha256(names),
            "surfaces": hash_of_step(tuple((n, sha256(d)) for n, d in surfaces.items())),
            "choices": sha256(content("choices", generation)),
            "package_version": "0.1.0",
            "schema": "1",
        }
    )
    plan = {"generation": generation, "stale": []}
    now = NOW + timedelta(seconds=generation)
    with case.transaction(now=now, what=f"generation {generation}", restamp=restamp) as change:
        person = {"name": f"generation {generation}", "birth_date": "", "number": "0"}
        change.put_json("identity", "identity.json", person)
        change.put_json("series", "series.json", {"generation": generation})
        change.put_file("ct", "ct.nii", lambda path: _write(path, ct))
        change.put_bytes("labels", "labels.nii.gz", labels)
        change.put_bytes("names", "names.json", names)
        for name, data in surfaces.items():
            change.put_bytes("surfaces", name, data)
        change.put_json("plan", "plan.json", plan)
        change.put_bytes("sheet", "plan.pdf", restamp(plan))
        change.put_choices(f"# choices of generation {generation}\n")
        change.record_plan(inputs, short_code(str(generation).encode()))


def _write(path: Path, data: bytes) -> None:
    path.write_bytes(data)


def generation_in(path: Path) -> int:
    """The one generation that all files of a case carry; fails if they are of several."""
    if not CaseFolder.is_case(path):
        return NO_CASE
    case = CaseFolder.open(path)
    damaged = case.verify()
    assert not damaged, damaged
    changes = case.journal().changes
    assert [change.number for change in changes] == list(range(1, len(changes) + 1))
    assert sum(1 for p in path.rglob("*") if ".aside-" in p.name) == 0
    if not case.has("ct"):
        assert [change.what for change in changes] == ["case made"]
        assert not case.choices_path.exists()
        return EMPTY_CASE
    texts = {
        step: case.path_of(step).read_bytes()
        for step in ("identity", "series", "ct", "labels", "names", "plan", "sheet")
    }
    texts |= {file.name: file.read_bytes() for file in case.path_of("surfaces").iterdir()}
    texts |= {
        name: (path / name).read_bytes()
        for name in ("plan.json", "planning-sheet.pdf", "choices.toml")
    }
    texts["journal"] = changes[-1].what.encode()
    found = {name: _number_in(data) for name, data in texts.items()}
    assert len(texts) == 13
    assert len(set(found.values())) == 1, f"a mixture of states: {found}"
    generation = found["ct"]
    assert case.codes[-1].code == short_code(str(generation).encode())
    assert len(case.codes) == generation
    kept = sorted(p.name for p in path.glob("choices-*.toml"))
    assert len(kept) == max(0, generation - 1), kept
    return generation


def _number_in(data: bytes) -> int:
    found = re.search(rb'generation"?:? (\d+)', data)
    assert found is not None, data[:80]
    return int(found[1])


def name_without_content(step: str, name: str, step_hash: str, digits: int = 8) -> str:
    """What a careless program does: the new file takes the old one's name at once."""
    folder, beginning = case_transaction.PLACES[step]
    start = f"{folder}/{beginning}" if folder else beginning
    del step_hash, digits
    if step in case_transaction.MANY_FILES:
        return f"{start}-00000000/{name}"
    return f"{start}-00000000{name[name.find('.') :]}"


def _write_for_ever(path: Path, acknowledged: Path) -> None:
    generation = generation_in(path)
    if generation == NO_CASE:
        case, generation = CaseFolder.create(path, NOW), EMPTY_CASE
    else:
        case = CaseFolder.open(path)
    log = os.open(acknowledged, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    while True:
        generation += 1
        put_generation(case, generation)
        os.write(log, f"{generation}\n".encode())


def _serve() -> None:
    if "careless" in sys.argv:
        case_transaction.path_in_folder = name_without_content
    for line in sys.stdin:
        path, acknowledged = map(Path, json.loads(line))
        pid = os.fork()
        if pid == 0:
            try:
                _write_for_ever(path, acknowledged)
            finally:
                os._exit(1)
        print(pid, flush=True)  # noqa: T201
        _, status = os.waitpid(pid, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201


if __name__ == "__main__":
    _serve()
