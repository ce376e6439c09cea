"""A new case that is there as a whole, or not at all."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from vertebloc.errors import VertBlocError
from vertebloc.exchange.atomic import LOCK
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_manifest import MANIFEST
from vertebloc.exchange.journal import JOURNAL


@contextlib.contextmanager
def open_or_make(case_dir: Path, now: datetime) -> Iterator[CaseFolder]:
    """Open a case, or make one that is taken away again if its first import fails.

    Parameters
    ----------
    case_dir : Path
        A case, or a new or empty folder.
    now : datetime
        The time, with its zone.

    Yields
    ------
    CaseFolder
        The case.

    Raises
    ------
    InputError
        If the folder is neither.
    """
    if CaseFolder.is_case(case_dir):
        yield CaseFolder.open(case_dir)
        return
    missing = [folder for folder in (case_dir, *case_dir.parents) if not folder.exists()]
    case = CaseFolder.create(case_dir, now)
    try:
        yield case
    except BaseException:
        with contextlib.suppress(OSError, VertBlocError):
            _take_away(case_dir, missing)
        raise


def _take_away(case_dir: Path, made: list[Path]) -> None:
    """Remove an empty case, and the folders made for it; never anything that holds images."""
    if CaseFolder.open(case_dir).has("ct"):
        return  # saved all the same: only what follows the change failed
    for name in (MANIFEST, JOURNAL, LOCK):
        (case_dir / name).unlink(missing_ok=True)
    for folder in (*(entry for entry in case_dir.iterdir() if entry.is_dir()), *made):
        folder.rmdir()  # refuses if it holds anything
