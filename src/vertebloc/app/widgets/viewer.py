"""The one large picture: slices in any direction and the solid picture, drawn in the browser."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from nicegui import ui

from vertebloc.reports import page_words as words
from vertebloc.reports.outline_words import PENS

Handler = Callable[[Mapping[str, Any]], Any]


class Viewer(ui.element, component="viewer.js"):
    """Draws the images and outlines of ``scene_url`` and lets hands pull the cuts.

    Parameters
    ----------
    scene_url : str
        Where the scene is described.
    standing : str
        ``left``, ``right`` or ``head up``.
    look : str
        ``behind``, ``side``, ``across``, ``cut``, ``solid`` or ``piece``.
    """

    def __init__(self, *, scene_url: str, standing: str, look: str = "behind") -> None:
        super().__init__()
        self._props.update(
            sceneUrl=scene_url, standing=standing, startLook=look, words={**words.VIEWER, **PENS}
        )

    def on_pull(self, dragged: Handler, dropped: Handler) -> None:
        """Say who hears of a cut that is being pulled, and of its release.

        Parameters
        ----------
        dragged, dropped : callable
            Called with ``cut``, ``halves`` and ``seq``; may be coroutine functions.
        """
        self.on("drag", lambda event: dragged(event.args))
        self.on("drop", lambda event: dropped(event.args))

    def on_brush(self, brushed: Handler) -> None:
        """Say who hears of parts of the arch that were swept on a slice.

        Parameters
        ----------
        brushed : callable
            Called with ``fate`` and ``parts``, joined by ``|``; may be a coroutine function.
        """
        self.on("brush", lambda event: brushed(event.args))

    def on_stroke(self, drawn: Handler) -> None:
        """Say who hears of a stroke that was drawn.

        Parameters
        ----------
        drawn : callable
            Called with ``id``, ``points``, ``normal``, ``radius_mm``, ``rub_out`` and ``seq``;
            may be a coroutine function.
        """
        self.on("stroke", lambda event: drawn(event.args))

    def on_pointed(self, pointed: Handler) -> None:
        """Say who hears of places that were pointed at.

        Parameters
        ----------
        pointed : callable
            Called with ``number`` and ``points``; may be a coroutine function.
        """
        self.on("pointed", lambda event: pointed(event.args))

    def ask_for_places(self, number: int, places: Sequence[str]) -> None:
        """Have places pointed at, one after the other.

        Parameters
        ----------
        number : int
            Comes back with them.
        places : sequence of str
            What to point at, in words.
        """
        self.run_method("startPointing", number, list(places))

    async def normal(self) -> list[float]:
        """The direction towards the viewer of the slice that is shown, patient LPS."""
        return list(await self.run_method("normal"))

    def set_drawing(self, state: Mapping[str, Any] | None) -> None:
        """Show outlines to draw on.

        Parameters
        ----------
        state : mapping or None
            As the desk of outlines gives it; None: outlines are not drawn on.
        """
        self.run_method("setDrawing", state)

    def show_cuts(
        self,
        marks: Sequence[Mapping[str, Any]],
        *,
        seq: int = 0,
        weakest: Mapping[str, Any] | None = None,
    ) -> None:
        """Move the cuts' lines and the ring about the weakest place.

        Parameters
        ----------
        marks : sequence of mapping
            From ``reports.screen_scene.cut_marks``.
        seq : int
            The pull this answers; 0: none.
        weakest : mapping or None
            ``point`` in LPS, and ``words``.
        """
        self.run_method("showCuts", list(marks), seq, weakest)

    def set_standing(self, standing: str) -> None:
        """Turn the pictures to where the surgeon stands.

        Parameters
        ----------
        standing : str
            ``left``, ``right`` or ``head up``.
        """
        self._props["standing"] = standing
        self.update()

    def set_pending(self, pending: bool) -> None:
        """Say whether piece and margins are of the plan before, or of the one on the screen.

        Parameters
        ----------
        pending : bool
            Whether a plan is being computed.
        """
        self.run_method("setPending", pending)

    def reload(self) -> None:
        """Fetch outlines anew: they were measured, or the plan changed."""
        self.run_method("reload")

    def look(self, look: str, point: Sequence[float] | None = None) -> None:
        """Turn to a way of looking.

        Parameters
        ----------
        look : str
            ``behind``, ``side``, ``across``, ``cut``, ``solid`` or ``piece``.
        point : sequence of float or None, mm
            What to centre on, patient LPS.
        """
        self.run_method("turnTo", look, list(point) if point is not None else None)
