"""One window: the question on top, its answer, one large picture, few numbers, the rest folded."""

from __future__ import annotations

from html import escape
from typing import Any

from nicegui import Client, background_tasks, ui

from vertebloc.app.cards import bars_card, strip
from vertebloc.app.desk import Desk
from vertebloc.app.hearing import Heard
from vertebloc.app.pages import (
    c_arm,
    contours,
    cuts,
    front,
    level,
    pictures,
    ring,
    roles,
    spread,
    way_out,
)
from vertebloc.app.parts import (
    card_markup,
    show_card,
    show_folded,
    show_markup,
    show_note,
    show_verb,
    show_why,
)
from vertebloc.app.picture import Picture
from vertebloc.app.scene import SceneData
from vertebloc.app.told import hand_on
from vertebloc.app.travel_picture import TravelPicture
from vertebloc.reports import outline_words, second_words
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import PageView
from vertebloc.reports.page_words import Question
from vertebloc.reports.why import why_of

PAGES: dict[Question, Any] = {
    Question.PICTURES: pictures,
    Question.LEVEL: level,
    Question.CONTOURS: contours,
    Question.SPREAD: spread,
    Question.RING: ring,
    Question.FRONT: front,
    Question.CUTS: cuts,
    Question.WAY_OUT: way_out,
    Question.C_ARM: c_arm,
    Question.ROLES: roles,
}
ADDRESS = {
    Question.PICTURES: "/",
    Question.LEVEL: "/level",
    Question.CONTOURS: "/contours",
    Question.SPREAD: "/spread",
    Question.RING: "/ring",
    Question.FRONT: "/front",
    Question.CUTS: "/cuts",
    Question.WAY_OUT: "/way-out",
    Question.C_ARM: "/c-arm",
    Question.ROLES: "/who",
}
HEAD = (
    '<link rel="stylesheet" href="/look/look.css"><link rel="stylesheet" href="/look/travel.css">'
    '<script src="/look/look.js" defer></script>'
)


