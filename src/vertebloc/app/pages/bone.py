"""The card of the page of cuts that says which bone comes out, and how."""

from __future__ import annotations

from html import escape

from nicegui import ui

from vertebloc.app.parts import show_fields, show_markup, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.case.choice_words import BoneChoice
from vertebloc.reports import bone_words as words
from vertebloc.reports import page_words
from vertebloc.reports.arch_drawing import arch_svg
from vertebloc.reports.bone_choices import bone_parts, preset_region


def show_bone(window: WindowLike) -> None:
    """The arch to sweep over, and what else is decided about bone.

    Parameters
    ----------
    window : WindowLike
        Whose page; nothing is shown until there is a plan.
    """
    desk = window.desk
    case = desk.case
    if case is None or case.prepared is None or case.planned is None:
        return
    choices, prepared = case.choices, case.prepared
    fates = {part: fate.value for part, fate in case.planned.plan.bone_fates.items()}
    with ui.element("section").classes("card bone"):
        show_markup(f"<h2>{escape(words.BONE)}</h2>")
        if window.holds:
            _brush()
        drawn = show_markup(arch_svg(choices.arch.parts, fates, choices.standing_side))
        if window.holds:
            drawn.on(
                "swept",
                lambda event: desk.change_part(f"arch.{event.args[0]}", str(event.args[1])),
                js_handler="(event) => emit(event.detail.fate, event.detail.parts)",
            )
        show_markup(f"<p>{escape(words.FATE_KEY)}</p>")
        if not window.holds:
            return
        region = preset_region(prepared.level)
        if region:
            show_verb(words.preset(region), lambda: desk.change_part("preset", region))
        parts = bone_parts(choices, prepared.anatomy, prepared.level)
        show_fields(parts[:1], desk.change_part)
        with ui.element("details").props('data-fold="bone"'):
            with ui.element("summary"):
                ui.label(words.MORE)
            show_fields(parts[1:], desk.change_part)
        show_markup(
            f"<details><summary>{escape(page_words.HOW_TO_READ)}</summary>"
            f"<p>{escape(words.BONE_NOTE)}</p></details>"
        )


def _brush() -> None:
    """Which fate the next parts shall have; the page's script keeps it."""
    options = "".join(
        f'<label><input type="radio" name="brush" value="{fate.value}"> '
        f"{escape(words.FATE_WORDS[fate.value])}</label>"
        for fate in BoneChoice
    )
    show_markup(
        f'<fieldset class="brush"><legend>{escape(words.TIPS)}</legend>{options}</fieldset>'
    )
