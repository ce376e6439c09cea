"""Small parts of a page: sentences, cards, notes. They show values and hold no rule."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from nicegui import ui

from vertebloc.app.told import listen
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import Card, Sentence
from vertebloc.reports.plan_parts import Choice, Part, Words
from vertebloc.reports.why_entry import Why


def show_markup(markup: str) -> ui.html:
    """Put markup of our own making on the page; what came from outside is escaped before.

    Parameters
    ----------
    markup : str
        HTML or SVG.

    Returns
    -------
    ui.html
        The element.
    """
    return ui.html(markup, sanitize=False)


def show_sentences(sentences: Sequence[Sentence]) -> None:
    """Show an answer: what must not be overlooked is washed.

    Parameters
    ----------
    sentences : sequence of Sentence
        In their order.
    """
    words = " ".join(
        f'<span class="must">{escape(sentence.words)}</span>'
        if sentence.must_not_be_overlooked
        else escape(sentence.words)
        for sentence in sentences
    )
    show_markup(f'<p class="answer" role="status">{words}</p>')


def show_card(card: Card) -> ui.html:
    """Show one card.

    Parameters
    ----------
    card : Card
        Title, rows, drawing, note.

    Returns
    -------
    ui.html
        The element, to be drawn anew with ``card_markup``.
    """
    return show_markup(card_markup(card))


def card_markup(card: Card) -> str:
    """One card as markup.

    Parameters
    ----------
    card : Card
        Title, rows, drawing, note.

    Returns
    -------
    str
        HTML.
    """
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in card.rows)
    parts = [f"<h2>{escape(card.title)}</h2>", card.svg]
    if len(card.rows) > 8:  # a long list is folded away
        parts.append(f"<details><summary>{escape(words.LIST)}</summary><dl>{rows}</dl></details>")
    elif rows:
        parts.append(f"<dl>{rows}</dl>")
    if card.note and card.svg:  # a drawing speaks first; how to read it is folded away
        parts.append(
            f"<details><summary>{escape(words.HOW_TO_READ)}</summary>"
            f"<p>{escape(card.note)}</p></details>"
        )
    elif card.note:
        parts.append(f"<p>{escape(card.note)}</p>")
    return f'<section class="card">{"".join(parts)}</section>'


def show_note(words: str, *, must: bool = False, pending: bool = False) -> None:
    """Show a note at the foot.

    Parameters
    ----------
    words : str
        One sentence.
    must : bool
        Whether it must not be overlooked.
    pending : bool
        Whether something is still being computed.
    """
    kind = "note" + (" must" if must else "") + (" pending" if pending else "")
    show_markup(f'<div class="{kind}" role="note">{escape(words)}</div>')


def show_folded(sentences: Sequence[str]) -> None:
    """Show what need not be read first, folded away.

    Parameters
    ----------
    sentences : sequence of str
        Nothing is shown if there are none.
    """
    if sentences:
        rows = "".join(f"<p>{escape(words_of)}</p>" for words_of in sentences)
        show_markup(
            f'<details class="note"><summary>{escape(words.IN_WORDS)}</summary>{rows}</details>'
        )


def show_verb(
    words: str,
    done: Callable[[], Any],
    *,
    main: bool = False,
    able: bool = True,
    keep: str = "",
) -> ui.html:
    """Show a button that does one thing.

    Parameters
    ----------
    words : str
        The verb.
    done : callable
        What it does; may be a coroutine function.
    main : bool
        Whether it is the page's main act.
    able : bool
        Whether it can be done now.
    keep : str
        Name under which the keyboard finds it again when the page is made anew.

    Returns
    -------
    ui.html
        The button.
    """
    kind, off = "verb main" if main else "verb", "" if able else " disabled"
    shown = show_markup(
        f'<button type="button" class="{kind}"{off}{_kept(keep)}>{escape(words)}</button>'
    )
    if keep:
        tell = listen(keep, (lambda _: done()) if able else None)
        shown.on("click", js_handler=f"(event) => {{ const value = ''; {tell}; }}")
    else:
        shown.on("click", lambda: done(), js_handler="(event) => event.target.disabled || emit()")
    return shown


def _kept(name: str) -> str:
    return f' data-keep="{escape(name, quote=True)}"' if name else ""


def show_field(
    label: str, value: str, changed: Callable[[str], Any], *, keep: str = ""
) -> ui.html:
    """Show a line to type in.

    Parameters
    ----------
    label : str
        Its name.
    value : str
        What stands there now.
    changed : callable
        Called with the new text when it is left.
    keep : str
        Name under which the keyboard finds it again when the page is made anew; else its label.

    Returns
    -------
    ui.html
        The line.
    """
    shown = show_markup(
        f'<label class="field">{escape(label)}'
        f'<input type="text" value="{escape(value, quote=True)}"{_kept(keep or label)}></label>'
    )
    return _tell(shown, changed, keep or label)


def show_choice(
    label: str,
    value: str,
    allowed: Sequence[tuple[str, str]],
    changed: Callable[[str], Any],
    *,
    keep: str = "",
) -> ui.html:
    """Show a choice among a few words.

    Parameters
    ----------
    label : str
        Its name.
    value : str
        The one chosen now.
    allowed : sequence of (str, str)
        Value and words of each.
    changed : callable
        Called with the new value.
    keep : str
        Name under which the keyboard finds it again when the page is made anew.

    Returns
    -------
    ui.html
        The choice.
    """
    options = "".join(
        f'<option value="{escape(option, quote=True)}"{" selected" if option == value else ""}>'
        f"{escape(words)}</option>"
        for option, words in allowed
    )
    shown = show_markup(
        f'<label class="field">{escape(label)}<select{_kept(keep)}>{options}</select></label>'
    )
    return _tell(shown, changed, keep)


def show_grouped_choice(
    label: str, value: str, groups: Sequence[tuple[str, Sequence[str]]],
    changed: Callable[[str], Any], *, keep: str = "",
) -> ui.html:  # fmt: skip
    """Show a choice among many words, in groups with headings.

    Parameters
    ----------
    label : str
        Its name.
    value : str
        The one chosen now.
    groups : sequence of (str, sequence of str)
        Heading and words of each group.
    changed : callable
        Called with the new words.
    keep : str
        Name under which the keyboard finds it again when the page is made anew.

    Returns
    -------
    ui.html
        The choice.
    """
    options = "".join(
        f'<optgroup label="{escape(heading, quote=True)}">'
        + "".join(f"<option{_selected(words == value)}>{escape(words)}</option>" for words in held)
        + "</optgroup>"
        for heading, held in groups
    )
    shown = show_markup(
        f'<label class="field">{escape(label)}<select{_kept(keep)}>{options}</select></label>'
    )
    return _tell(shown, changed, keep)


def _tell(shown: ui.html, changed: Callable[[str], Any], keep: str) -> ui.html:
    """Hand on what was typed or chosen; the event rises from the field inside the markup."""
    tell = listen(keep, changed) if keep else "emit(value)"
    shown.on(
        "change",
        None if keep else lambda event: changed(str(event.args)),
        # a choice made by keys is told once the keys rest: "1" of "12 pairs" is no answer;
        # what is typed is told at once, before a button is pressed
        js_handler="(event) => { const field = event.target; clearTimeout(field.wait); "
        f"const tell = () => {{ const value = field.value; {tell}; }}; "
        "if (Date.now() - (field.keyed || 0) < 300) field.wait = setTimeout(tell, 800); "
        "else tell(); }",
    )
    return shown


def show_paragraph(
    parts: Sequence[Part], changed: Callable[[str, str], Any], *, able: bool = True
) -> ui.html:
    """Show the plan as a paragraph whose numbers can be typed or dragged.

    Parameters
    ----------
    parts : sequence of Part
        Words, numbers and choices.
    changed : callable
        Called with the name of the part and its new value.
    able : bool
        Whether they can be changed here, or only read.

    Returns
    -------
    ui.html
        The paragraph.
    """
    plan = f'<p class="answer plan">{_lines(parts)}</p>'
    shown = show_markup(f'<fieldset class="bare"{"" if able else " disabled"}>{plan}</fieldset>')
    shown.on(
        "change",
        lambda event: changed(str(event.args[0]), str(event.args[1])),
        js_handler="(event) => emit(event.target.dataset.part, event.target.value)",
    )
    return shown


def _lines(parts: Sequence[Part]) -> str:
    """A line for each thing that is decided, its first word in bold."""
    lines = [""]
    for part in parts:
        if isinstance(part, Words) and part.begins:
            lines.append(f"<b>{escape(part.words)}</b>")
        else:
            joint = "" if isinstance(part, Words) and part.words[:1] in ",;." else " "
            lines[-1] += joint + _part(part)
    return "".join(f'<span class="line">{line}</span>' for line in lines if line)


def show_fields(parts: Sequence[Part], changed: Callable[[str, str], Any]) -> ui.html:
    """Show numbers and choices under one another, each below its label.

    Parameters
    ----------
    parts : sequence of Part
        Numbers and choices.
    changed : callable
        Called with the name of the part and its new value.

    Returns
    -------
    ui.html
        The fields.
    """
    rows = "".join(
        f'<label class="field"><span>{escape(part.label)}</span>{_part(part)}</label>'
        for part in parts
        if not isinstance(part, Words)
    )
    shown = show_markup(f'<div class="fields">{rows}</div>')
    shown.on(
        "change",
        lambda event: changed(str(event.args[0]), str(event.args[1])),
        js_handler="(event) => emit(event.target.dataset.part, event.target.value)",
    )
    return shown


def _part(part: Part) -> str:
    if isinstance(part, Words):
        return escape(part.words)
    name = f'data-part="{escape(part.part)}" aria-label="{escape(part.label)}"'
    if isinstance(part, Choice):
        options = "".join(
            f'<option value="{escape(value)}"{_selected(value == part.value)}>'
            f"{escape(said)}</option>"
            for value, said in part.allowed
        )
        return f"<select {name}>{options}</select>"
    value = "" if part.value is None else f"{part.value:.1f}"
    return (
        f'<span class="number"><input type="number" data-drag {name} value="{value}" '
        f'min="{part.low:g}" max="{part.high:g}" step="{part.step:g}">'
        f"{escape(part.unit)}</span>"
    )


def _selected(chosen: bool) -> str:
    return " selected" if chosen else ""


def show_why(reasons: Sequence[Why]) -> None:
    """Show what stands behind an answer, folded away until it is asked for.

    Parameters
    ----------
    reasons : sequence of Why
        One for each kind of number.
    """
    entries = "".join(
        f"<section><h3>{escape(why.title)}</h3><p>{escape(why.formula)}</p>"
        f"<p><b>{escape(words.SOURCE)}:</b> {escape(why.source)}</p>"
        f"<p><b>{escape(words.LIMITS)}:</b> {escape(why.limits)}</p></section>"
        for why in reasons
    )
    show_markup(
        f'<details class="why"><summary>{escape(words.WHY)}</summary>'
        f'<div class="why-sheet">{entries}</div></details>'
    )
