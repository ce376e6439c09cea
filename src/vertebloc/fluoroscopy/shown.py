"""Which pictures are shown: straight views, each plane of cuts as a line, the level strip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.fluoroscopy.model import Beam, CArmPlan, CArmView, LineView

_SAME_DEG = 0.05
_SAME_MM = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShownView:
    """One picture."""

    key: str  #: under which a case keeps it
    beam: Beam
    view: CArmView
    cuts: tuple[str, ...] = ()  #: that are lines in it
    bone_in_way_mm: float = 0.0
    shows_depth: bool = False  #: whether the blade's line is seen along its length
    is_best: bool = True  #: whether no other picture shows these cuts with less bone in the way
    numbers: Mapping[Level, int] = field(default_factory=dict)  #: of a level strip
    place: int = 0  #: of a level strip, from 1


def shown_views(plan: CArmPlan) -> tuple[ShownView, ...]:
    """Every picture of a plan.

    Parameters
    ----------
    plan : CArmPlan
        From ``plan_views``.

    Returns
    -------
    tuple of ShownView
        Both straight views, then cuts that lie in one plane together, then the level strip.
    """
    found = [
        ShownView(key="c-arm-behind", beam=Beam.FROM_BEHIND, view=plan.behind),
        ShownView(key="c-arm-side", beam=Beam.FROM_THE_SIDE, view=plan.side),
    ]
    normals = {cut.name: cut.normal for cut in plan.cuts}
    groups: list[list[LineView]] = []
    for line in plan.lines:
        for group in groups:
            if _is_same(group[0], line, normals[line.cut_name]):
                group.append(line)
                break
        else:
            groups.append([line])
    for number, group in enumerate(groups, start=1):
        found.append(
            ShownView(
                key=f"c-arm-line-{number}",
                beam=group[0].beam,
                view=group[0].view,
                cuts=tuple(one.cut_name for one in group),
                bone_in_way_mm=max(one.bone_in_way_mm for one in group),
                shows_depth=any(one.shows_depth for one in group),
                is_best=any(one.is_best for one in group),
            )
        )
    found += [
        ShownView(
            key=f"c-arm-strip-{place}", beam=Beam.FROM_BEHIND, view=one.view,
            numbers=one.numbers, place=place,
        )
        for place, one in enumerate(plan.strip, start=1)
    ]  # fmt: skip
    return tuple(found)


def _is_same(one: LineView, other: LineView, normal: object) -> bool:
    """Whether one setting shows both: same beam and angles, aimed into one plane."""
    if one.beam is not other.beam:
        return False
    turned = abs(one.view.primary_deg - other.view.primary_deg) + abs(
        one.view.secondary_deg - other.view.secondary_deg
    )
    apart = abs(float((one.view.aim - other.view.aim) @ np.asarray(normal)))
    return turned < _SAME_DEG and apart < _SAME_MM
