"""The radiation oncologist's sheet: where the faces lie close to tumour, and where it stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.reports import role_text, sheet_text, text
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section

HEADINGS = ("face", "planned", "thinnest place", "LPS of the CT, mm", "mm²",
            "found", "decided")  # fmt: skip
ANSWER = (
    "{count} of {all} faces are planned nearer to tumour than {wanted}: {names}. What pathology "
    "finds replaces every number here; nothing here says whether, where or how much to radiate."
)
NONE_CLOSE = "No face is planned nearer to tumour than {wanted}. Pathology decides, not this plan."
BEFORE = "Before radiation: front of the spine {before}."
METAL = (
    "Rods and cage as implanted: material and place are entered after the operation; the spine "
    "may be shorter and turned against the planning CT."
)
REGION = (
    "PLANNED before the operation with code {code}{unconfirmed}: all within {reach} (assumed) of "
    "where the {face} is nearer to tumour than {wanted}; {nearest}. Pathology decides."
)
BARE = "tumour lies bare there"
NO_REGION = (
    "The regions are written with: vertebloc sheets DIR --regions (DICOM structure set on the CT)."
)
FIELDS = ("radiation before (where, when)", "decided at tumour board (day)", "implants (material)",
          "responsible, signature")  # fmt: skip


def close_faces(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Faces planned nearer to tumour than wanted, the nearest first.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of dict
        As ``resection.faces`` holds them.
    """
    resection = document["resection"]
    wanted = resection["wanted_margin_mm"]
    close = [face for face in resection["faces"] if face["margin_mm"] < wanted]
    return sorted(close, key=lambda face: (face["margin_mm"], face["name"]))


def region_words(document: Mapping[str, Any], face: str, margin_mm: float, reach_mm: float) -> str:
    """What a region in the structure set is.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    face : str
        The face's name.
    margin_mm : float, mm
        Least distance to tumour there.
    reach_mm : float, mm
        How far about the face the region goes.

    Returns
    -------
    str
        One sentence or two.
    """
    confirmed = document["level_confirmation"]["confirmed"]
    return REGION.format(
        code=document["code"],
        unconfirmed="" if confirmed else f", level {text.LEVEL_UNCONFIRMED}",
        face=face,
        reach=text.mm(reach_mm),
        wanted=text.mm(document["resection"]["wanted_margin_mm"]),
        nearest=f"nearest {text.mm(margin_mm)}" if margin_mm > 0.0 else BARE,
    )


def radiation_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """Close faces with their places, what stays, what was opened, and empty fields.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        No dose is named.
    """
    resection = document["resection"]
    close, wanted = close_faces(document), text.mm(resection["wanted_margin_mm"])
    answer = NONE_CLOSE.format(wanted=wanted)
    if close:
        answer = ANSWER.format(
            count=len(close),
            all=len(resection["faces"]),
            wanted=wanted,
            names=text.listed([face["name"] for face in close]),
        )
    rows = tuple(
        (
            face["name"],
            text.mm(face["margin_mm"]),
            sheet_text.short_place(face["weakest_in_words"]),
            ", ".join(f"{value:.1f}" for value in face["weakest_lps_mm"]),
            f"{face['area_mm2']:.0f}",
            BLANK,
            BLANK,
        )
        for face in close
    )
    stays = [
        f"{text.ml(one['volume_ml'])} of tumour stays {one['place']}."
        for one in resection["tumour_left_by_place"]
        if one["volume_ml"] > 0.0
    ]
    stays += [
        f"Planned contamination, {one['how']}: {one['name']}."
        for one in resection["contamination"]
    ]
    before = document.get("front", {}).get("before", role_text.NOT_SAID)
    return RoleSheet(
        role=Role.RADIATION,
        title=role_text.TITLES["radiation oncologist"],
        answer=answer,
        sections=(
            *([Section(title="Close faces", note=text.sentence(text.SHEET_LABELS["place_from"]),
                       table=RoleTable(headings=HEADINGS, rows=rows,
                                       widths=(2.0, 1.1, 3.2, 2.0, 1.0, 1.1, 1.1)))]
              if rows else []),
            Section(title="Planned to stay or to be opened",
                    lines=tuple(stays) or ("Nothing, by the outlines.",), must=bool(stays)),
            Section(title="Also", lines=(BEFORE.format(before=before), METAL, NO_REGION)),
            Section(title="To fill in", fields=FIELDS),
        ),
    )  # fmt: skip
