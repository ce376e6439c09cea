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
        Such as ``12 mm left of the midline, 4 mm behind the front wall, 8 mm above mid-body``.
    """
    x, y, z = vertebra.lps_from_vertebra.inverse.points(point)[0]
    front, back = vertebra.anterior_wall_mm, vertebra.posterior_wall_mm
    if y > back:
        along = f"{y - back:.0f} mm behind the back wall"
    elif y - front > back - y:
        along = f"{back - y:.0f} mm in front of the back wall"
    else:
        along = f"{abs(y - front):.0f} mm {_side_of_wall(y - front)} the front wall"
    across = f"{abs(x):.0f} mm {'left' if x > 0 else 'right'} of the midline"
    if abs(x) < 1.0:
        across = "in the midline"
    height = f"{abs(z):.0f} mm {'above' if z > 0 else 'below'} mid-body"
    return f"{across}, {along}, {height}"


def _side_of_wall(behind_mm: float) -> str:
    return "behind" if behind_mm >= 0 else "in front of"
