"""Whose case is it, what has the team decided, and what was a result computed from?"""

from vertebloc.case.choices import Choices
from vertebloc.case.identity import Identity
from vertebloc.case.issued_codes import CodeAnswer, CodeState, IssuedCode
from vertebloc.case.provenance import Inputs, hash_of_meaning, what_changed
from vertebloc.case.short_code import read_code, short_code

__all__ = [
    "Choices",
    "CodeAnswer",
    "CodeState",
    "Identity",
    "Inputs",
    "IssuedCode",
    "hash_of_meaning",
    "read_code",
    "short_code",
    "what_changed",
]
