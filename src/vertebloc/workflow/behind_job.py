"""What follows behind a plan in a process of its own: cards that take time, ring and front.

The newest plan wins: ring and front are measured bit by bit, and a job that was overtaken is
dropped between two bits. While a hand pulls a cut, or a newer plan is computed, no further bit is
begun.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs
from vertebloc.reports.beside_document import KeptBeside
from vertebloc.reports.page_views import Card
from vertebloc.reports.page_words import Question
from vertebloc.resection import ResectionPlan
from vertebloc.workflow.card_drawings import draw_cards, draw_large
from vertebloc.workflow.compute_plan import Prepared, document_of, same_resection
from vertebloc.workflow.measure_access import Access, access_in_steps
from vertebloc.workflow.planned_case import PlannedCase
from vertebloc.workflow.workers import Workers

WORKER = "behind"
_CALM_S = 0.05  #: how often it is asked whether the hand is still

_Found = tuple[Access, dict[str, Any], Mapping[Question, str]]


@dataclass(frozen=True, slots=True)
class _Job:
    number: int
    plan: ResectionPlan
    choices: Choices
    inputs: Inputs
    beside: KeptBeside
    steps: Generator[None, None, Access]


@dataclass(slots=True)
class _Kept:
    """What the process holds from call to call."""

    prepared: Prepared | None = None
    job: _Job | None = None
    known: tuple[Choices, Access] | None = None  #: the latest, of which choices
    found: tuple[int, _Found] | None = None  #: the latest answer, of which job


_KEPT = _Kept()


def keep(prepared: Prepared) -> None:
    """Take over what another process measured.

    Parameters
    ----------
    prepared : Prepared
        What no cut changes.
    """
    _KEPT.prepared, _KEPT.job, _KEPT.known, _KEPT.found = prepared, None, None, None


def begin(
    number: int, choices: Choices, inputs: Inputs, plan: ResectionPlan, beside: KeptBeside
) -> None:
    """Begin to measure ring and front of a plan; whatever was begun before is dropped.

    Parameters
    ----------
    number : int
        Names the job.
    choices : Choices
        The plan's.
    inputs : Inputs
        Hashes of what went in.
    plan : ResectionPlan
        The plan.
    beside : KeptBeside
        What is kept with the case and computed apart from the plan.
    """
    prepared = _KEPT.prepared
    assert prepared is not None
    known = _KEPT.known
    if known is not None and same_resection(known[0], choices):
        steps = _at_once(known[1])
    else:
        steps = access_in_steps(
            prepared.access,
            prepared.anatomy,
            prepared.solids,
            prepared.staging,
            plan,
            choices,
        )
    _KEPT.job = _Job(number, plan, choices, inputs, beside, steps)


def draw(number: int, document: Mapping[str, Any]) -> tuple[Card, ...]:
    """Draw the cards of a job's plan.

    Parameters
    ----------
    number : int
        Which job.
    document : mapping
        Content of plan.json.

    Returns
    -------
    tuple of Card
        The piece opened out, and the depths; none if the job was dropped for a newer one.
    """
    job, prepared = _KEPT.job, _KEPT.prepared
    if job is None or prepared is None or job.number != number:
        return ()
    return draw_cards(prepared, job.plan, document)


def go_on(number: int) -> _Found | None:
    """Measure a bit more of a job.

    Parameters
    ----------
    number : int
        Which job.

    Returns
    -------
    tuple of (Access, dict, mapping), or None
        Ring, front, the content of plan.json with them, and their drawings; None: not yet, or the
        job was dropped for a newer one.
    """
    job, prepared = _KEPT.job, _KEPT.prepared
    if _KEPT.found is not None and _KEPT.found[0] == number:
        return _KEPT.found[1]  # whoever asked first gave up before it heard
    if job is None or prepared is None or job.number != number:
        return None
    try:
        next(job.steps)
    except StopIteration as done:
        access: Access = done.value
        document = document_of(prepared, job.choices, job.inputs, job.plan, access, job.beside)
        found = access, document, draw_large(access, job.choices)
        _KEPT.known, _KEPT.found = (job.choices, access), (number, found)
        return found
    return None


def _at_once(access: Access) -> Generator[None, None, Access]:
    yield from ()
    return access


class BehindJobs:
    """Follows the plans of an open case.

    Parameters
    ----------
    workers : Workers
        The case's processes.
    """

    def __init__(self, workers: Workers) -> None:
        self._workers = workers
        self._given: Prepared | None = None  #: what the process was given
        self._last = 0
        self._begun: PlannedCase | None = None  #: of which plan the last job is

    async def keep(self, prepared: Prepared) -> None:
        """Give the process what no cut changes.

        Parameters
        ----------
        prepared : Prepared
            From ``planner.prepare_case``.
        """
        await self._workers.ask(WORKER, keep, prepared)
        self._given = prepared

    def forget(self) -> None:
        """The process was stopped: what it held is gone."""
        self._given = self._begun = None

    async def draw(self, prepared: Prepared, planned: PlannedCase) -> tuple[Card, ...]:
        """Draw the cards that take time.

        Parameters
        ----------
        prepared : Prepared
            What the plan stands on.
        planned : PlannedCase
            The plan.

        Returns
        -------
        tuple of Card
            None if the plan was overtaken.

        Raises
        ------
        InputError
            If the process was stopped.
        """
        number = await self._begin(prepared, planned)
        return await self._workers.ask(WORKER, draw, number, planned.document)

    async def measure(
        self,
        prepared: Prepared,
        planned: PlannedCase,
        *,
        is_wanted: Callable[[], bool],
        is_calm: Callable[[], bool],
    ) -> PlannedCase | None:
        """Measure ring and front of a plan.

        Parameters
        ----------
        prepared : Prepared
            What the plan stands on.
        planned : PlannedCase
            The plan.
        is_wanted : callable
            Whether it is still the newest; asked before each bit.
        is_calm : callable
            Whether nobody pulls a cut.

        Returns
        -------
        PlannedCase or None
            The same plan with ring and front; None: it was overtaken.

        Raises
        ------
        InputError
            If the process was stopped.
        """
        number = await self._begin(prepared, planned)
        while is_wanted():
            if not is_calm():
                await asyncio.sleep(_CALM_S)
                continue
            found = await self._workers.ask(WORKER, go_on, number)
            if found is not None and is_wanted():
                access, document, large = found
                return replace(planned, access=access, document=document, large=large)
        return None

    async def _begin(self, prepared: Prepared, planned: PlannedCase) -> int:
        """The job of a plan, begun unless it is the last one that was."""
        if self._given is not prepared:
            await self.keep(prepared)
            self._begun = None
        if self._begun is not planned:
            self._last, self._begun = self._last + 1, planned
            job = (self._last, planned.choices, planned.inputs, planned.plan, planned.beside)
            await self._workers.ask(WORKER, begin, *job)
        return self._last
