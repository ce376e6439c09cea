"""Which muscle stands for which root, as commonly recorded. No source: a team sets its own.

The words are what is printed; ``[muscles]`` in ``choices.toml`` replaces any of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from vertebloc.published.acts import Practice

_HAND = "short muscles of the hand (abductor pollicis brevis, abductor digiti minimi)"
_CALF = "calf and sole (gastrocnemius, abductor hallucis)"


def _practice(what: str) -> Practice:
    return Practice(what=what)


#: By root: where it is looked for in the muscles.
MUSCLES: Mapping[str, Practice] = MappingProxyType(
    {
        "C5": _practice("deltoid"),
        "C6": _practice("biceps, extensors of the wrist"),
        "C7": _practice("triceps"),
        "C8": _practice(_HAND),
        "T1": _practice(_HAND),
        **{f"T{n}": _practice(f"between the ribs at T{n}") for n in range(2, 7)},
        **{f"T{n}": _practice("belly wall above the navel (upper rectus)") for n in (7, 8, 9)},
        "T10": _practice("belly wall at the navel (middle rectus)"),
        "T11": _practice("belly wall below the navel (lower rectus)"),
        "T12": _practice("belly wall below the navel (lower rectus, oblique)"),
        "T13": _practice("belly wall above the groin (oblique)"),
        "L1": _practice("hip flexor (iliopsoas)"),
        "L2": _practice("hip flexor and adductors (iliopsoas, adductor longus)"),
        "L3": _practice("front of the thigh (vastus medialis, rectus femoris)"),
        "L4": _practice("front of thigh and shin (vastus lateralis, tibialis anterior)"),
        "L5": _practice("shin and great toe (tibialis anterior, extensor hallucis longus)"),
        "L6": _practice("shin and great toe (tibialis anterior, extensor hallucis longus)"),
        "S1": _practice(_CALF),
        "S2": _practice(_CALF),
        "S3": _practice("sphincter of the anus"),
    }
)
#: Recorded on both sides whatever the level: the way to the legs, and a control above.
LEGS: tuple[str, ...] = ("L3", "L5", "S1")
CONTROL_ABOVE = _practice(
    "the hands (above the level): what fades there too fades for another reason than this cut"
)
CONTROL_LOW = _practice(
    "the arms are at the level or below it: agree another control (face), and say so"
)

#: What a root that is given up is expected to cost, by region, with the source where one was read.
ROOT_LOSS: Mapping[str, Practice] = MappingProxyType(
    {
        "C": _practice("weakness of the arm: kept unless the team says otherwise"),
        "T1": _practice("weakness of the hand: kept unless the team says otherwise"),
        "T2": Practice(
            what="no weakness of the arm in 0 of 3 if T2 alone was dissected, in 3 of 7 if T1 was "
            "freed too (all came back)",
            source="t2-roots",
            place="abstract, results",
            grade="measured",
            known="seen",
        ),
        "T": _practice("a band of numb skin, rarely a bulge of the belly wall"),
        "L1": _practice("numb groin, weaker hip flexor"),
        "L2": Practice(
            what="weaker hip flexor or thigh in most at 1 week, all came back; numb groin or "
            "thigh in 11 of 13",
            source="l2-roots",
            place="abstract, results",
            grade="measured",
            known="seen",
        ),
        "L3": Practice(
            what="weak leg: L3 to L5 are kept by that institute's policy",
            source="l2-roots",
            place="abstract, methods",
            grade="consensus",
            known="seen",
        ),
        "S": _practice("weak foot, bladder and bowel: kept unless the team says otherwise"),
    }
)
