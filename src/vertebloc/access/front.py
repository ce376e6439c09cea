"""Can we get round the front? Each cut and side, and what decides."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial

import numpy as np

from vertebloc.access import front_words as words
from vertebloc.access.body_wall import (
    Flat,
    contact_deg,
    distances_mm,
    flat_loops,
    outline_points,
    wall_way,
)
from vertebloc.access.front_model import (
    Front,
    FrontAnswer,
    FrontSettings,
    Neighbour,
    Stage,
    Station,
    StationGround,
    Tether,
    WallWay,
    gravest,
)
from vertebloc.access.unmeasured import Unmeasured
from vertebloc.anatomy.structures import Structure
from vertebloc.case.choice_words import FrontBefore, FrontRelease
from vertebloc.published import access as published

#: What tumour may hold: these decide. A lung's pleura is taken with the piece instead.
MAY_BE_HELD = tuple(
    one.value
    for one in (
        Structure.AORTA,
        Structure.AZYGOS,
        Structure.SUPERIOR_CAVA,
        Structure.INFERIOR_CAVA,
        Structure.OESOPHAGUS,
    )
)
_SCARRED = (FrontBefore.OPERATED, FrontBefore.IRRADIATED, FrontBefore.BOTH)


def judge_front(
    grounds: Iterable[StationGround],
    settings: FrontSettings,
    *,
    needed: Sequence[str],
    outlined: Sequence[str],
    release: FrontRelease,
) -> Front:
    """Say whether the front can be got round from behind, and what decides.

    Parameters
    ----------
    grounds : iterable of StationGround
        One for each body cut and side, and planes between; none if no body is cut.
    settings : FrontSettings
        Finger reach, contour error, what was done in front before.
    needed : sequence of str
        Structures without whose outline nothing can be said.
    outlined : sequence of str
        Structures that are outlined.
    release : FrontRelease
        Whether the team plans a stage in front before.

    Returns
    -------
    Front
        As ``judge_stations`` gives it.
    """
    stations = tuple(measure_station(ground, settings) for ground in grounds)
    return judge_stations(stations, settings, needed=needed, outlined=outlined, release=release)


def judge_stations(
    stations: tuple[Station, ...],
    settings: FrontSettings,
    *,
    needed: Sequence[str],
    outlined: Sequence[str],
    release: FrontRelease,
) -> Front:
    """Say whether the front can be got round, all planes having been measured.

    Parameters
    ----------
    stations : tuple of Station
        From ``measure_station``.
    settings, needed, outlined, release
        As for ``judge_front``.

    Returns
    -------
    Front
        A finger must reach the front midline at the two body cuts; planes between say what
        touches tumour, and what tethers. Release first: even with outlines wrong in favour of
        the way from behind, a finger does not reach, or tumour holds a structure. Posterior
        alone: even with outlines wrong against it, all is reached and nothing held. Between
        lies cannot tell.

    References
    ----------
    [picus1983] arc of contact with the aorta: 45 and 90 degrees.
    """
    missing = tuple(name for name in needed if name not in outlined) if stations else ()
    scarred = settings.before in _SCARRED and bool(stations)
    answer = gravest(
        *(one.answer for one in stations),
        *((FrontAnswer.CANNOT_TELL,) if missing else ()),
        *((FrontAnswer.RELEASE,) if scarred else ()),
    )
    absent = tuple(name for name in MAY_BE_HELD if name not in outlined) if stations else ()
    return Front(
        answer=answer,
        decided_by=words.decided_by(answer, stations, settings, missing),
        would_settle=words.would_settle(answer, stations, missing),
        stations=stations,
        not_outlined=absent,
        finger_reach_mm=settings.finger_reach_mm,
        before=settings.before,
        stage=_stage(answer, stations, release),
        assumptions=settings.assumptions,
    )


def front_not_measured(settings: FrontSettings, why: Unmeasured) -> Front:
    """The answer where the front could not be measured.

    Parameters
    ----------
    settings : FrontSettings
        Finger reach, what was done in front before.
    why : Unmeasured
        The reason.

    Returns
    -------
    Front
        Cannot tell, decided by the reason.
    """
    return Front(
        answer=FrontAnswer.CANNOT_TELL,
        decided_by=why.reason,
        would_settle=words.OUTLINES_MENDED,
        stations=(),
        not_outlined=(),
        finger_reach_mm=settings.finger_reach_mm,
        before=settings.before,
        stage=None,
        assumptions=settings.assumptions,
    )


def measure_station(ground: StationGround, settings: FrontSettings) -> Station:
    """Follow the wall in one plane on one side, and measure what lies beside the way.

    Parameters
    ----------
    ground : StationGround
        The plane, and what it cuts.
    settings : FrontSettings
        Finger reach, contour error.

    Returns
    -------
    Station
        For ``judge_stations``.
    """
    way = wall_way(ground)
    tumour = flat_loops(ground.tumour, ground)
    structures = {name: flat_loops(face, ground) for name, face in ground.structures.items()}
    beside = (
        _neighbour(name, loops, way, tumour, settings)
        for name, loops in structures.items()
        if loops
    )
    neighbours = tuple(one for one in beside if one.gap_mm <= settings.looked_to_mm)
    return Station(
        name=ground.name,
        side=ground.side,
        is_cut=ground.is_cut,
        way=way,
        reach=_reached(way.longest_mm, settings) if ground.is_cut else FrontAnswer.POSTERIOR,
        neighbours=tuple(sorted(neighbours, key=lambda one: one.gap_mm)),
        tethers=tuple(_tethers(ground, settings)),
        wall=flat_loops(ground.bone, ground),
        tumour=tumour,
        structures={name: structures[name] for name in (one.name for one in neighbours)},
    )


def _reached(length: Callable[[float], float], settings: FrontSettings) -> FrontAnswer:
    """Whether a finger reaches a place whose distance depends on the outlines' error."""
    error = settings.contour_error_mm
    if length(error) <= settings.finger_reach_mm:
        return FrontAnswer.POSTERIOR
    if length(-error) > settings.finger_reach_mm:
        return FrontAnswer.RELEASE
    return FrontAnswer.CANNOT_TELL


