"""The one large picture of a window."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

if TYPE_CHECKING:
    from vertebloc.app.page import Window


class Picture:
    """Slices and the solid picture; made once, then only moved."""

    def __init__(self, window: Window) -> None:
        self._window = window

    def show(self) -> None:
        """Lay it out."""
        ui.element("div")

    def refresh(self) -> None:
        """Follow the desk."""
