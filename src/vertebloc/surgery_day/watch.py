"""When signals are run, and which roots are watched on which muscles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import Act
from vertebloc.published.acts import Practice
from vertebloc.published.muscles import CONTROL_ABOVE, CONTROL_LOW, LEGS, MUSCLES, ROOT_LOSS
from vertebloc.resection.acts_model import PlannedAct

#: Roots this many levels above and below what comes out are watched too.
_BEYOND = 1
_ORDER = tuple(
    f"{region}{number}"
    for region, count in (("C", 8), ("T", 12), ("L", 5), ("S", 3))
    for number in range(1, count + 1)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalRun:
    """One run of the signals: after which act, before which, and whether both are dangerous."""

    number: int  #: of the run
    after: str  #: the last act before it; empty: before everything
    before: str  #: the next act; empty: none follows
    is_baseline: bool  #: nothing dangerous was done before it


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchedRoot:
    """One root with the muscle it is looked for in."""

    root: str
    muscle: str
    by_team: bool  #: the team's own words; else common practice, no source
    at_piece: bool  #: leaves beside or next to what comes out
    given_up: tuple[str, ...]  #: sides on which the team gives it up
    expected: str  #: what that is expected to cost; empty if it is kept
    expected_source: str  #: key of the source; empty if it is kept


def signal_runs(acts: Sequence[PlannedAct]) -> tuple[SignalRun, ...]:
    """List the runs of the planned order, each tied to the acts around it.

    Parameters
    ----------
    acts : sequence of PlannedAct
        In the planned order.

    Returns
    -------
    tuple of SignalRun
        Empty if the order holds none.
    """
    runs: list[SignalRun] = []
    dangerous_before = False
    last = ""
    for place, one in enumerate(acts):
        if one.act is not Act.SIGNAL_RUN:
            last, dangerous_before = one.act.value, dangerous_before or one.dangerous
            continue
        following = [act.act.value for act in acts[place + 1 :] if act.act is not Act.SIGNAL_RUN]
        runs.append(
            SignalRun(
                number=len(runs) + 1,
                after=last,
                before=following[0] if following else "",
                is_baseline=not dangerous_before,
            )
        )
    return tuple(runs)


def watched_roots(
    levels: Sequence[Level], own_words: Mapping[str, str], given_up: Sequence[tuple[str, str]]
) -> tuple[WatchedRoot, ...]:
    """Which roots to watch, on which muscle, and what is expected of those that are given up.

    Parameters
    ----------
    levels : sequence of Level
        Vertebrae that come out.
    own_words : mapping of str to str
        The team's own muscles by root; others are common practice.
    given_up : sequence of (str, str)
        Root and side of the patient that the team gives up.

    Returns
    -------
    tuple of WatchedRoot
        From head to feet: those beside the piece, those given up, and the legs'.
    """
    names = [name for name in _ORDER if name in MUSCLES]
    here = [names.index(level.name) for level in levels if level.name in names]
    # the root of a chest or loin vertebra leaves below its pedicle: that of the one above counts
    reach = range(min(here) - _BEYOND, max(here) + _BEYOND + 1) if here else range(0)
    beside = {names[place] for place in reach if 0 <= place < len(names)}
    sides: dict[str, tuple[str, ...]] = {}
    for root, side in given_up:
        sides[root] = (*sides.get(root, ()), side)
    wanted = [name for name in names if name in beside or name in sides or name in LEGS]
    wanted += [name for name in (*sides, *own_words) if name not in wanted]
    return tuple(_watched(name, own_words, name in beside, sides.get(name, ())) for name in wanted)


def _watched(
    root: str, own_words: Mapping[str, str], at_piece: bool, sides: tuple[str, ...]
) -> WatchedRoot:
    loss = expected_loss(root) if sides else None
    muscle = MUSCLES.get(root)
    return WatchedRoot(
        root=root,
        muscle=own_words.get(root) or (muscle.what if muscle else ""),
        by_team=root in own_words,
        at_piece=at_piece,
        given_up=sides,
        expected=loss.what if loss else "",
        expected_source=loss.source if loss else "",
    )


def expected_loss(root: str) -> Practice:
    """What giving a root up is expected to cost.

    Parameters
    ----------
    root : str
        Such as ``T10``.

    Returns
    -------
    Practice
        With its source, or as common practice without one.
    """
    lower = {"L4": "L3", "L5": "L3", "L6": "L3"}
    return ROOT_LOSS.get(lower.get(root, root)) or ROOT_LOSS[root[0]]


def control_words(levels: Sequence[Level]) -> str:
    """Which signals tell a general fading from one of this cut.

    Parameters
    ----------
    levels : sequence of Level
        Vertebrae that come out.

    Returns
    -------
    str
        Common practice, no source.
    """
    high = min(levels) <= Level("T2")
    return (CONTROL_LOW if high else CONTROL_ABOVE).what
