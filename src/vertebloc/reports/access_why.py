"""Formula, source and limits of ring and front, for beside their answers."""

from __future__ import annotations

from vertebloc.access import RingSettings
from vertebloc.published import access as published
from vertebloc.published.source import KNOWN_WORDS
from vertebloc.reports.why_entry import Why

_RING = RingSettings(contour_error_mm=0.0)

RING_WHY = (
    Why(
        title="Tumour in the ring",
        formula="Planes square to the canal, rays about the middle of the sac. A ray is free if "
        "no tumour lies on it at any height of the vertebra, from the sac to "
        f"{_RING.depth_mm:.0f} mm outside the canal's wall (assumed).",
        source="Ours. Closed forms in the project's tests: a round ring with known gaps.",
        limits="Tumour farther out, such as in the tip of a transverse process, is not in the "
        "ring. The ring is that of the diseased vertebra, also where several bodies come out.",
    ),
    Why(
        title="Width of an opening",
        formula="The sac leaves straight along the middle of the opening. The width is the room "
        "between the nearest bone or tumour left on either side of that way, at all heights "
        "together; round ring: 2 R sin(half the opening). Yes: outlines of bone, tumour and sac "
        "all wrong against it by the contour error; no: all wrong in its favour.",
        source="Geometry. Compared with a disc pushed out step by step, in the project's tests.",
        limits="Necessary, not sufficient: whether the piece can be turned round the sac is the "
        "question of the way out.",
    ),
    Why(
        title="Least contaminated opening",
        formula="Of all openings that let the sac through on a side, the one whose two banks cut "
        "through least tumour: area in the half-planes through the axis of the sac. A plane that "
        "enters tumour is intralesional.",
        source="Margin classes: Enneking; see published/staging for the sector rules.",
        limits="Tumour between the banks is given as a share: how it is taken decides what is "
        "spilled.",
    ),
    Why(
        title="Published rules beside it",
        formula="Sector rules for the kind of resection and the pedicles, on the staging's "
        "sectors with their error. A warning appears if one says yes and the other no.",
        source="Boriani 1997, 2018 (see the card); from memory where it says so.",
        limits="Rules know sectors, no widths; readers agree little on sectors.",
    ),
)

FRONT_WHY = (
    Why(
        title="Way along the wall",
        formula="Length of the taut line round bone and tumour in the plane of each half cut, "
        "from the rib bed to the front midline. Larger outlines lengthen it by the error times "
        "the angle through which it turns. Compared with the finger reach.",
        source="Geometry (Steiner); closed form of a circle in the project's tests. The reach is "
        "assumed: a setting of the team.",
        limits="Asked at the two cuts, where a protector must lie. Soft tissue on the wall, "
        "stiffness and depth of the wound are not in it.",
    ),
    Why(
        title="What tumour holds",
        formula="Share of a structure's outline within touch of tumour, as an angle about its "
        f"middle. Up to {published.CONTACT_FREE_DEG.value:.0f} degrees with outlines grown: free; "
        f"from {published.CONTACT_HELD_DEG.value:.0f} degrees with outlines shrunk: held, release "
        "the front first; between: cannot tell.",
        source=f"{published.CONTACT_HELD_DEG.source}, {published.CONTACT_HELD_DEG.place}; "
        f"{published.CONTACT_HELD_DEG.population}; "
        f"{KNOWN_WORDS[published.CONTACT_HELD_DEG.known]}.",
        limits="Made for another organ; contact is not ingrowth. Supine CT: vessels shift when "
        "the patient is turned.",
    ),
    Why(
        title="Before, and tethers",
        formula="Surgery or radiation in front before: release first. A segmental vessel tethers "
        "if it lies on the wall between the cuts beyond the finger's reach.",
        source="Common practice, no source.",
        limits="Osteophytes count only as part of the bone's outline.",
    ),
)
