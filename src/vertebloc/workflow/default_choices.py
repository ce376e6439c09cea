"""The choices file of a new case: defaults, each with its reason."""

from __future__ import annotations

from vertebloc.anatomy import ContourSet, Structure, default_diseased_level, describe_anatomy
from vertebloc.anatomy.describe import tumour_share
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import LevelChoice
from vertebloc.errors import VertBlocError
from vertebloc.exchange.choices_file import render_choices

_LEVEL = "level.diseased"


def default_choices(contours: ContourSet | None) -> str:
    """Text of ``choices.toml`` with the vertebra that holds most of the tumour filled in.

    Parameters
    ----------
    contours : ContourSet or None
        Outlines, if there are any yet.

    Returns
    -------
    str
        The file. If the vertebra cannot be found, it is left empty and the reason stands there.
    """
    if contours is None or not contours.of(Structure.TUMOUR):
        return render_choices(Choices(), {_LEVEL: "no tumour was outlined at import"})
    try:
        anatomy = describe_anatomy(contours)
        level = default_diseased_level(contours, anatomy)
        share = tumour_share(contours, anatomy, level)
    except VertBlocError as error:
        return render_choices(Choices(), {_LEVEL: f"not found at import: {error}"})
    reason = (
        f"{100.0 * share:.0f} % of the outlined tumour lies at {level}, more than at any other "
        "vertebra; nobody has confirmed it by counting"
    )
    return render_choices(Choices(level=LevelChoice(diseased=str(level))), {_LEVEL: reason})
