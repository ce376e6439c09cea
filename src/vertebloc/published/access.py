"""Published numbers on reaching round the front: when tumour is taken to hold a vessel."""

from vertebloc.published.source import Published


def _contact(value: float, what: str) -> Published:
    return Published(
        value=value,
        unit="degrees",
        what=what,
        population="cancer of the oesophagus against the aorta on CT; no tumour of the spine",
        source="picus1983",
        place="criterion of the arc of contact; page not seen",
        grade="consensus",
        known="memory high",
    )


#: Contact of less than this was read as no invasion.
CONTACT_FREE_DEG = _contact(
    45.0, "arc of the aorta's outline touched by tumour up to which it was read as not invaded"
)
#: Contact of more than this was read as invasion; between the two the criterion does not tell.
CONTACT_HELD_DEG = _contact(
    90.0, "arc of the aorta's outline touched by tumour from which it was read as invaded"
)
