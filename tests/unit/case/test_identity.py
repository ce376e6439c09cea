"""Who the patient is, as it is printed."""

from __future__ import annotations

import pytest

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError


def test_what_is_not_known_is_said() -> None:
    assert Identity().words == "name not given, born date not given, number not given"
    assert Identity().is_blank
    whole = Identity("Doe, Jane", "1960-02-29", "M1")
    assert whole.words == "Doe, Jane, born 1960-02-29, number M1"
    assert not whole.is_blank
    assert not Identity(number="M1").is_blank


@pytest.mark.parametrize("date", ["29.02.1960", "19600229", "1960-2-9", "1960-02-31", "unknown"])
def test_a_birth_date_is_iso_8601(date: str) -> None:
    with pytest.raises(InputError, match="YYYY-MM-DD"):
        Identity(birth_date=date)
