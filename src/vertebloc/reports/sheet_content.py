"""Everything that stands on the planning sheet's first page and in its small print, as text."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from vertebloc.anatomy.model import SideVerdict
from vertebloc.case.identity import Identity
from vertebloc.reports import outline_words, palette, second_words, sheet_text, small_print, text
from vertebloc.reports.allowance_bars import BAR_END_MM
from vertebloc.reports.paper import Paper
from vertebloc.reports.scene import published_hand_error
from vertebloc.reports.sheet_letters import printable_text

#: Letters of a hash that are printed; ``vertebloc check`` compares the whole.
_HASH_LETTERS = 10


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
    confirmed = document["level_confirmation"]["confirmed"]
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
            "track": palette.TRACK,
        },
        "labels": text.SHEET_LABELS,
        "picture_words": small_print.PICTURE_WORDS,
        "person": _person(identity),
        "code": document["code"],
        "made_at": document["made_at"].replace("T", " "),
        "version": f"{document['package']['name']} {document['package']['version']}",
        "page_of": sheet_text.page_of("{page}", "{pages}"),
        "level": document["level"],
        "side": sheet_text.tumour_on(document["tumour"]["side"]),
        "unconfirmed": "" if confirmed else text.LEVEL_UNCONFIRMED,
        "stale": text.stale_band(document["stale"]) if document["stale"] else "",
        "stale_word": text.OUT_OF_DATE,
        "answer": [part for part in document["answer_parts"] if part["about"] != "stale"],
        "bone": [
            _bone_row(face, resection["wanted_margin_mm"])
            for face in _thinnest_first(resection["faces"], "bone")
        ],
        "soft": [_row(face) for face in _thinnest_first(resection["faces"], "soft")],
        **_hand(),
        "left": _left(resection),
        "facts": _facts(document),
        "notes": _notes(document),
        "cautions": small_print.CAUTIONS,
    }


def _person(identity: Identity | None) -> dict[str, str]:
    """Name, birth date and number, and a caution if the name cannot be printed whole."""
    if identity is None:
        return {"name": text.COPY_WITHOUT_IDENTITY, "rest": "", "caution": ""}
    name = identity.name or text.NAME_UNKNOWN
    whole = printable_text(name) == " ".join(name.split())
    return {
        "name": name,
        "rest": text.joined_by_dot(
            sheet_text.born(identity.birth_date), sheet_text.number(identity.number)
        ),
        "caution": "" if whole else sheet_text.name_not_printable(),
    }


def _thinnest_first(faces: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    """Faces of a kind in the order of ``answer.least_room``."""
    return sorted(
        (face for face in faces if face["kind"] == kind),
        key=lambda face: (
            text.printed_mm(face["margin_mm"]),
            face.get("allowance_offset_mm", 0.0),
        ),
    )


def _row(face: Mapping[str, Any]) -> dict[str, Any]:
    """One face's row of the table."""
    return {
        "name": sheet_text.short_face(face["name"]),
        "margin": text.mm(face["margin_mm"]),
        "where": sheet_text.joined_by_semicolon(
            sheet_text.short_place(face["weakest_in_words"]),
            sheet_text.short_barrier(face["barrier"]),
        ),
        "bad": face["margin_mm"] < 0 or text.mm(face["margin_mm"]) == text.mm(0.0),
    }


def _bone_row(face: Mapping[str, Any], wanted_mm: float) -> dict[str, Any]:
    """The row of a face that is cut: with how far the cut may err, and its bar."""
    row = _row(face)
    room_mm = min(max(face["margin_mm"], 0.0), BAR_END_MM)
    may_err = text.offset_and_tilt(
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
    return row | {
        "bad": row["bad"] or face["margin_mm"] < wanted_mm,
        "may_err": may_err,
        "bar": room_mm / BAR_END_MM,
        "bar_colour": palette.room_colour(room_mm, BAR_END_MM),
    }


def _hand() -> dict[str, Any]:
    """The hand's published error, as shares of a bar, and what the bracket stands for."""
    hand = published_hand_error()
    shares = [min(end, BAR_END_MM) / BAR_END_MM for end in (hand.low_mm, hand.high_mm)]
    return {"hand": shares, "hand_words": sheet_text.bars_read(BAR_END_MM, hand.words)}


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
        (
            names["tumour"],
            text.joined_by_comma(
                text.tumour_words(tumour["volume_ml"], tumour["side"]), _unconfirmed(document)
            ),
        ),
        (names["piece"], text.ml(resection["piece"]["volume_ml"])),
        (names["keystone"], resection["keystone"]["words"]),
        (names["spread"], " ".join(_staging_words(document["staging"]))),
    ]
    return [{"title": name, "words": words} for name, words in facts if words]


def _unconfirmed(document: Mapping[str, Any]) -> str:
    """A word beside the tumour's volume while its outline, or another's, is a draft."""
    drafts = [part for part in document["answer_parts"] if part["about"] == "outlines"]
    return outline_words.UNCONFIRMED if drafts else ""


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


def _other_scan(document: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """How the other scan was laid on the CT; the answer says whether it lies there."""
    other = document.get("other_scan")
    return ((second_words.CARD, second_words.sheet_note(other)),) if other else ()


def _notes(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The small print, what matters most first: what does not fit stands on the next page."""
    names = text.SHEET_LABELS
    resection = document["resection"]
    confirmation = document["level_confirmation"]
    # The answer already says why a level is unconfirmed; what is a warning is said once.
    who = confirmation["words"] if confirmation["confirmed"] else ""
    handedness = document["anatomy"]["handedness"]
    contradicts = handedness["verdict"] == SideVerdict.CONTRADICTS.value
    warnings = [words for words in document["warnings"] if words != handedness["words"]]
    said = {*warnings, handedness["words"]}
    assumptions = [words for words in document["assumptions"] if words not in said]
    inputs = [
        f"{name} {value[:_HASH_LETTERS]}"
        for name, value in document["inputs"].items()
        if len(value) > _HASH_LETTERS  # the version stands at the foot
    ]
    sides = (names["sides"], text.joined_sentences(handedness["words"]))
    notes = [
        *((sides,) if contradicts else ()),
        (names["pictures"], small_print.LEGEND),
        (names["level"], text.joined_sentences(who, confirmation["counting"])),
        (names["warnings"], text.joined_sentences(*warnings)),
        *(() if contradicts else (sides,)),
        *_other_scan(document),
        (names["assumptions"], text.joined_sentences(*map(text.assumed, assumptions))),
        (names["rule"], text.joined_sentences(resection["cut_rule"])),
        (names["sources"], text.joined_sentences(*document["sources"])),
        (names["inputs"], "; ".join(inputs)),
    ]
    return [
        {
            "title": title,
            "words": words,
            "must_not_be_overlooked": contradicts and title == names["sides"],
        }
        for title, words in notes
        if words
    ]
