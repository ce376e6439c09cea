"""Names files: what each entry means, and a clear line for each mistake."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.names_file import NamesFile, read_names_file, write_names_file
from vertebloc.space.frames import Side

T10 = Level("T10")


def read(tmp_path: Path, data: Any) -> NamesFile:
    path = tmp_path / "names.json"
    path.write_text(data if isinstance(data, str) else json.dumps(data), encoding="utf-8")
    return read_names_file(path)


def test_the_documented_example_reads_as_documented(tmp_path: Path) -> None:
    names = read(
        tmp_path,
        {
            "about": "made up",
            "labels": [
                {"value": 34, "structure": "vertebra", "level": "T10"},
                {"value": 101, "structure": "rib", "level": "t10", "side": "left"},
                {"value": 12, "structure": "lung lobe", "part": "lower", "side": "left"},
                {"value": 60, "structure": "vertebra", "level": "T10",
                 "also": [{"structure": "tumour"}]},
            ],
        },
    )  # fmt: skip
    bone = Contour(Structure.VERTEBRA, T10)
    assert names.about == "made up"
    assert dict(names.labels) == {
        34: (bone,),
        101: (Contour(Structure.RIB, T10, Side.LEFT),),
        12: (Contour(Structure.LUNG_LOBE, None, Side.LEFT, "lower"),),
        60: (bone, Contour(Structure.TUMOUR)),
    }
    assert names.notes == ()


def test_words_nobody_knows_are_kept_and_said(tmp_path: Path) -> None:
    names = read(
        tmp_path,
        {
            "labels": [
                {"value": 1, "structure": "kidney", "side": "right"},
                {"value": 2, "structure": "kidney", "side": "left", "part": "upper"},
            ]
        },
    )
    assert names.labels[1] == (Contour(Structure.OTHER, None, Side.RIGHT, "kidney"),)
    assert names.labels[2] == (Contour(Structure.OTHER, None, Side.LEFT, "kidney, upper"),)
    assert names.notes == ("structures that are not known, kept but not used: kidney",)


def test_surfaces_are_listed_in_order(tmp_path: Path) -> None:
    entries = [{"file": "t.ply", "structure": "tumour"}, {"file": "s/c.stl", "structure": "sac"}]
    assert read(tmp_path, {"surfaces": entries}).surfaces == (
        ("t.ply", Contour(Structure.TUMOUR)),
        ("s/c.stl", Contour(Structure.SAC)),
    )


def test_what_is_written_reads_the_same_and_in_the_same_bytes(tmp_path: Path) -> None:
    names = NamesFile(
        about="größer",
        labels={
            60: (Contour(Structure.VERTEBRA, T10), Contour(Structure.TUMOUR)),
            2: (Contour(Structure.OTHER, None, Side.LEFT, "kidney, upper"),),
            7: (Contour(Structure.LUNG_LOBE, None, Side.RIGHT, "middle"),),
        },
        surfaces=(("t.ply", Contour(Structure.TUMOUR)),),
    )
    write_names_file(tmp_path / "n.json", names)
    back = read_names_file(tmp_path / "n.json")
    assert (back.about, dict(back.labels), back.surfaces) == (
        names.about,
        dict(names.labels),
        names.surfaces,
    )
    raw = json.loads((tmp_path / "n.json").read_text(encoding="utf-8"))
    assert raw["labels"][0] == {
        "value": 2,
        "structure": "kidney",
        "side": "left",
        "part": "upper",
    }
    assert raw["labels"][2]["also"] == [{"structure": "tumour"}]
    write_names_file(tmp_path / "m.json", back)
    assert (tmp_path / "m.json").read_bytes() == (tmp_path / "n.json").read_bytes()


def _label(**entry: Any) -> dict[str, Any]:
    return {"labels": [{"value": 1, "structure": "rib"}, {"value": 5, "structure": "rib"} | entry]}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (_label(value=1), "labels entry 2 (value 1): the value is named twice"),
        (_label(value=0), "labels entry 2: value must be a whole number from 1 to"),
        (_label(value="5"), "got '5'"),
        (_label(value=5.0), "got 5.0"),
        (_label(value=True), "got True"),
        (_label(value=None), "value must be a whole number from 1 to 2147483647; it is missing"),
        (_label(structure=None), "labels entry 2 (value 5): structure must be one of vertebra, "),
        (_label(structure=""), "structure must be one of"),
        (_label(structure=3), "structure must be text in quotation marks; got 3"),
        (_label(level="T14"), "(value 5): level: 'T14' is not a vertebra: use C1-C7"),
        (_label(level=10), "level must be text in quotation marks; got 10"),
        (_label(side="Left"), "side must be one of left, right; got 'Left'"),
        (_label(size="big"), "the key 'size' is not known; allowed: value, structure, level"),
        (_label(also={"structure": "tumour"}), "also must be a list"),
        (_label(also=[{"structure": "tumour", "value": 3}]),
         "labels entry 2 (value 5), also 1: the key 'value' is not known"),
        (_label(also=["tumour"]), "also 1 must be an entry in { }, got 'tumour'"),
        ({"labels": {"5": "rib"}}, "labels must be a list in [ ]"),
        ({"labels": ["rib"]}, "labels entry 1 must be an entry in { }, got 'rib'"),
        ({"labels": []}, "names nothing"),
        ({}, "names nothing"),
        ([], "the file must be an entry in { }"),
        ({"label": []}, "the file: the key 'label' is not known; allowed: about, labels"),
        ({"about": 1, "labels": []}, "the file: about must be text"),
        ({"surfaces": [{"structure": "tumour"}]}, "surfaces entry 1: file must be"),
        ({"surfaces": [{"file": "../x.ply", "structure": "sac"}]}, "beside the names file"),
        ({"surfaces": [{"file": "/x.ply", "structure": "sac"}]}, "beside the names file"),
        ('{"labels": [', "is not JSON in UTF-8"),
        ('{"labels": [], "labels": []}', "the key 'labels' stands twice in one entry"),
    ],
)  # fmt: skip
def test_mistakes_are_named_with_their_place(tmp_path: Path, data: Any, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, data)
    message = str(caught.value)
    assert words in message
    assert message.startswith(str(tmp_path / "names.json"))
    assert "\n" not in message


def test_files_that_cannot_be_read_are_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        read_names_file(tmp_path / "none.json")
    with pytest.raises(InputError, match="cannot be read: Is a directory"):
        read_names_file(tmp_path)
    (tmp_path / "latin.json").write_bytes('{"about": "größer"}'.encode("latin-1"))
    with pytest.raises(InputError, match="is not JSON in UTF-8"):
        read_names_file(tmp_path / "latin.json")


def test_a_byte_order_mark_is_no_mistake(tmp_path: Path) -> None:
    (tmp_path / "n.json").write_bytes(
        b'\xef\xbb\xbf{"labels": [{"value": 1, "structure": "sac"}]}'
    )
    assert read_names_file(tmp_path / "n.json").labels[1] == (Contour(Structure.SAC),)
