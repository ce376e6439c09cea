"""Formula, source and limits of predicted views, for beside their answer."""

from __future__ import annotations

from vertebloc.published import imaging
from vertebloc.reports.why_entry import Why

_MU = imaging.WATER_60_KEV

C_ARM_WHY = (
    Why(
        title="Angle in which a cut is a line",
        formula="The beam (sin a cos b, -cos a cos b, sin b) must lie in the cut's plane with "
        "normal n: tan b = (n_y cos a - n_x sin a) / n_z for a tilt, or the turn a that solves "
        "the same for b = 0, whichever is smaller. The central ray is aimed at the middle of the "
        "blade's line, so that the tube itself lies in the plane.",
        source="Algebra. Angles as DICOM counts them, elements (0018,1510) and (0018,1511).",
        limits="The table, other equipment and the reach of your C-arm are not known to it. "
        "Prone, the spine may lie otherwise by some degrees.",
    ),
    Why(
        title="Other bone in the way",
        formula="Length of outlined bone on rays through the blade's line, less what each ray "
        "shares with the cut's own face; mean over 15 places.",
        source="Geometry; closed forms and a general mesh library in the project's tests.",
        limits="Vertebrae and ribs as outlined near the cut, before anything is taken away.",
    ),
    Why(
        title="Predicted picture",
        formula="Hounsfield units on each ray, as mm of water; exp(-mu x) with mu of water "
        f"{_MU.value:g}/cm at 60 keV; blur and noise of counted rays; greys as on film. Depths on "
        "the picture are those of the plan.",
        source=f"{_MU.source}, {_MU.place}; known here from: {_MU.known}. Blur, noise and greys "
        "are assumed.",
        limits="One energy, no scatter, no table. A prediction confirms no level: the count in "
        "theatre does.",
    ),
)
