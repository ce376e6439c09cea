"""Outlines drawn by hand in an open case: each change is saved as it is made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.drawn_outlines import put_drawn, read_drawn
from vertebloc.exchange.journal import time_in_words
from vertebloc.exchange.nifti import read_nifti_labels
from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.overlay import mask_of
from vertebloc.outlining.record import (
    AFTER_TREATMENT,
    DRAWN,
    RUBBED_OUT,
    DrawnOutline,
    OutlineRecord,
    OutlineState,
    Signature,
    fence_of,
    is_fence,
)
from vertebloc.outlining.strokes import draw
from vertebloc.space.grids import Grid
from vertebloc.workflow.clock import read_clock

#: What a team draws, in the order in which it is offered; what came in or was drawn follows.
OFFERED = (
    Contour(Structure.TUMOUR),
    Contour(Structure.TUMOUR, part=AFTER_TREATMENT),
    Contour(Structure.SAC),
    Contour(Structure.CORD),
    Contour(Structure.TRACT),
    Contour(Structure.SCAR),
    Contour(Structure.AORTA),
    Contour(Structure.AZYGOS),
    Contour(Structure.SUPERIOR_CAVA),
    Contour(Structure.INFERIOR_CAVA),
    Contour(Structure.SEGMENTAL_VESSEL),
)
#: What tumour is never let spread into by itself; it can still be drawn there by hand.
_KEEPS_OUT = (
    Structure.SAC, Structure.CORD, Structure.AORTA, Structure.AZYGOS, Structure.SUPERIOR_CAVA,
    Structure.INFERIOR_CAVA,
)  # fmt: skip
_TUMOUROUS = (Structure.TUMOUR, Structure.SCAR, Structure.TRACT)


class Keeper(Protocol):
    """What saves: an open case."""

    folder: CaseFolder

    def put(self, what: str, put: Callable[[Transaction], None]) -> None:
        """Save steps in one change of the case."""


class Drawing:
    """The outlines of an open case, as they are now."""

    def __init__(
        self,
        keeper: Keeper,
        grid: Grid,
        imported: LabelMap | None,
        drawn: Mapping[Contour, DrawnOutline],
    ) -> None:
        self.grid = grid
        self._keeper = keeper
        self._imported = imported
        self._drawn = dict(drawn)
        self._done: list[Contour] = []  #: outlines in the order in which they were touched
        self._undone: list[Contour] = []
        self._begun: dict[Contour, DrawnOutline] = {}

    @classmethod
    def open(cls, keeper: Keeper, grid: Grid) -> Drawing:
        """Read what was drawn, and what came in from a file to be drawn on.

        Parameters
        ----------
        keeper : Keeper
            The open case.
        grid : Grid
            Of its images.

        Returns
        -------
        Drawing
            With everything that can be taken back.

        Raises
        ------
        InputError
            If a file is damaged, or was drawn on other images.
        """
        folder = keeper.folder
        imported = None
        if folder.has("labels"):
            imported, _ = read_nifti_labels(folder.path_of("labels"), folder.path_of("names"))
        return cls(keeper, grid, imported, read_drawn(folder, grid))

    def contours(self) -> tuple[Contour, ...]:
        """What can be drawn or drawn on: the usual ones first, then what came in."""
        came = self._imported.names.values() if self._imported is not None else ()
        every = (*OFFERED, *self._drawn, *(one for several in came for one in several))
        return tuple(dict.fromkeys(every))

    def states(self) -> dict[Contour, OutlineState]:
        """How far each outline can be relied on; those without a voxel here are left out."""
        came = self._imported.names.values() if self._imported is not None else ()
        found = dict.fromkeys((one for several in came for one in several), OutlineState.IMPORTED)
        for contour, one in self._drawn.items():
            found[contour] = OutlineState.NOT_DRAWN if one.mask.is_empty else one.state
        return found

    def present(self) -> tuple[DrawnOutline, ...]:
        """Every outline of the usual ones that has a voxel, and every drawn one; no fence."""
        found = (self.outline(contour) for contour in dict.fromkeys((*OFFERED, *self._drawn)))
        return tuple(
            one
            for one in found
            if not is_fence(one.contour) and (not one.mask.is_empty or one.changes)
        )

    def fence(self, contour: Contour) -> OutlineMask:
        """What an outline must not enter: its own fence, and what other outlines hold for sure.

        Parameters
        ----------
        contour : Contour
            Whose.

        Returns
        -------
        OutlineMask
            For tumour and what counts as tumour also sac, cord and great vessels.
        """
        found = self.outline(fence_of(contour)).mask
        if contour.structure in _TUMOUROUS:
            for other in self.present():
                if other.contour.structure in _KEEPS_OUT:
                    found = found.united(other.mask)
        return found

    def outline(self, contour: Contour) -> DrawnOutline:
        """One outline as it is now.

        Parameters
        ----------
        contour : Contour
            Which; it need not exist yet.

        Returns
        -------
        DrawnOutline
            As drawn, as it came in, or empty.
        """
        if contour in self._drawn:
            return self._drawn[contour]
        if contour not in self._begun:
            mask = mask_of(self._imported, contour)
            record = OutlineRecord(is_imported=not mask.is_empty)
            self._begun[contour] = DrawnOutline(contour=contour, mask=mask, record=record)
        return self._begun[contour]

    def stroke(self, contour: Contour, stroke: Stroke, *, rub_out: bool, by: str) -> None:
        """Draw or rub out, and save that.

        Parameters
        ----------
        contour : Contour
            Which outline.
        stroke : Stroke
            Where the pointer went.
        rub_out : bool
            Take away instead of adding.
        by : str
            Who; empty: nobody said.

        Raises
        ------
        InputError
            If the disk refuses; the outline is then as it was.
        """
        now = self.outline(contour)
        mask = draw(now.mask, self.grid, stroke, rub_out=rub_out)
        self.change(contour, mask, RUBBED_OUT if rub_out else DRAWN, by)

    def change(self, contour: Contour, mask: OutlineMask, what: str, by: str) -> None:
        """Take new voxels of an outline, and save them; nothing is saved if none differs.

        Parameters
        ----------
        contour : Contour
            Which outline.
        mask : OutlineMask
            Its voxels as they shall be.
        what : str
            The change in words.
        by : str
            Who; empty: nobody said.

        Raises
        ------
        InputError
            If the disk refuses; the outline is then as it was.
        """
        now = self.outline(contour)
        after = now.changed(mask, what, self._signed(by))
        self._take(now, after, what)
        if after is not now:
            self._touched(contour)

    def confirm(self, contour: Contour, by: str) -> None:
        """Have a named person stand for an outline as it is.

        Parameters
        ----------
        contour : Contour
            Which.
        by : str
            Who.

        Raises
        ------
        InputError
            If nobody is named, there is no outline, or the disk refuses.
        """
        now = self.outline(contour)
        self._take(now, now.confirmed(self._signed(by)), f"confirmed by {by.strip()}")
        self._touched(contour)

    def undo(self, contour: Contour) -> None:
        """Take the last change of an outline back.

        Parameters
        ----------
        contour : Contour
            Which.

        Raises
        ------
        InputError
            If there is none, or the disk refuses.
        """
        now = self._last(contour, self._done, can=lambda one: one.can_undo)
        after = now.undone()
        self._take(now, after, f"taken back: {now.changes[now.at - 1].what}")
        self._undone.append(now.contour)

    def redo(self, contour: Contour) -> None:
        """Make a change again that was taken back.

        Parameters
        ----------
        contour : Contour
            Which.

        Raises
        ------
        InputError
            If there is none, or the disk refuses.
        """
        now = self._last(contour, self._undone, can=lambda one: one.can_redo)
        after = now.redone()
        self._take(now, after, f"made again: {now.changes[now.at].what}")
        self._done.append(now.contour)

    def _last(
        self, contour: Contour, touched: list[Contour], can: Callable[[DrawnOutline], bool]
    ) -> DrawnOutline:
        """The outline, or its fence if that was touched later; what is found is struck off."""
        pair = (contour, fence_of(contour))
        for place in range(len(touched) - 1, -1, -1):
            if touched[place] in pair and can(self.outline(touched[place])):
                return self.outline(touched.pop(place))
        return next((one for one in map(self.outline, pair) if can(one)), self.outline(contour))

    def _touched(self, contour: Contour) -> None:
        self._done.append(contour)
        self._undone.clear()

    def _signed(self, by: str) -> Signature:
        return Signature(name=" ".join(by.split()), time=time_in_words(read_clock()))

    def _take(self, before: DrawnOutline, after: DrawnOutline, what: str) -> None:
        if after is before:
            return
        contour = after.contour
        outlines = {**self._drawn, contour: after}
        ct_hash = self._keeper.folder.hash_of("ct")

        def put(change: Transaction) -> None:
            put_drawn(change, self.grid, outlines, (contour,), ct_hash=ct_hash)

        self._keeper.put(f"outline of {contour.words}: {what}", put)
        self._drawn = outlines
