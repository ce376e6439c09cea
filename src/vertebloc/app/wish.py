"""An order of acts that is wished for and not taken yet; all windows see the same one."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence

from vertebloc.case.choice_words import Act
from vertebloc.case.choices import Choices
from vertebloc.errors import VertBlocError
from vertebloc.reports import bone_words as words
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.order_wish import OrderWish, moved_act, taken_order, wish_order


class Wish:
    """The order that is wished for, and who would take it.

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
        self.now: OrderWish | None = None
        self.who = ""
        self.reason = ""

    async def move(self, place: int, by: int) -> None:
        """Move an act; taken at once if that breaks nothing.

        Parameters
        ----------
        place : int
            Which act of the order that is wished for, or of the plan's; from 0.
        by : int
            How many places; negative is earlier.
        """
        case = self._case_of()
        if case is None or case.planned is None:
            return
        try:
            order = moved_act(self.order, place, by)
        except VertBlocError as error:
            self._refuse(str(error))
            return
        await self._wish(case, order)

    async def back_to_rule(self) -> None:
        """Take the rule's order again."""
        case = self._case_of()
        if case is not None and case.planned is not None:
            await self._wish(case, ())

    @property
    def order(self) -> tuple[Act, ...]:
        """The order on the screen: wished for, or planned."""
        if self.now is not None and self.now.choices.acts_order:
            return self.now.choices.acts_order
        case = self._case_of()
        if case is None or case.planned is None:
            return ()
        return tuple(one.act for one in case.planned.plan.acts.acts)

    async def _wish(self, case: OpenCase, order: Sequence[Act]) -> None:
        if case.planned is None or case.prepared is None:
            return  # it is being measured anew
        try:
            wish = wish_order(
                case.planned.plan, case.choices, order,
                has_tract=case.prepared.solids.has_tract,
            )  # fmt: skip
        except VertBlocError as error:
            self._refuse(str(error))
            return
        if wish.needs_a_name:
            self.now = wish
            self._refuse("")
        else:
            self.now = None
            await self._change(wish.choices, words.ORDER_CHANGED)

    async def take(self) -> None:
        """Take the wished order, by name and for a reason."""
        if self.now is None:
            return
        try:
            choices = taken_order(self.now, who=self.who, reason=self.reason)
        except VertBlocError as error:
            self._refuse(str(error))
            return
        self.leave()
        await self._change(choices, words.ORDER_CHANGED)

    def leave(self) -> None:
        """Forget the wish, and show the plan's order again."""
        self.forget()
        self._refuse("")

    def forget(self) -> None:
        """Forget the wish: the plan it was made for is no longer the one on the screen."""
        self.now, self.who, self.reason = None, "", ""
