"""What the page of the way out shows, as plain values."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape
from typing import Any

from vertebloc.case.way_out_choice import WayOutChoice
from vertebloc.published import way_out as published
from vertebloc.reports import text
from vertebloc.reports import way_out_text as words
from vertebloc.reports.page_views import Card, PageView, Sentence
from vertebloc.reports.page_words import Question
from vertebloc.reports.travel_text import tilted_sentence


def way_out_view(document: Mapping[str, Any]) -> PageView:
    """Which way out, and what is given up.

    Parameters
    ----------
    document : mapping
        Content of plan.json, with ``way_out``.

    Returns
    -------
    PageView
        The answer first; a no or a cannot tell is washed. Distraction is spoken of only where
        the team set it.
    """
    way_out = document["way_out"]
    answer = [Sentence(way_out["words"], way_out["answer"] != "yes")]
    answer += [
        Sentence(said)
        for said in (words.flips_sentence(way_out), words.no_from_sentence(way_out))
        if said
    ]
    answer += [Sentence(said, True) for said in words.distraction_said(way_out)]
    exact = words.exact_sentence(way_out)
    if words.is_doubted(way_out):
        answer.insert(0, Sentence(exact, True))
    cards = []
    if "ledger" in way_out:
        cards = [room_card(way_out), ledger_card(way_out)]
    foot = (
        [Sentence(exact, exact == words.NOT_CHECKED)]
        if exact and not words.is_doubted(way_out)
        else []
    )
    foot += [
        Sentence(text.sentence(one), folded=True)
        for one in (*way_out.get("assumptions", ()), *_family(way_out))
    ]
    return PageView(
        question=Question.WAY_OUT, answer=tuple(answer), cards=tuple(cards), foot=tuple(foot)
    )


def absent_view(*, is_old: bool) -> PageView:
    """No way out that holds: not computed yet, or from before a change.

    Parameters
    ----------
    is_old : bool
        Whether one is kept that does not hold any more.

    Returns
    -------
    PageView
        Says so; an old one is washed.
    """
    said = Sentence(words.OLD if is_old else words.NOT_YET, is_old)
    return PageView(question=Question.WAY_OUT, answer=(said,))


def room_card(way_out: Mapping[str, Any]) -> Card:
    """The few numbers: the method's bracket, the input's uncertainty apart, where it flips.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    Card
        Value and certificate on lines of their own; below, what tilts gained.
    """
    low, high = map(words.mm_or_word, way_out["clearance_bracket_mm"])
    worse, better = map(words.mm_or_word, way_out["with_errors_mm"])
    rows = [
        (words.SHOWN, low),
        (words.AT_BEST, high),
        (words.WITH_ERRORS, worse),
        (words.BEST_WITH_ERRORS, better),
    ]
    settings = way_out.get("settings")
    if settings:
        rows.append((words.wanted(settings["least_mm"]), text.mm(settings["least_mm"])))
    rows.append((words.FLIPS, words.flips_at(way_out)))
    return Card(title=words.ROOM, rows=tuple(rows), note=tilted_sentence(way_out))


def ledger_card(way_out: Mapping[str, Any]) -> Card:
    """Given up and gained, plan by plan, in the surgeon's order.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    Card
        Its drawing is a list in HTML, all words escaped.
    """
    order = way_out.get("spare_first", ())
    said = words.ordered(order) if order else words.UNRANKED
    plans = "".join(_plan(line) for line in way_out["ledger"])
    return Card(
        title=words.LEDGER,
        svg=f'<p class="how">{escape(said)}</p><ol class="ledger">{plans}</ol>',
        note=words.LEDGER_NOTE,
    )


def _plan(line: Mapping[str, Any]) -> str:
    mark = (
        f' <b class="chosen">{escape(words.rests_on(line["answer"]))}</b>'
        if line.get("chosen")
        else ""
    )
    given = "".join(f"<li>{escape(one)}</li>" for one in words.given_up_words(line))
    return (
        f'<li class="{escape(line["answer"])}"><h3>{escape(words.side_words(line["side"]))}: '
        f"{escape(words.ANSWERS[line['answer']])}{mark}</h3>"
        f"<h4>{escape(words.GIVEN_UP)}</h4><ul>{given}</ul>"
        f"<h4>{escape(words.GAINED)}</h4><p>{escape(words.gained_words(line))}</p>"
        f"{_consequences(line)}</li>"
    )


def _consequences(line: Mapping[str, Any]) -> str:
    """What is published on each thing given up, folded away, and on a distraction, unfolded."""
    harm = "".join(
        f'<p class="must">{escape(one)}</p>'
        for one in words.distraction_words(line["distraction_mm"])
    )
    rows = "".join(
        f"<dt>{escape(what)}</dt><dd>{escape(said)} <i>({escape(source)})</i></dd>"
        for what, said, source in consequences(line)
    )
    if not rows:
        return harm
    return (
        f"{harm}<details><summary>{escape(words.CONSEQUENCES)}</summary>"
        f'<dl class="consequences">{rows}</dl></details>'
    )


def consequences(line: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """What is published on each thing that a line of the ledger gives up.

    Parameters
    ----------
    line : mapping
        Of the ledger.

    Yields
    ------
    tuple of (str, str, str)
        What is given up, the consequence, its source.
    """
    for root in line["roots"]:
        yield (root, *words.root_consequence(root))
    if line["arteries"]:
        yield (words.ARTERIES, *words.sourced(published.ARTERIES_AT_RISK))
        yield (words.CORD_ARTERY, *words.sourced(published.ARTERY_OF_THE_CORD))


def _family(way_out: Mapping[str, Any]) -> tuple[str, ...]:
    family = way_out.get("family")
    return (f"{words.FAMILY}: {family}",) if family else ()


def settings_rows(choice: WayOutChoice) -> tuple[tuple[str, str, float, str], ...]:
    """The settings with their state.

    Parameters
    ----------
    choice : WayOutChoice
        As they are.

    Returns
    -------
    tuple of (str, str, float, str)
        Name, label, value in mm, and whether it is assumed or set by the team. Distraction is
        the last.
    """
    usual = WayOutChoice()
    return tuple(
        (
            name,
            label,
            getattr(choice, name),
            words.ASSUMED if getattr(choice, name) == getattr(usual, name) else words.SET_BY_TEAM,
        )
        for name, label in words.FIELDS.items()
    )
