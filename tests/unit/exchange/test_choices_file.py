"""The team's choices file: what is written in it, and how every mistake is answered."""

from __future__ import annotations

import re
import tomllib

import pytest

from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    CountedFrom,
    CuffSurface,
    DeliverySide,
    Placement,
    RibFateChoice,
    SoftFace,
    StandingSide,
)
from vertebloc.case.choices import (
    Choices,
    CuffChoice,
    HalfPlacement,
    LevelChoice,
    Override,
    RibChoice,
)
from vertebloc.errors import InputError
from vertebloc.exchange.choices_entries import ENTRIES
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.exchange.choices_lines import find_lines
from vertebloc.space.frames import Side

BY_A_PERSON = """\
standing_side = "Right"          # case does not matter
wanted_margin_mm = 8
cuff.front = { surface = "muscle", thickness_mm = 3 }

[level]
diseased = "t 10"
confirmed_by = "A. Ward"
counted_from = "sacrum"

[cuts.cranial]
placed = "by hand"
left = { height_mm = 14.5, tilt_deg = -4 }
right.height_mm = 13

[arch.parts]
"left pedicle" = "piece"

[ribs]
"T10 left" = { fate = "removed", length_mm = 35 }
"T11 left" = "head on piece"
"T9 right" = "by rule"

[[override]]
what = "the level is not confirmed"
who = "A. Ward"
reason = \"\"\"counted twice\"\"\"

[[override]]
what = "second"
who = "B"
reason = 'none "better"'
"""


def test_a_file_by_a_person() -> None:
    choices = read_choices(BY_A_PERSON)
    assert choices.standing_side is StandingSide.RIGHT
    assert choices.delivery_side is DeliverySide.UNDECIDED  # left out: its default
    assert choices.wanted_margin_mm == 8.0
    assert choices.cuffs[SoftFace.FRONT] == CuffChoice(
        surface=CuffSurface.MUSCLE, thickness_mm=3.0
    )
    assert choices.level == LevelChoice(
        diseased="T10", confirmed_by="A. Ward", counted_from=CountedFrom.SACRUM
    )
    assert choices.cranial_cut.placed is Placement.BY_HAND
    assert choices.cranial_cut.halves == {
        Side.LEFT: HalfPlacement(height_mm=14.5, tilt_deg=-4.0),
        Side.RIGHT: HalfPlacement(height_mm=13.0),
    }
    assert choices.caudal_cut.halves == {}
    assert choices.arch.parts[ArchPart.LEFT_PEDICLE] is BoneChoice.PIECE
    assert choices.arch.parts[ArchPart.RIGHT_PEDICLE] is BoneChoice.BY_RULE
    assert choices.rib("T10", Side.LEFT) == RibChoice(fate=RibFateChoice.REMOVED, length_mm=35.0)
    assert choices.rib("T11", Side.LEFT).length_mm is None
    assert set(choices.ribs) == {("T10", Side.LEFT), ("T11", Side.LEFT)}
    assert choices.overrides[1] == Override(what="second", who="B", reason='none "better"')


def test_an_empty_file_means_the_defaults() -> None:
    assert read_choices("") == Choices()
    assert read_choices("\ufeff# only a comment\r\n") == Choices()


def test_every_entry_is_explained_before_it_stands() -> None:
    text = render_choices(Choices(), {"level.diseased": "96 % of the tumour\nlies in T10"})
    blocks = text.split("\n\n")
    for entry in ENTRIES:
        pattern = rf'#?"?{re.escape(entry.path[-1])}"? = '
        (block, *_) = [
            b for b in blocks if entry.what in b and re.match(pattern, b.strip().splitlines()[-1])
        ]
        assert f"# Allowed: {entry.allowed.allowed}\n" in block
    assert text.count("(assumed, nobody measured it: set your own)") == 8
    assert "# Default: 5.0 (assumed" in text
    assert '# This value: 96 % of the tumour lies in T10\ndiseased = ""\n' in text
    numbers = [e for e in ENTRIES if e.path[-1].endswith(("_mm", "_deg"))]
    assert len(numbers) == 4 + 2 * 2 * 3 + 4 + 1 + 5 + 1  # last: finger's reach, way out, pixel
    assert all(re.search(r"(mm|degrees)\b", e.what) for e in numbers)


