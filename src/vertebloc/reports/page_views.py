"""What each page shows, as plain values: sentences, cards with rows, notes at the foot."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from vertebloc.anatomy.structures import Contour
from vertebloc.case.identity import Identity
from vertebloc.reports import access_text, count_words, text
from vertebloc.reports import page_words as words
from vertebloc.reports.outline_list import outline_rows
from vertebloc.reports.page_words import Question
from vertebloc.reports.staging_ring_svg import ring_svg

_ON_OTHER_PAGES = {
    "ring": Question.RING,
    "front": Question.FRONT,
    "way out": Question.WAY_OUT,
}


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of an answer."""

    words: str
    must_not_be_overlooked: bool = False
    folded: bool = False  #: need not be read first


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A card beside the picture: a few rows or a drawing."""

    title: str
    rows: tuple[tuple[str, str], ...] = ()
    note: str = ""
    svg: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PageView:
    """One page: the answer first."""

    question: Question
    answer: tuple[Sentence, ...]
    cards: tuple[Card, ...] = ()
    foot: tuple[Sentence, ...] = ()


def empty_view() -> PageView:
    """The first page while there is no case."""
    return PageView(
        question=Question.PICTURES,
        answer=(Sentence(words.NO_CASE), Sentence(words.NO_CASE_HOW)),
    )


def pictures_view(
    *,
    identity: Identity,
    sizes: Sequence[int],
    spacing_mm: Sequence[float],
    facts: Mapping[str, Any],
    contours: Collection[Contour],
) -> PageView:
    """Who the person is and what the case holds.

    Parameters
    ----------
    identity : Identity
        The person; may be blank.
    sizes : sequence of int
        Voxels of the CT along its axes.
    spacing_mm : sequence of float, mm
        Of its voxels.
    facts : mapping
        What the import noted of the series.
    contours : collection of Contour
        What is outlined.

    Returns
    -------
    PageView
        Whose images they are is said first.
    """
    if identity.is_blank:
        person = Sentence(words.NOBODY_NAMED, must_not_be_overlooked=True)
    else:
        person = Sentence(text.sentence(identity.words))
    answer = [person, Sentence(words.pictures_sentence(sizes, spacing_mm, len(contours)))]
    if not contours:
        answer.append(Sentence(words.NO_CONTOURS, must_not_be_overlooked=True))
        answer.append(Sentence(words.NO_CONTOURS_HOW))
    noted = [f"left out: {line}" for line in facts.get("left_out", ())]
    noted += [str(line) for line in facts.get("tolerated", ())]
    rows = [("series", str(facts.get("description") or "not named"))]
    if facts.get("tube_voltage_kv"):
        rows.append(("tube voltage", f"{facts['tube_voltage_kv']:g} kV"))
    rows.append(("contrast", str(facts.get("contrast") or "not stated")))
    outlined, single = outline_rows(contours)
    return PageView(
        question=Question.PICTURES,
        answer=tuple(answer),
        cards=(
            Card(title=words.IMAGES, rows=tuple(rows), note="; ".join(noted)),
            Card(title=words.STRUCTURES, rows=outlined, note=single),
        ),
    )


def level_view(document: Mapping[str, Any]) -> PageView:
    """Which vertebra, who says so, and what speaks for left and right.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        An unconfirmed level is what must not be overlooked.
    """
    level, anatomy = document["level_confirmation"], document["anatomy"]
    sides = anatomy["handedness"]
    contradicts = sides["verdict"] == "contradicts"
    return PageView(
        question=Question.LEVEL,
        answer=(
            Sentence(level["words"], must_not_be_overlooked=not level["confirmed"]),
            Sentence(sides["words"], must_not_be_overlooked=contradicts),
        ),
        cards=(
            *_conflicts(level["conflicts"]),
            Card(title=words.COUNTING, note=level["counting"]),
            Card(title=words.SIDES, note="; ".join(sides["evidence"])),
        ),
        foot=tuple(Sentence(text.sentence(line), True) for line in anatomy["warnings"]),
    )


def _conflicts(found: Sequence[str]) -> tuple[Card, ...]:
    """What contradicts the level, in a card of its own if there is anything."""
    if not found:
        return ()
    return (Card(title=count_words.CONFLICTS, note=" ".join(map(text.sentence, found))),)


def spread_view(document: Mapping[str, Any]) -> PageView:
    """How far tumour has grown: sectors, layers, and how near each is to flipping.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        Sectors are named by side and region; numbers are a display of their own.
    """
    staging, tumour = document["staging"], document["tumour"]
    involved = [sector for sector in staging["sectors"] if sector["involved"]]
    flips = [sector for sector in staging["sectors"] if "flips_after_mm" in sector]
    answer = [
        Sentence(part["words"], must_not_be_overlooked=True)
        for part in document["answer_parts"]
        if part["about"] == "outlines"
    ]
    answer += [
        Sentence(text.sentence(text.tumour_words(tumour["volume_ml"], tumour["side"]))),
        Sentence(
            text.sectors_involved([sector["words"] for sector in involved], staging["layers"])
        ),
    ]
    if flips:
        near = min(flips, key=lambda sector: abs(sector["flips_after_mm"]))
        said = words.nearest_flip(near["words"], near["involved"], abs(near["flips_after_mm"]))
        answer.append(Sentence(said))
    rows = tuple(
        (f"{layer['layer']}: {layer['words']}", words.layer_row(layer["involved"]))
        for layer in staging["layer_verdicts"]
    )
    asked = f"Epidural compression: {staging['epidural_compression']} (needs sac and cord on T2)."
    return PageView(
        question=Question.SPREAD,
        answer=tuple(answer),
        cards=(
            Card(title=text.SHEET_LABELS["staging"], svg=ring_svg(staging["sectors"])),
            Card(title=words.LAYERS, rows=rows, note=asked),
        ),
        foot=tuple(Sentence(text.sentence(line), True) for line in document["warnings"]),
    )


def cuts_view(document: Mapping[str, Any]) -> PageView:
    """Where we cut: the plan's answer, and what stands against it.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        Sentences in the order of plan.json: the gravest first. Of what has a page of its own
        only the verdict, and where the rest stands.
    """
    resection = document["resection"]
    answer = tuple(
        Sentence(_briefly(part), part["must_not_be_overlooked"])
        for part in document["answer_parts"]
        if part["about"] not in ("cuts", "ribs", "distances", "still open")
    )
    if "ring" not in document:  # they follow behind the plan
        answer = (*answer, Sentence(access_text.PENDING))
    left = text.ml(resection["tumour_left_ml"])
    foot = [Sentence(words.left_behind(left), resection["tumour_left_ml"] > 0.0)]
    foot += [
        Sentence(part["words"], folded=True)
        for part in document["answer_parts"]
        if part["about"] in ("cuts", "ribs")
    ]
    foot.append(Sentence(text.sentence(resection["keystone"]["words"]), folded=True))
    foot += [
        Sentence(part["words"], folded=True)
        for part in document["answer_parts"]
        if part["about"] in ("distances", "still open")
    ]
    return PageView(question=Question.CUTS, answer=answer, foot=tuple(foot))


def _briefly(part: Mapping[str, Any]) -> str:
    """A sentence of the plan; of ring, front and way out the verdict alone."""
    page = _ON_OTHER_PAGES.get(part["about"])
    if page is None:
        return str(part["words"])
    return access_text.verdict_alone(part["words"], page.value)


def waiting_view(question: Question, *, is_empty: bool, error: str) -> PageView:
    """A page whose numbers are not there.

    Parameters
    ----------
    question : Question
        Which page.
    is_empty : bool
        Whether there is no case at all.
    error : str
        Why there is no plan; empty: it is still being measured.

    Returns
    -------
    PageView
        Says that there is none, why, or that it is being measured; not what it may become.
    """
    said = f"{words.PREPARING} …"
    if is_empty:
        said = f"{words.NO_CASE} {words.BEGIN_AT.format(question=Question.PICTURES.value)}"
    elif error:
        said = words.no_plan(error)
    return PageView(question=question, answer=(Sentence(said),))


def print_header(person: str, document: Mapping[str, Any] | None, stale: Sequence[str]) -> str:
    """What stands at the head of every printed page: name, level, side, code.

    Parameters
    ----------
    person : str
        Name, date of birth and number; may be empty.
    document : mapping or None
        Content of plan.json, if there is a plan.
    stale : sequence of str
        What speaks against the sheet in the folder.

    Returns
    -------
    str
        One line.
    """
    if document is None:
        return person or words.NOBODY_NAMED
    level = document["level"]
    if not document["level_confirmation"]["confirmed"]:
        level += f" {text.LEVEL_UNCONFIRMED}"
    parts = [person or words.NOBODY_NAMED, level, words.tumour_side(document["tumour"]["side"]),
             f"{text.SHEET_LABELS['code']} {document['code']}"]  # fmt: skip
    return text.joined_by_dot(*parts, *stale)
