"""Longer fixed texts of the sheet, beside the catalogue in ``text``."""

from __future__ import annotations

CAUTIONS = (
    "A planning aid for qualified teams, not a medical device. Verify every number against the "
    "images. The CT was taken supine; in theatre the patient lies prone, vessels shift and freed "
    "bone moves. Local protocols and the responsible surgeon decide."
)

LEGEND = (
    "Ivory: bone. Hatched plum: tumour. Gold: sac, pale: cord, broken line: off the slice. "
    "Slate: vessels. Teal: cuts, dot where the blade enters. Broken pale line: the piece. "
    "Dotted: nibbled away. Ring: nearest bone cut."
)

#: What each picture shows, for those who do not see it.
PICTURE_WORDS = {
    "coronal": "coronal slab through the tumour, theatre view, with cuts and the weakest place",
    "cross_section": "cross-section through the tumour, theatre view",
    "behind": "bone from behind, theatre view, with cuts, nibbled bone and ribs",
    "ring": "the twelve sectors about the sac; the words are beside it",
}
