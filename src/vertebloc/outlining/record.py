"""An outline with its past: who drew it, who confirmed it, and every change to take back."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask

MOST_CHANGES = 200  #: older ones are let go
CONFIRMED = "confirmed"
DRAWN, RUBBED_OUT = "drawn", "rubbed out"  #: by hand
#: A second tumour outline, kept for the question what the drug changed; never planned on.
AFTER_TREATMENT = "after treatment"
#: Beginning of the part of an outline that others must not enter; it is no outline of anything.
FENCE = "fence of"


def fence_of(contour: Contour) -> Contour:
    """The fence that belongs to an outline: spreading and finishing never enter it.

    Parameters
    ----------
    contour : Contour
        Which outline.

    Returns
    -------
    Contour
        Drawn and kept like any other, planned on never.
    """
    return Contour(Structure.OTHER, part=f"{FENCE} {contour.words}")


def is_fence(contour: Contour) -> bool:
    """Whether an outline is a fence.

    Parameters
    ----------
    contour : Contour
        What it is of.

    Returns
    -------
    bool
        True for what ``fence_of`` makes.
    """
    part = contour.part or ""
    return contour.structure is Structure.OTHER and part.startswith(f"{FENCE} ")


def is_planned_on(contour: Contour) -> bool:
    """Whether a plan may stand on a drawn outline.

    Parameters
    ----------
    contour : Contour
        What it is of.

    Returns
    -------
    bool
        False for a fence and for a later time point.
    """
    return not is_fence(contour) and contour.part != AFTER_TREATMENT


class OutlineState(Enum):
    """How far an outline can be relied on."""

    NOT_DRAWN = "not drawn"
    IMPORTED = "as imported"  #: came from a file and was not touched here
    DRAFT = "draft"  #: drawn or changed here, and confirmed by nobody since
    CONFIRMED = CONFIRMED


@dataclass(frozen=True, slots=True)
class Signature:
    """A person and a time."""

    name: str  #: empty: nobody said who
    time: str  #: ISO 8601 with zone offset


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlineRecord:
    """Where an outline comes from."""

    drawn_by: tuple[Signature, ...] = ()  #: each person once, with the latest time
    confirmed_by: Signature | None = None
    is_imported: bool = False  #: whether it began as an outline from a file

    @property
    def is_confirmed(self) -> bool:
        """Whether a named person stands for it as it is."""
        return self.confirmed_by is not None

    def drawn_on(self, who: Signature) -> OutlineRecord:
        """The record after a change: whoever had confirmed it had confirmed another outline.

        Parameters
        ----------
        who : Signature
            Who changed it, and when.

        Returns
        -------
        OutlineRecord
            A draft.
        """
        others = tuple(one for one in self.drawn_by if one.name != who.name)
        return replace(self, drawn_by=(*others, who), confirmed_by=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Change:
    """One step of an outline's past; done and taken back by the same flip of voxels."""

    what: str
    who: Signature
    flipped: OutlineMask
    before: OutlineRecord
    after: OutlineRecord


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnOutline:
    """An outline as it is, and the changes that led to it."""

    contour: Contour
    mask: OutlineMask
    record: OutlineRecord
    changes: tuple[Change, ...] = ()
    at: int = 0  #: so many of the changes are done; the rest were taken back

    @property
    def state(self) -> OutlineState:
        """How far it can be relied on."""
        if self.record.is_confirmed:
            return OutlineState.CONFIRMED
        if self.record.drawn_by:
            return OutlineState.DRAFT
        return OutlineState.IMPORTED if self.record.is_imported else OutlineState.NOT_DRAWN

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return self.at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a change was taken back and can be made again."""
        return self.at < len(self.changes)

    def strokes(self) -> tuple[OutlineMask, OutlineMask]:
        """What a hand drew and rubbed out, tools aside: the later stroke counts.

        Returns
        -------
        tuple of two OutlineMask
            Voxels drawn by hand, and voxels rubbed out by hand.
        """
        inside, outside = OutlineMask.empty(), OutlineMask.empty()
        for change in self.changes[: self.at]:
            if change.what == DRAWN:
                inside, outside = inside.united(change.flipped), outside.without(change.flipped)
            elif change.what == RUBBED_OUT:
                inside, outside = inside.without(change.flipped), outside.united(change.flipped)
        return inside, outside

    def changed(self, mask: OutlineMask, what: str, who: Signature) -> DrawnOutline:
        """The outline after a change; it is a draft again.

        Parameters
        ----------
        mask : OutlineMask
            Its voxels as they shall be.
        what : str
            The change in words.
        who : Signature
            Who made it.

        Returns
        -------
        DrawnOutline
            The same object if no voxel differs.
        """
        flipped = self.mask.flipped(mask)
        if flipped.is_empty:
            return self
        return self._with(mask, Change(
            what=what, who=who, flipped=flipped, before=self.record,
            after=self.record.drawn_on(who),
        ))  # fmt: skip

    def confirmed(self, who: Signature) -> DrawnOutline:
        """The outline after a named person confirmed it as it is.

        Parameters
        ----------
        who : Signature
            Who stands for it.

        Returns
        -------
        DrawnOutline
            Confirmed.

        Raises
        ------
        InputError
            If nobody is named, or there is nothing to confirm.
        """
        if not who.name.strip():
            raise InputError("an outline is confirmed by a named person: give the name first")
        if self.mask.is_empty:
            raise InputError(f"there is no outline of {self.contour.words} to confirm: draw it")
        return self._with(self.mask, Change(
            what=CONFIRMED, who=who, flipped=OutlineMask.empty(), before=self.record,
            after=replace(self.record, confirmed_by=who),
        ))  # fmt: skip

    def _with(self, mask: OutlineMask, change: Change) -> DrawnOutline:
        changes = (*self.changes[: self.at], change)[-MOST_CHANGES:]
        return replace(self, mask=mask, record=change.after, changes=changes, at=len(changes))

    def undone(self) -> DrawnOutline:
        """The outline with its last change taken back, and its former confirmation with it.

        Returns
        -------
        DrawnOutline
            One change earlier.

        Raises
        ------
        InputError
            If there is none.
        """
        if not self.can_undo:
            raise InputError(f"no change of {self.contour.words} is left to take back")
        last = self.changes[self.at - 1]
        mask = self.mask.flipped(last.flipped)
        return replace(self, mask=mask, record=last.before, at=self.at - 1)

    def redone(self) -> DrawnOutline:
        """The outline with a change made again that was taken back.

        Returns
        -------
        DrawnOutline
            One change later.

        Raises
        ------
        InputError
            If there is none.
        """
        if not self.can_redo:
            raise InputError(f"no change of {self.contour.words} was taken back")
        change = self.changes[self.at]
        mask = self.mask.flipped(change.flipped)
        return replace(self, mask=mask, record=change.after, at=self.at + 1)
