"""Short codes: typing them, telling typos from strangers, and what changed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vertebloc.case.provenance import Inputs, canonical_bytes, what_changed
from vertebloc.case.short_code import read_code, short_code
from vertebloc.errors import InputError


@given(st.binary(max_size=40))
def test_a_code_is_read_back_however_it_is_typed(document):
    code = short_code(document)
    assert len(code) == 9
    assert read_code(f" {code.lower().replace('-', '')} ") == code
    assert read_code(code.replace("0", "O").replace("1", "l")) == code


@given(st.binary(max_size=20), st.integers(0, 7), st.integers(1, 31))
def test_every_single_wrong_sign_is_a_typo(document, place, step):
    from vertebloc.case.short_code import ALPHABET

    signs = list(short_code(document).replace("-", ""))
    signs[place] = ALPHABET[(ALPHABET.index(signs[place]) + step) % 32]
    with pytest.raises(InputError):
        read_code("".join(signs))


def test_any_change_gives_another_code():
    assert short_code(b"margin 4.2") != short_code(b"margin 4.3")


def test_left_out_keys_do_not_count():
    one = {"a": 1, "made_at": "today"}
    assert canonical_bytes(one, ("made_at",)) == canonical_bytes({"a": 1.0}, ("made_at",))
    assert canonical_bytes({"a": 2}) != canonical_bytes({"a": 1})


def test_what_changed_is_told_in_words():
    before = Inputs.of({"ct": "1", "labels": "2", "choices": "3", "package_version": "0.1"})
    now = Inputs.of({"ct": "1", "labels": "x", "choices": "3", "package_version": "0.2"})
    reasons = what_changed(before, now)
    assert reasons[0] == "the contours were changed after this plan was computed"
    assert "from 0.1 to 0.2" in reasons[1]
    assert what_changed(before, before) == ()
