"""The short code: what people mistype is caught, and no two documents share one by design."""

from __future__ import annotations

import hashlib
from itertools import combinations

import pytest

from vertebloc.case.short_code import ALPHABET, read_code, short_code
from vertebloc.errors import InputError

CODES = [short_code(str(number).encode()) for number in range(40)]


def _is_code(text: str) -> bool:
    try:
        read_code(text)
    except InputError:
        return False
    return True


def test_alphabet_is_the_published_one() -> None:
    # Douglas Crockford, Base 32: digits and letters without I, L, O, U
    assert (
        "".join(c for c in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ" if c not in "ILOU") == ALPHABET
    )


def test_first_seven_signs_are_the_first_35_bits_of_sha_256() -> None:
    # SHA-256 of "abc" begins ba7816bf 8f (FIPS 180-4, example B.1)
    assert hashlib.sha256(b"abc").hexdigest().startswith("ba7816bf8f")
    bits = f"{0xBA7816BF8F:040b}"[:35]
    signs = "".join(ALPHABET[int(bits[at : at + 5], 2)] for at in range(0, 35, 5))
    assert short_code(b"abc").replace("-", "")[:7] == signs


def test_a_code_worked_out_by_hand() -> None:
    """Check sign by long multiplication of polynomials over GF(2), not by the shift register."""

    def times(a: int, b: int) -> int:
        product = 0
        for bit in range(5):
            product ^= (a << bit) if b >> bit & 1 else 0
        for bit in range(9, 4, -1):
            if product >> bit & 1:
                product ^= 0b100101 << (bit - 5)
        return product

    for code in CODES:
        *values, check = (ALPHABET.index(sign) for sign in code.replace("-", ""))
        power, total = 2, 0
        for value in reversed(values):
            total ^= times(value, power)
            power = times(power, 2)
        assert total == check


def test_look() -> None:
    for code in CODES:
        assert len(code) == 9
        assert code[4] == "-"
        assert set(code) <= set(ALPHABET) | {"-"}
    assert len(set(CODES)) == len(CODES)


@pytest.mark.parametrize("code", CODES[:10])
def test_every_way_of_typing_it(code: str) -> None:
    bare = code.replace("-", "")
    typed = [
        code.lower(),
        bare,
        " ".join(bare),
        f"  {bare[:2]}-{bare[2:4]} {bare[4:]}\n",
        code.replace("-", "\u2013"),
        code.replace("0", "O").replace("1", "I").replace("V", "U"),
        code.lower().replace("0", "o").replace("1", "l"),
    ]
    assert [read_code(text) for text in typed] == [code] * len(typed)


@pytest.mark.parametrize("code", CODES[:10])
def test_every_single_wrong_sign_is_caught(code: str) -> None:
    signs = code.replace("-", "")
    wrong = [
        signs[:at] + other + signs[at + 1 :]
        for at in range(8)
        for other in ALPHABET
        if other != signs[at]
    ]
    assert len(wrong) == 8 * 31
    assert not any(_is_code(text) for text in wrong)


@pytest.mark.parametrize("code", CODES)
def test_every_two_signs_that_changed_places_are_caught(code: str) -> None:
    signs = code.replace("-", "")
    swapped = set()
    for a, b in combinations(range(8), 2):
        moved = list(signs)
        moved[a], moved[b] = moved[b], moved[a]
        swapped.add("".join(moved))
    swapped.discard(signs)
    assert len(swapped) >= 10
    assert not any(_is_code(text) for text in swapped)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "it has 0 signs, a code has 8"),
        ("K7QM-3WX", "it has 7 signs"),
        ("K7QM-3WXKK", "it has 9 signs"),
        ("K7QM-3W?K", r"'\?' occurs in none"),
        ("K7QM-3WX0", "is mistyped"),
    ],
)
def test_what_is_no_code_is_said_plainly(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as error:
        read_code(text)
    assert "\n" not in str(error.value)


def test_the_example_in_the_message_is_a_code() -> None:
    assert read_code("K7QM-3WXK") == "K7QM-3WXK"
