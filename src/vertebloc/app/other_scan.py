"""The page of the second scan: does it lie on the CT, how well, and who has looked."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from fastapi import FastAPI
from fastapi.responses import JSONResponse, Response
from nicegui import Client, ui

from vertebloc.app.desk import Desk
from vertebloc.app.page import ADDRESS as PAGE_ADDRESS
from vertebloc.app.parts import (
    show_card,
    show_field,
    show_markup,
    show_note,
    show_sentences,
    show_verb,
)
from vertebloc.app.told import hand_on
from vertebloc.errors import VertBlocError
from vertebloc.reports import page_words
from vertebloc.reports import second_words as words
from vertebloc.reports.page_views import Card, Sentence
from vertebloc.workflow.lay_second import Second, confirm_second, read_second, save_pairs
from vertebloc.workflow.other_scan_state import has_other_scan_changed
from vertebloc.workflow.second_job import SecondJob
from vertebloc.workflow.second_view import SecondView

ADDRESS = words.ADDRESS
FRESH = {"cache-control": "no-store"}
HEAD = (
    '<link rel="stylesheet" href="/look/look.css"><link rel="stylesheet" href="/look/other.css">'
    '<script src="/look/other.js" defer></script>'
)


class SecondDesk:
    """What the windows of this page share."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.doing = ""
        self.error = ""
        self.half: list[float] = []  #: a place in the CT that waits for its pair
        self._job = SecondJob()
        self._planning: asyncio.Task[None] | None = None
        self._view: SecondView | None = None
        self._seen = ""
        self._reading = threading.Lock()
        self._listeners: dict[str, Callable[[], None]] = {}

    def listen(self, window: str, heard: Callable[[], None]) -> None:
        """Call a function after every change; the desk of the case knows the window too."""
        self._listeners[window] = heard
        self.desk.listen(window, heard)

    def leave(self, window: str) -> None:
        """Forget a window."""
        self._listeners.pop(window, None)
        self.desk.leave(window)

    def tell(self) -> None:
        """Tell all windows."""
        for heard in tuple(self._listeners.values()):
            heard()

    def second(self) -> Second:
        """What the case knows now."""
        if self.desk.is_empty:
            return Second(facts={}, place={}, out_of_date=(), same_frame=False)
        return read_second(self.desk.case_dir)

    def view(self) -> SecondView | None:
        """Both scans; read anew if another one came in."""
        second = self.second()
        if not second.facts:
            return None
        seen = str(second.facts.get("series_uid")) + str(second.facts.get("source"))
        with self._reading:  # several pictures are asked for at once: the scans are read once
            if self._view is None or self._seen != seen:
                self._view, self._seen = SecondView(self.desk.case_dir), seen
            return self._view

    def pairs(self) -> list[Any]:
        """The marked pairs as saved."""
        return [list(pair) for pair in self.second().place.get("pairs", ())]

    def mark(self, what: str, point: Sequence[float]) -> None:
        """Take a clicked place: first in the CT, then the same in the second scan."""
        if what == "ct":
            self.half = [float(v) for v in point]
            self.tell()
            return
        view = self.view()
        if not self.half or view is None:
            self.error = words.CT_FIRST
            self.tell()
            return
        pair = (self.half, view.carry(self.second(), point))
        self.half = []
        self._do(lambda: save_pairs(self.desk.case_dir, [*self.pairs(), pair]))

    def forget(self) -> None:
        """Take the waiting place, or else the last pair, back."""
        if self.half:
            self.half = []
            self.tell()
            return
        self._do(lambda: save_pairs(self.desk.case_dir, self.pairs()[:-1]))

    def confirm(self, who: str, reason: str) -> None:
        """Record who stands behind it."""
        self._do(lambda: confirm_second(self.desk.case_dir, who, reason))

    def _do(self, act: Callable[[], object]) -> None:
        try:
            act()
            self.error = ""
        except VertBlocError as error:
            self.error = str(error)
        self.tell()
        self._planning = asyncio.get_running_loop().create_task(self._plan_again())

    async def _plan_again(self) -> None:
        """The plan speaks of this scan: it is made anew once what it says may have changed."""
        case = self.desk.case
        if case is None or case.planned is None:
            return
        if has_other_scan_changed(case.folder, case.planned.inputs):
            await self.desk.replan()

    async def lay(self) -> None:
        """Lay the second scan on, in a process that can be stopped."""
        if self.doing:
            return
        self.doing, self.error = words.LAYING, ""
        self.tell()
        try:
            await self._job.run(self.desk.case_dir, self.pairs())
        except VertBlocError as error:
            self.error = str(error)
        self.doing = ""
        self.tell()
        await self._plan_again()

    def stop(self) -> None:
        """Stop what is being computed."""
        self._job.stop()


