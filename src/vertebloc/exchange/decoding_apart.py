"""Decoding of one image in a process of its own, for a decoder that damaged data can kill.

Measured: the only permissively licensed decoder of lossless JPEG ends the whole program when its
input is damaged. In a process of its own, that becomes one line.
"""

from __future__ import annotations

import atexit
import multiprocessing
import threading
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures import TimeoutError as TooLongError
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

from vertebloc.errors import InputError

#: One image may take this long, s; intact ones of 512 x 512 take some 20 ms.
LONGEST_S = 4.0
_START_S = 60.0  #: the process may take this long to start on a busy machine, s

_lock = threading.Lock()
_pool: list[ProcessPoolExecutor] = []


def decode_apart(path: Path, syntax: str, frame: int | None, label: str) -> Any:
    """Decode one image in another process.

    Parameters
    ----------
    path : Path
        The file.
    syntax : str
        Its transfer syntax.
    frame : int or None
        Which frame, from 0; None if it holds only one.
    label : str
        Its name in messages.

    Returns
    -------
    ndarray
        Stored values.

    Raises
    ------
    InputError
        If the decoder ended itself, or did not end within ``LONGEST_S``.
    """
    with _lock:
        pool = _started()
        try:
            return pool.submit(_decode, path, syntax, frame).result(timeout=LONGEST_S)
        except BrokenProcessPool as error:
            stop_decoding()
            raise InputError(
                f"{label}: its pixels are damaged: the decoder gave up; copy it again"
            ) from error
        except TooLongError as error:
            stop_decoding()
            raise InputError(
                f"{label}: its pixels could not be decoded within {LONGEST_S:g} s: the file may "
                "be damaged; copy it again"
            ) from error


def _started() -> ProcessPoolExecutor:
    if not _pool:
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(max_workers=1, mp_context=context)
        _pool.append(pool)
        pool.submit(_ready).result(timeout=_START_S)
    return _pool[0]


def stop_decoding() -> None:
    """End the process, if there is one; the next image starts another."""
    while _pool:
        pool = _pool.pop()
        for process in list((getattr(pool, "_processes", None) or {}).values()):
            process.kill()
        pool.shutdown(wait=True, cancel_futures=True)


atexit.register(stop_decoding)


def _ready() -> bool:
    import pydicom.pixels

    return pydicom.pixels is not None


def _decode(path: Path, syntax: str, frame: int | None) -> Any:
    from vertebloc.exchange.dicom_decoding import decode_here

    return decode_here(path, syntax, frame, plugin="gdcm")
