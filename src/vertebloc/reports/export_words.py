"""What files say that leave the case for printing and for other programs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.reports import text
from vertebloc.reports.page_words import CAUTION
from vertebloc.resection.printed_piece import FilledPiece
from vertebloc.resection.printed_solids import PrintedSolid
from vertebloc.space.raised_letters import TAG_MM

#: On the page: what is folded away there, and each form with its words.
HAND_OUT = "Files for others"
FORMS = {
    "teaching": "The plan to be played, for teaching (a page that opens offline; names nobody)",
    "consent": "The plan in plain words, for the person and family (likewise)",
    "solids": "Spine, piece and tumour to be printed (STL and 3MF, zipped; names nobody)",
    "planned": "Piece, cuts and sheet for the study (DICOM, zipped; names the person)",
}
TAKES_A_WHILE = "Each is made when it is asked for, which takes up to a minute."

_TOLD_ML = 0.005  #: less is no 0.01 ml
FRAME = "patient LPS: x to the patient's left, y to the back, z to the head; millimetres"
NOT_CONFIRMED = "UNCONFIRMED: nobody has confirmed the level of this plan"
PLANNED = "PLANNED, not outlined: computed from the team's choices"
NO_NAME = "no name, date or identifier of the person is in it; a rare shape can be recognised"
NAMES_THE_PERSON = "CAUTION: the files name the person; for a colleague outside use pack"

NO_STUDY = (
    "CAUTION: the images did not say of which study they are: the files have a study and a frame "
    "of reference of their own"
)


def is_confirmed(document: Mapping[str, Any]) -> bool:
    """Whether the level of a plan is confirmed."""
    return bool(document["level_confirmation"]["confirmed"])


def plan_cautions(document: Mapping[str, Any]) -> tuple[str, ...]:
    """What every file of a plan says about the plan itself, one sentence a line.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    tuple of str
        The plan's code, whether it is confirmed, and the caution.
    """
    return (
        f"plan {document['code']}, level {document['level']}",
        *(() if is_confirmed(document) else (NOT_CONFIRMED,)),
        CAUTION,
    )


def file_prefix(document: Mapping[str, Any]) -> str:
    """What the names of files begin with: loud if the plan is not confirmed."""
    return "" if is_confirmed(document) else "UNCONFIRMED-"


def stl_header(name: str, document: Mapping[str, Any]) -> str:
    """What fits into the 80 bytes of an STL header after unit and frame."""
    state = "" if is_confirmed(document) else "UNCONFIRMED, "
    return f"{state}{name} {document['level']}, plan {document['code']}"


def solids_about(document: Mapping[str, Any]) -> str:
    """What the 3MF file says about itself, in one paragraph."""
    return text.joined_sentences(f"Frame: {FRAME}", PLANNED, *plan_cautions(document))


def solids_lines(solids: Sequence[PrintedSolid]) -> tuple[str, ...]:
    """Each solid with its volume, and whether it prints as one.

    Parameters
    ----------
    solids : sequence of PrintedSolid
        As written.

    Returns
    -------
    tuple of str
        One line each.
    """
    return tuple(
        f"{one.name}: {text.fine_ml(one.volume_ml)} without its tags, closed, "
        + ("one part" if one.loose_parts == 1 else f"{one.loose_parts} loose parts")
        for one in solids
    )


def filling_lines(piece: FilledPiece) -> tuple[str, ...]:
    """What was filled into the piece so that it prints as one part, and what was left out.

    Parameters
    ----------
    piece : FilledPiece
        As written.

    Returns
    -------
    tuple of str
        One line each; none if the piece is as in the plan.
    """
    found = []
    if piece.disc_ml >= _TOLD_ML:
        found.append(f"filled into the piece: {text.fine_ml(piece.disc_ml)} of outlined disc")
    if piece.bridge_ml >= _TOLD_ML:
        found.append(
            f"filled into the piece: {text.fine_ml(piece.bridge_ml)} of bridges between its "
            "parts, which are no anatomy"
        )
    if piece.left_out_ml >= _TOLD_ML:
        found.append(
            f"left out of the piece: {text.fine_ml(piece.left_out_ml)} of bits too small to print"
        )
    if piece.loose_parts > 1:
        found.append(
            f"CAUTION: the piece prints in {piece.loose_parts} loose parts: the sac lies between "
            "them"
        )
    return tuple(found)


def solids_readme(
    document: Mapping[str, Any],
    solids: Sequence[str],
    files: Sequence[str],
    together: str,
) -> str:
    """The text that lies beside printed solids.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    solids : sequence of str
        What is in them, a line each.
    files : sequence of str
        Names of the STL files.
    together : str
        Name of the 3MF file.

    Returns
    -------
    str
        Plain text, a line each.
    """
    lines = (
        "Spine, piece and tumour of a planned resection, at true scale, to be printed or opened "
        "in other programs.",
        "",
        *plan_cautions(document),
        PLANNED,
        "",
        f"Unit and frame: {FRAME}. STL does not hold a unit: choose millimetres.",
        f"Scale: measure before use. Each tag is a square of {TAG_MM:g} mm, the cube has edges "
        f"of {TAG_MM:g} mm. If a ruler says otherwise, throw the print away.",
        "Side: the tag LEFT stands at the patient's left, the tag RIGHT at the patient's right. "
        "Its letters are read from behind with the head up, and again from the front. "
        "If they read mirrored, the print is mirrored: throw it away.",
        "Level: raised below the side; a question mark behind it: nobody has confirmed it.",
        "",
        *solids,
        "The spine holds all outlined vertebrae and discs, no ribs; bone destroyed by tumour is "
        "filled. The piece is bone and tumour as in the plan, and what is filled in so that it "
        "prints as one part; do not weigh or measure that. The blade's width is taken from what "
        "stays.",
        "Surfaces follow the outlines: they are no finer than the voxels of the images.",
        "",
        f"{together}: all of it in one file (3MF). One each (STL): {', '.join(files)}.",
        "All solids lie where they are in the patient, so that their tags overlap when they are "
        "shown together: print them apart.",
        NO_NAME,
    )
    return "\n".join(lines) + "\n"


def object_description(document: Mapping[str, Any]) -> str:
    """What a DICOM object of planned regions says of itself, in at most 64 letters."""
    state = "" if is_confirmed(document) else "UNCONFIRMED, "
    return f"{state}PLANNED, not outlined; plan {document['code']}"


def object_series(document: Mapping[str, Any]) -> str:
    """What its series is called, in at most 64 letters."""
    state = "" if is_confirmed(document) else "UNCONFIRMED, "
    return f"{state}PLANNED resection of {document['level']}, not outlined"


def sheet_series(document: Mapping[str, Any]) -> str:
    """What the series of the sheet is called, in at most 64 letters."""
    state = "" if is_confirmed(document) else "UNCONFIRMED, "
    return f"{state}planning sheet of {document['level']}, planning aid"


def sheet_title(document: Mapping[str, Any]) -> str:
    """The sheet's title in its DICOM object."""
    return text.joined_sentences(
        f"Planning sheet, level {document['level']}, plan {document['code']}",
        *(() if is_confirmed(document) else (NOT_CONFIRMED,)),
        CAUTION,
    )


def region_label(name: str) -> str:
    """The name of a planned region, in at most 64 letters."""
    return f"PLANNED {name}"


def region_description(name: str, thick_mm: float) -> str:
    """What a planned region is, in a sentence or two."""
    thick = f" Drawn {text.mm(thick_mm)} thick, from the piece outwards." if "cut" in name else ""
    return f"{text.sentence(f'{name}, {PLANNED}')}{thick}"
