"""The way out in the form in which a page plays it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from vertebloc.reports import travel_text, way_out_text
from vertebloc.reports.clearance_curve import curve_svg
from vertebloc.reports.screen_scene import scene_views
from vertebloc.reports.travel_leans import is_tilted
from vertebloc.reports.travel_picture import leans_on_plane, plane_svg
from vertebloc.space.transforms import Transform


def travel_data(
    kept: Mapping[str, Any], way: int, standing: str, lps_from_body: Transform
) -> dict[str, Any]:
    """Everything that the page's picture needs for one plan of the ledger.

    Parameters
    ----------
    kept : mapping
        As kept in the case: ``way_out``, ``ways``, ``scene``.
    way : int
        Which of the ways, in the order in which they are kept.
    standing : str
        ``left``, ``right`` or ``head up``.
    lps_from_body : Transform
        The diseased vertebra's frame, in which theatre looks.

    Returns
    -------
    dict
        Drawings as SVG, poses with the numbers to read at each, surfaces and views in the frame
        of travel.
    """
    ways = kept["ways"]
    scene = scene_of(kept, way)
    one = dict(ways[way]) | {"blocking": kept["way_out"]["ledger"][way]["blocking"]}
    least_mm = float(kept["way_out"]["settings"]["least_mm"])
    played = one["played"]
    found: dict[str, Any] = {
        "plane": plane_svg(scene, one, 0),
        "note": travel_text.TILTED_NOTE if is_tilted(one) else "",
        "curve": curve_svg(one, least_mm),
        "views": travel_views(scene, standing, lps_from_body),
        "meshes": [m for m in scene["meshes"] if m["kind"] in _OWN or m["name"] in one["stays"]],
        "lines": [line for line in scene["lines"] if line["name"] in one["stays"]],
        "played": None,
    }
    if played is not None:
        count = len(played["x_mm"])
        found["played"] = {
            name: played[name] for name in _READ
        } | {
            "words": [reading(played, pose) for pose in range(count)],
            "leans": leans_on_plane(scene, one),
        }  # fmt: skip
    return found


def scene_of(kept: Mapping[str, Any], way: int) -> Mapping[str, Any]:
    """The scene that a way is drawn in.

    Parameters
    ----------
    kept : mapping
        As kept in the case.
    way : int
        Which of its ways.

    Returns
    -------
    mapping
        The spine pulled apart, for a way that was found so.
    """
    scene: Mapping[str, Any] = kept["scene"]
    return scene["pulled"] if kept["ways"][way].get("pulled") else scene


_OWN = ("piece", "tumour", "sac")
_READ = (
    "x_mm", "y_mm", "turn_deg", "moves", "along_mm", "clearance_mm", "on_piece_mm", "on_sac_mm",
    "narrowest", "moments",
)  # fmt: skip


def reading(played: Mapping[str, Any], pose: int) -> str:
    """What is read at one pose.

    Parameters
    ----------
    played : mapping
        Poses with their numbers.
    pose : int
        Which.

    Returns
    -------
    str
        How far it has moved, the room as stored, and what is wanted there.
    """
    return travel_text.reading(
        played["moved_mm"][pose],
        played["clearance_mm"][pose],
        played["demanded_mm"][pose],
        turn_deg=(played["turn_deg"][pose] + 180.0) % 360.0 - 180.0,
        leaned=(float(np.hypot(*played["tilts"][pose][:2])), played["tilts"][pose][2]),
    )


def travel_views(
    scene: Mapping[str, Any], standing: str, lps_from_body: Transform
) -> dict[str, dict[str, Any]]:
    """Theatre views from behind and from the feet, with axes in the frame of travel.

    Parameters
    ----------
    scene : mapping
        Knows where that frame lies.
    standing : str
        ``left``, ``right`` or ``head up``.
    lps_from_body : Transform
        The diseased vertebra's frame.

    Returns
    -------
    dict
        ``behind`` and ``across``: ``right``, ``up``, ``toward``, ``edges``, ``title``.
    """
    to_travel = np.array(scene["lps_from_travel"]).reshape(4, 4)[:3, :3].T
    views = scene_views(lps_from_body)
    return {
        look: {
            **views[look][standing],
            **{
                axis: [
                    round(float(v), 6) for v in to_travel @ np.array(views[look][standing][axis])
                ]
                for axis in ("right", "up", "toward")
            },
        }
        for look in ("behind", "across")
    }


def playable(
    way_out: Mapping[str, Any], ways: Sequence[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The plans of the ledger that can be looked at, in its order.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json, ranked.
    ways : sequence of mapping
        As kept.

    Returns
    -------
    list of dict
        ``way`` and ``label``; the chosen one first.
    """
    lines = sorted(way_out.get("ledger", ()), key=lambda line: not line["chosen"])
    return [
        {
            "way": line["way"],
            "label": way_out_text.plan_label(line),
            "has_path": ways[line["way"]]["played"] is not None,
        }
        for line in lines
    ]
