"""What the pages of ring and front show, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from vertebloc.reports import access_text as words
from vertebloc.reports import text
from vertebloc.reports.page_views import Card, PageView, Sentence
from vertebloc.reports.page_words import Question


def behind_view(question: Question, now: Mapping[str, Any], before: Mapping[str, Any]) -> PageView:
    """Ring or front, which follow behind the plan.

    Parameters
    ----------
    question : Question
        Which of the two.
    now : mapping
        Content of plan.json so far: without ring and front until these are measured.
    before : mapping
        The last one that held them; empty: none.

    Returns
    -------
    PageView
        While they are measured: what is known of the plan before, said to be that.
    """
    view = ring_view if question is Question.RING else front_view
    if "ring" in now:
        return view(now)
    pending = Sentence(words.PENDING, must_not_be_overlooked=True)
    if not before:
        return PageView(question=question, answer=(pending,))
    old = view(before)
    said = (pending, Sentence(words.OF_THE_PLAN_BEFORE, True), *old.answer)
    return replace(old, answer=said)


def ring_view(document: Mapping[str, Any]) -> PageView:
    """Where the ring can be opened; disagreements are washed.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        The answer first, then what the rules and the plan say.
    """
    ring = document["ring"]
    answer = [Sentence(ring["words"], must_not_be_overlooked=ring["answer"] != "yes")]
    answer += [Sentence(text.sentence(one), True) for one in ring["disagreements"]]
    rows = tuple((one["side"], words.opening_row(one)) for one in ring["openings"])
    least = ring.get("least_contaminated")
    cards = []
    if rows:
        cards.append(Card(title=words.OPENINGS, rows=rows, note=text.sentence(ring["planned"])))
    if least is not None:
        cards.append(Card(title=words.LEAST, rows=words.least_rows(least)))
    cards.append(Card(title=words.RULES, note=text.sentence(ring["rules"])))
    foot = []
    if rows:  # none if it could not be measured
        foot.append(Sentence(words.about_the_sac(ring), not ring["sac_is_outlined"]))
        foot += [Sentence(one, folded=True) for one in (words.RING_NOTE, *ring["assumed"])]
    return PageView(
        question=Question.RING, answer=tuple(answer), cards=tuple(cards), foot=tuple(foot)
    )


def front_view(document: Mapping[str, Any]) -> PageView:
    """Whether the front can be got round; what decides is in the answer.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        The answer first, then ways and gaps.
    """
    front = document["front"]
    planes = front["planes"]
    cuts = [one for one in planes if one["is_cut"]]
    cards = [
        Card(title=words.REACH_TITLE, rows=tuple(words.way_row(one) for one in cuts)),
        Card(title=words.NEAREST, rows=words.nearest_rows(planes)),
    ]
    if "stage" in front:
        cards.insert(0, Card(title=words.STAGE, note=words.stage_words(front["stage"])))
    foot = [Sentence(words.assumed_reach(front["finger_reach_mm"]))]
    if front["before"] == "not said":
        foot.insert(0, Sentence(words.BEFORE_NOT_SAID, True))
    if front["not_outlined"]:
        foot.append(Sentence(words.absent(front["not_outlined"])))
    between = words.between_sentence(planes)
    answer = [Sentence(front["words"], front["answer"] != "posterior_alone")]
    if between:
        answer.append(Sentence(between))
    foot += [Sentence(one, folded=True) for one in (words.FRONT_NOTE, *front["assumed"])]
    return PageView(
        question=Question.FRONT,
        answer=tuple(answer),
        cards=tuple(cards) if planes else (),
        foot=tuple(foot) if planes else (),
    )
