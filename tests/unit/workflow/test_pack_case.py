"""A packed case is whole, can be planned, and holds nothing that says whose it is."""

from __future__ import annotations

import gzip
import json
import zipfile
from dataclasses import replace

import pytest

from vertebloc.anatomy.structures import Structure
from vertebloc.case.choice_words import CountedFrom
from vertebloc.case.choices import LevelChoice, Override
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow import check_case
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices, load_contours, load_ct
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.pack_case import pack_case

SECRETS = ("MADE-UP", "VB-LEAD-1", "1970-01-01", "19700101", "Telltale", "a quiet word",
           "2.25.", "not a person")  # fmt: skip


def name_outlines_after_people(folder):
    """Import the labels again under names that tell: a word of the writer's own, and a part."""
    case = CaseFolder.open(folder)
    names = json.loads(case.path_of("names").read_text())
    wanted = {"tumour": {"part": "as Dr Telltale drew it"}, "skin": {"structure": "Telltale bed"}}
    done = set()
    for entry in names["labels"]:
        if entry["structure"] in wanted:
            done.add(entry["structure"])
            entry.update(wanted[entry["structure"]])
    assert done == set(wanted)
    with case.transaction(
        now=read_clock(), what="named by Dr Telltale", restamp=Restamper(case)
    ) as change:
        change.put_json("names", "names.json", names)


@pytest.fixture
def packed(own_case, tmp_path):
    case = OpenCase.open(own_case)
    level = LevelChoice(
        diseased="T10", confirmed_by="Dr Telltale", counted_from=CountedFrom.LAST_RIB
    )
    override = Override(what="a warning", who="Dr Telltale", reason="a quiet word")
    case.change(replace(case.choices, level=level, overrides=(override,)), "by Dr Telltale")
    name_outlines_after_people(own_case)
    report = pack_case(own_case, tmp_path / "for-a-colleague.zip")
    with zipfile.ZipFile(report.path) as packed_file:
        packed_file.extractall(tmp_path / "unpacked")
    return own_case, tmp_path / "unpacked", report


def test_no_byte_tells_whose_it_is(packed):
    case, folder, _ = packed
    original = CaseFolder.open(case)
    about = json.loads(original.path_of("names").read_text())["about"]
    assert len(about) > 10
    files = [path for path in folder.rglob("*") if path.is_file()]
    assert len(files) >= 6
    for path in files:
        data = path.read_bytes()
        if path.name.endswith(".gz"):
            data = gzip.decompress(data)
        for secret in (*SECRETS, about):
            assert secret.encode() not in data, (path.name, secret)
            assert secret.encode("utf-16-le") not in data, (path.name, secret)
        assert not any(secret in path.name for secret in SECRETS)


def test_the_copy_is_a_whole_case_with_the_same_images_and_contours(packed):
    original, folder, _ = packed
    copy, case = CaseFolder.open(folder), CaseFolder.open(original)
    assert copy.verify() == []
    assert not copy.has("identity")
    assert not copy.has("plan")
    assert (load_ct(copy).values == load_ct(case).values).all()
    before, after = load_contours(case), load_contours(copy)
    for structure in Structure:
        counts = [len(found.of(structure)) for found in (before, after)]
        assert counts[0] == counts[1], structure
    assert len(after.contours()) == len(before.contours()) > 20
    assert {c.part for c in after.contours()} == {None, "outline 1", "outline 2"}
    for step in ("ct", "labels"):
        assert copy.hash_of(step) == case.hash_of(step)  # the same voxels, by their bytes
    with pytest.raises(InputError, match="is whole; it holds no plan to check"):
        check_case(folder)
    assert load_choices(copy).level == LevelChoice(
        diseased="T10", counted_from=CountedFrom.LAST_RIB
    )


def test_it_says_what_was_removed_and_what_it_cannot_promise(packed):
    _, _, report = packed
    said = " ".join(report.removed)
    for word in ("name", "date of birth", "number", "private tags", "free text", "confirmed"):
        assert word in said
    assert "burned into the images' pixels" in report.not_guaranteed


def test_nothing_is_written_over(own_case, tmp_path):
    target = tmp_path / "there.zip"
    target.write_text("mine")
    with pytest.raises(InputError, match="exists already"):
        pack_case(own_case, target)
    assert target.read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []
