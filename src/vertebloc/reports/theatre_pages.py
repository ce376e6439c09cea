"""The sheet's further pages: the piece unfolded, how deep each blade may go, the order of acts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import partial
from typing import Any

from vertebloc.case.choice_words import Act
from vertebloc.reports import page_words as words
from vertebloc.reports import text
from vertebloc.reports.access_pages import access_pages
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings, bail_out_rows
from vertebloc.reports.c_arm_pages import c_arm_pages
from vertebloc.reports.depth_picture import depth_rows, depth_sentence
from vertebloc.reports.sheet_pages import (
    HIGHEST_ALONE_MM,
    HIGHEST_MM,
    WIDEST_MM,
    SheetPage,
    SheetPicture,
    SheetTable,
)
from vertebloc.reports.way_out_pages import way_out_pages

#: Names under which a case keeps the drawings of these pages, as SVG.
CARTON, DEPTHS = "carton", "depths"
SIGNAL_RUN = Act.SIGNAL_RUN.value


def further_pages(
    document: Mapping[str, Any], pictures: Mapping[str, bytes]
) -> tuple[SheetPage, ...]:
    """Make the pages that follow the first one, from the saved plan and its saved drawings.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    pictures : mapping of str to bytes
        The plan's drawings by name; pages whose drawing is missing come without it.

    Returns
    -------
    tuple of SheetPage
        None for a plan of an older version that holds neither depths nor acts.
    """
    resection = document["resection"]
    if "depths" not in resection or "acts" not in resection:
        return ()
    pages = list(access_pages(document, partial(_drawn, pictures)))
    pages.append(_carton(document, pictures))
    if resection["depths"]:
        pages += _depths(document, pictures)
    pages += way_out_pages(document, partial(_drawn, pictures))
    pages += c_arm_pages(document, tuple(pictures), partial(_alone, pictures))
    return (*pages, *_acts(document))


def _carton(document: Mapping[str, Any], pictures: Mapping[str, bytes]) -> SheetPage:
    rows = tuple(
        (
            face["name"],
            face["kind"],
            text.mm(face["margin_mm"]),
            words.square_mm(face["area_mm2"]),
            face.get("barrier", ""),
        )
        for face in sorted(
            document["resection"]["faces"], key=lambda f: (f["kind"], f["margin_mm"])
        )
    )
    return SheetPage(
        title=words.CARTON,
        sentence=words.CARTON_NOTE,
        picture=_picture(pictures, CARTON, words.CARTON, width_mm=105.0),
        table=SheetTable(headings=words.CARTON_HEADINGS, rows=rows),
    )


def _depths(document: Mapping[str, Any], pictures: Mapping[str, bytes]) -> list[SheetPage]:
    rows = depth_rows(document)
    protectors = tuple((row["cut"], row["protector"]) for row in rows if row["protector"])
    by_angle = tuple(
        (row["cut"], row["held"], row["far"], row["stop"], row["vessel"]) for row in rows
    )
    return [
        SheetPage(
            title=words.DEPTHS,
            sentence=depth_sentence(document),
            picture=_picture(pictures, DEPTHS, words.DEPTHS, width_mm=112.0),
            table=SheetTable(headings=words.PROTECTOR_HEADINGS, rows=protectors),
        ),
        SheetPage(
            title=words.DEPTHS_BY_ANGLE,
            sentence=words.DEPTHS_CAUTION,
            table=SheetTable(headings=words.DEPTH_HEADINGS, rows=by_angle),
        ),
    ]


def _acts(document: Mapping[str, Any]) -> list[SheetPage]:
    rows = tuple((row["number"], row["stop"], _act(row)) for row in acts_rows(document))
    warnings = [str(one["words"]) for one in acts_warnings(document)]
    bail_out = tuple(
        (
            text.sentence(one["trouble"]).rstrip("."),
            " ".join([*one["steps"], words.source_of(one["source"])]),
        )
        for one in bail_out_rows(document)
    )
    return [
        SheetPage(
            title=words.ACTS,
            sentence=" ".join([acts_sentence(document), *warnings]),
            must_not_be_overlooked=bool(warnings),
            table=SheetTable(headings=words.ACT_HEADINGS, rows=rows),
        ),
        SheetPage(
            title=words.BAIL_OUTS,
            sentence=words.BAIL_OUT_CAUTION,
            table=SheetTable(headings=words.BAIL_OUT_HEADINGS, rows=bail_out),
        ),
    ]


def _act(row: Mapping[str, str]) -> str:
    """An act in one cell: what it is, of what, and what comes with it."""
    said = [row["act"]]
    if row["parts"]:
        said.append(text.sentence(row["parts"]))
    if row["stop"] == "only with" and row["id"] != SIGNAL_RUN:  # the act before it says so
        said.append(text.sentence(row["stop_words"]))
    if row["trouble"]:
        said.append(words.may_go_wrong(row["trouble"]))
    return " ".join(said)


def _drawn(
    pictures: Mapping[str, bytes], name: str, said: str, width_mm: float
) -> SheetPicture | None:
    return _picture(pictures, name, said, width_mm=width_mm)


def _alone(
    pictures: Mapping[str, bytes], name: str, said: str, width_mm: float
) -> SheetPicture | None:
    """As large as a page can hold that shows nothing else."""
    return _picture(pictures, name, said, width_mm=width_mm, highest_mm=HIGHEST_ALONE_MM)


def _picture(
    pictures: Mapping[str, bytes],
    name: str,
    said: str,
    *,
    width_mm: float,
    highest_mm: float = HIGHEST_MM,
) -> SheetPicture | None:
    """A saved SVG at a printed width, no higher than a page holds."""
    drawing = pictures.get(name)
    if drawing is None:
        return None
    box = re.search(rb'viewBox="([^"]+)"', drawing)
    _, _, wide, high = (float(part) for part in (box[1].split() if box else (0, 0, 1, 1)))
    width_mm = min(width_mm, WIDEST_MM, (highest_mm - 1.0) * wide / high)
    return SheetPicture(
        drawing=drawing, width_mm=width_mm, height_mm=width_mm * high / wide, words=said
    )
