"""A folder in one zip file, written whole or not at all."""

from __future__ import annotations

import zipfile
from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange import atomic

#: One date for every file: a zip of the same files is the same, and tells no working hours.
_DATE = (1980, 1, 1, 0, 0, 0)


def zip_folder(folder: Path, target: Path) -> None:
    """Write all files of a folder into a new zip file.

    Parameters
    ----------
    folder : Path
        What goes in; hidden files stay out.
    target : Path
        The zip file; must not exist.

    Raises
    ------
    InputError
        If the target exists, or the disk refuses; nothing half-written stays.
    """
    if target.exists():
        raise InputError(f"{target} exists already: give another name")
    with atomic.say_plainly(f"write {target}"):
        aside = atomic.aside_of(target)
        try:
            with zipfile.ZipFile(aside, "x", zipfile.ZIP_DEFLATED, compresslevel=3) as packed:
                for path in sorted(folder.rglob("*")):
                    inside = path.relative_to(folder)
                    if path.is_dir() or any(part.startswith(".") for part in inside.parts):
                        continue
                    entry = zipfile.ZipInfo(inside.as_posix(), _DATE)
                    entry.compress_type = zipfile.ZIP_DEFLATED
                    with path.open("rb") as source, packed.open(entry, "w") as sink:
                        while block := source.read(1 << 20):
                            sink.write(block)
            atomic.flush(aside)
            aside.replace(target)
        finally:
            aside.unlink(missing_ok=True)
