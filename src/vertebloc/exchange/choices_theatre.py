"""Entries of the choices file for the day of the operation."""

from __future__ import annotations

from typing import Any

from vertebloc.case.choice_words import SexChoice
from vertebloc.exchange.choices_allowed import Number, OneOf, Text

_SAID = "only the team can say it; the sheets leave it to be filled in by hand"
_USUAL = "a usual C-arm is assumed, and every picture says so: read your own from its papers"
#: Name under ``[theatre]``, what is allowed, what it means, why its default.
THEATRE: tuple[tuple[str, OneOf[Any] | Number | Text, str, str], ...] = (
    (
        "roots_given_up",
        Text('roots with the patient\'s side in "quotes", such as "T10 left, T10 right"'),
        "Nerve roots that are tied and cut; what that is expected to cost is printed",
        "none is given up unless the team says so",
    ),
    (
        "sex",
        OneOf(SexChoice),
        "Which equation the blood volume is reckoned by",
        _SAID,
    ),
    ("height_cm", Number("height_cm"), "Height, cm; 0: not said", _SAID),
    ("weight_kg", Number("weight_kg"), "Weight, kg; 0: not said", _SAID),
    (
        "haematocrit_percent",
        Number("haematocrit_percent"),
        "Haematocrit before the operation, %; 0: not said",
        _SAID,
    ),
    (
        "haematocrit_least_percent",
        Number("haematocrit_least_percent"),
        "Least haematocrit that the anaesthetist allows, %; 0: not said",
        _SAID,
    ),
    *(
        (name, Number(name), f"C-arm: {what}; 0: not said", _USUAL)
        for name, what in (
            ("c_arm_source_detector_cm", "tube's focus to detector, cm"),
            ("c_arm_source_object_cm", "tube's focus to the spine, cm"),
            ("c_arm_detector_cm", "side of its picture on the detector, cm"),
            ("c_arm_pixel_mm", "size of a pixel on the detector, mm"),
        )
    ),
)
