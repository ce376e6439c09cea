"""Writing aside: a file or folder appears under its name only when it is complete."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from vertebloc.errors import InputError
from vertebloc.exchange.atomic import aside_of, flush


@contextmanager
def write_folder_aside(folder: Path) -> Iterator[Path]:
    """Give a new folder beside the wanted one; rename it when the block ends well.

    Parameters
    ----------
    folder : Path
        The wanted folder; must not exist yet, or be empty.

    Yields
    ------
    Path
        The folder to write into; removed if the block fails.

    Raises
    ------
    InputError
        If the wanted folder holds something already.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder} is there already: give a new or empty folder")
    folder.parent.mkdir(parents=True, exist_ok=True)
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".part", dir=folder.parent))
    try:
        yield aside
        aside.chmod(0o755)  # made for its maker only; a series is for whoever may read beside it
        aside.rename(folder)
        flush(folder.parent)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise


@contextmanager
def write_file_aside(path: Path) -> Iterator[BinaryIO]:
    """Open a new file beside the wanted one; rename it when the block ends well.

    Parameters
    ----------
    path : Path
        The wanted file; one that is there is replaced.

    Yields
    ------
    BinaryIO
        The file to write to; removed if the block fails.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    aside = aside_of(path)
    try:
        with aside.open("wb") as file:
            yield file
        flush(aside)
        aside.replace(path)
        flush(path.parent)
    except BaseException:
        aside.unlink(missing_ok=True)
        raise
