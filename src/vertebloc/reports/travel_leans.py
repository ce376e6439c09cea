"""A piece that is tilted on its way, in the plane's picture: its outlines are carried along.

The picture moves outlines in the plane. A tilt and a lift come before that move; laid onto the
plane, an outline at one height of the piece is then stretched and shifted a little, which a matrix
of SVG says exactly. What is filled is cut at the height that decides as the piece is tilted at
the pose that decides: there it is a true section.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.reports.slicing import section_loops
from vertebloc.reports.travel_scene import mesh_of
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform
from vertebloc.way_out.poses import Tilt

#: Every so many of the kept heights is drawn as a thin line.
EVERY = 2
MOVING = ("piece", "tumour")


def is_tilted(way: Mapping[str, Any]) -> bool:
    """Whether any pose of a way is tilted or lifted."""
    return way["played"] is not None and bool(np.any(way["played"]["tilts"]))


def cut_loops(
    scene: Mapping[str, Any], way: Mapping[str, Any], name: str, index: int
) -> Sequence[Sequence[Sequence[float]]]:
    """What is filled: the cut at the height that decides, as tilted at the pose that decides.

    Parameters
    ----------
    scene : mapping
        From ``travel_scene``.
    way : mapping
        One of its ways.
    name : str
        ``piece`` or ``tumour``.
    index : int
        Which of the kept heights decides.

    Returns
    -------
    sequence of loops
        x and y, mm, as the piece lies tilted in its seat; none if there is no such part.
    """
    if not is_tilted(way):
        return next((p["loops"][index] for p in scene["parts"] if p["name"] == name), ())
    to_travel = np.linalg.inv(np.array(scene["lps_from_travel"]).reshape(4, 4))
    lean = Transform(
        _lean(way, way["played"]["narrowest"]) @ to_travel,
        target=Frame.PATIENT_LPS,
        source=Frame.PATIENT_LPS,
    )
    loops = section_loops(mesh_of(scene, name), lean, scene["heights_mm"][index])
    return [loop.tolist() for loop in loops]


def leans_of(
    scene: Mapping[str, Any],
    way: Mapping[str, Any],
    pose: int,
    index: int,
    drawn: tuple[tuple[float, float], float],
) -> list[str]:
    """What a pose's tilt does to each outline, as SVG writes it.

    Parameters
    ----------
    scene, way : mapping
        From ``travel_scene``.
    pose : int
        Which of its poses.
    index : int
        Which of the kept heights decides.
    drawn : ((float, float), float)
        Where the piece's middle lies on the drawing at rest, and drawing units a millimetre.

    Returns
    -------
    list of str
        For the thin lines, part by part and height by height as drawn, then for what is filled;
        empty if the way is flat.
    """
    if not is_tilted(way):
        return []
    lean, heights = _lean(way, pose), scene["heights_mm"]
    names = [name for name in MOVING if any(p["name"] == name for p in scene["parts"])]
    found = [_matrix(lean, h, drawn) for _ in names for h in heights[::EVERY]]
    back = np.linalg.inv(_lean(way, way["played"]["narrowest"]))
    return [*found, _matrix(lean @ back, heights[index], drawn)]


def _lean(way: Mapping[str, Any], pose: int) -> NDArray[np.float64]:
    about_x, about_y, lift = way["played"]["tilts"][pose]
    return Tilt(about_x_deg=about_x, about_y_deg=about_y, lift_mm=lift).matrix


def _matrix(
    move: NDArray[np.float64], height: float, drawn: tuple[tuple[float, float], float]
) -> str:
    """A motion of an outline at a height, laid onto the plane; both axes are turned over."""
    middle, unit = np.array(drawn[0]), drawn[1]
    turned = move[:2, :2]
    shift = middle - turned @ middle - unit * (move[:2, 2] * height + move[:2, 3])
    said = [*np.round(turned.T.ravel(), 5).tolist(), *np.round(shift, 2).tolist()]
    return f"matrix({' '.join(f'{number + 0.0:g}' for number in said)})"
