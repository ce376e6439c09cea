"""What the way out is drawn from: outlines at many heights, surfaces, and each way as played.

Plain numbers in the frame of travel (mm; x to the patient's left, y to the back, z to the head),
kept in the case so that a way is played without being computed again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.reports.slicing import section_loops
from vertebloc.reports.way_out_document import way_out_words
from vertebloc.space.frames import Frame
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.way_out.answer import Entry, WayOut
from vertebloc.way_out.model import Answer, Obstacle, Substance
from vertebloc.way_out.obstacles import RoomOfPlan, rib_obstacle
from vertebloc.way_out.played import Played, play, six_moments

_APART_MM = 2.0  #: between the heights at which outlines are kept
_FIELD_MM = 75.0  #: outlines are kept so far to each side of the seat
_KINDS = {
    Substance.BONE: "bone",
    Substance.RIB: "rib",
    Substance.ROOT: "root",
    Substance.VESSEL: "vessel",
}
_SAME = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
_OF_A_MM = 100  #: places of surfaces are kept as whole hundredths


def travel_scene(
    found: WayOut, room: RoomOfPlan, inside: Mapping[str, TriangleSurface]
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Collect what the way out is drawn and played from.

    Parameters
    ----------
    found : WayOut
        The answer with its ledger.
    room : RoomOfPlan
        Piece, sac and obstacles.
    inside : mapping of str to TriangleSurface
        ``tumour``, which goes with the piece, and ``cord``; patient LPS, mm.

    Returns
    -------
    tuple of (dict, list of dict)
        The scene, and a way for each line of the ledger, in its order.
    """
    here = {name: surface.moved(room.lps_from_travel.inverse) for name, surface in inside.items()}
    ways = [_way(entry, found, room) for entry in found.ledger]
    shown = {name for way in ways for name in (*way["stays"], *way["gone"])}
    heights = _heights(room.room.piece)
    surfaces = [("piece", "piece", room.room.piece), ("sac", "sac", room.room.sac)]
    surfaces += [(name, name, surface) for name, surface in here.items()]
    surfaces += [
        (o.name, _KINDS[o.substance], o.surface)
        for o in room.room.obstacles
        if o.name in shown and o.surface is not None
    ]
    scene = {
        "lps_from_travel": [round(float(v), 6) for v in room.lps_from_travel.matrix.reshape(-1)],
        "heights_mm": [round(float(h), 2) for h in heights],
        "delivered_y_mm": round(room.room.delivered_y_mm, 2),
        "parts": [
            {"name": name, "kind": kind, "loops": [_loops(surface, h) for h in heights]}
            for name, kind, surface in surfaces
        ],
        "lines": [_line(o) for o in room.room.obstacles if o.name in shown and o.line is not None],
        "meshes": [_mesh(name, kind, s) for name, kind, s in surfaces if kind != "cord"],
    }
    return scene, ways


def _way(entry: Entry, found: WayOut, room: RoomOfPlan) -> dict[str, Any]:
    """One line of the ledger: what stays, what is gone, and its path as played."""
    stays = [o for o in room.room.obstacles if _is_shown(o) and o.name not in entry.given_up]
    held = {o.name for o in stays}
    way: dict[str, Any] = {
        "side": entry.side.value,
        "chosen": entry is found.best,
        "stays": [o.name for o in stays if o.part_of not in held],
        "gone": _gone(entry, room),
        "words": "",
        "played": None,
    }
    if entry.answer is Answer.YES:
        chosen = replace(found, best=entry, side=entry.side, answer=Answer.YES)
        way["words"] = way_out_words(chosen, room)
    if entry.path is not None:
        way["played"] = _played(play(entry.path, room.room, found.settings))
    return way


def _is_shown(obstacle: Obstacle) -> bool:
    return obstacle.substance is not Substance.CROWDED


