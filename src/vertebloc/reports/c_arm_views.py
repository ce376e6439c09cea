"""What the page of the C-arm shows, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.fluoroscopy import CArmPlan
from vertebloc.fluoroscopy.shown import ShownView
from vertebloc.reports import c_arm_text as words
from vertebloc.reports import text
from vertebloc.reports.page_views import Card, PageView, Sentence
from vertebloc.reports.page_words import Question


def c_arm_view(document: Mapping[str, Any]) -> PageView:
    """From where each cut is a line; what is missing of the level strip is washed.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    PageView
        The answer first.
    """
    c_arm = document["c_arm"]
    strip = c_arm["strip"]
    lines = words.answer_words(c_arm)
    answer = (
        Sentence(lines, any(not one["views"] for one in c_arm["cuts"])),
        Sentence(
            words.strip_words(strip, document["level"]),
            bool(strip["why_not"]) or not strip["level_confirmed"],
        ),
    )
    rows = words.line_rows(c_arm["cuts"])
    foot = [Sentence(words.CAUTION, True)]
    foot += [Sentence(text.sentence(one), folded=True) for one in c_arm["assumed"]]
    foot += [Sentence(one, folded=True) for one in (words.MARKS_NOTE, words.NO_SCATTER)]
    return PageView(
        question=Question.C_ARM,
        answer=answer,
        cards=(Card(title=words.CUTS_AS_LINES, rows=rows, note=words.ROWS_NOTE),),
        foot=tuple(foot),
    )


def setting_card(document: Mapping[str, Any], shown: ShownView) -> Card:
    """How the C-arm is set for the picture that is shown.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    shown : ShownView
        The picture.

    Returns
    -------
    Card
        In theatre's words; of a level strip, each of its pictures.
    """
    c_arm = document["c_arm"]
    if shown.place:
        views = c_arm["strip"]["views"]
        rows = tuple(
            (words.strip_picture(place), words.short(one["central_ray"]))
            for place, one in enumerate(views, start=1)
        )
        base = c_arm["straight"][0]["how"].split(". ", maxsplit=1)[0]
        counted = "; ".join(words.counted_row(one["vertebrae"]) for one in views)
        return Card(title=words.HOW_TO_SET, rows=rows, note=f"{base}. {counted}.")
    if not shown.cuts:
        said = next(one for one in c_arm["straight"] if one["beam"] == shown.beam.value)
        return Card(title=words.HOW_TO_SET, note=said["how"])
    for one in c_arm["cuts"]:
        for view in one["views"]:
            if one["cut"] == shown.cuts[0] and view["beam"] == shown.beam.value:
                depth = "" if view["shows_depth"] else f" {words.NO_DEPTH}"
                bone = words.bone_row(view["bone_in_way_mm"], view["worst_bone_mm"])
                return Card(title=words.HOW_TO_SET, note=f"{view['how']}{depth} {bone}")
    return Card(title=words.HOW_TO_SET, note=words.NOT_YET)


def choices_of_views(plan: CArmPlan, pictures: tuple[ShownView, ...]) -> list[tuple[str, str]]:
    """Keys and names of the pictures that can be looked at.

    Parameters
    ----------
    plan : CArmPlan
        Says how many pictures the strip has.
    pictures : tuple of ShownView
        From the workflow.

    Returns
    -------
    list of (str, str)
        For a choice.
    """
    found = []
    for one in pictures:
        name = words.view_name(one.beam.value, one.cuts, 0, 0)
        found.append((one.key, words.strip_name(len(plan.strip)) if one.place else name))
    return found