def test_entries_out_of_use_work_once_their_sign_is_taken_away() -> None:
    text = render_choices(Choices(), {})
    in_use = re.sub(r'^#(?=\[|\w+ = |")', "", text, flags=re.MULTILINE)
    in_use = in_use.replace('placed = "by rule"', 'placed = "by hand"')
    choices = read_choices(in_use)
    assert choices.cranial_cut.halves[Side.RIGHT] == HalfPlacement(height_mm=0.0)
    assert choices.rib("T10", Side.LEFT) == RibChoice(fate=RibFateChoice.REMOVED, length_mm=35.0)
    assert choices.overrides[0].what == "the warning, as it was printed"


def test_a_reason_for_nothing_is_refused() -> None:
    with pytest.raises(InputError, match=r"no entry .* is called 'level\.sick'"):
        render_choices(Choices(), {"level.sick": "why"})


# text (the mistake stands on the line that ends in <-), and what the answer must say of it
MISTAKES = {
    "a word that is not allowed": (
        'kerf_mm = 1.0\nstanding_side = "lefft" #<-',
        ['standing_side = "lefft"', '"left", "right" or "head up"'],
    ),
    "a number as a word": (
        '[level]\ndiseased = "T10"\ncounted_from = 1 #<-',
        ["level.counted_from = 1", '"sacrum", "first rib", "last rib" or "placed marker"'],
    ),
    "a word as a number": (
        'kerf_mm = "1.0" #<-',
        ['kerf_mm = "1.0"', "a number from 0 to 5 mm"],
    ),
    "a decimal point that slipped": (
        "wanted_margin_mm = 500 #<-",
        ["wanted_margin_mm = 500", "a number from 0 to 50 mm"],
    ),
    "a negative margin": ("wanted_margin_mm = -0.5 #<-", ["-0.5", "a number from 0 to 50 mm"]),
    "not a number": ("kerf_mm = nan #<-", ["kerf_mm = nan", "a number from 0 to 5 mm"]),
    "a truth value": ("kerf_mm = true #<-", ["kerf_mm = true", "a number from 0 to 5 mm"]),
    "a date": ("kerf_mm = 2026-01-02 #<-", ['kerf_mm = "2026-01-02"', "from 0 to 5 mm"]),
    "no vertebra": (
        '[level]\ndiseased = "T14" #<-',
        ['level.diseased = "T14"', 'a vertebra such as "T10" (C1-C7, T1-T13, L1-L6)'],
    ),
    "a sacral vertebra": ('[level]\ndiseased = "S1" #<-', ['"S1"', "C1-C7, T1-T13, L1-L6"]),
    "a text of two lines": (
        '[level]\ndiseased = "T10"\nconfirmed_by = """A\nB""" #',
        ["level.confirmed_by", "one line of text"],
    ),
    "an act that does not exist": (
        'kerf_mm = 1.0\nacts_order = ["incision", "tea"] #<-',
        ['acts_order = ["incision", "tea"]', '"count the level"', "[] = by rule"],
    ),
    "an act without its list": ('acts_order = "" #<-', ['acts_order = ""', "a list of"]),
    "an act given twice": (
        'acts_order = ["incision", "signal run", "signal run", "incision"] #<-',
        ["names 'incision' twice", "name each act once"],
    ),
    "an unknown entry": (
        "\n\nkerf = 1.0 #<-",
        ["no entry kerf = 1.0", "did you mean kerf_mm?", "wanted_margin_mm"],
    ),
    "an unknown entry in a table": (
        '[level]\n\ndisease = "T10" #<-',
        ["no entry level.disease", "did you mean level.diseased?", "level.confirmed_by"],
    ),
    "an entry in the wrong table": (
        "[level]\nkerf_mm = 1.0 #<-",
        ["no entry level.kerf_mm", "did you mean kerf_mm?"],
    ),
    "an unknown table": (
        '[lewel] #<-\ndiseased = "T10"',
        ['no entry lewel = { diseased = "T10" }', "did you mean level?"],
    ),
    "an unknown empty table": ("[surgeon] #<-", ["no entry surgeon = {}", "level"]),
    "a table as a value": ('level = "T10" #<-', ['level = "T10"', "[level]"]),
    "a value as a table": ("[kerf_mm] #<-\na = 1", ["kerf_mm = { a = 1 }", "from 0 to 5 mm"]),
    "an unknown part": (
        '[arch.parts]\n"left lamna" = "piece" #<-',
        ['arch.parts."left lamna"', 'did you mean arch.parts."left lamina"?'],
    ),
    "a fate that does not exist": (
        '[arch.parts]\n"left lamina" = "gone" #<-',
        ['"gone"', '"by rule", "piece", "piecemeal" or "stays"'],
    ),
    "by hand without numbers": (
        '[cuts.caudal]\nplaced = "by hand" #<-\nleft.height_mm = 3',
        ["cuts.caudal.right.height_mm", "missing", "a number from -100 to 100 mm"],
    ),
    "numbers without by hand": (
        "[cuts.caudal.left]\nheight_mm = 3.0 #<-",
        ["cuts.caudal.left.height_mm = 3", 'cuts.caudal.placed = "by hand"'],
    ),
    "an angle in the wrong place": (
        '[cuts.caudal]\nplaced = "by hand"\n[cuts.caudal.left]\nheight_mm = 1\ntilt_deg = 90 #<-',
        ["cuts.caudal.left.tilt_deg = 90", "a number from -45 to 45 degrees"],
    ),
    "a kind that does not exist": (
        'kind = "quarter" #<-',
        ['kind = "quarter"', '"whole body", "half body" or "arch only"'],
    ),
    "levels out of order": (
        'levels = ["T11", "T10"] #<-',
        ['levels = ["T11", "T10"]', "from head to feet", '["T10", "T11"]'],
    ),
    "a level that is none": ('levels = ["T10", ""] #<-', ['levels = ["T10", ""]']),
    "half of two bodies": (
        'kind = "half body" #<-\nlevels = ["T10", "T11"]',
        ["'half body'", "is for one vertebra"],
    ),
    "a sagittal cut through whole bodies": (
        'kind = "whole body" #<-\nsagittal_cut_mm = 4.0',
        ["sagittal_cut_mm is 4", "goes with 'half body' only"],
    ),
    "no rib": (
        '[ribs]\n"L1 left" = "kept" #<-',
        ['ribs."L1 left" = "kept"', "T1-T13", '"T10 left"'],
    ),
    "no side": ('[ribs]\n"T10" = "kept" #<-', ['ribs.T10 = "kept"', '"T10 left"']),
    "a rib twice": ('[ribs]\n"T10 left" = "kept"\n"t10 Left" = "kept" #<-', ["there twice"]),
    "a rib's fate": ('[ribs]\n"T10 left" = "cut" #<-', ['"cut"', '"removed" or "head on piece"']),
    "a rib without fate": (
        '[ribs]\n"T10 left" = { length_mm = 3 } #<-',
        ['ribs."T10 left".fate is missing', '"removed" or "head on piece"'],
    ),
    "a length of a kept rib": (
        '[ribs]\n"T10 left" = { fate = "kept", length_mm = 3 } #<-',
        ["length_mm is 3", "'removed' or 'head on piece' only"],
    ),
    "an unknown entry of a rib": (
        '[ribs]\n"T10 left" = { fate = "removed", lenth_mm = 3 } #<-',
        ["lenth_mm = 3", "fate and length_mm"],
    ),
    "ribs as a value": ("ribs = 3 #<-", ["ribs = 3", "[ribs]"]),
    "a cuff on the tumour": (
        "[cuff.dura] #<-\nthickness_mm = 2.0",
        ["thickness_mm is 2", "'pleura' or 'muscle'"],
    ),
    "a confirmation of nothing": (
        '[level] #<-\nconfirmed_by = "A"',
        ["confirmed_by is 'A'", "name the vertebra"],
    ),
    "sides without a reason": (
        '[sides] #<-\nconfirmed_by = "A"',
        ["reason is empty", "both confirmed_by and reason"],
    ),
    "an override without a name": (
        '[[override]]\nwhat = "a"\nwho = "b"\nreason = "c"\n[[override]] #<-\nwhat = "a"',
        ["who is empty", "what, who and reason"],
    ),
    "an unknown entry of an override": (
        '[[override]]\nwhat = "a"\nwhy = "b" #<-',
        ['override.why = "b"', "what, who, reason"],
    ),
    "a number in an override": (
        '[[override]]\nwhat = "a"\nwho = "b"\nreason = "c"\n\n[[override]]\nwho = 3 #<-',
        ["who = 3", "one line of text"],
    ),
    "overrides as a table": ("[override] #<-\nwho = 'a'", ["[[override]]"]),
    "a newer file": ("schema = 2 #<-", ["schema = 2", "schema = 1", "newer vertebloc"]),
    "words without quotes": (
        "[level]\ndiseased = T10 #<-",
        ["diseased = T10", "cannot be read", 'a vertebra such as "T10"'],
    ),
    "no value": ("\nkerf_mm = #<-", ["cannot be read", "a number from 0 to 5 mm"]),
    "no equals sign": ("kerf_mm 1.0 #<-", ["kerf_mm 1.0", "cannot be read", "key = value"]),
    "an entry twice": ("kerf_mm = 1.0\nkerf_mm = 2.0 #<-", ["cannot be read", "overwrite"]),
    "a quote that never ends": ('[level]\ndiseased = "T10 #<-\n', ['diseased = "T10', "T1-T13"]),
    "a table that never ends": ("kerf_mm = 1.0\n[level #<-\n", ["[level", "cannot be read"]),
    "a decimal comma": ("kerf_mm = 1,0 #<-", ["kerf_mm = 1,0", "a number from 0 to 5 mm"]),
}