def _gone(entry: Entry, room: RoomOfPlan) -> list[str]:
    """Roots that are given up, and the whole of each rib that is shortened."""
    names = [root.name for root in room.roots if root.name in entry.given_up]
    for rib, lengths in room.rib_lengths_mm.items():
        if lengths and rib_obstacle(rib, lengths[0]) in entry.given_up:
            names.append(rib_obstacle(rib, lengths[0]))
    return names


def _played(played: Played) -> dict[str, Any]:
    def numbers(values: NDArray[np.float64], digits: int) -> list[Any]:
        return [
            [round(float(v), digits) + 0.0 for v in row]
            if np.ndim(row)
            else round(float(row), digits) + 0.0
            for row in values
        ]

    return {
        "x_mm": numbers(played.poses[:, 0], 3),
        "y_mm": numbers(played.poses[:, 1], 3),
        "turn_deg": numbers(np.degrees(played.poses[:, 2]), 3),
        "tilts": numbers(played.tilts, 3),
        "moves": numbers(played.moves.reshape(len(played.moves), -1), 6),
        "along_mm": numbers(played.along_mm, 2),
        "moved_mm": numbers(played.gone_mm, 2),
        "clearance_mm": numbers(played.clearance_mm, 2),
        "demanded_mm": numbers(played.demanded_mm, 2),
        "on_piece_mm": numbers(played.on_piece, 2),
        "on_sac_mm": numbers(played.on_sac, 2),
        "narrowest": played.narrowest,
        "moments": list(six_moments(played)),
    }


def _heights(piece: TriangleSurface) -> NDArray[np.float64]:
    z = piece.vertices[:, 2]
    first, last = np.ceil(z.min() / _APART_MM), np.floor(z.max() / _APART_MM)
    return np.asarray(_APART_MM * np.arange(first, last + 1))


def _loops(surface: TriangleSurface, height: float) -> list[list[list[float]]]:
    """Outlines at a height, near the seat, to a tenth of a millimetre."""
    found = []
    for loop in section_loops(surface, _SAME, float(height)):
        if np.abs(loop[:, 0]).min() > _FIELD_MM:
            continue
        points = np.round(np.clip(loop, -2.0 * _FIELD_MM, 2.0 * _FIELD_MM), 1)
        new = np.concatenate(([True], np.any(np.diff(points, axis=0) != 0.0, axis=1)))
        if new.sum() >= 3:
            found.append((points[new] + 0.0).tolist())
    return found


def _line(obstacle: Obstacle) -> dict[str, Any]:
    assert obstacle.line is not None
    thin = obstacle.line[:: max(1, len(obstacle.line) // 60)]
    return {
        "name": obstacle.name,
        "kind": _KINDS[obstacle.substance],
        "radius_mm": obstacle.radius_mm,
        "points": (np.round(thin, 1) + 0.0).tolist(),
    }


def _mesh(name: str, kind: str, surface: TriangleSurface) -> dict[str, Any]:
    places = np.round(surface.vertices * _OF_A_MM).astype(np.int64)
    return {
        "name": name,
        "kind": kind,
        "places": places.reshape(-1).tolist(),
        "corners": surface.triangles.astype(np.int64).reshape(-1).tolist(),
    }


def mesh_of(scene: Mapping[str, Any], name: str) -> TriangleSurface:
    """A surface of the scene, back in patient LPS.

    Parameters
    ----------
    scene : mapping
        From ``travel_scene``.
    name : str
        One of its meshes.

    Returns
    -------
    TriangleSurface
        mm; empty if there is none of that name.
    """
    lps = Transform(
        np.array(scene["lps_from_travel"]).reshape(4, 4),
        target=Frame.PATIENT_LPS,
        source=Frame.PATIENT_LPS,
    )
    for mesh in scene["meshes"]:
        if mesh["name"] == name:
            places = np.array(mesh["places"], dtype=np.float64).reshape(-1, 3) / _OF_A_MM
            corners = np.array(mesh["corners"], dtype=np.int32).reshape(-1, 3)
            return TriangleSurface(places, corners).moved(lps)
    return TriangleSurface(np.empty((0, 3)), np.empty((0, 3), dtype=np.int32))
