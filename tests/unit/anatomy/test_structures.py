"""SNOMED CT codes against the dictionary that pydicom carries (made from DICOM PS3.16)."""

from __future__ import annotations

import pytest
from pydicom.sr._concepts_dict import concepts

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure

DICTIONARY = {
    (value, meaning)
    for named in concepts["SCT"].values()
    for value, (meaning, *_) in named.items()
}
WITHOUT_CODE = {
    Structure.BODY,
    Structure.DISC,
    Structure.ROOT,
    Structure.SEGMENTAL_VESSEL,
    Structure.TRACT,
    Structure.MUSCLE,
    Structure.OTHER,
}


@pytest.mark.parametrize(
    "structure", [s for s in Structure if s not in WITHOUT_CODE], ids=lambda s: s.value
)
def test_code_and_meaning_are_those_of_the_dictionary(structure):
    code = structure.snomed
    assert (code.value, code.meaning) in DICTIONARY


@pytest.mark.parametrize(
    "structure", [s for s in Structure if s in WITHOUT_CODE], ids=lambda s: s.value
)
def test_no_code_is_invented(structure):
    assert structure.snomed is None


@pytest.mark.parametrize("name", [f"C{n}" for n in range(1, 8)] + [f"T{n}" for n in range(1, 13)])
def test_a_vertebra_has_its_own_code(name):
    code = Contour(Structure.VERTEBRA, Level(name)).snomed
    assert (code.value, code.meaning) in DICTIONARY
    assert code.meaning == f"{name} vertebra"


def test_a_vertebra_that_the_dictionary_does_not_number_has_the_general_code():
    assert Contour(Structure.VERTEBRA, Level("T13")).snomed == Structure.VERTEBRA.snomed


def test_codes_are_all_different():
    codes = [s.snomed.value for s in set(Structure) - WITHOUT_CODE]
    assert len(codes) == len(set(codes))
