"""Every word that a person meets stands in docs/words.md, with where it comes from."""

import importlib
import json
import os
import pkgutil
import re
import subprocess
import sys
from enum import Enum
from pathlib import Path

import pytest

import vertebloc
from vertebloc.exchange.choices_entries import ENTRIES
from vertebloc.reports.text import SHEET_LABELS

REPOSITORY = Path(__file__).parents[2]
ORIGINS = {"trade term", "open standard", "ours"}


def rows() -> list[tuple[tuple[str, ...], str, str]]:
    """Words, origin and meaning of each line of the tables."""
    found = []
    for line in (REPOSITORY / "docs" / "words.md").read_text().splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if not line.startswith("|") or cells[0] == "word" or set(cells[0]) <= {"-"}:
            continue
        assert len(cells) == 3, f"a line of words needs three cells: {line}"
        words = tuple(word.strip("` ") for word in cells[0].split(" · "))
        found.append((words, cells[1], cells[2]))
    return found


LISTED = {word for words, _, _ in rows() for word in words}


def test_every_line_says_where_its_words_come_from() -> None:
    assert len(rows()) > 50
    assert {origin for _, origin, _ in rows()} == ORIGINS
    assert all(meaning for _, _, meaning in rows())


def enums() -> list[type[Enum]]:
    found = set()
    for info in pkgutil.walk_packages(vertebloc.__path__, "vertebloc."):
        for value in vars(importlib.import_module(info.name)).values():
            ours = isinstance(value, type) and value.__module__.startswith("vertebloc.")
            if ours and issubclass(value, Enum):
                found.add(value)
    return sorted(found, key=lambda enum: (enum.__module__, enum.__name__))


@pytest.mark.parametrize("enum", enums(), ids=lambda enum: enum.__name__)
def test_words_of_the_vocabulary_are_listed(enum: type[Enum]) -> None:
    words = {str(member.value) for member in enum if str(member.value)}
    assert words <= LISTED, f"not in docs/words.md: {sorted(words - LISTED)}"


def test_keys_of_the_choices_file_are_listed() -> None:
    keys = {part for entry in ENTRIES for part in entry.path}
    assert keys <= LISTED, f"not in docs/words.md: {sorted(keys - LISTED)}"


def test_labels_of_the_sheet_are_listed() -> None:
    labels = set(SHEET_LABELS.values())
    assert labels <= LISTED, f"not in docs/words.md: {sorted(labels - LISTED)}"


def test_keys_of_plan_json_are_listed() -> None:
    schema = json.loads((REPOSITORY / "docs" / "plan.schema.json").read_text())
    keys = set(schema["properties"]) - {"$schema"}
    assert keys <= LISTED, f"not in docs/words.md: {sorted(keys - LISTED)}"


def test_commands_are_listed() -> None:
    """As ``vertebloc --help`` shows them."""
    ran = subprocess.run(
        [str(Path(sys.executable).with_name("vertebloc")), "--help"],
        env=os.environ | {"COLUMNS": "100", "NO_COLOR": "1"},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    shown = ran.stdout.partition("Commands")[2]
    names = set(re.findall(r"^[\W_]*([a-z-]+) {2,}\S", shown, re.M))
    assert {"demo", "import", "plan", "check"} <= names
    assert names <= LISTED
