"""Each change of the choices can be taken back, also after a crash; an edit is never lost."""

from __future__ import annotations

import json

import pytest

from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.errors import InputError
from vertebloc.exchange.choices_file import render_choices
from vertebloc.exchange.choices_history import (
    MOST_ENTRIES,
    ChoicesHistory,
    HistoryEntry,
    holds_choices,
    read_history,
    render_history,
)
from vertebloc.exchange.choices_reasons import reasons_in, reasons_that_hold

START = ChoicesHistory((HistoryEntry("as opened", "a"),), 0)


def test_undo_and_redo_walk_and_a_new_change_lets_the_undone_go():
    history = START.with_change("one", "b").with_change("two", "c")
    assert history.undone().undone().now.choices == "a"
    assert history.undone().redone() == history
    other = history.undone().with_change("three", "d")
    assert [entry.choices for entry in other.entries] == ["a", "b", "d"]
    assert not other.can_redo
    with pytest.raises(InputError, match="no change to take back"):
        START.undone()
    with pytest.raises(InputError, match="none to make again"):
        START.redone()


def test_a_history_keeps_the_newest():
    history = START
    for number in range(MOST_ENTRIES + 5):
        history = history.with_change(str(number), str(number))
    assert len(history.entries) == MOST_ENTRIES
    assert history.now.choices == str(MOST_ENTRIES + 4)


def test_what_is_written_is_read():
    history = START.with_change("höhe", "ü = 1\n").undone()
    assert read_history(json.loads(render_history(history))) == history


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({"schema": 2}, "newer vertebloc"),
        ({"schema": 1, "at": 0, "entries": []}, "does not exist"),
        ({"schema": 1, "at": 3, "entries": [{"what": "x", "choices": "y"}]}, "does not exist"),
        ({"schema": 1, "at": 0, "entries": [{}]}, "damaged"),
    ],
)
def test_a_history_that_cannot_be_used_is_refused(document, said):
    with pytest.raises(InputError, match=said):
        read_history(document)


def test_whether_a_file_is_in_the_history_byte_for_byte():
    written = render_history(START.with_change("one", "b\n"))
    assert holds_choices(written, b"b\n")
    assert not holds_choices(written, b"b")
    assert not holds_choices(b"{damaged", b"b\n")


def test_reasons_stay_with_the_values_they_are_reasons_of():
    level = LevelChoice(diseased="T10")
    before = render_choices(Choices(level=level), {"level.diseased": "most tumour lies there"})
    assert reasons_in(before)["level.diseased"][0] == "most tumour lies there"
    same = render_choices(Choices(level=level, wanted_margin_mm=7.0), {})
    assert reasons_that_hold(before, same) == {"level.diseased": "most tumour lies there"}
    other = render_choices(Choices(level=LevelChoice(diseased="T11")), {})
    assert reasons_that_hold(before, other) == {}