class OtherScanWindow:
    """One browser window on the page of the second scan."""

    def __init__(self, shared: SecondDesk, client: Client) -> None:
        self.shared = shared
        self.id = client.id
        self._who = self._why = ""
        shared.listen(self.id, self.refresh)
        client.on_disconnect(lambda: shared.leave(self.id))
        client.on_connect(self._back)

    def _back(self) -> None:
        self.shared.listen(self.id, self.refresh)
        self.refresh()

    @property
    def holds(self) -> bool:
        """Whether this window may change the case."""
        return self.shared.desk.may_change(self.id)

    def show(self) -> None:
        """Lay the page out."""
        ui.add_head_html(HEAD)
        hand_on()
        ui.keyboard(self._press, ignore=["input", "select", "textarea"])
        with ui.element("main").classes("sheet other-sheet"):
            with ui.element("header").classes("ask"):
                self._ask()
            place = ui.element("section").classes("picture").props('aria-label="picture"')
            with place:
                shown = show_markup(_picture(self.shared.second()))
            shown.on(
                "marked",
                lambda event: self._marked(str(event.args[0]), event.args[1]),
                js_handler="(event) => emit(event.detail.what, event.detail.point)",
            )
            with ui.element("aside").classes("side"):
                self._side()
            with ui.element("footer").classes("foot"):
                self._foot()
        self.shared.desk.start()

    def refresh(self) -> None:
        """Show what stands now."""
        for part in (self._ask, self._side, self._foot):
            part.refresh()
        ui.run_javascript("window.otherScan && window.otherScan.read()")

    def _press(self, event: Any) -> None:
        """Digits turn to the other questions, as on their pages."""
        key, pages = str(event.key), list(PAGE_ADDRESS.values())
        held = event.modifiers.ctrl or event.modifiers.meta or event.modifiers.alt
        if event.action.keydown and not held and key.isdigit() and 1 <= int(key) <= len(pages):
            ui.navigate.to(pages[int(key) - 1])

    def _marked(self, what: str, point: Sequence[float]) -> None:
        if self.holds:
            self.shared.mark(what, point)

    @ui.refreshable_method
    def _ask(self) -> None:
        desk, second = self.shared.desk, self.shared.second()
        links = "".join(
            f'<a href="{address}">{escape(question.value)}</a>'
            for question, address in PAGE_ADDRESS.items()
        )
        show_markup(
            f'<div class="questions">{links}'
            f'<a href="{ADDRESS}" aria-current="page">{escape(words.HEADING)}</a>'
            f'<span class="person">{escape(desk.person_words())}</span></div>'
        )
        if not self.holds:
            with ui.element("div").classes("band"):
                ui.label(page_words.held_elsewhere(desk.holding.other))
                show_verb(page_words.TAKE_OVER, lambda: desk.take(self.id))
        said = words.second_sentences(second.facts, second.place, second.out_of_date)
        show_sentences([Sentence(line, must) for line, must in said])

    @ui.refreshable_method
    def _side(self) -> None:
        if self.shared.error:
            show_markup(f'<div class="error" role="alert">{escape(self.shared.error)}</div>')
        second = self.shared.second()
        if not second.facts:
            return
        self._show_marks(second)
        if second.place.get("answer"):
            if self.holds and not self.shared.doing:
                self._show_confirm()
            show_card(Card(title=words.NUMBERS, rows=tuple(words.numbers(second.place))))
            rows = tuple(words.evidence(second.place))
            show_card(Card(title=words.EVIDENCE, rows=rows))

    def _show_marks(self, second: Second) -> None:
        pairs, kind = self.shared.pairs(), words.kind_of(second.facts)
        with ui.element("section").classes("card"):
            show_markup(f"<h2>{escape(words.PAIRS)}</h2><p>{escape(words.marked(len(pairs)))}</p>")
            if not self.holds:
                return
            asked = words.MARK_OTHER.format(kind=kind) if self.shared.half else words.MARK_CT
            show_markup(f'<p class="must">{escape(words.next_place(asked))}</p>')
            able = bool(pairs or self.shared.half) and not self.shared.doing
            show_verb(words.CLEAR, self.shared.forget, able=able)
            enough = len(pairs) >= words.LEAST_PAIRS or (not pairs and second.same_frame)
            if self.shared.doing:
                show_verb(words.STOP, self.shared.stop)
            else:
                show_verb(words.LAY, self.shared.lay, main=True, able=enough)

    def _show_confirm(self) -> None:
        with ui.element("section").classes("card"):
            show_markup(f"<h2>{escape(words.CONFIRMING)}</h2>")
            show_field(words.WHO, self._who, lambda typed: setattr(self, "_who", typed))
            show_field(words.REASON, self._why, lambda typed: setattr(self, "_why", typed))
            show_verb(words.CONFIRM, lambda: self.shared.confirm(self._who, self._why))

    @ui.refreshable_method
    def _foot(self) -> None:
        if self.shared.doing:
            show_note(f"{self.shared.doing} …", pending=True)
        show_note(words.CAUTION, must=True)
        show_verb(page_words.PRINT, lambda: ui.run_javascript("window.print()"))
        show_markup(f'<p class="caution">{escape(page_words.CAUTION)}</p>')


