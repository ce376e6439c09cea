"""Write files so that a kill or a power cut leaves the old or the new one, never a part.

A file is written aside in its own folder, flushed, and renamed over the old one; then the
folder is flushed, so that the new name outlives a power cut too.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path

from vertebloc.errors import InputError

#: Files being written begin with this; whatever bears it and has no living writer is waste.
ASIDE = ".aside-"
#: The file that writers lock. It stays; what counts is the lock, which dies with its holder.
LOCK = ".lock"
_CHUNK = 1 << 20

_WHAT_TO_DO = {
    errno.ENOSPC: "the disk is full: free some space and try again",
    errno.EDQUOT: "your share of the disk is used up: free some space and try again",
    errno.EFBIG: "the file is larger than this disk or account allows: choose another place",
    errno.EACCES: "permission denied: ask for the right to write there, or choose another folder",
    errno.EPERM: "not permitted: ask for the right to write there, or choose another folder",
    errno.EROFS: "the disk is read-only: choose another folder",
}


@contextlib.contextmanager
def say_plainly(doing: str) -> Iterator[None]:
    """Turn what the operating system refuses into one clear line.

    Parameters
    ----------
    doing : str
        What is being done, such as ``save in DIR``; goes after "could not".

    Raises
    ------
    InputError
        If the disk is full, the folder is read-only, or the system refuses otherwise.
    """
    try:
        yield
    except OSError as error:
        number = error.errno if error.errno is not None else 0
        reason = _WHAT_TO_DO.get(number, error.strerror or str(error))
        raise InputError(f"could not {doing}: {reason}") from error


@contextlib.contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Be the only one who writes in a folder, until the block ends or the process dies.

    Parameters
    ----------
    folder : Path
        An existing folder.

    Raises
    ------
    InputError
        If another process, or another block of this one, is writing there.
    """
    descriptor = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise InputError(
                f"{folder} is being written by another vertebloc: "
                "wait until that has finished, then try again"
            ) from error
        yield
    finally:
        os.close(descriptor)


def aside_of(path: Path) -> Path:
    """Name under which a file is written before it gets its own.

    Parameters
    ----------
    path : Path
        The file's own name.

    Returns
    -------
    Path
        In the same folder, with the same ending.
    """
    return path.with_name(f"{ASIDE}{os.getpid()}-{path.name}")


def write_flushed(path: Path, data: bytes) -> None:
    """Write a new file and wait until the disk has it.

    Parameters
    ----------
    path : Path
        File to make; one of that name is written over in place, so give an aside name.
    data : bytes
        All of its content.
    """
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
    try:
        left = memoryview(data)
        while left:
            left = left[os.write(descriptor, left) :]
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def flush(path: Path) -> None:
    """Wait until the disk has a file's content, or a folder's names.

    Parameters
    ----------
    path : Path
        An existing file or folder.
    """
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, data: bytes) -> None:
    """Make or replace a file so that a reader sees the old or the new one, never a part.

    Parameters
    ----------
    path : Path
        File to make or replace.
    data : bytes
        All of its content.
    """
    replace_whole(path, data)
    flush(path.parent)


def replace_whole(path: Path, data: bytes) -> None:
    """Make or replace a file as ``write_whole`` does, but leave the flush of its folder to do.

    Parameters
    ----------
    path : Path
        File to make or replace.
    data : bytes
        All of its content. If it cannot be written, the old file is as it was.
    """
    aside = aside_of(path)
    try:
        write_flushed(aside, data)
        aside.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            aside.unlink(missing_ok=True)
        raise


def append_line(path: Path, line: bytes) -> None:
    """Add a line to a file in a single write, and wait until the disk has it.

    Parameters
    ----------
    path : Path
        File to add to; made if it is not there.
    line : bytes
        The line without its end. A torn last line is left alone on a line of its own.

    Raises
    ------
    OSError
        If the system takes less than the whole line.
    """
    is_new = not path.exists()
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o666)
    try:
        size = os.lseek(descriptor, 0, os.SEEK_END)
        torn = size > 0 and os.pread(descriptor, 1, size - 1) != b"\n"
        data = (b"\n" if torn else b"") + line + b"\n"
        if os.write(descriptor, data) != len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    if is_new:
        flush(path.parent)


def size_and_hash(path: Path) -> tuple[int, str]:
    """Measure a file.

    Parameters
    ----------
    path : Path
        An existing file; read in pieces, so it may be large.

    Returns
    -------
    tuple of int and str
        Its size in bytes and its SHA-256.
    """
    digest = hashlib.sha256()
    size = 0
    with path.open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            digest.update(chunk)
            size += len(chunk)
    return size, digest.hexdigest()
