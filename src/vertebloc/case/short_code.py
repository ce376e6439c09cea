"""The short code on a sheet: eight signs that tell whether a plan is still the one it says.

Signs are Crockford's 32 (digits and letters without I, L, O and U). Seven carry 35 bits of the
document's SHA-256; the eighth is a check sign, so that a mistyped code is told apart from the
code of another plan. A code proves nothing against somebody who wants to deceive.
"""

from __future__ import annotations

import hashlib

from vertebloc.errors import InputError

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOK_ALIKES = str.maketrans({"O": "0", "I": "1", "L": "1", "U": "V"})
_BETWEEN = str.maketrans("", "", " \t\r\n-_.\u00a0\u00ad\u2010\u2011\u2012\u2013\u2014\u2212")
_CARRYING = 7
_BITS = 5
_FIELD = 0b100101  # x^5 + x^2 + 1, primitive: its root has order 31


def short_code(document: bytes) -> str:
    """Code of a document, such as ``K7QM-3WXK``.

    Parameters
    ----------
    document : bytes
        Canonical bytes of what the code stands for: hashes of the inputs, and the results.

    Returns
    -------
    str
        Eight signs in two groups of four.

    Notes
    -----
    Any change of the document gives another code, up to chance of 1 in 2^35. The check sign is
    sum(a^i x_i) over GF(32), a = root of x^5 + x^2 + 1: every single wrong sign and every two
    signs that changed places give another check sign.
    """
    bits = int.from_bytes(hashlib.sha256(document).digest(), "big") >> (256 - _CARRYING * _BITS)
    values = [(bits >> (_BITS * place)) & 31 for place in reversed(range(_CARRYING))]
    signs = "".join(ALPHABET[value] for value in [*values, _check_value(values)])
    return f"{signs[:4]}-{signs[4:]}"


def read_code(text: str) -> str:
    """Read a code as people type it: any case, with or without spaces and dashes.

    Parameters
    ----------
    text : str
        What was typed; O is read as 0, I and L as 1, U as V.

    Returns
    -------
    str
        The code as it is printed.

    Raises
    ------
    InputError
        If it cannot be a code: wrong length, a sign that no code has, or a wrong check sign.
    """
    signs = text.translate(_BETWEEN).upper().translate(_LOOK_ALIKES)
    if len(signs) != _CARRYING + 1:
        raise InputError(
            f"{text!r} is no code of a sheet: it has {len(signs)} signs, a code has 8, "
            "such as K7QM-3WXK"
        )
    wrong = sorted(set(signs) - set(ALPHABET))
    if wrong:
        raise InputError(
            f"{text!r} is no code of a sheet: {wrong[0]!r} occurs in none; read the sheet again"
        )
    values = [ALPHABET.index(sign) for sign in signs]
    if _check_value(values[:-1]) != values[-1]:
        raise InputError(
            f"{text!r} is mistyped: its check sign does not fit; read the sheet again"
        )
    return f"{signs[:4]}-{signs[4:]}"


def _check_value(values: list[int]) -> int:
    total = 0
    for value in values:  # Horner: weights a^7 ... a^1, all different and none zero
        total = _times_root(total ^ value)
    return total


def _times_root(value: int) -> int:
    doubled = value << 1
    return doubled ^ _FIELD if doubled & 32 else doubled
