"""The answer as the spine stands, beside the one with it pulled apart; neither is hidden."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.errors import InputError
from vertebloc.way_out.answer import Entry, WayOut
from vertebloc.way_out.model import Answer


def with_pull(plain: WayOut, pulled: WayOut, by_mm: float) -> WayOut:
    """One answer from both.

    Parameters
    ----------
    plain : WayOut
        As the spine stands.
    pulled : WayOut
        The same piece with the spine pulled apart.
    by_mm : float, mm
        By how much.

    Returns
    -------
    WayOut
        Both ledgers, the one without pulling first. A yes that needs no pull is the answer; one
        that needs it says so; a no must hold for both.

    Raises
    ------
    InputError
        If nothing is pulled.
    """
    if by_mm <= 0.0:
        raise InputError(f"a spine pulled apart by {by_mm:g} mm is not pulled: use more than 0")
    entries = {entry: replace(entry, distraction_mm=by_mm) for entry in pulled.ledger}
    pulled = replace(pulled, best=entries[pulled.best], ledger=tuple(entries.values()))
    first, other = _in_order(plain, pulled)
    return replace(
        first,
        answer=_answer(plain.answer, pulled.answer),
        ledger=(*plain.ledger, *pulled.ledger),
        family=f"{plain.family}, as the spine stands and pulled apart by {by_mm:.1f} mm",
        scenarios_searched=plain.scenarios_searched + pulled.scenarios_searched,
        yes_up_to_mm=max(plain.yes_up_to_mm, pulled.yes_up_to_mm),
        no_from_mm=max(first.no_from_mm, other.no_from_mm),
    )


def _answer(*answers: Answer) -> Answer:
    if Answer.YES in answers:
        return Answer.YES
    return Answer.NO if set(answers) == {Answer.NO} else Answer.CANNOT_TELL


def _in_order(plain: WayOut, pulled: WayOut) -> tuple[WayOut, WayOut]:
    """The one that the answer rests on, and the other."""
    if plain.answer is Answer.YES:
        return plain, pulled
    if pulled.answer is Answer.YES:
        return pulled, plain
    both_no = plain.answer is Answer.NO and pulled.answer is Answer.NO
    if not both_no and Answer.NO in (plain.answer, pulled.answer):  # the open one decides
        return (plain, pulled) if pulled.answer is Answer.NO else (pulled, plain)
    if _room(pulled.best) > _room(plain.best):
        return pulled, plain
    return plain, pulled


def _room(entry: Entry) -> tuple[float, float]:
    return entry.with_errors.lower_mm, entry.model.lower_mm
