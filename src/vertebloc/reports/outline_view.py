"""The page on which outlines are drawn, and outlines as the browser takes them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.record import DrawnOutline, OutlineState
from vertebloc.reports import outline_words as words
from vertebloc.reports import palette, text
from vertebloc.reports.page_views import Card, PageView, Sentence
from vertebloc.reports.page_words import Question
from vertebloc.space.grids import Grid

_INKS = {
    Structure.TUMOUR: palette.TUMOUR_HATCH,
    Structure.SAC: palette.SAC,
    Structure.CORD: palette.CORD,
    Structure.TRACT: palette.TUMOUR_WASH,
    Structure.SCAR: palette.TUMOUR_WASH,
    **dict.fromkeys(
        (
            Structure.AORTA, Structure.AZYGOS, Structure.SUPERIOR_CAVA, Structure.INFERIOR_CAVA,
            Structure.SEGMENTAL_VESSEL,
        ),
        palette.VESSEL_EDGE,
    ),
}  # fmt: skip


def outlines_view(
    active: DrawnOutline,
    present: Sequence[DrawnOutline],
    grid: Grid,
    *,
    moved_on: bool,
    is_measured: bool,
) -> PageView:
    """What is where, and who stands for it: the outline that is drawn on first.

    Parameters
    ----------
    active : DrawnOutline
        The one that is drawn on.
    present : sequence of DrawnOutline
        All that have a voxel.
    grid : Grid
        Of the images.
    moved_on : bool
        Whether the plan on the other pages was computed from earlier outlines.
    is_measured : bool
        Whether canal and vertebrae are known: slices run square to the canal from then on.

    Returns
    -------
    PageView
        Drafts must not be overlooked.
    """
    answer = [_sentence(active, grid)]
    others = [
        one.contour.words
        for one in present
        if one.contour != active.contour and one.state is OutlineState.DRAFT
    ]
    if others:
        answer.append(Sentence(words.drafts(others), must_not_be_overlooked=True))
    if moved_on:
        answer.append(Sentence(words.MOVED_ON, must_not_be_overlooked=True))
    if not is_measured:
        answer.append(Sentence(words.SLICES_WILL_TURN))
    rows = tuple(
        (one.contour.words, words.row(one.state.value, volume_words(one.mask, grid)))
        for one in present
    )
    return PageView(
        question=Question.CONTOURS,
        answer=tuple(answer),
        cards=(Card(title=words.HOW, rows=rows),) if rows else (),
    )


def no_outlines_view(*, has_images: bool) -> PageView:
    """The page before anything can be drawn.

    Parameters
    ----------
    has_images : bool
        Whether there are images that are still being read.

    Returns
    -------
    PageView
        One sentence.
    """
    said = f"{text.sentence(words.OPENING)}" if has_images else words.NO_IMAGES
    return PageView(question=Question.CONTOURS, answer=(Sentence(said),))


def _sentence(outline: DrawnOutline, grid: Grid) -> Sentence:
    name, volume = outline.contour.words, volume_words(outline.mask, grid)
    record = outline.record
    if outline.mask.is_empty and outline.state is not OutlineState.CONFIRMED:
        return Sentence(words.absent(name))
    if record.confirmed_by is not None:
        who = record.confirmed_by
        time = who.time.replace("T", " ")[:16]
        return Sentence(words.confirmed(name, volume, who.name, time))
    if outline.state is OutlineState.DRAFT:
        by = [one.name for one in record.drawn_by]
        return Sentence(words.draft(name, volume, by), must_not_be_overlooked=True)
    return Sentence(words.imported(name, volume))


def volume_words(mask: OutlineMask, grid: Grid) -> str:
    """How large an outline is.

    Parameters
    ----------
    mask : OutlineMask
        Its voxels.
    grid : Grid
        Of the images.

    Returns
    -------
    str
        In ml, whole voxels counted.
    """
    return text.fine_ml(mask.count * grid.voxel_volume_mm3 / 1000.0)


def grid_numbers(grid: Grid) -> dict[str, Any]:
    """Where voxels lie, for the browser.

    Parameters
    ----------
    grid : Grid
        Of the images.

    Returns
    -------
    dict
        ``shape``, ``lps`` (rows of the map from indices) and ``ijk`` (rows of the map back).
    """
    return {
        "shape": [int(n) for n in grid.shape],
        "lps": [float(x) for x in grid.lps_from_ijk.matrix.reshape(-1)],
        "ijk": [float(x) for x in grid.lps_from_ijk.inverse.matrix.reshape(-1)],
    }


def outline_mark(mask: OutlineMask, grid: Grid) -> str:
    """Count and places of an outline's voxels in a few digits, as the browser reckons them.

    Parameters
    ----------
    mask : OutlineMask
        Its voxels.
    grid : Grid
        Of the images.

    Returns
    -------
    str
        The same for the same voxels.
    """
    i, j, k = (
        axis + first for axis, first in zip(np.nonzero(mask.inside), mask.start, strict=True)
    )
    ni, nj, _ = grid.shape
    places = i + ni * (j + nj * k.astype(np.int64))
    return f"{len(places)}-{int(places.sum()) % 2**32}"


def outline_bytes(mask: OutlineMask) -> bytes:
    """An outline's voxels for the browser.

    Parameters
    ----------
    mask : OutlineMask
        Its voxels.

    Returns
    -------
    bytes
        First index and size of the box, uint32 x 6, little-endian; then a bit a voxel, lowest
        first, i runs fastest.
    """
    head = np.array([*mask.start, *mask.inside.shape], dtype="<u4").tobytes()
    return head + np.packbits(mask.inside.reshape(-1, order="F"), bitorder="little").tobytes()


def outline_middle(mask: OutlineMask, grid: Grid) -> list[float]:
    """A place inside an outline, in the middle of its largest slice along k.

    Parameters
    ----------
    mask : OutlineMask
        Its voxels.
    grid : Grid
        Of the images.

    Returns
    -------
    list of float, mm
        Patient LPS; empty if there is no voxel.
    """
    if mask.is_empty:
        return []
    k = int(np.argmax(mask.inside.sum(axis=(0, 1))))
    i, j = np.argwhere(mask.inside[:, :, k]).mean(axis=0)
    index = np.array([i, j, k]) + mask.start
    return [round(float(x), 4) for x in grid.lps_from_ijk.points(index)[0]]


def ink_of(contour: Contour) -> str:
    """The colour of an outline on the night ground.

    Parameters
    ----------
    contour : Contour
        What it is of.

    Returns
    -------
    str
        As ``#rrggbb``.
    """
    return _INKS.get(contour.structure, palette.BONE)
