"""Write the sheets of a case's plan: one file a role, in a folder of the case."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.operation_note import note_text
from vertebloc.reports.role_family import Words, read_family_words
from vertebloc.reports.role_printing import print_role_sheets
from vertebloc.reports.role_sheet import Role
from vertebloc.reports.role_sheets import role_sheets
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices, load_identity, load_pictures
from vertebloc.workflow.saying import Say, say_nothing

FOLDER = "role-sheets"
NOTE_TEXT = "operation-note-DRAFT.txt"
#: Kept beside the sheets, so that they can be renewed in the same language and as anonymous.
FAMILY_WORDS = "family-words.toml"
WITHOUT_IDENTITY = "without-identity"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetsReport:
    """What was written."""

    folder: Path
    code: str
    files: tuple[Path, ...]
    stale: tuple[str, ...]  #: why the plan is out of date; empty: it is not


def file_name(role: Role) -> str:
    """Name of a role's file.

    Parameters
    ----------
    role : Role
        Whose sheet.

    Returns
    -------
    str
        Such as ``04-anaesthetist.pdf``.
    """
    name = role.value.replace(" ", "-")
    if role is Role.NOTE:
        name += "-DRAFT"
    return f"{list(Role).index(role) + 1:02d}-{name}.pdf"


def write_role_sheets(
    case_dir: Path,
    *,
    family: Path | None = None,
    without_identity: bool = False,
    say: Say = say_nothing,
) -> SheetsReport:
    """Write all sheets of the case's plan as PDF, and the draft note as text too.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    family : Path or None
        Words of the family's page in another language; None: those used before, else English.
    without_identity : bool
        Name nobody on any of them; they lie in a folder of their own.
    say : callable
        Called before each long step.

    Returns
    -------
    SheetsReport
        Where they lie. A plan that is out of date says so on every page.

    Raises
    ------
    InputError
        If there is no plan, it is of an older version, or the family's words are mistaken.
    """
    case = CaseFolder.open(case_dir)
    _need_plan(case)
    case.mark_stale(
        case.stale_reasons(case.inputs(load_choices(case))),
        now=read_clock(), restamp=Restamper(case),
    )  # fmt: skip
    if family is not None:
        text = _read(family)
        read_family_words(text)
        with atomic.say_plainly(f"keep the family's words beside the sheets of {case_dir}"):
            (case.path / FOLDER).mkdir(exist_ok=True)
            atomic.write_whole(case.path / FOLDER / FAMILY_WORDS, text.encode())
    say("typesetting the role sheets")
    return write_sheets_of(case, without_identity=without_identity)


def write_sheets_of(case: CaseFolder, *, without_identity: bool = False) -> SheetsReport:
    """Write all sheets of an open case's saved plan.

    Parameters
    ----------
    case : CaseFolder
        Whose; its plan's marks of age are taken as they stand.
    without_identity : bool
        Name nobody on any of them.

    Returns
    -------
    SheetsReport
        Where they lie.

    Raises
    ------
    InputError
        If there is no plan, it is of an older version, or the disk refuses.
    """
    _need_plan(case)
    folder = case.path / FOLDER
    if without_identity:
        folder = folder / WITHOUT_IDENTITY
    identity = None if without_identity else load_identity(case)
    files = _write(case, folder, identity, family_words(case))
    document = case.json_of("plan")
    return SheetsReport(
        folder=folder, code=document["code"], files=files, stale=tuple(document["stale"])
    )


def renew_role_sheets(case: CaseFolder) -> None:
    """Write sheets that were written before anew, marks of age included.

    Parameters
    ----------
    case : CaseFolder
        A case after its last change.

    Raises
    ------
    InputError
        If the disk refuses.
    """
    folder = case.path / FOLDER
    if not case.has("plan") or not folder.is_dir():
        return
    words = family_words(case)
    _renew(case, folder, load_identity(case), words)
    _renew(case, folder / WITHOUT_IDENTITY, None, words)


def _renew(case: CaseFolder, folder: Path, identity: Identity | None, words: Words | None) -> None:
    """Write a folder's sheets anew if its draft note, which takes no time, is not as it was."""
    note = folder / NOTE_TEXT
    if not note.exists():
        return
    if note.read_text(encoding="utf-8") != note_text(case.json_of("plan"), identity):
        _write(case, folder, identity, words)


def _write(
    case: CaseFolder, folder: Path, identity: Identity | None, words: Words | None
) -> tuple[Path, ...]:
    document, pictures = case.json_of("plan"), load_pictures(case)
    made: dict[str, bytes] = {}
    for role, sheets in role_sheets(document, pictures, identity, words).items():
        made[file_name(role)] = print_role_sheets(sheets, document, identity)
    made[NOTE_TEXT] = note_text(document, identity).encode()
    with atomic.say_plainly(f"write sheets into {folder}"):
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in made.items():
            path = folder / name
            if not path.exists() or path.read_bytes() != data:
                atomic.write_whole(path, data)
        for old in folder.glob("[0-9][0-9]-*.pdf"):  # a role that this plan has no more
            if old.name not in made:
                old.unlink()
    return tuple(folder / name for name in made)


def family_words(case: CaseFolder) -> Words | None:
    """The translation of the family's page that is kept beside the sheets; None: English.

    Parameters
    ----------
    case : CaseFolder
        Whose.

    Returns
    -------
    mapping or None
        The words.

    Raises
    ------
    InputError
        If they are mistaken.
    """
    path = case.path / FOLDER / FAMILY_WORDS
    return read_family_words(_read(path)) if path.exists() else None


def _need_plan(case: CaseFolder) -> None:
    if not case.has("plan"):
        raise InputError(f"{case.path} holds no plan: make one with vertebloc plan {case.path}")


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is no UTF-8 text: save it as UTF-8") from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from error
