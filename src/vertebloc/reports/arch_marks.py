"""The parts of the arch as they are named and brushed on a slice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.case.choice_words import ArchPart, BoneChoice
from vertebloc.reports import bone_words as words
from vertebloc.resection.model import BoneFate

#: What a sweep on a slice gives a part, and what it gives one that has it already.
MARKED, UNMARKED = BoneChoice.PIECEMEAL, BoneChoice.BY_RULE


def arch_marks(
    chosen: Mapping[ArchPart, BoneChoice], fates: Mapping[str, BoneFate]
) -> list[dict[str, Any]]:
    """What each part of the arch is called, what happens to it, and what a sweep would do.

    Parameters
    ----------
    chosen : mapping of ArchPart to BoneChoice
        What the team chose.
    fates : mapping of str to BoneFate
        What the plan does with each part, by its name.

    Returns
    -------
    list of dict
        ``name``, ``words``, ``label`` for the picture, ``nibbled`` (whether it is taken
        piecemeal), ``next`` (the choice that a sweep makes), ``next_words``.
    """
    listed = []
    for part, choice in chosen.items():
        planned = fates.get(part.value)
        fate = planned.value if planned is not None else choice.value
        after = UNMARKED if choice is MARKED else MARKED
        listed.append(
            {
                "name": part.value,
                "words": words.arch_part(part.value, fate, by_rule=choice is BoneChoice.BY_RULE),
                "label": words.arch_label(part.value, fate),
                "nibbled": fate == BoneFate.PIECEMEAL.value,
                "next": after.value,
                "next_words": words.FATE_WORDS[after.value],
            }
        )
    return listed
