"""How accurately bone is cut, and how much of it the blade takes away."""

from vertebloc.published.source import Published

_PELVIS = "plastic pelvis, 4 surgeons, 24 free-hand cuts, planned margin 10 mm"

WITHIN_5_MM_FREE_HAND = Published(
    value=52.0,
    unit="%",
    low=37.0,
    high=67.0,
    range_is="95 % confidence interval",
    what="share of free-hand cuts within 5 mm of the planned margin",
    population=_PELVIS,
    source="cartiaux2008",
    place="abstract, results",
    grade="measured",
    known="seen",
)

#: The interval is the study's own, carried through the same formula at both ends.
SPREAD_AS_PLAIN_NORMAL_MM = Published(
    value=7.08,
    unit="mm",
    low=5.13,
    high=10.38,
    range_is="from the study's own 95 % interval",
    what="standard deviation of a free-hand cut's offset, if it were one unbiased normal: "
    "5 mm / z((1 + share) / 2)",
    population=_PELVIS,
    source="cartiaux2008",
    place="computed from the share within 5 mm",
    grade="assumed",
    known="computed",
)

CLEAN_AT_10_MM_AS_PLAIN_NORMAL = Published(
    value=0.92,
    unit="-",
    low=0.83,
    high=0.97,
    range_is="from the study's own 95 % interval",
    what="chance that one free-hand cut planned at 10 mm stays out of tumour, if its offset were "
    "one unbiased normal",
    population=_PELVIS,
    source="cartiaux2008",
    place="computed from the share within 5 mm",
    grade="assumed",
    known="computed",
)

#: Print this wherever one of the two computed values is printed.
PLAIN_NORMAL_CAUTION = (
    "Read from one share (within 5 mm) as one unbiased normal offset per cut. The studies measure "
    "the largest distance over the cut face, not an offset, and free-hand cuts carry a bias; a "
    "plan has several cuts. A calibrated model must replace this reading."
)


def _location(value: float, how: str) -> Published:
    return Published(
        value=value,
        unit="mm",
        what=f"mean location error (largest distance of the cut face from its plane), {how}",
        population="156 cuts in blocks, 6 operators, all ways of cutting together",
        source="cartiaux2010",
        place="abstract, results",
        grade="measured",
        known="seen",
    )


LOCATION_FREE_HAND_MM = _location(5.2, "free-hand")
LOCATION_NAVIGATED_MM = _location(2.8, "navigated")
LOCATION_ROBOT_MM = _location(1.7, "robot-assisted")

LOCATION_GUIDE_MM = Published(
    value=2.5,
    unit="mm",
    what="mean location error with a patient-specific guide",
    population="11 pelvic tumour resections",
    source="gouin2014",
    place="results",
    grade="measured",
    known="seen",
)

LOCATION_NAVIGATED_PATIENTS_MM = Published(
    value=2.52,
    unit="mm",
    low=0.20,
    high=4.84,
    range_is="mean -/+ 1 standard deviation",
    what="mean deviation of navigated cut planes",
    population="28 patients, 61 planes",
    source="ritacco2013",
    place="abstract, results",
    grade="measured",
    known="seen",
)


def _share(value: float, within: str, how: str) -> Published:
    return Published(
        value=value,
        unit="%",
        what=f"share of sacroiliac cuts within {within} of the plan, {how}",
        population="22 cuts in sawbones",
        source="sacroiliac-cuts2020",
        place="abstract, results",
        grade="measured",
        known="seen",
    )


SACROILIAC_WITHIN_5_MM_FREE_HAND = _share(67.0, "5 mm", "free-hand")
SACROILIAC_WITHIN_5_MM_NAVIGATED = _share(71.1, "5 mm", "navigated")
SACROILIAC_WITHIN_5_MM_GUIDE = _share(85.6, "5 mm", "guided")
SACROILIAC_WITHIN_2_MM_FREE_HAND = _share(25.8, "2 mm", "free-hand")
SACROILIAC_WITHIN_2_MM_NAVIGATED = _share(32.5, "2 mm", "navigated")
SACROILIAC_WITHIN_2_MM_GUIDE = _share(47.5, "2 mm", "guided")

KERF_WIRE_MM = Published(
    value=0.54,
    unit="mm",
    what="diameter of the thread-wire saw: the least bone it can take",
    population="multifilament stainless wire",
    source="tomita1996",
    place="description of the saw",
    grade="handbook",
    known="memory high",
)

KERF_ULTRASONIC_MM = Published(
    value=0.7,
    unit="mm",
    what="thickness of an ultrasonic blade's tip: the least bone it can take",
    population="one device",
    source="ultrasonic-blade",
    place="description of the device",
    grade="handbook",
    known="seen",
)

KERF_OSCILLATING_SAW_MM = Published(
    value=1.25,
    unit="mm",
    low=0.9,
    high=1.6,
    range_is="usual range; the value is its middle",
    what="bone taken by an oscillating saw (blade 0.6 to 1.3 mm)",
    population="common blades",
    source="saw-kerf-practice",
    place="no page seen",
    grade="handbook",
    known="memory medium",
)

KERF_GIGLI_MM = Published(
    value=1.35,
    unit="mm",
    low=1.2,
    high=1.5,
    range_is="usual range; the value is its middle",
    what="bone taken by a twisted wire (Gigli) saw",
    population="common wires",
    source="saw-kerf-practice",
    place="no page seen",
    grade="handbook",
    known="memory medium",
)

WEDGE_OSTEOTOME_MM = Published(
    value=2.25,
    unit="mm",
    low=1.5,
    high=3.0,
    range_is="usual range; the value is its middle",
    what="thickness of an osteotome's wedge: it takes no bone but pushes the faces apart",
    population="common osteotomes",
    source="saw-kerf-practice",
    place="no page seen",
    grade="handbook",
    known="memory medium",
)
