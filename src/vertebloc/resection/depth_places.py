"""Where the protector must lie in front of a cut, in words."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.model import HalfCut


def protector_words(vertebra: Vertebra, cut: HalfCut, exits: NDArray[np.float64]) -> str:
    """Say where the blades come out, and so where the protector must lie.

    Parameters
    ----------
    vertebra : Vertebra
        The one that is cut.
    cut : HalfCut
        The half cut.
    exits : (n, 3) float64, mm, patient LPS
        Where lines leave bone for the last time.

    Returns
    -------
    str
        Such as ``in front of the body of T9, from 15 mm left to 3 mm right of the midline, 5 mm
        above its lower endplate``.
    """
    local = vertebra.lps_from_vertebra.inverse.points(exits)
    x, y, z = local.T
    height = float(z.mean())
    above = height - vertebra.lower_endplate_mm
    below = vertebra.upper_endplate_mm - height
    if min(above, below) < 0.0:
        edge = "upper" if below < 0.0 else "lower"
        high = f"at the disc, {-min(above, below):.0f} mm past the {edge} endplate of "
        high += str(vertebra.level)
    elif above <= below:
        high = f"{above:.0f} mm above its lower endplate"
    else:
        high = f"{below:.0f} mm below its upper endplate"
    where = f"in front of the {cut.passes_through}, from {_aside(x.max())} to {_aside(x.min())}"
    middle = (vertebra.anterior_wall_mm + vertebra.posterior_wall_mm) / 2.0
    back = float(y[int(np.argmax(np.abs(x)))])
    if back > middle:
        where += (
            f", and round the {cut.side.value} side as far as "
            f"{back - vertebra.anterior_wall_mm:.0f} mm behind the front wall"
        )
    return f"{where}, {high}"


def _aside(x_mm: float) -> str:
    if abs(x_mm) < 0.5:
        return "the midline"
    return f"{abs(x_mm):.0f} mm {'left' if x_mm > 0 else 'right'} of the midline"
