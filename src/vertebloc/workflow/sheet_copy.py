"""The copy of the sheet that names nobody: kept as true as the sheet itself."""

from __future__ import annotations

from pathlib import Path

from vertebloc.exchange import atomic
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.load_case import load_pictures, print_sheet
from vertebloc.workflow.role_sheets import renew_role_sheets

COPY = "planning-sheet-without-identity.pdf"


def renew_copy(case: CaseFolder, *, wanted: bool = False, role_sheets: bool = True) -> Path | None:
    """Write the copy without identity anew from the saved plan, marks of age included.

    Role sheets that were written before are renewed with it.

    Parameters
    ----------
    case : CaseFolder
        A case after its last change.
    wanted : bool
        Make the copy; without it, only one that lies there already is renewed.
    role_sheets : bool
        Renew the role sheets too; an open case does that aside, since it takes seconds.

    Returns
    -------
    Path or None
        The copy; None if there is none.

    Raises
    ------
    InputError
        If the disk refuses.
    """
    if role_sheets:
        renew_role_sheets(case)
    path = case.path / COPY
    if not case.has("plan") or not (wanted or path.exists()):
        return None
    sheet = print_sheet(case.json_of("plan"), load_pictures(case), None)
    with atomic.say_plainly(f"save {path}"):
        if not path.exists() or path.read_bytes() != sheet:
            atomic.write_whole(path, sheet)
    return path
