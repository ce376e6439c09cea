"""The planning sheet: one page that a team can hang up, sign and check by its short code."""

from __future__ import annotations

import base64
import dataclasses
import json
import struct
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import matplotlib
import typst
from matplotlib.ft2font import FT2Font

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.reports import palette, small_print, text
from vertebloc.reports.paper import Paper

#: Pictures that the sheet needs, by the name in ``planning_pictures``.
PICTURES = ("coronal", "cross_section", "behind", "allowance", "ring")

#: Letters of a hash that are printed; ``vertebloc check`` compares the whole.
_HASH_LETTERS = 10


def planning_sheet(
    document: Mapping[str, Any],
    pictures: Mapping[str, bytes],
    identity: Identity | None,
    paper: Paper = Paper.A4,
) -> bytes:
    """Typeset the planning sheet.

    Parameters
    ----------
    document : mapping
        Content of plan.json, from ``plan_document``.
    pictures : mapping of str to bytes
        PNG bytes from ``planning_pictures``.
    identity : Identity or None
        The person, printed on every page; None for a copy that says it is without identity.
    paper : Paper
        A4 or Letter; the pictures should have been drawn for the same.

    Returns
    -------
    bytes
        PDF; the same input gives the same bytes.

    Raises
    ------
    InputError
        If a picture is missing or the document's time has no offset.

    Notes
    -----
    All text reaches the template as data, so no name can act as markup. Letters that the fonts
    do not have are counted and said, never printed as empty boxes.
    """
    missing = [name for name in PICTURES if name not in pictures]
    if missing:
        raise InputError(f"the sheet lacks its pictures {', '.join(missing)}: draw all first")
    made_at = datetime.fromisoformat(document["made_at"])
    if made_at.tzinfo is None:
        raise InputError(f"the plan's time {document['made_at']} has no offset from UTC")
    template = resources.files("vertebloc.reports") / "planning_sheet.typ"
    content = printable(sheet_content(document, identity, paper))
    data = {name: _as_svg(pictures[name]) for name in PICTURES}
    data["content"] = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return typst.compile(
        template.read_bytes(),
        format="pdf",
        font_paths=_fonts(),
        sys_inputs=data,
        timestamp=int(made_at.timestamp()),
        pdf_standards="a-2b",
    )


def _as_svg(png: bytes) -> str:
    """A PNG wrapped as a drawing of its own size: the typesetter takes text as data, no bytes."""
    width, height = struct.unpack(">II", png[16:24])  # the header of every PNG
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">'
        f'<image width="{width}" height="{height}" href="data:image/png;base64,'
        f'{base64.b64encode(png).decode("ascii")}"/></svg>'
    )


def sheet_content(
    document: Mapping[str, Any], identity: Identity | None, paper: Paper
) -> dict[str, Any]:
    """Everything the template prints, as text.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    identity : Identity or None
        The person, or None.
    paper : Paper
        Paper to print on.

    Returns
    -------
    dict
        Strings, lists and dictionaries.
    """
    resection = document["resection"]
    confirmation = document["level_confirmation"]
    return {
        "paper": paper.value,
        "sizes_mm": dataclasses.asdict(paper.sizes),
        "palette": {
            "ink": palette.INK,
            "soft": palette.SOFT,
            "line": palette.LINE,
            "sheet": palette.SHEET,
            "tumour": palette.TUMOUR,
            "wash": palette.TUMOUR_WASH,
            "cut": palette.CUT,
        },
        "labels": text.SHEET_LABELS,
        "picture_words": small_print.PICTURE_WORDS,
        "person": _person(identity),
        "code": document["code"],
        "made_at": document["made_at"].replace("T", " "),
        "version": f"{document['package']['name']} {document['package']['version']}",
        "level": document["level"],
        "unconfirmed": "" if confirmation["confirmed"] else text.LEVEL_UNCONFIRMED,
        "stale": text.stale_band(document["stale"]) if document["stale"] else "",
        "stale_word": text.OUT_OF_DATE,
        "answer": [part for part in document["answer_parts"] if part["about"] != "stale"],
        "bone": _rows(resection["faces"], "bone"),
        "soft": _rows(resection["faces"], "soft"),
        "left": _left(resection),
        "facts": _facts(document),
        "notes": _notes(document),
        "cautions": small_print.CAUTIONS,
    }