def _neighbour(
    name: str,
    loops: Sequence[Flat],
    way: WallWay,
    tumour: Sequence[Flat],
    settings: FrontSettings,
) -> Neighbour:
    """Gap and contact of one structure; of several loops the nearest counts."""
    outlines = [outline_points(loop) for loop in loops]
    crossed = [bool((distances_mm(way.points, [loop]) == 0.0).any()) for loop in loops]
    to_way = [distances_mm(outline, [way.points], closed=False) for outline in outlines]
    nearest = min(range(len(loops)), key=lambda i: (not crossed[i], to_way[i].min()))
    gap = 0.0 if crossed[nearest] else float(to_way[nearest].min())
    at = outlines[nearest][int(np.argmin(to_way[nearest]))]
    contacts, tumour_gap = [0.0, 0.0, 0.0], np.inf
    if tumour:
        held = [distances_mm(outline, tumour) for outline in outlines]
        tumour_gap = min(float(one.min()) for one in held)
        error = settings.contour_error_mm
        for place, by in enumerate((-error, 0.0, error)):
            pairs = zip(outlines, held, strict=True)
            within = settings.contact_mm + by
            contacts[place] = max(contact_deg(line, off, within) for line, off in pairs)
    return Neighbour(
        name=name,
        gap_mm=gap,
        tumour_gap_mm=tumour_gap,
        contact_deg=contact_deg(outlines[nearest], to_way[nearest], settings.contact_mm),
        tumour_contact_deg=contacts[1],
        tumour_contact_least_deg=contacts[0],
        tumour_contact_most_deg=contacts[2],
        along_mm=_along_mm(way, at),
        answer=_held(name, contacts[0], contacts[2]),
    )


def _held(name: str, least_deg: float, most_deg: float) -> FrontAnswer:
    if name not in MAY_BE_HELD or most_deg <= published.CONTACT_FREE_DEG.value:
        return FrontAnswer.POSTERIOR
    if least_deg >= published.CONTACT_HELD_DEG.value:
        return FrontAnswer.RELEASE
    return FrontAnswer.CANNOT_TELL


def _along_mm(way: WallWay, at: Flat) -> float:
    steps = np.concatenate(([0.0], np.linalg.norm(np.diff(way.points, axis=0), axis=1).cumsum()))
    return float(steps[int(np.argmin(np.linalg.norm(way.points - at, axis=1)))])


def _tethers(ground: StationGround, settings: FrontSettings) -> Iterable[Tether]:
    """Segmental vessels on the wall: from where to where along the bone.

    Tumour that lies on them does not count: they are tied behind it and in front of it.
    """
    if not ground.tethers:
        return
    way = wall_way(ground, with_tumour=False)
    share = way.turn_rad / max(way.length_mm, 1e-9)
    for name, points in ground.tethers.items():
        local = points - ground.origin
        flat = np.column_stack((local @ ground.outward, local @ ground.forward))
        on = flat[distances_mm(flat, [way.points], closed=False) <= settings.vessel_near_mm]
        if not len(on):
            continue
        along = [
            _along_mm(way, at) for at in (on[int(np.argmin(on[:, 1]))], on[np.argmax(on[:, 1])])
        ]
        first, last = min(along), max(along)
        answer = _reached(partial(_as_far, last, share), settings)
        yield Tether(name=name, from_mm=first, to_mm=last, answer=answer)


def _as_far(end_mm: float, share: float, error_mm: float) -> float:
    """A place along the way with the outlines larger by an error."""
    return end_mm * (1.0 + error_mm * share)


def _stage(
    answer: FrontAnswer, stations: tuple[Station, ...], release: FrontRelease
) -> Stage | None:
    """The stage in front: where it is needed, or where the team plans it."""
    chosen = release is FrontRelease.STAGE_BEFORE and bool(stations)
    if answer is not FrontAnswer.RELEASE and not chosen:
        return None
    beside = [(n.name, n.answer) for station in stations for n in station.neighbours]
    tied = [(t.name, t.answer) for station in stations for t in station.tethers]
    frees = dict.fromkeys(
        name for name, one in (*beside, *tied) if one is not FrontAnswer.POSTERIOR
    )
    return Stage(
        approach=words.STAGE_APPROACH,
        acts=words.STAGE_ACTS,
        frees=tuple(frees) or (words.FRONT_WALL,),
        chosen=chosen,
    )
