"""The plan of an open case as one file to be handed to a browser."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange.zip_folder import zip_folder
from vertebloc.reports import export_words as words
from vertebloc.reports.player_words import Audience
from vertebloc.workflow.export_contours import object_settings
from vertebloc.workflow.export_planned import write_planned
from vertebloc.workflow.export_player import make_page
from vertebloc.workflow.export_solids import write_solids
from vertebloc.workflow.load_case import load_contours
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.planned_again import PlannedAgain


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedOut:
    """One file."""

    name: str
    data: bytes


def hand_out(case: OpenCase | None, form: str) -> HandedOut:
    """Make a file of the plan as it stands on the screen.

    Parameters
    ----------
    case : OpenCase or None
        The open case.
    form : str
        One of ``export_words.FORMS``.

    Returns
    -------
    HandedOut
        A page, or a zip of files.

    Raises
    ------
    InputError
        If there is no plan yet, the outlines have moved on, or the form is not known.
    """
    if form not in words.FORMS:
        raise InputError(f"{form} is not known: {', '.join(words.FORMS)} are")
    if case is None or case.planned is None or case.prepared is None:
        raise InputError("there is no plan yet: wait until it is computed")
    if case.has_moved_on:
        raise InputError("outlines were drawn on since the plan was computed: measure again first")
    planned = PlannedAgain(
        case=case.folder,
        choices=case.planned.choices,
        contours=load_contours(case.folder),
        prepared=case.prepared,
        plan=case.planned.plan,
        document=case.planned.document,
    )
    prefix = words.file_prefix(planned.document)
    if form in {one.value for one in Audience}:
        page = make_page(planned, Audience(form))
        return HandedOut(name=f"{prefix}{form}.html", data=page.encode("utf-8"))
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / form
        folder.mkdir()
        if form == "solids":
            write_solids(planned, folder)
        else:
            write_planned(planned, object_settings(case.folder), folder)
        target = Path(aside) / "handed.zip"
        zip_folder(folder, target)
        return HandedOut(name=f"{prefix}{form}.zip", data=target.read_bytes())