def printable(content: Any) -> Any:
    """The same content with every letter that the sheet cannot print counted and named.

    Parameters
    ----------
    content : str, list, dict or number
        What the template is to print.

    Returns
    -------
    same kind
        Runs of letters without a glyph are replaced by words that say how many there were.
    """
    if isinstance(content, str):
        return _printable_text(content)
    if isinstance(content, Mapping):
        return {key: printable(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [printable(value) for value in content]
    return content


def _printable_text(words: str) -> str:
    known = _printable_letters()
    shown: list[str] = []
    lost = 0
    for letter in (*" ".join(words.split()), ""):
        if letter and ord(letter) not in known:
            lost += 1
            continue
        if lost:
            shown.append(text.not_printable(lost))
            lost = 0
        shown.append(letter)
    return "".join(shown)


@cache
def _printable_letters() -> frozenset[int]:
    """Code points for which the sheet's sans-serif has a glyph, plain and bold."""
    plain, bold = (
        FT2Font(str(_font_folder() / name)).get_charmap()
        for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
    )
    return frozenset(plain) & frozenset(bold)


@cache
def _fonts() -> typst.Fonts:
    """The same fonts on every machine: what the typesetter and the plotting library bring."""
    return typst.Fonts(include_system_fonts=False, font_paths=[_font_folder()])


def _font_folder() -> Path:
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def _person(identity: Identity | None) -> dict[str, str]:
    """Name, birth date and number, and a caution if the name cannot be printed whole."""
    if identity is None:
        return {"name": text.COPY_WITHOUT_IDENTITY, "rest": "", "caution": ""}
    name = identity.name or text.NAME_UNKNOWN
    whole = _printable_text(name) == " ".join(name.split())
    return {
        "name": name,
        "rest": text.joined_by_dot(text.born(identity.birth_date), text.number(identity.number)),
        "caution": "" if whole else text.name_not_printable(),
    }


def _level_words(confirmation: Mapping[str, Any]) -> str:
    return text.joined_sentences(confirmation["words"], confirmation["counting"])


def _rows(faces: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    """One row of the table for each face of a kind, thinnest first."""
    chosen = sorted((f for f in faces if f["kind"] == kind), key=lambda face: face["margin_mm"])
    rows = []
    for face in chosen:
        row = {
            "name": face["name"],
            "margin": text.mm(face["margin_mm"]),
            "where": text.joined_by_comma(face["weakest_in_words"], face["barrier"]),
            "may_err": "",
            "bad": face["margin_mm"] < 0 or text.mm(face["margin_mm"]) == text.mm(0.0),
        }
        if kind == "bone":
            row["may_err"] = text.offset_and_tilt(
                text.or_more(
                    text.mm(max(face["allowance_offset_mm"], 0.0)),
                    face["allowance_offset_mm"],
                    face["allowance_searched_to_mm"],
                ),
                text.or_more(
                    text.degrees_sign(max(face["allowance_tilt_deg"], 0.0)),
                    face["allowance_tilt_deg"],
                    face["allowance_searched_to_deg"],
                ),
            )
        rows.append(row)
    return rows


def _left(resection: Mapping[str, Any]) -> dict[str, Any]:
    """Tumour that stays, as one line."""
    total = resection["tumour_left_ml"]
    places = [
        f"{text.ml(part['volume_ml'])} {part['place']}"
        for part in resection["tumour_left_by_place"]
        if part["volume_ml"] > 0
    ]
    return {
        "words": text.joined_by_dot(text.ml(total), text.listed(places)),
        "bad": total > 0,
    }


def _facts(document: Mapping[str, Any]) -> list[dict[str, str]]:
    """Short facts about piece and tumour, name and words."""
    resection, names = document["resection"], text.SHEET_LABELS
    tumour = document["tumour"]
    facts = [
        (names["tumour"], text.tumour_words(tumour["volume_ml"], tumour["side"])),
        (names["piece"], text.ml(resection["piece"]["volume_ml"])),
        (names["keystone"], resection["keystone"]["words"]),
    ]
    return [{"name": name, "words": words} for name, words in facts if words]


def _staging_words(staging: Mapping[str, Any]) -> list[str]:
    """Sectors and layers in words, and the sector nearest to flipping."""
    sectors = staging["sectors"]
    involved = [
        text.sector_words(sector["words"], sector["area_fraction"])
        for sector in sectors
        if sector["involved"]
    ]
    lines = [text.sectors_involved(involved, staging["layers"])]
    near = [sector for sector in sectors if "flips_after_mm" in sector]
    if near:
        least = min(near, key=lambda sector: sector["flips_after_mm"])
        lines.append(
            text.sentence(text.flips(least["words"], least["flips_after_mm"], least["involved"]))
        )
    return lines


def _notes(document: Mapping[str, Any]) -> list[dict[str, str]]:
    """The small print: title and words."""
    names = text.SHEET_LABELS
    resection = document["resection"]
    inputs = [f"{name} {value[:_HASH_LETTERS]}" for name, value in document["inputs"].items()]
    notes = [
        (names["level"], _level_words(document["level_confirmation"])),
        (names["spread"], " ".join(_staging_words(document["staging"]))),
        (names["warnings"], text.joined_sentences(*document["warnings"])),
        (
            names["assumptions"],
            text.joined_sentences(*map(text.assumed, document["assumptions"])),
        ),
        (names["sides"], text.joined_sentences(document["anatomy"]["handedness"]["words"])),
        (names["rule"], text.joined_sentences(resection["cut_rule"])),
        (names["pictures"], small_print.LEGEND),
        (names["sources"], text.joined_sentences(*document["sources"])),
        (names["inputs"], "; ".join(inputs)),
    ]
    return [{"title": title, "words": words} for title, words in notes if words]
