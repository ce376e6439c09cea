"""What is usually done with each part of the arch, by region of the spine."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import ArchPart, BoneChoice
from vertebloc.errors import InputError

#: Where the presets come from; printed beside them.
PRESETS_SOURCE = "common practice, no source"

_BOTH = {
    "pedicles": (ArchPart.LEFT_PEDICLE, ArchPart.RIGHT_PEDICLE),
    "laminae": (ArchPart.LEFT_LAMINA, ArchPart.RIGHT_LAMINA),
    "transverse": (ArchPart.LEFT_TRANSVERSE_PROCESS, ArchPart.RIGHT_TRANSVERSE_PROCESS),
    "facets": (ArchPart.LEFT_FACETS, ArchPart.RIGHT_FACETS),
    "spinous": (ArchPart.SPINOUS_PROCESS,),
}


def _preset(**fates: BoneChoice) -> Mapping[ArchPart, BoneChoice]:
    return MappingProxyType({part: fate for name, fate in fates.items() for part in _BOTH[name]})


_RULE, _NIBBLE, _STAYS = BoneChoice.BY_RULE, BoneChoice.PIECEMEAL, BoneChoice.STAYS
_BEHIND_RIBS = _preset(
    pedicles=_RULE, laminae=_RULE, transverse=_RULE, facets=_RULE, spinous=_NIBBLE
)
_WITHOUT_RIBS = _preset(
    pedicles=_RULE, laminae=_RULE, transverse=_STAYS, facets=_RULE, spinous=_NIBBLE
)

#: By region: first and last level, and the fate of each part. By rule: taken piecemeal, but for
#: what lies in front of the arch cut beside a diseased pedicle - a preset never has bone nibbled
#: that the tumour wants kept whole. Behind a rib the transverse process hides rib and body and
#: is taken; where it carries none or a short one, it is cut at its root and stays in the muscle.
ARCH_PRESETS: Mapping[str, tuple[str, str, Mapping[ArchPart, BoneChoice]]] = MappingProxyType(
    {
        "upper thoracic": ("T1", "T4", _BEHIND_RIBS),
        "middle thoracic": ("T5", "T10", _BEHIND_RIBS),
        "lower thoracic": ("T11", "T13", _WITHOUT_RIBS),
        "lumbar": ("L1", "L6", _WITHOUT_RIBS),
    }
)


def arch_presets(level: Level) -> Mapping[ArchPart, BoneChoice]:
    """What is usually done with each part of the arch at a level: common practice, no source.

    Parameters
    ----------
    level : Level
        The diseased vertebra.

    Returns
    -------
    mapping of ArchPart to BoneChoice
        Every part. Where tumour lies is not looked at: by rule, or the team, decides there.

    Raises
    ------
    InputError
        If no preset covers the level.
    """
    for first, last, preset in ARCH_PRESETS.values():
        if Level(first) <= level <= Level(last):
            return preset
    raise InputError(f"there is no preset for the arch of {level}: presets cover T1 to L6")
