"""The card of the page of cuts with the order of acts, to be changed there."""

from __future__ import annotations

from html import escape

from nicegui import ui

from vertebloc.app.parts import show_field, show_markup, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.reports import bone_words as words
from vertebloc.reports import page_words
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings


def show_acts(window: WindowLike) -> None:
    """The acts in their order, each with two arrows; below, an order that is only wished for.

    Parameters
    ----------
    window : WindowLike
        Whose page; nothing is shown until there is a plan.
    """
    desk = window.desk
    if desk.document is None or desk.case is None:
        return
    rows = _in_order(acts_rows(desk.document), [act.value for act in desk.wish.order])
    warnings = "".join(
        f'<p class="must">{escape(one["words"])}</p>' for one in acts_warnings(desk.document)
    )
    with ui.element("section").classes("card acts"):
        show_markup(
            f"<h2>{escape(page_words.ACTS)}</h2><p>{escape(acts_sentence(desk.document))}</p>"
            f"{warnings}"
        )
        if window.holds and desk.wish.now is not None:
            _show_wish(window)
        with ui.element("details").props('data-fold="acts"'):
            with ui.element("summary"):
                ui.label(page_words.LIST)
            shown = show_markup(_list(rows, movable=window.holds))
            if window.holds:
                shown.on(
                    "click",
                    lambda event: desk.wish.move(int(event.args[0]), int(event.args[1])),
                    js_handler="(event) => { const b = event.target.closest('[data-move]'); "
                    "if (b && !b.disabled) "
                    "emit(Number(b.dataset.place), Number(b.dataset.move)); }",
                )
                show_markup(f"<p>{escape(words.ORDER_NOTE)}</p>")
                if desk.choices.acts_order:
                    show_verb(words.RULE_ORDER, desk.wish.back_to_rule)


def _show_wish(window: WindowLike) -> None:
    """What the wished order breaks, and who takes it all the same."""
    wish = window.desk.wish
    assert wish.now is not None
    broken = "".join(f"<li>{escape(line)}</li>" for line in wish.now.breaks)
    with ui.element("div").classes("wish").props('role="alert"'):
        show_markup(f"<p>{escape(words.ORDER_WISHED)}</p><ul>{broken}</ul>")
        show_field(words.ORDER_WHO, wish.who, lambda typed: setattr(wish, "who", typed))
        show_field(words.ORDER_WHY, wish.reason, lambda typed: setattr(wish, "reason", typed))
        show_verb(words.TAKE_ORDER, wish.take)
        show_verb(words.LEAVE_ORDER, wish.leave)


def _in_order(rows: list[dict[str, str]], wished: list[str]) -> list[dict[str, str]]:
    """Rows as they are wished for; whether one can stop after an act is not known for a wish."""
    if [row["id"] for row in rows] == wished:
        return rows
    left = list(rows)
    found = []
    for act in wished:
        place = next(at for at, row in enumerate(left) if row["id"] == act)
        found.append({**left.pop(place), "stop_words": ""})
    return found


def _list(rows: list[dict[str, str]], *, movable: bool) -> str:
    lines = []
    for place, row in enumerate(rows):
        act = row["act"]
        arrows = "".join(
            f'<button type="button" class="arrow" data-place="{place}" data-move="{by}" '
            f'data-keep="act {place + by} {by}" aria-label="{escape(words.moves(act, said))}"'
            f"{'' if 0 <= place + by < len(rows) else ' disabled'}>{sign}</button>"
            for by, said, sign in ((-1, words.EARLIER, "\u2191"), (1, words.LATER, "\u2193"))
        )
        lines.append(
            f"<li><span>{escape(row['act'])}<br><small>{escape(row['stop_words'])}</small></span>"
            f"{f'<span class=arrows>{arrows}</span>' if movable else ''}</li>"
        )
    return f'<ol class="acts">{"".join(lines)}</ol>'
