"""Ribs, roots and segmental vessels with their owners: as data, as a card, and in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.anatomy.owners import Owners
from vertebloc.anatomy.strands import Strand
from vertebloc.reports.document_numbers import rounded
from vertebloc.reports.page_views import Card

OWNERS = "What hangs on which vertebra"
ROOTS, VESSELS, JOINTS = "nerve roots", "segmental vessels", "heads of ribs"
DRAWN, MODELLED = "drawn", "modelled, not seen"
NOTE = (
    "Roots of chest and loin leave below the pedicle of their own number; in the neck it is "
    "counted otherwise (C1 to C7 leave above their vertebra), and none is modelled there. What is "
    "modelled is dashed in the picture: its course and thickness are assumed, it was not seen."
)


def owners_document(owners: Owners) -> dict[str, Any]:
    """Owners as part of plan.json.

    Parameters
    ----------
    owners : Owners
        From the anatomy room.

    Returns
    -------
    dict
        Plain strings, numbers and lists; lines in mm, patient LPS, rounded to 0.01.
    """
    return {
        "joints": [
            {
                "level": str(joint.level),
                "side": joint.side.value,
                "joins": [str(level) for level in joint.joins],
                "lps_mm": [rounded(float(x), "joint") for x in joint.lps_mm],
                "about": joint.about,
            }
            for joint in owners.joints
        ],
        "roots": [_strand(one) for one in owners.roots],
        "segmental_vessels": [_strand(one) for one in owners.segmental_vessels],
        "notes": list(owners.notes),
    }


def _strand(strand: Strand) -> dict[str, Any]:
    return {
        "level": str(strand.level),
        "side": strand.side.value,
        "modelled": strand.modelled,
        "radius_mm": rounded(strand.radius_mm, "radius"),
        "length_mm": rounded(strand.length_mm, "length"),
        "lps_mm": [[rounded(float(x), "strand") for x in point] for point in strand.lps_mm],
        "about": strand.about,
    }


def owners_card(document: Mapping[str, Any]) -> Card:
    """A card that says which roots, vessels and ribs belong where, and which were seen.

    Parameters
    ----------
    document : mapping
        ``owners`` of plan.json.

    Returns
    -------
    Card
        One row a kind.
    """
    rows = [
        (ROOTS, strands_words(document["roots"])),
        (VESSELS, strands_words(document["segmental_vessels"])),
    ]
    rows += [
        (f"{JOINTS}, {one['level']} {one['side']}", " and ".join(one["joins"]))
        for one in document["joints"]
    ]
    return Card(title=OWNERS, rows=tuple(rows), note=" ".join((NOTE, *document["notes"])))


def strands_words(strands: Sequence[Mapping[str, Any]]) -> str:
    """Which levels are drawn, which are modelled.

    Parameters
    ----------
    strands : sequence of mapping
        Roots or vessels of plan.json.

    Returns
    -------
    str
        Such as ``12 modelled, not seen``.
    """
    counts = [
        (DRAWN, sum(not one["modelled"] for one in strands)),
        (MODELLED, sum(bool(one["modelled"]) for one in strands)),
    ]
    return ", ".join(f"{count} {word}" for word, count in counts if count) or "none"
