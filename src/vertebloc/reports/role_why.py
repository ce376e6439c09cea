"""Why the role sheets say what they say: for beside the answer of their page."""

from __future__ import annotations

from vertebloc.reports.why_entry import Why

ROLES_WHY = (
    Why(
        title="Entries from landmarks",
        formula="A tip is the middle of all bone within 1 mm of its farthest point: to the back "
        "for a spinous process, to the side for a transverse one. The entry less the tip, along "
        "the diseased vertebra's own axes.",
        source="Measured on the outlines of this case.",
        limits="Skin, muscle and how the back bends on the table are not in it. Landmarks on bone "
        "that comes out, or within 10 mm of tumour (assumed), are left out.",
    ),
    Why(
        title="Blood",
        formula="Volume a h^3 + b w + c; allowable loss V (H0 - H1) / mean of both haematocrits, "
        "and V ln(H0 / H1).",
        source="Nadler 1962 as quoted elsewhere; Gross 1983; Bourke and Smith 1974.",
        limits="Adults of usual build. What is given, and when, is decided by local protocol.",
    ),
    Why(
        title="Muscles, order of acts, what lies ready",
        formula="Lists, tied to the acts and levels of this plan.",
        source="Common practice, no source; muscles can be changed in choices.toml.",
        limits="A list is no proof that nothing is missing: the team strikes out and adds.",
    ),
)
