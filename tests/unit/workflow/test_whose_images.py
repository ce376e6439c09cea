"""Two people are never mixed, and a known name is never lost."""

import pytest

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.workflow.whose_images import settle_identity

ANNA = Identity("MADE-UP, ANNA", "1970-01-01", "VB-1")
BEN = Identity("MADE-UP, BEN", "1980-02-02", "VB-2")
NOBODY = Identity()


@pytest.mark.parametrize(
    ("read", "known", "typed", "expected"),
    [
        (ANNA, NOBODY, NOBODY, ANNA),
        (ANNA, ANNA, NOBODY, ANNA),
        (NOBODY, ANNA, NOBODY, ANNA),
        (NOBODY, NOBODY, ANNA, ANNA),
        (NOBODY, NOBODY, NOBODY, NOBODY),
        (ANNA, NOBODY, Identity(number="VB-1"), ANNA),
        (Identity(name="MADE-UP, ANNA"), NOBODY, Identity("", "1970-01-01", "VB-1"), ANNA),
    ],
)
def test_the_person_who_comes_out(read, known, typed, expected):
    assert settle_identity(read=read, known=known, typed=typed)[0] == expected


def test_images_that_name_nobody_are_doubted_aloud():
    _, notes = settle_identity(read=NOBODY, known=ANNA, typed=NOBODY)
    assert len(notes) == 1
    assert "MADE-UP, ANNA" in notes[0] and "same person" in notes[0]
    assert settle_identity(read=ANNA, known=ANNA, typed=NOBODY)[1] == ()


@pytest.mark.parametrize(
    ("read", "known", "typed", "words"),
    [
        (BEN, ANNA, NOBODY, "another person's"),
        (Identity("MADE-UP, ANNA", "1970-01-01", "VB-2"), ANNA, NOBODY, "another person's"),
        (ANNA, NOBODY, BEN, "the images say name 'MADE-UP, ANNA', 'MADE-UP, BEN' was given"),
        (NOBODY, ANNA, Identity(number="VB-2"), "the case says number 'VB-1', 'VB-2' was given"),
    ],
)
def test_contradictions_are_refused(read, known, typed, words):
    with pytest.raises(InputError, match=words.replace("(", r"\(")):
        settle_identity(read=read, known=known, typed=typed)
