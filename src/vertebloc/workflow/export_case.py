"""Everything of a case that can be written for other programs, printers and people."""

from __future__ import annotations

from enum import Enum
from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.reports.player_words import Audience
from vertebloc.workflow.export_contours import ExportReport, OutlineFormat, export_contours
from vertebloc.workflow.export_planned import export_planned
from vertebloc.workflow.export_player import export_player
from vertebloc.workflow.export_solids import export_solids
from vertebloc.workflow.saying import Say, say_nothing


class PlanForm(Enum):
    """How a plan is written."""

    SOLIDS = "solids"  #: spine, piece and tumour to print
    PLANNED = "planned"  #: DICOM segmentation, structure set and sheet, into the study
    TEACHING = "teaching"  #: one file that plays the plan, all words
    CONSENT = "consent"  #: likewise, in plain words


def known_forms() -> tuple[str, ...]:
    """Every form that ``export_case`` knows, outlines first."""
    return (*(one.value for one in OutlineFormat), *(one.value for one in PlanForm))


def export_case(
    case_dir: Path, folder: Path, form: str, *, with_identity: bool = False, say: Say = say_nothing
) -> ExportReport:
    """Write outlines or plan of a case into a new folder; the case is only read.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    folder : Path
        Where to; must not exist yet, or be empty.
    form : str
        One of ``known_forms``.
    with_identity : bool
        Name the person in a file that plays the plan; other forms know no choice.
    say : callable
        Called before each long step.

    Returns
    -------
    ExportReport
        The files, and what must be known of them.

    Raises
    ------
    InputError
        If the form is not known or knows no choice about the name, the case lacks what is to be
        written, or the folder holds something.
    """
    if form not in known_forms():
        raise InputError(f"--as {form} is not known: {', '.join(known_forms())} are")
    played = {one.value for one in Audience}
    if with_identity and form not in played:
        raise InputError(
            f"--with-identity is for {' and '.join(sorted(played))}; {form} was asked for"
        )
    if form in played:
        audience = Audience(form)
        return export_player(case_dir, folder, audience, with_identity=with_identity, say=say)
    if form in {one.value for one in OutlineFormat}:
        return export_contours(case_dir, folder, OutlineFormat(form), say=say)
    if form == PlanForm.PLANNED.value:
        return export_planned(case_dir, folder, say=say)
    return export_solids(case_dir, folder, say=say)
