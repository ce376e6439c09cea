"""Places in the vertebra's own terms, as a surgeon would say them."""

from __future__ import annotations

from numpy.typing import ArrayLike

from vertebloc.anatomy.model import Vertebra


def place_in_words(vertebra: Vertebra, point: ArrayLike) -> str:
    """Say where a point lies: side and distance from the midline, front to back, height.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    point : (3,) float64, mm, patient LPS
        The place.

    Returns
    -------
    str
        Such as ``left front, 12 mm left of the midline, 4 mm behind the front wall``.
    """
    x, y, z = vertebra.lps_from_vertebra.inverse.points(point)[0]
    front, back = vertebra.anterior_wall_mm, vertebra.posterior_wall_mm
    third = (y - front) / max(back - front, 1e-6)
    if third > 1.0:
        depth, along = "behind the body", f"{y - back:.0f} mm behind the back wall"
    elif third > 2 / 3:
        depth, along = "back", f"{back - y:.0f} mm in front of the back wall"
    elif third > 1 / 3:
        depth, along = "middle", f"{y - front:.0f} mm behind the front wall"
    else:
        depth, along = (
            "front",
            f"{abs(y - front):.0f} mm {_side_of_wall(y - front)} the front wall",
        )
    if abs(x) < 1.0:
        side, across = "midline", "on the midline"
    else:
        side = "left" if x > 0 else "right"
        across = f"{abs(x):.0f} mm {side} of the midline"
    height = f"{abs(z):.0f} mm {'above' if z > 0 else 'below'} the middle of the body"
    return f"{side} {depth}, {across}, {along}, {height}"


def _side_of_wall(behind_mm: float) -> str:
    return "behind" if behind_mm >= 0 else "in front of"
