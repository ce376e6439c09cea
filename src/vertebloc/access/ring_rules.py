"""The published rules beside the ring as it was measured; where they disagree, it is said."""

from __future__ import annotations

from vertebloc.access.ring_model import Demand, Opening
from vertebloc.published import staging as published
from vertebloc.published.source import KNOWN_WORDS
from vertebloc.staging import Answer, Staging, rule_verdict

_RULES = {
    Demand.OPENING: published.WHOLE_BODY,
    Demand.BOTH_SIDES: published.ARCH,
    Demand.ONE_PLACE: published.HALF_BODY,
}


def compare_with_rules(
    demand: Demand, answer: Answer, openings: tuple[Opening, ...], staging: Staging
) -> tuple[str, tuple[str, ...]]:
    """Set the published sector rules beside the measured openings.

    Parameters
    ----------
    demand : Demand
        What the kind of resection asks of the ring.
    answer : Answer
        What was measured.
    openings : tuple of Opening
        By side.
    staging : Staging
        Sectors and layers.

    Returns
    -------
    tuple of (str, tuple of str)
        The rules' verdict in words with its source, and one warning for each disagreement: one
        says yes where the other says no. A "cannot tell" disagrees with nothing.

    References
    ----------
    [boriani1997] sectors allowed for each kind of resection.
    [boriani2018] free pedicles of the posterior arch.
    """
    verdict = rule_verdict(staging)
    rule = _RULES[demand]
    family = verdict.family(rule)
    said = f"{rule.name}: {family.allowed.value}"
    if family.reasons:
        said += f" ({', '.join(family.reasons)})"
    said += f" [{family.source}, {rule.place}; {KNOWN_WORDS[family.known]}]"
    warnings = []
    if {answer, family.allowed} == {Answer.YES, Answer.NO}:
        why = f" ({', '.join(family.reasons)})" if family.reasons else ""
        warnings.append(
            f"The published rules and the ring disagree: for {rule.name} the rules say "
            f"{family.allowed.value}{why}, the ring as measured says {answer.value}"
        )
    for one in openings:
        if one.side is None:
            continue
        free = verdict.pedicle_free[one.side]
        if {one.answer, free} == {Answer.YES, Answer.NO}:
            warnings.append(
                f"The published rules and the ring disagree about the {one.side.value} side: the "
                f"pedicle's sector reads as {'free' if free is Answer.YES else 'involved'}, the "
                f"opening as measured says {one.answer.value} ({one.words})"
            )
    wanted = int(published.OPENING_SECTORS.value)
    wide = verdict.free_posterior_run >= wanted
    if demand is Demand.OPENING and answer is Answer.YES and not wide:
        warnings.append(
            f"Practice asks for {wanted} neighbouring free posterior sectors (not looked up); "
            f"{verdict.free_posterior_run} are free, though an opening was measured"
        )
    return said, tuple(warnings)
