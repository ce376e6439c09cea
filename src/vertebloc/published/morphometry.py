"""Sizes of thoracic vertebrae and of what surrounds them.

The per-level means are quoted from memory; they serve to make up patients and to tell a
plausible outline from a slipped one, never to decide about a person.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from types import MappingProxyType

from vertebloc.published.source import Published


@dataclass(frozen=True, slots=True, kw_only=True)
class VertebraSizes:
    """Mean sizes of one vertebra in adults."""

    upper_width: Published  #: upper endplate, side to side
    upper_depth: Published  #: upper endplate, front to back
    lower_width: Published
    lower_depth: Published
    posterior_height: Published
    canal_width: Published
    canal_depth: Published
    pedicle_width: Published
    pedicle_height: Published


#: upper endplate width, depth; lower endplate width, depth; posterior height; canal width, depth;
#: pedicle width, height; mm
_MEANS = {
    "T6": (26.2, 26.0, 28.2, 26.9, 17.4, 17.3, 16.0, 6.0, 12.2),
    "T7": (27.8, 27.4, 29.1, 28.5, 18.2, 17.3, 15.8, 5.9, 12.1),
    "T8": (29.5, 27.9, 30.5, 29.4, 18.7, 17.7, 15.9, 6.7, 12.5),
    "T9": (30.6, 29.3, 33.0, 31.0, 19.3, 17.9, 15.7, 7.7, 13.9),
    "T10": (31.9, 30.5, 35.4, 31.6, 20.2, 18.2, 15.5, 9.0, 14.9),
    "T11": (34.9, 31.9, 39.1, 31.8, 21.3, 19.4, 16.0, 9.8, 17.4),
    "T12": (39.0, 32.8, 42.1, 33.4, 22.7, 22.2, 18.1, 8.7, 16.7),
    "L1": (41.2, 34.1, 43.3, 35.3, 23.8, 23.7, 19.0, 8.6, 15.9),
    "L2": (42.6, 34.6, 45.5, 34.9, 24.3, 23.8, 18.2, 8.3, 15.0),
    "L3": (44.1, 35.2, 48.0, 34.8, 23.8, 24.3, 17.5, 10.2, 14.4),
    "L4": (46.6, 35.5, 49.5, 33.9, 24.1, 25.4, 18.6, 14.1, 15.5),
    "L5": (47.3, 34.7, 49.4, 33.2, 22.9, 27.1, 19.7, 18.6, 19.6),
}

#: How far the quoted means may be off, mm: the canal's depth and the pedicle are less certain.
_UNCERTAIN_MM = {"canal_depth": 1.0, "pedicle_width": 1.0, "pedicle_height": 1.0}


def _mean_size(level: str, size: str, value_mm: float) -> Published:
    off_mm = _UNCERTAIN_MM.get(size, 0.5)
    return Published(
        value=value_mm,
        unit="mm",
        low=value_mm - off_mm,
        high=value_mm + off_mm,
        range_is="how far the quoted mean may be off",
        what=f"mean {size.replace('_', ' ')} of {level}",
        population="144 thoracic vertebrae of adults (lumbar: the same group's companion paper)",
        source="panjabi1991",
        place="means by level, quoted from memory",
        grade="measured",
        known="memory medium",
    )


def _sizes(level: str) -> VertebraSizes:
    names = [field.name for field in fields(VertebraSizes)]
    return VertebraSizes(
        **{n: _mean_size(level, n, v) for n, v in zip(names, _MEANS[level], strict=True)}
    )


#: Mean sizes by the vertebra's name.
VERTEBRA_SIZES: Mapping[str, VertebraSizes] = MappingProxyType({n: _sizes(n) for n in _MEANS})

ANTERIOR_SHORTER = Published(
    value=1.25,
    unit="mm",
    low=0.5,
    high=2.0,
    range_is="range of the means by level",
    what="front of a body from T3 to L1 lower than its back",
    population="adults",
    source="panjabi1991",
    place="discussion of heights, quoted from memory",
    grade="measured",
    known="memory medium",
)

PEDICLE_HEIGHT_T11 = Published(
    value=17.02,
    unit="mm",
    low=14.84,
    high=19.57,
    range_is="least to greatest",
    what="outer height of the pedicle of T11",
    population="16 cadavers, Greece",
    source="pedicles2005",
    place="abstract",
    grade="measured",
    known="seen",
)

PEDICLE_WIDTH_T12 = Published(
    value=8.31,
    unit="mm",
    low=6.48,
    high=10.14,
    range_is="mean less and plus one standard deviation",
    what="width of the pedicle of T12",
    population="600 vertebrae on CT, India",
    source="kaur2016",
    place="table of pedicle widths",
    grade="measured",
    known="seen",
)

PEDICLE_WIDTH_T11_DOWN = Published(
    value=12.5,
    unit="mm",
    low=7.2,
    high=17.8,
    range_is="least to greatest; the value is their middle",
    what="width of pedicles from T11 to L5",
    population="15 spines",
    source="safe-zone2008",
    place="abstract",
    grade="measured",
    known="seen",
)

POSTERIOR_HEIGHT_T9 = Published(
    value=20.46,
    unit="mm",
    what="height of the back of the body of T9",
    population="men, Nigeria",
    source="heights-nigeria",
    place="abstract",
    grade="measured",
    known="seen",
)

LAMINA_THICKNESS_T9 = Published(
    value=7.30,
    unit="mm",
    what="thickness of the lamina of T9",
    population="men, Nigeria",
    source="heights-nigeria",
    place="abstract",
    grade="measured",
    known="seen",
)

CORD_WIDTH_T8 = Published(
    value=8.3,
    unit="mm",
    low=6.2,
    high=10.4,
    range_is="mean less and plus one standard deviation",
    what="side-to-side width of the spinal cord at T8",
    population="review of anatomical studies in adults",
    source="frostell2016",
    place="summary of diameters",
    grade="measured",
    known="seen",
)

CORD_DEPTH_T8 = Published(
    value=6.3,
    unit="mm",
    low=4.3,
    high=8.3,
    range_is="mean less and plus one standard deviation",
    what="front-to-back depth of the spinal cord at T8",
    population="review of anatomical studies in adults",
    source="frostell2016",
    place="summary of diameters",
    grade="measured",
    known="seen",
)

PEDICLE_ENTRY_TO_AORTA_T6 = Published(
    value=24.6,
    unit="mm",
    what="left pedicle's entry point to the aorta's wall at T6",
    population="58 patients on CT, Japan",
    source="aorta2012",
    place="abstract",
    grade="measured",
    known="seen",
)

PEDICLE_ENTRY_TO_AORTA_T12 = Published(
    value=49.3,
    unit="mm",
    what="left pedicle's entry point to the aorta's wall at T12",
    population="58 patients on CT, Japan",
    source="aorta2012",
    place="abstract",
    grade="measured",
    known="seen",
)
