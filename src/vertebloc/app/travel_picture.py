"""The page's one large picture: the way out as it is played; made once for each way out."""

from __future__ import annotations

from urllib.parse import quote

from nicegui import ui

from vertebloc.app.widgets.travel import Travel
from vertebloc.app.window import WindowLike
from vertebloc.reports.page_words import Question
from vertebloc.reports.travel_data import playable


class TravelPicture:
    """Lies over the slices while the way out is asked for, and there is one that holds."""

    def __init__(self, window: WindowLike) -> None:
        self._window = window
        self._shown = ""

    def show(self) -> None:
        """Lay it out."""
        self._place = ui.element("div").classes("travel-place")
        self.refresh()

    def refresh(self) -> None:
        """Follow the desk: a new way out, another order, another side of standing."""
        desk = self._window.desk
        way_out = (desk.document or {}).get("way_out", {})
        kept = desk.way.kept() if way_out.get("ledger") else {}
        asked = self._window.question is Question.WAY_OUT and bool(kept)
        self._place.set_visibility(asked)
        if not asked:
            return
        plans = playable(way_out, kept["ways"])
        standing = quote(desk.choices.standing_side.value)
        url = f"/data/way-out/{desk.way.mark}/{{way}}/{standing}.json"
        wanted = f"{url} {plans[0]['way']}"
        if wanted != self._shown:
            self._shown = wanted
            self._place.clear()
            with self._place:
                Travel(data_url=url, plans=plans)
