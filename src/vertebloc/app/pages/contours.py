"""The page: what is where? Outlines are drawn here, taken back, and confirmed by name."""

from __future__ import annotations

from functools import partial

from nicegui import ui

from vertebloc.anatomy.levels import Level
from vertebloc.app.desk import Desk
from vertebloc.app.parts import (
    show_choice,
    show_field,
    show_grouped_choice,
    show_markup,
    show_note,
    show_sentences,
    show_verb,
)
from vertebloc.app.window import WindowLike
from vertebloc.reports import outline_words as words
from vertebloc.reports.draft_chooser import draft_groups
from vertebloc.reports.outline_view import no_outlines_view, outlines_view
from vertebloc.reports.page_views import PageView, waiting_view
from vertebloc.reports.page_words import Question
from vertebloc.workflow.first_drafts import DRAFT_MAKERS, maker_named


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    drawing, active = desk.outlines.drawing, desk.outlines.outline()
    if drawing is None or active is None:
        if desk.is_empty:
            return waiting_view(Question.CONTOURS, is_empty=True, error=desk.error)
        return no_outlines_view(has_images=desk.case is None or desk.case.folder.has("ct"))
    return outlines_view(
        active,
        drawing.present(),
        drawing.grid,
        moved_on=desk.outlines.have_moved_on,
        is_measured=desk.case is None or desk.case.prepared is not None,
    )


def show_answer(window: WindowLike) -> None:
    """The outline that is drawn on, its volume and who stands for it."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """Structure, who draws, the tools on the whole outline, who confirms."""
    at = window.desk.outlines
    outline = at.outline()
    if outline is None or not window.holds:
        return
    with ui.element("section").classes("card"):
        active = next(stem for stem, name in at.names() if name == outline.contour.words)
        show_choice(words.STRUCTURE, active, at.names(), at.choose)
        show_field(words.DRAWS, at.by, lambda typed: setattr(at, "by", typed))
        with ui.element("div").classes("verbs"):
            show_verb(words.UNDO, at.undo, able=outline.can_undo)
            show_verb(words.REDO, at.redo, able=outline.can_redo)
    _show_tools(window)
    with ui.element("section").classes("card"):
        show_field(words.CONFIRMS, at.confirms, lambda typed: setattr(at, "confirms", typed))
        show_verb(words.CONFIRM, at.confirm, main=True, able=not outline.mask.is_empty)
        show_markup(f"<p>{words.CONFIRM_NOTE}</p>")


def _show_tools(window: WindowLike) -> None:
    """Verbs on the whole outline; their limits folded; first drafts, if there are any."""
    verbs, able = window.desk.verbs, not window.desk.outlines.doing

    async def bridge() -> None:
        await verbs.bridge(await window.picture.normal())

    with ui.element("section").classes("card"):
        show_markup(f"<h2>{words.TOOLS}</h2>")
        with ui.element("div").classes("verbs"):
            show_verb(words.BRIDGE, bridge, able=able)
            show_verb(words.SPREAD, verbs.spread, able=able)
            show_verb(words.FINISH, verbs.finish, able=able)
            show_verb(words.CRUMBS, verbs.crumbs, able=able)
            show_verb(words.SOFTEN, verbs.soften, able=able)
        with ui.element("details").props('data-fold="limits"'):
            with ui.element("summary"):
                ui.label(words.LIMITS)
            limits = verbs.limits
            if limits is not None:
                for name, label in (("low", words.LOW), ("high", words.HIGH),
                                    ("reach_mm", words.REACH)):  # fmt: skip
                    show_field(
                        label, f"{getattr(limits, name):.0f}", partial(verbs.set_limit, name)
                    )
            show_field(words.SOFTEN_BY, f"{verbs.soften_mm:g}", verbs.set_soften)
            show_markup(f"<p>{words.LIMITS_NOTE}</p>")
    _show_drafts(window, able=able)


def _show_drafts(window: WindowLike, *, able: bool) -> None:
    """Choose what is drafted next, what is missing first; then it is pointed at."""
    drawing, verbs = window.desk.outlines.drawing, window.desk.verbs
    if drawing is None:
        return
    diseased = window.desk.choices.level.diseased
    offered = [maker.contour for maker in DRAFT_MAKERS]
    groups = draft_groups(offered, drawing.states(), Level(diseased) if diseased else None)
    every = [name for _, held in groups for name in held]
    if verbs.wanted_draft not in every:
        verbs.wanted_draft = every[0]

    def ask() -> None:
        maker = maker_named(verbs.wanted_draft)
        window.picture.ask_for_places(DRAFT_MAKERS.index(maker), maker.places)

    with ui.element("section").classes("card"):
        show_markup(f"<h2>{words.FIRST_DRAFTS}</h2>")
        show_grouped_choice(
            words.WHICH_DRAFT, verbs.wanted_draft, groups,
            lambda chosen: setattr(verbs, "wanted_draft", chosen), keep="which draft",
        )  # fmt: skip
        show_verb(words.MAKE_DRAFT, ask, able=able, keep="make draft")
        show_markup(f"<p>{words.DRAFT_NOTE}</p>")


def show_foot(window: WindowLike) -> None:
    """That nobody says who draws; the other pages measured anew."""
    desk = window.desk
    if desk.outlines.outline() is None or not window.holds:
        return
    if desk.outlines.doing:
        show_note(f"{desk.outlines.doing} …", pending=True)
    if not desk.outlines.by:
        show_note(words.NO_NAME, must=True)
    if desk.outlines.have_moved_on:
        show_verb(words.MEASURE, desk.replan, able=not desk.doing)
