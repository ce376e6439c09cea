"""Published numbers of X-ray pictures: what attenuates how much, and a mobile C-arm's measures."""

from vertebloc.published.source import Known, Published


def _attenuation(value: float, what: str, place: str, known: Known) -> Published:
    return Published(
        value=value,
        unit="1/cm",
        what=what,
        population="narrow beam of one energy; density as in the tables",
        source="hubbell1995",
        place=place,
        grade="handbook",
        known=known,
    )


#: Water at the energies of a C-arm's beam.
WATER_60_KEV = _attenuation(
    0.206, "linear attenuation of water at 60 keV", "table of water, liquid", "memory high"
)
WATER_80_KEV = _attenuation(
    0.184, "linear attenuation of water at 80 keV", "table of water, liquid", "memory high"
)
#: Metals of implants and instruments, at 60 keV.
TITANIUM_60_KEV = _attenuation(
    3.45, "linear attenuation of titanium at 60 keV", "table of titanium", "memory medium"
)
STEEL_60_KEV = _attenuation(
    9.5, "linear attenuation of iron, for steel, at 60 keV", "table of iron", "memory medium"
)


def _measure(value: float, low: float, high: float, what: str) -> Published:
    return Published(
        value=value,
        unit="mm",
        low=low,
        high=high,
        range_is="range of machines",
        what=what,
        population="mobile C-arms; read your own machine's numbers from its papers",
        source="c-arm-measures",
        place="no page: common measures",
        grade="handbook",
        known="memory medium",
    )


SOURCE_DETECTOR_MM = _measure(1000.0, 950.0, 1100.0, "source to detector of a mobile C-arm")
SOURCE_OBJECT_MM = _measure(600.0, 550.0, 700.0, "source to object of a mobile C-arm")
DETECTOR_MM = _measure(300.0, 200.0, 310.0, "side of a mobile C-arm's flat detector")
