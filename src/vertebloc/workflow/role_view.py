"""The role sheets of a case's saved plan, for the screen."""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.role_printing import print_role_sheets, show_role_sheets
from vertebloc.reports.role_sheet import RoleSheet
from vertebloc.reports.role_sheets import role_sheets
from vertebloc.workflow.load_case import load_identity, load_pictures
from vertebloc.workflow.role_sheets import family_words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoleView:
    """All sheets of the plan that lies in the folder."""

    code: str
    stale: tuple[str, ...]
    sheets: tuple[RoleSheet, ...]  #: one an entry of the list, cards each by itself


def read_role_view(case: CaseFolder) -> RoleView | None:
    """Make the sheets of the saved plan.

    Parameters
    ----------
    case : CaseFolder
        Whose.

    Returns
    -------
    RoleView or None
        None if no plan was written yet.

    Raises
    ------
    InputError
        If the plan is of an older version.
    """
    if not case.has("plan"):
        return None
    document = case.json_of("plan")
    made = role_sheets(document, load_pictures(case), load_identity(case), family_words(case))
    return RoleView(
        code=document["code"],
        stale=tuple(document["stale"]),
        sheets=tuple(sheet for sheets in made.values() for sheet in sheets),
    )


def draw_role_sheet(case: CaseFolder, sheet: RoleSheet) -> str:
    """One sheet as it is printed.

    Parameters
    ----------
    case : CaseFolder
        Whose.
    sheet : RoleSheet
        From ``read_role_view``.

    Returns
    -------
    str
        SVG of its first page.
    """
    return show_role_sheets((sheet,), case.json_of("plan"), load_identity(case))[0]


def print_role_sheet(case: CaseFolder, sheet: RoleSheet) -> bytes:
    """One sheet for the printer.

    Parameters
    ----------
    case : CaseFolder
        Whose.
    sheet : RoleSheet
        From ``read_role_view``.

    Returns
    -------
    bytes
        PDF.
    """
    return print_role_sheets((sheet,), case.json_of("plan"), load_identity(case))
