"""Counting the level on the page: what is typed but not yet said, and what is then confirmed."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace

from vertebloc.app.changes import changed_level
from vertebloc.case.choice_words import CountedFrom
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import OtherCount
from vertebloc.errors import InputError, VertBlocError
from vertebloc.reports import count_words as words
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.open_case import OpenCase

_FRESH = {"count": "", "who": "", "series": "", "level": "", "other_from": "", "other_count": ""}


class Counting:
    """The count of the diseased vertebra; all windows see the same one.

    Parameters
    ----------
    case_of : callable
        The open case; None: none yet.
    change : callable
        Saves choices and plans anew.
    refuse : callable
        Shows one line that says why something could not be done.
    """

    def __init__(
        self,
        case_of: Callable[[], OpenCase | None],
        change: Callable[[Choices, str], Awaitable[None]],
        refuse: Callable[[str], None],
    ) -> None:
        self._case_of, self._change, self._refuse = case_of, change, refuse
        self.typed = dict(_FRESH)  #: what stands in the fields, not said yet

    def type(self, part: str, value: str) -> None:
        """Keep what was typed until it is said.

        Parameters
        ----------
        part : str
            Which field.
        value : str
            What stands there now.
        """
        self.typed[part] = value.strip()

    async def answer(self, part: str, value: str) -> None:
        """Change the level, its end or an answer; a confirmation does not outlive that.

        Parameters
        ----------
        part : str
            Which.
        value : str
            Its new value.
        """
        await self._do(
            lambda choices: changed_level(choices, part, value), words.changed(part, value)
        )

    async def confirm(self) -> None:
        """Say the count under one's name, with the time now; judged by what the outlines give."""
        level = self._choices.level
        end, typed, who = level.counted_from, self.typed["count"], self.typed["who"]

        def said(choices: Choices) -> Choices:
            if not level.diseased:
                raise InputError(words.NO_LEVEL)
            if end is CountedFrom.NOT_COUNTED:
                raise InputError(words.NO_END)
            if not who:
                raise InputError(words.NO_NAME)
            now = replace(
                level,
                confirmed_by=who,
                confirmed_at=read_clock().isoformat(timespec="seconds"),
                count=_number(typed),
            )
            return replace(choices, level=now)

        number = int(typed) if typed.isdecimal() else 0
        await self._do(
            said, words.confirmed(level.diseased, who, end.value, number), ("count", "who")
        )

    async def withdraw(self) -> None:
        """Take the confirmation back."""
        level = self._choices.level
        await self._do(
            lambda choices: replace(
                choices, level=replace(level, confirmed_by="", confirmed_at="", count=0)
            ),
            words.withdrawn(level.diseased),
        )

    async def add_other(self) -> None:
        """Add how the diseased vertebra was counted in another series."""
        typed = self.typed

        def added(choices: Choices) -> Choices:
            number = typed["other_count"]
            other = OtherCount(
                series=typed["series"],
                level=typed["level"],
                counted_from=CountedFrom(typed["other_from"]),
                count=_number(number) if number else 0,
                who=typed["who"],
            )
            return replace(choices, other_counts=(*choices.other_counts, other))

        await self._do(added, words.other_added(typed["series"], typed["level"]), tuple(_FRESH))

    async def drop_other(self, place: int) -> None:
        """Take a count in another series out.

        Parameters
        ----------
        place : int
            Which, from 0.
        """
        others = self._choices.other_counts
        kept = (*others[:place], *others[place + 1 :])
        await self._do(
            lambda choices: replace(choices, other_counts=kept),
            words.other_dropped(others[place].series),
        )

    @property
    def _choices(self) -> Choices:
        case = self._case_of()
        return case.choices if case is not None else Choices()

    async def _do(
        self, act: Callable[[Choices], Choices], what: str, said: tuple[str, ...] = ()
    ) -> None:
        """Change the choices; a refusal is one line, and nothing is saved.

        What has been said is taken out of its fields first: the page is drawn from them anew
        while the plan is made, and a field that looks full but is empty here cannot be said again.
        """
        try:
            choices = act(self._choices)
        except VertBlocError as error:
            self._refuse(str(error))
            return
        self.typed |= dict.fromkeys(said, "")
        await self._change(choices, what)


def _number(typed: str) -> int:
    if not typed:
        raise InputError(words.NO_NUMBER)
    if not typed.isdecimal() or len(typed) > 2 or int(typed) == 0:
        raise InputError(words.no_number(typed))
    return int(typed)
