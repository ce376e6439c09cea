"""How much blood a person has, and how much may be lost before the haematocrit falls to a limit.

Formulas only: what is given, and when, is decided by local protocol and the anaesthetist.
"""

from __future__ import annotations

import math
from enum import Enum

from vertebloc.errors import InputError
from vertebloc.published.blood import BLOOD_VOLUME, LEAST_WEIGHT_KG


class Sex(Enum):
    """Which equation of the blood volume is used."""

    MALE = "male"
    FEMALE = "female"


def blood_volume_ml(sex: Sex, *, height_cm: float, weight_kg: float) -> float:
    """Blood volume of an adult.

    Parameters
    ----------
    sex : Sex
        Which equation.
    height_cm : float, cm
        Height.
    weight_kg : float, kg
        Weight; more than 35 kg.

    Returns
    -------
    float, ml
        The blood volume.

    Raises
    ------
    InputError
        If the weight is outside of what the equation was made for, or the height is not > 0.

    Notes
    -----
    a h^3 + b w + c in litres, h in m, w in kg. Adults of usual build; not for children, and too
    high in the very heavy.

    References
    ----------
    [nadler1962] the equation and its coefficients.
    """
    if not (math.isfinite(height_cm) and height_cm > 0.0):
        raise InputError(f"height_cm is {height_cm:g}: give a height of more than 0 cm")
    if not (math.isfinite(weight_kg) and weight_kg > LEAST_WEIGHT_KG.value):
        raise InputError(
            f"weight_kg is {weight_kg:g}: the blood volume's equation is for more than "
            f"{LEAST_WEIGHT_KG.value:g} kg; estimate it by local protocol"
        )
    cubic, linear, constant = (one.value for one in BLOOD_VOLUME[sex.value])
    return 1000.0 * (cubic * (height_cm / 100.0) ** 3 + linear * weight_kg + constant)


def allowable_loss_by_mean_ml(volume_ml: float, *, before: float, least: float) -> float:
    """Loss at which the haematocrit reaches a limit, by the mean of both haematocrits.

    Parameters
    ----------
    volume_ml : float, ml
        Blood volume.
    before, least : float, -
        Haematocrit before, and the least one allowed, as fractions.

    Returns
    -------
    float, ml
        The loss.

    Raises
    ------
    InputError
        If the volume is not > 0, or not 0 < ``least`` <= ``before`` < 1.

    Notes
    -----
    V (H0 - H1) / ((H0 + H1) / 2): an approximation of ``allowable_loss_exact_ml``, a little less.
    Volume is taken to be kept up all the time; salvaged blood is not counted.

    References
    ----------
    [gross1983] the formula.
    """
    _check(volume_ml, before, least)
    return volume_ml * (before - least) / ((before + least) / 2.0)


def allowable_loss_exact_ml(volume_ml: float, *, before: float, least: float) -> float:
    """Loss at which the haematocrit reaches a limit, while lost volume is replaced all the time.

    Parameters
    ----------
    volume_ml : float, ml
        Blood volume.
    before, least : float, -
        Haematocrit before, and the least one allowed, as fractions.

    Returns
    -------
    float, ml
        The loss.

    Raises
    ------
    InputError
        If the volume is not > 0, or not 0 < ``least`` <= ``before`` < 1.

    Notes
    -----
    V ln(H0 / H1), the solution of dH / dL = -H / V.

    References
    ----------
    [bourke1974] the formula.
    """
    _check(volume_ml, before, least)
    return volume_ml * math.log(before / least)


def allowable_loss_plain_ml(volume_ml: float, *, before: float, least: float) -> float:
    """Loss at which the haematocrit reaches a limit, if all is lost at the first haematocrit.

    Parameters
    ----------
    volume_ml : float, ml
        Blood volume.
    before, least : float, -
        Haematocrit before, and the least one allowed, as fractions.

    Returns
    -------
    float, ml
        The loss; the least of the three, so the first to warn.

    Raises
    ------
    InputError
        If the volume is not > 0, or not 0 < ``least`` <= ``before`` < 1.

    Notes
    -----
    V (H0 - H1) / H0.
    """
    _check(volume_ml, before, least)
    return volume_ml * (before - least) / before


def _check(volume_ml: float, before: float, least: float) -> None:
    if not (math.isfinite(volume_ml) and volume_ml > 0.0):
        raise InputError(f"the blood volume is {volume_ml:g} ml: give more than 0 ml")
    if not 0.0 < least <= before < 1.0:
        raise InputError(
            f"the haematocrit is {before:g} before and {least:g} at least: give fractions with "
            "0 < least <= before < 1"
        )
