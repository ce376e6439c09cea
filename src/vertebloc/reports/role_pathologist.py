"""The pathologist's sheet: the piece's faces as planned, ink, thinnest place, separate pots."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from vertebloc.reports import page_words as words
from vertebloc.reports import role_text, sheet_text, text
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section
from vertebloc.reports.sheet_pages import SheetPicture
from vertebloc.reports.theatre_pages import CARTON

HEADINGS = ("ink", "face", "kind", "planned", "thinnest place (mm from midline, wall, mid-body)",
            "barrier", "found")  # fmt: skip
ANSWER = (
    "The piece holds {levels}{half}, about {volume}; tumour {tumour}. Thinnest: {thinnest}. "
    "Planned on outlines before the operation: what you measure counts."
)
CARTON_TITLE = "The piece, opened out like a carton"
SEPARATE = "Comes apart from the piece"
TRACT_HEAD = "Biopsy tract"
TRACT = {
    "with the piece": "soft part taken with the piece; not part of what was measured",
    "separate ellipse": "soft part in an ellipse of its own, pot apart",
    "left": "soft part stays in the patient",
}
NO_TRACT = "no tract is outlined: ask whether there was a biopsy, and where"
IN_BONE = "What of it lies in bone counts as tumour."
FIELDS = ("received (day, hour, by)", "threads, and what they mean", "photograph, X-ray",
          "faces that cannot be told", "tumour met at a face (which, mm)",
          "surgeon says entered at")  # fmt: skip
STAYS = "Planned: {stays} of tumour stays outside of the piece, {where}."
OPENED = "Planned contamination: {what}."


def pathologist_sheet(document: Mapping[str, Any], pictures: Mapping[str, bytes]) -> RoleSheet:
    """Faces, ink, thinnest place, tract, rib heads and fragments, with the piece opened out.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    pictures : mapping of str to bytes
        The plan's drawings by name.

    Returns
    -------
    RoleSheet
        Ink colours and what was found are empty fields.
    """
    resection, tumour = document["resection"], document["tumour"]
    thinnest = min(resection["faces"], key=lambda face: face["margin_mm"])
    half = "" if resection["kind"].startswith("whole") else f" ({resection['kind']})"
    return RoleSheet(
        role=Role.PATHOLOGIST,
        title=role_text.TITLES["pathologist"],
        answer=ANSWER.format(
            levels=text.listed(resection["levels"]),
            half=half,
            volume=text.ml(resection["piece"]["volume_ml"]),
            tumour=text.tumour_words(tumour["volume_ml"], tumour["side"]),
            thinnest=f"{thinnest['name']}, {text.mm(thinnest['margin_mm'])}",
        ),
        sections=(
            Section(title=CARTON_TITLE, picture=_carton(pictures), half=True),
            Section(title=SEPARATE, lines=_separate(document), half=True, fields=FIELDS,
                    note=words.CARTON_NOTE),
            Section(title="Faces", table=_faces(resection)),
        ),
    )  # fmt: skip


def _carton(pictures: Mapping[str, bytes]) -> SheetPicture | None:
    drawing = pictures.get(CARTON)
    if drawing is None:
        return None
    box = re.search(rb'viewBox="([^"]+)"', drawing)
    _, _, wide, high = (
        float(part) for part in (box[1].split() if box else (b"0", b"0", b"1", b"1"))
    )
    width = min(92.0, 128.0 * wide / high)
    return SheetPicture(
        drawing=drawing, width_mm=width, height_mm=width * high / wide, words=words.CARTON
    )


def _faces(resection: Mapping[str, Any]) -> RoleTable:
    kinds = {"bone": "cut", "soft": "dissected"}
    rows = tuple(
        (
            BLANK,
            face["name"],
            kinds[face["kind"]],
            text.mm(face["margin_mm"]),
            sheet_text.short_place(face["weakest_in_words"]),
            sheet_text.short_barrier(face["barrier"]) or "none named",
            BLANK,
        )
        for face in sorted(resection["faces"], key=lambda f: (f["kind"], f["margin_mm"]))
    )
    return RoleTable(headings=HEADINGS, rows=rows, widths=(0.7, 2.6, 1.1, 1.0, 4.0, 1.7, 0.8))


def _separate(document: Mapping[str, Any]) -> tuple[str, ...]:
    resection = document["resection"]
    lines = []
    for rib in resection["rib_fates"]:
        if rib["fate"] != "kept":
            length = f", {text.whole_mm(rib['length_mm'])}" if "length_mm" in rib else ""
            lines.append(f"{text.sentence(rib['rib'])[:-1]}: {rib['fate']}{length}.")
    nibbled = [one["part"] for one in resection["bone_fates"] if one["fate"] == "piecemeal"]
    if nibbled:
        lines.append(f"In small pieces: {text.listed(nibbled)}.")
    lines.append(f"{TRACT_HEAD}: {tract_words(document)}")
    for one in resection["tumour_left_by_place"]:
        if one["volume_ml"] > 0.0:
            lines.append(STAYS.format(stays=text.ml(one["volume_ml"]), where=one["place"]))
    lines += [OPENED.format(what=f"{one['how']}: {one['name']}")
              for one in resection["contamination"]]  # fmt: skip
    return tuple(lines)


def tract_words(document: Mapping[str, Any]) -> str:
    """What is planned for the biopsy tract.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        From the plan's assumptions, where the team's choice stands.
    """
    for line in document["assumptions"]:
        if line.startswith("biopsy tract in soft tissue: "):
            choice = line.removeprefix("biopsy tract in soft tissue: ").partition(" (")[0]
            return f"{TRACT.get(choice, choice)}. {IN_BONE}"
    return text.sentence(NO_TRACT)
