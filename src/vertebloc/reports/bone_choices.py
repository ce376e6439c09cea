"""Which bone comes out and how: the choices of one card, and what changing one of them means."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    CuffSurface,
    KindChoice,
    SoftFace,
    TractChoice,
)
from vertebloc.case.choices import LIMITS, MOST_LEVELS, ArchChoice, Choices, CuffChoice
from vertebloc.errors import InputError
from vertebloc.reports import bone_words as words
from vertebloc.reports.plan_parts import Choice, Number, Part, read_number, read_word
from vertebloc.resection.arch_presets import ARCH_PRESETS, arch_presets

#: First word of the names of all parts of this card.
BONE_PARTS = ("out", "sagittal", "tract", "cuff", "arch", "preset")


def bone_parts(choices: Choices, anatomy: Anatomy, level: Level) -> tuple[Part, ...]:
    """What comes out, the biopsy tract, and the cuffs at soft faces.

    Parameters
    ----------
    choices : Choices
        The team's.
    anatomy : Anatomy
        Which neighbours are outlined.
    level : Level
        The diseased vertebra.

    Returns
    -------
    tuple of Part
        Each with its label.
    """
    allowed = tuple((key, said) for key, (said, _) in _kinds(anatomy, level).items())
    now = _kind_key(choices, level)
    parts: list[Part] = [Choice(part="out", label=words.OUT, value=now, allowed=allowed)]
    if choices.kind is KindChoice.HALF_BODY:
        parts.append(
            _number("sagittal", words.SAGITTAL, choices.sagittal_cut_mm, "sagittal_cut_mm")
        )
    parts.append(
        Choice(
            part="tract", label=words.TRACT, value=choices.tract.value,
            allowed=tuple((one.value, words.TRACT_WORDS[one.value]) for one in TractChoice),
        )
    )  # fmt: skip
    for face, cuff in choices.cuffs.items():
        parts.append(
            Choice(
                part=f"cuff.{face.value}.surface", label=words.CUFF.format(face=face.value),
                value=cuff.surface.value,
                allowed=tuple((one.value, words.CUFF_WORDS[one.value]) for one in CuffSurface),
            )
        )  # fmt: skip
        if cuff.surface is not CuffSurface.ON_TUMOUR:
            label = words.CUFF_MM.format(face=face.value)
            parts.append(
                _number(f"cuff.{face.value}.thickness", label, cuff.thickness_mm, "thickness_mm")
            )
    return tuple(parts)


def preset_region(level: Level) -> str:
    """The region of the spine whose usual fates a preset takes.

    Parameters
    ----------
    level : Level
        The diseased vertebra.

    Returns
    -------
    str
        Such as ``lower thoracic``; empty where there is no preset.
    """
    for region, (first, last, _) in ARCH_PRESETS.items():
        if Level(first) <= level <= Level(last):
            return region
    return ""


def with_changed_bone(
    choices: Choices, anatomy: Anatomy, level: Level, part: str, typed: str
) -> Choices:
    """Choices after one of the card's words or numbers was changed.

    Parameters
    ----------
    choices : Choices
        As they were.
    anatomy : Anatomy
        Which neighbours are outlined.
    level : Level
        The diseased vertebra.
    part : str
        Which; ``arch.FATE`` takes the parts of the arch, joined by ``|``, to that fate.
    typed : str
        Its new value.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If that is no number, no allowed word, or cannot be meant.
    """
    first, *further = part.split(".")
    if first == "out":
        return _with_kind(choices, anatomy, level, typed)
    if first == "sagittal":
        return replace(
            choices, sagittal_cut_mm=read_number(part, typed, LIMITS["sagittal_cut_mm"], "mm")
        )
    if first == "tract":
        return replace(choices, tract=read_word(TractChoice, typed))
    if first == "preset":
        return _with_arch(choices, arch_presets(level))
    if first == "arch" and len(further) == 1:
        fate = read_word(BoneChoice, further[0])
        return _with_arch(choices, {read_word(ArchPart, one): fate for one in typed.split("|")})
    if first == "cuff" and len(further) == 2:
        return _with_cuff(choices, read_word(SoftFace, further[0]), further[1], typed)
    raise InputError(f"the plan has no choice called {part!r}")


def _with_arch(choices: Choices, fates: Mapping[ArchPart, BoneChoice]) -> Choices:
    arch = ArchChoice(open_side=choices.arch.open_side, parts={**choices.arch.parts, **fates})
    return replace(choices, arch=arch)


def _with_cuff(choices: Choices, face: SoftFace, what: str, typed: str) -> Choices:
    now = choices.cuffs[face]
    if what == "surface":
        surface = read_word(CuffSurface, typed)
        thickness = 0.0 if surface is CuffSurface.ON_TUMOUR else now.thickness_mm
        cuff = CuffChoice(surface=surface, thickness_mm=thickness)
    else:
        cuff = CuffChoice(
            surface=now.surface,
            thickness_mm=read_number(f"cuff {face.value}", typed, LIMITS["thickness_mm"], "mm"),
        )
    return replace(choices, cuffs={**choices.cuffs, face: cuff})


def _with_kind(choices: Choices, anatomy: Anatomy, level: Level, typed: str) -> Choices:
    known = _kinds(anatomy, level)
    if typed not in known:
        raise InputError(f"{typed!r} cannot come out: use one of {', '.join(map(repr, known))}")
    kind, levels = known[typed][1]
    sagittal = choices.sagittal_cut_mm if kind is KindChoice.HALF_BODY else 0.0
    named = levels if len(levels) > 1 else ()
    return replace(choices, kind=kind, levels=named, sagittal_cut_mm=sagittal)


def _kinds(
    anatomy: Anatomy, level: Level
) -> dict[str, tuple[str, tuple[KindChoice, tuple[str, ...]]]]:
    """All that could come out: its key, its words, and what is chosen with it."""
    order = sorted(anatomy.vertebrae)
    here = order.index(level)
    found = {}
    for count in range(1, MOST_LEVELS + 1):
        for first in range(here - count + 1, here + 1):
            if first < 1 or first + count > len(order) - 1:
                continue  # both neighbours of what comes out must be outlined
            levels = tuple(map(str, order[first : first + count]))
            found["+".join(levels)] = (words.whole(levels), (KindChoice.WHOLE_BODY, levels))
    found["half"] = (words.half(str(level)), (KindChoice.HALF_BODY, (str(level),)))
    found["arch"] = (words.arch_only(str(level)), (KindChoice.ARCH_ONLY, (str(level),)))
    return found


def _kind_key(choices: Choices, level: Level) -> str:
    if choices.kind is KindChoice.HALF_BODY:
        return "half"
    if choices.kind is KindChoice.ARCH_ONLY:
        return "arch"
    return "+".join(choices.levels) or str(level)


def _number(part: str, label: str, value: float, limit: str) -> Number:
    low, high = LIMITS[limit]
    return Number(part=part, label=label, value=value, unit="mm", low=low, high=high, step=0.5)
