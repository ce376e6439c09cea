"""The demo makes its own folder anew and never removes what it did not make."""

import pytest

from vertebloc.case.choices import Choices
from vertebloc.errors import InputError
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.workflow.demo import MARK, TWIN_REASON, _confirm_sides, _make_room


def put(folder, *names):
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")


def names_in(folder):
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


MADE = (
    "ct/ct_0001.dcm",
    "ct/ct_0190.dcm",
    "case/case.json",
    "case/journal.jsonl",
    "case/.lock",
    "case/choices.toml",
    "case/choices-2026-11-25T124139+0000.toml",
    "case/plan.json",
    "case/planning-sheet.pdf",
    "case/planning-sheet-without-identity.pdf",
    "case/identity-7ccb7999.json",
    "case/series-82a83631.json",
    "case/images/ct-d70ebcef.nii",
    "case/contours/labels-40128101.nii.gz",
    "case/contours/names-4aa1657f.json",
    "case/results/plan-4aa1657f.json",
    "case/sheets/plan-43bf036d.pdf",
    "case/sheets/pictures-d1eb0399/ring.png",
)


def test_an_older_demo_makes_room(tmp_path):
    folder = tmp_path / "demo"
    put(folder, MARK, *MADE)
    _make_room(folder)
    assert names_in(folder) == {MARK}


@pytest.mark.parametrize(
    "foreign",
    [
        "case/notes.txt",
        "case/images/photo.jpg",
        "case/results/table.csv",
        "ct/mine.dcm",
        "ct/deep/ct_0001.dcm",
        "case/planning-sheet-signed.pdf",
    ],
)
def test_a_foreign_file_stops_it_before_anything_is_removed(tmp_path, foreign):
    put(tmp_path, MARK, *MADE, foreign)
    before = names_in(tmp_path)
    with pytest.raises(InputError, match="not of the demo's making"):
        _make_room(tmp_path)
    assert names_in(tmp_path) == before


def test_foreign_files_beside_the_demo_stay(tmp_path):
    put(tmp_path, MARK, *MADE, "letter.txt", "own/case/plan.json")
    _make_room(tmp_path)
    assert names_in(tmp_path) == {MARK, "letter.txt", "own/case/plan.json"}


def test_what_is_no_demo_is_refused(tmp_path):
    put(tmp_path, "thesis.tex")
    with pytest.raises(InputError, match="no demo of ours"):
        _make_room(tmp_path)
    with pytest.raises(InputError, match="is a file"):
        _make_room(tmp_path / "thesis.tex")
    with pytest.raises(InputError, match="could not make a demo"):
        _make_room(tmp_path / "thesis.tex" / "below")
    assert names_in(tmp_path) == {"thesis.tex"}


def test_a_link_to_somewhere_else_is_not_followed(tmp_path):
    put(tmp_path / "else", "treasure.txt")
    put(tmp_path / "demo", MARK, "case/case.json")
    (tmp_path / "demo" / "case" / "images").symlink_to(tmp_path / "else")
    with pytest.raises(InputError, match="not of the demo's making"):
        _make_room(tmp_path / "demo")
    assert names_in(tmp_path / "else") == {"treasure.txt"}


def test_the_twins_sides_get_a_name_and_a_reason_and_nothing_else_changes(tmp_path):
    text = render_choices(Choices(), {"level.diseased": "a reason that must stay"})
    (tmp_path / "choices.toml").write_text(text)
    _confirm_sides(tmp_path)
    after = (tmp_path / "choices.toml").read_text()
    choices = read_choices(after)
    assert (choices.sides.confirmed_by, choices.sides.reason) == ("the demo", TWIN_REASON)
    assert choices.level == Choices().level
    changed = [b for a, b in zip(text.splitlines(), after.splitlines(), strict=True) if a != b]
    assert changed == ['confirmed_by = "the demo"', f'reason = "{TWIN_REASON}"']