def _picture(second: Second) -> str:
    """The two pictures with their controls; the script fills them."""
    if not second.facts:
        return ""
    kind = words.kind_of(second.facts)
    modes = "".join(
        f'<button type="button" class="look" data-mode="{key}" '
        f'aria-pressed="{"true" if key == "beside" else "false"}">{escape(said)}</button>'
        for key, said in words.VIEWS.items()
    )
    planes = "".join(
        f'<option value="{key}">{escape(said)}</option>' for key, said in words.PLANES.items()
    )
    figures = "".join(
        f'<figure data-what="{what}" tabindex="0" aria-label="{escape(name)}">'
        f'<div class="seen"><img alt="">{extra}<svg></svg></div>'
        f"<figcaption>{escape(name)}</figcaption>"
        f'<label class="look-check own-depth">{escape(words.DEPTH)} '
        f'<input type="range" min="-60" max="60" step="1" value="0" data-depth="{what}">'
        "<output>0 mm</output></label></figure>"
        for what, name, extra in (("ct", "CT", ""), ("second", kind, '<img class="over" alt="">'))
    )
    texts = escape(json.dumps(words.captions(kind)), quote=True)
    return (
        f'<div class="other" data-mode="beside" data-words="{texts}">'
        f'<div class="viewer-bar">{modes}<select aria-label="plane">{planes}</select>'
        f'<label class="look-check divider">{escape(words.DIVIDER)} '
        '<input type="range" min="0" max="100" step="1" value="50" data-divider></label>'
        f'<span class="viewer-load">{escape(words.KEYS)}</span></div>'
        f'<div class="two">{figures}<p class="reading">{escape(words.READING)} …</p></div></div>'
    )


def add_other_scan(desk: Desk, own: FastAPI) -> None:
    """Register the page and its pictures.

    Parameters
    ----------
    desk : Desk
        The case.
    own : FastAPI
        Serves the pictures.
    """
    shared = SecondDesk(desk)

    @ui.page(ADDRESS, title=f"{words.HEADING} · vertebloc", language="en-GB")
    def page(client: Client) -> None:
        OtherScanWindow(shared, client).show()

    @own.get("/data/other/state.json")
    async def state() -> JSONResponse:
        view = await asyncio.to_thread(shared.view)
        if view is None:
            return JSONResponse({}, headers=FRESH)
        described = view.describe(shared.second())
        return JSONResponse({**described, "waiting": shared.half}, headers=FRESH)

    @own.get("/data/other/{what}.png")
    async def picture(what: str, plane: str, depth: float = 0.0) -> Response:
        try:
            view = await asyncio.to_thread(shared.view)
            if view is None:
                return Response(status_code=404)
            drawn = await asyncio.to_thread(view.draw, what, plane, depth, shared.second())
        except VertBlocError as error:
            return Response(str(error), status_code=404)
        return Response(drawn, media_type="image/png", headers=FRESH)
