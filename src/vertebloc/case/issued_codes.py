"""Which codes a case has given out, and what a code means today."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from vertebloc.case.provenance import Inputs, what_changed


class CodeState(Enum):
    """What a code on a sheet is worth today."""

    CURRENT = "current"
    OUT_OF_DATE = "out of date"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class IssuedCode:
    """One code that was printed on a sheet of this case."""

    code: str
    made_at: str  #: ISO 8601 with zone offset
    what: str  #: such as ``planning sheet``
    inputs: Inputs


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeAnswer:
    """Answer to the question whether a sheet with a given code may still be used."""

    code: str
    state: CodeState
    made_at: str  #: empty if unknown
    reasons: tuple[str, ...]  #: why it is out of date

    @property
    def words(self) -> str:
        """The answer in one sentence."""
        if self.state is CodeState.UNKNOWN:
            return f"{self.code} is unknown to this case: the sheet belongs to another case."
        made = f"{self.code} was made on {self.made_at}"
        if self.state is CodeState.CURRENT:
            return f"{made} and is the current plan of this case."
        return f"{made} and is out of date, because {'; '.join(self.reasons)}."


def answer_code(
    code: str, issued: Sequence[IssuedCode], now: Inputs, more: tuple[str, ...] = ()
) -> CodeAnswer:
    """Say what a code is worth today.

    Parameters
    ----------
    code : str
        As ``read_code`` returns it.
    issued : sequence of IssuedCode
        All codes of the case, oldest first.
    now : Inputs
        What a plan would be computed from today.
    more : tuple of str
        Further reasons why the newest plan is out of date.

    Returns
    -------
    CodeAnswer
        Current, out of date with reasons, or unknown.
    """
    found = [place for place, one in enumerate(issued) if one.code == code]
    if not found:
        return CodeAnswer(code=code, state=CodeState.UNKNOWN, made_at="", reasons=())
    one, newest = issued[found[-1]], issued[-1]
    reasons = (*what_changed(one.inputs, now), *more)
    if one is not newest:
        reasons = (
            f"a newer plan with the code {newest.code} was computed on {newest.made_at}",
            *reasons,
        )
    return CodeAnswer(
        code=code,
        state=CodeState.OUT_OF_DATE if reasons else CodeState.CURRENT,
        made_at=one.made_at,
        reasons=tuple(dict.fromkeys(reasons)),
    )