@pytest.mark.parametrize("name", MISTAKES)
def test_every_mistake_names_line_key_value_and_what_is_allowed(name: str) -> None:
    text, parts = MISTAKES[name]
    rows = text.split("\n")
    (line,) = [n for n, row in enumerate(rows, 1) if "#<-" in row] or [3]
    with pytest.raises(InputError) as error:
        read_choices(text)
    message = str(error.value)
    assert message.startswith(f"choices.toml, line {line}: ")
    assert "\n" not in message
    for part in parts:
        assert part in message, message


def test_lines_are_found_through_every_way_of_writing() -> None:
    text = BY_A_PERSON + "\n"
    lines = find_lines(text)
    rows = text.splitlines()
    expected = {
        ("standing_side",): "standing_side",
        ("cuff", "front", "thickness_mm"): "cuff.front",
        ("level",): "[level]",
        ("cuts", "cranial", "left", "tilt_deg"): "left = {",
        ("cuts", "cranial", "right", "height_mm"): "right.height_mm",
        ("arch", "parts", "left pedicle"): '"left pedicle"',
        ("ribs", "T10 left", "length_mm"): '"T10 left"',
        ("override", "0", "who"): 'who = "A. Ward"',
        ("override", "1", "who"): 'who = "B"',
    }
    for path, beginning in expected.items():
        assert rows[lines[path] - 1].startswith(beginning), path


def test_lines_after_values_of_several_lines() -> None:
    text = 'a = [\n  1, # one ] and """\n  2,\n]\nb = """\nc = 1\n"""\n\nc = 2\n[[d]]\nx = 1\n'
    assert tomllib.loads(text)["c"] == 2
    lines = find_lines(text)
    assert [lines[path] for path in (("a",), ("b",), ("c",), ("d", "0", "x"))] == [1, 5, 9, 11]
