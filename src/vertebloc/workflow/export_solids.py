"""Spine, piece and tumour of a planned case as files to print, with what must be known beside."""

from __future__ import annotations

from pathlib import Path

from vertebloc.exchange.aside import write_folder_aside
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.solid_files import write_3mf, write_stl
from vertebloc.reports import export_words as words
from vertebloc.reports import palette
from vertebloc.resection.printed_piece import FilledPiece, filled_piece
from vertebloc.resection.printed_solids import (
    PrintedSolid,
    disc_surfaces,
    printed_solids,
    refuse_open,
    spine_surface,
)
from vertebloc.workflow.export_contours import ExportReport
from vertebloc.workflow.planned_again import PlannedAgain, plan_again
from vertebloc.workflow.saying import Say, say_nothing

COLOURS = {
    "spine": palette.BONE,
    "piece": palette.PIECE,
    "tumour": palette.TUMOUR,
    "scale cube": palette.SOFT,
}


def export_solids(case_dir: Path, folder: Path, *, say: Say = say_nothing) -> ExportReport:
    """Write the planned solids into a new folder; the case is only read.

    Parameters
    ----------
    case_dir : Path
        A planned case.
    folder : Path
        Where to; must not exist yet, or be empty.
    say : callable
        Called before each long step.

    Returns
    -------
    ExportReport
        The files, and what must be known of them.

    Raises
    ------
    InputError
        If there is no current plan, a solid is not closed, or the folder holds something.
    """
    with say_plainly(f"write to {folder}"), write_folder_aside(folder) as aside:
        planned = plan_again(case_dir, say)
        say("shaping and writing the solids")
        names, lines = write_solids(planned, aside)
    return ExportReport(
        files=tuple(folder / name for name in names),
        lines=(
            *(f"written: {folder / name}" for name in names),
            *lines,
            *words.plan_cautions(planned.document),
            words.NO_NAME,
        ),
    )


def shape_solids(planned: PlannedAgain) -> tuple[tuple[PrintedSolid, ...], FilledPiece]:
    """The solids of a plan with their tags.

    Parameters
    ----------
    planned : PlannedAgain
        The plan.

    Returns
    -------
    tuple of (tuple of PrintedSolid, FilledPiece)
        Spine, piece, tumour, and the cube; and what was filled into the piece.
    """
    prepared = planned.prepared
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    discs = disc_surfaces(planned.contours)
    piece = filled_piece(planned.plan, vertebra, discs, prepared.solids.sac)
    solids = printed_solids(
        spine_surface(planned.contours, prepared.anatomy, prepared.solids),
        planned.plan,
        piece,
        prepared.solids.tumour,
        vertebra,
        is_confirmed=planned.is_confirmed,
    )
    return solids, piece


def write_solids(planned: PlannedAgain, folder: Path) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Shape and write the solids of a plan.

    Parameters
    ----------
    planned : PlannedAgain
        The plan.
    folder : Path
        An empty folder.

    Returns
    -------
    tuple of (tuple of str, tuple of str)
        Names of the files, and what is in them in words.
    """
    solids, piece = shape_solids(planned)
    surfaces = refuse_open(solids)
    prefix = words.file_prefix(planned.document)
    about = words.solids_about(planned.document)
    names = []
    for name, surface in surfaces.items():
        file = f"{prefix}{name.replace(' ', '-')}.stl"
        write_stl(folder / file, surface, words.stl_header(name, planned.document))
        names.append(file)
    together = f"{prefix}solids.3mf"
    write_3mf(folder / together, surfaces, COLOURS, about)
    lines = (*words.solids_lines(solids), *words.filling_lines(piece))
    readme = words.solids_readme(planned.document, lines, tuple(names), together)
    (folder / "README.txt").write_text(readme, encoding="utf-8")
    return (together, *names, "README.txt"), lines
