"""What is kept in a case folder only to open it faster: no input, no result, no part of the case.

Each file tells under which key it was kept and the hash of its content. One that does not fit is
thrown away; one that cannot be written is not missed. The manifest names none of them, so they
are neither checked nor packed, and may be deleted at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
from pathlib import Path

from vertebloc.exchange import atomic

FOLDER = "cache"
MOST_KEPT = 3  #: older ones are let go
_BEGINNING = b"vertebloc cache 1"


def put_in_cache(case_dir: Path, key: str, data: bytes) -> None:
    """Keep something; if the disk refuses, it is not kept.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    key : str
        Stands for everything that the content depends on; 64 hexadecimal digits.
    data : bytes
        The content.
    """
    folder = case_dir / FOLDER
    with contextlib.suppress(OSError):
        folder.mkdir(exist_ok=True)
        for old in _kept(folder)[MOST_KEPT - 1 :]:
            if old.name != _name(key):
                old.unlink(missing_ok=True)
        atomic.write_whole(folder / _name(key), _head(key, data) + data)


def find_in_cache(case_dir: Path, key: str) -> bytes:
    """Look up what was kept under a key.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    key : str
        As it was put.

    Returns
    -------
    bytes
        Empty if nothing is kept under that key, or what is kept there is damaged: then the file
        is thrown away.
    """
    path = case_dir / FOLDER / _name(key)
    try:
        data = path.read_bytes()
    except OSError:
        return b""
    start = len(_head(key, b""))
    if data[:start] == _head(key, data[start:]):
        return data[start:]
    throw_away(case_dir, key)
    return b""


def throw_away(case_dir: Path, key: str) -> None:
    """Delete what is kept under a key, because it is of no use.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    key : str
        As it was put.
    """
    with contextlib.suppress(OSError):
        (case_dir / FOLDER / _name(key)).unlink(missing_ok=True)


def _name(key: str) -> str:
    return f"measured-{key[:16]}.bin"


def _head(key: str, data: bytes) -> bytes:
    digest = hashlib.sha256(data).hexdigest()
    return b"\n".join((_BEGINNING, key.encode(), digest.encode(), b""))


def _kept(folder: Path) -> list[Path]:
    """Files of the cache, youngest first; what a kill left half written counts as oldest."""
    found = [path for path in folder.iterdir() if path.is_file() and not path.is_symlink()]
    ours = [path for path in found if path.name.startswith(("measured-", atomic.ASIDE))]
    ages = {path: path.stat().st_mtime for path in ours}
    return sorted(ours, key=lambda path: (path.name.startswith(atomic.ASIDE), -ages[path]))