class Window:
    """What one browser window shows; it follows the desk."""

    def __init__(self, desk: Desk, client: Client, question: Question) -> None:
        self.desk = desk
        self.id = client.id
        self.question = question
        self._picture = Picture(self)
        self._travel = TravelPicture(self)
        self._bars_shown: ui.html | None = None
        self._listen()
        client.on_disconnect(lambda: self._gone(client))
        client.on_connect(self._back)

    def _back(self) -> None:
        """The browser is connected, for the first time or again after a pause."""
        self._listen()
        self.refresh()

    def _gone(self, client: Client) -> None:
        """A connection ended; the window itself is closed only with its last one.

        A browser that connects anew may do so before its old connection is found to be dead.
        """
        if not client.has_socket_connection:
            self.desk.leave(self.id)
            self.desk.outlines.leave(self.id)

    @property
    def picture(self) -> Picture:
        """The one large picture."""
        return self._picture

    def _listen(self) -> None:
        """Hear of changes; the picture fetches a new piece while its cards are still drawn."""
        self.desk.listen(
            self.id,
            Heard(
                self.refresh,
                doing=self.show_doing,
                planned=self.picture.refresh,
                behind=self.show_behind,
            ),
        )

    @property
    def holds(self) -> bool:
        """Whether this window may change the case."""
        return self.desk.may_change(self.id)

    @property
    def _has_other_scan(self) -> bool:
        case = self.desk.case
        return case is not None and case.folder.has("second")

    @property
    def view(self) -> PageView:
        """What the question's page says now."""
        said: PageView = PAGES[self.question].view_of(self.desk)
        return said

    def show(self) -> None:
        """Lay the page out once; later only its parts are made anew."""
        ui.add_head_html(HEAD)
        hand_on()
        ui.keyboard(self._press, ignore=["input", "select", "textarea"])
        with ui.element("main").classes("sheet"):
            with ui.element("nav").classes("strip").props('aria-label="spine"'):
                self._strip()
            with ui.element("header").classes("ask"):
                self._ask()
            with ui.element("section").classes("picture").props('aria-label="picture"'):
                self.picture.show()
                self._large()
                self._travel.show()
            with ui.element("aside").classes("side"):
                self._side()
            with ui.element("footer").classes("foot"):
                self._foot()
        self.desk.start()
        self._open_outlines()

    def refresh(self) -> None:
        """Show the desk as it stands now."""
        for part in (self._strip, self._ask, self._large, self._side, self._foot):
            part.refresh()
        self.picture.refresh()
        self._travel.refresh()
        self._open_outlines()

    def _open_outlines(self) -> None:
        """What takes time is read or predicted when the page that shows it is looked at."""
        if self.question is Question.CONTOURS:
            background_tasks.create(self.desk.outlines.open())
        if self.question is Question.C_ARM:
            background_tasks.create(self.desk.c_arm.open())

    def show_doing(self) -> None:
        """Show what is being done, and nothing else anew."""
        self._foot.refresh()
        self.picture.show_pending()

    def show_behind(self) -> None:
        """Show ring and front; where the page is not about them, only what speaks of them."""
        if self.question is not Question.CUTS:
            self.refresh()
            return
        self._ask.refresh()
        self._foot.refresh()

    def show_bars(self) -> None:
        """Show the numbers of a drag, and nothing else anew: drawn in place if they are there."""
        desk, shown = self.desk, self._bars_shown
        if shown is None or shown.is_deleted or desk.error or not desk.faces:
            self._bars.refresh()
        else:
            shown.set_content(card_markup(bars_card(desk)))

    def go(self, question: Question) -> None:
        """Turn to another question; the picture stays loaded.

        Parameters
        ----------
        question : Question
            Which.
        """
        self.question = question
        self.picture.turn_to(question)
        ui.navigate.history.replace(ADDRESS[question])
        self.refresh()

    def go_on(self) -> None:
        """Turn to the next question; after the last comes the first."""
        order = list(Question)
        self.go(order[(order.index(self.question) + 1) % len(order)])

    async def _press(self, event: Any) -> None:
        """Digits turn to a question, 0 to the last, n to the next, o to the other scan; undo."""
        if not event.action.keydown:
            return
        key, order = str(event.key), [one for one in Question if one is not Question.ROLES]
        if event.modifiers.ctrl or event.modifiers.meta:
            await self._press_with_ctrl(key.lower(), shift=bool(event.modifiers.shift))
        elif key.isdigit() and 1 <= int(key) <= len(order):
            self.go(order[int(key) - 1])
        elif key == "0":
            self.go(Question.ROLES)
        elif key == "n":
            self.go_on()
        elif key == second_words.KEY and self._has_other_scan:
            ui.navigate.to(second_words.ADDRESS)

    async def _press_with_ctrl(self, key: str, *, shift: bool) -> None:
        """Undo and redo of what the page is about; there, Enter confirms."""
        if not self.holds:
            return
        drawing = self.question is Question.CONTOURS
        about: Any = self.desk.outlines if drawing else self.desk
        if key == "z":
            await (about.redo() if shift else about.undo())
        elif key == "y":
            await about.redo()
        elif key == "enter" and drawing:
            await self.desk.outlines.confirm()

    @ui.refreshable_method
    def _strip(self) -> None:
        shown = show_markup(strip(self.desk))
        shown.on(
            "click",
            lambda event: self.picture.look_at(SceneData(self.desk).middle_of(str(event.args))),
            js_handler="(event) => { const at = event.target.closest('[data-level]'); "
            "if (at) { event.preventDefault(); emit(at.dataset.level); } }",
        )

    @ui.refreshable_method
    def _ask(self) -> None:
        links = "".join(
            f'<a href="{ADDRESS[question]}"'
            f"{' aria-current=page' if question is self.question else ''}"
            f' data-question="{place}">{escape(question.value)}</a>'
            for place, question in enumerate(Question)
        )
        if self._has_other_scan:
            links += f'<a href="{second_words.ADDRESS}">{escape(second_words.HEADING)}</a>'
        turned = show_markup(
            f'<div class="questions">{links}'
            f'<span class="person">{escape(self.desk.person_words())}</span></div>'
            f'<div class="printed-only">{escape(self.desk.print_words())}</div>'
        )
        turned.on(
            "click",
            lambda event: self.go(list(Question)[int(event.args)]),
            js_handler="(event) => { const link = event.target.closest('[data-question]'); "
            "if (link) { event.preventDefault(); emit(link.dataset.question); } }",
        )
        if not self.holds:
            with ui.element("div").classes("band"):
                ui.label(words.held_elsewhere(self.desk.holding.other))
                show_verb(words.TAKE_OVER, lambda: self.desk.take(self.id))
        for line in self.desk.stale_words():
            show_markup(f'<div class="band">{escape(line)}</div>')
        if self.desk.outlines.have_moved_on and self.question is not Question.CONTOURS:
            with ui.element("div").classes("band"):
                ui.label(outline_words.MOVED_ON)
                if self.holds:
                    show_verb(outline_words.MEASURE, self.desk.replan, able=not self.desk.doing)
        PAGES[self.question].show_answer(self)
        show_why(why_of(self.question))

    @ui.refreshable_method
    def _large(self) -> None:
        """A drawing that is the page's one large picture; it covers the slices."""
        behind = self.desk.behind
        pending = behind.is_pending
        drawing = behind.large.get(self.question)
        if self.question is Question.ROLES:
            drawing, pending = roles.large_of(self.desk), False
        if self.question is Question.C_ARM:
            drawing, pending = self.desk.c_arm.drawing, not self.desk.c_arm.is_current
        if drawing:
            with ui.element("div").classes("large before" if pending else "large"):
                show_markup(drawing)

    @ui.refreshable_method
    def _bars(self) -> None:
        self._bars_shown = None
        if self.desk.error:
            show_markup(f'<div class="error" role="alert">{escape(self.desk.error)}</div>')
        if self.question is Question.CUTS and self.desk.faces:
            card = show_card(bars_card(self.desk)).classes("redrawn")
            self._bars_shown = None if self.desk.error else card  # an error goes with a refresh

    @ui.refreshable_method
    def _side(self) -> None:
        self._bars()
        if self.desk.is_empty:  # on every page: whoever comes by an address finds the way in
            show_verb(words.TRY_MADE_UP, self.desk.try_made_up, main=True,
                      able=not self.desk.doing)  # fmt: skip
        PAGES[self.question].show_side(self)
        for card in self.view.cards:
            show_card(card)

    @ui.refreshable_method
    def _foot(self) -> None:
        if self.desk.doing:
            show_note(f"{self.desk.doing} …", pending=True)
        if self.desk.way.doing:
            show_note(self.desk.way.words, pending=True)
        for sentence in self.view.foot:
            if not sentence.folded:
                show_note(sentence.words, must=sentence.must_not_be_overlooked)
        show_folded([one.words for one in self.view.foot if one.folded])
        PAGES[self.question].show_foot(self)
        show_verb(words.PRINT, lambda: ui.run_javascript("window.print()"))
        show_verb(words.NEXT_QUESTION, self.go_on)
        show_markup(f'<p class="caution">{escape(words.CAUTION)}</p>')
