"""One image's stored values out of its file, with a named decoder."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
from numpy.typing import NDArray
from pydicom.config import IGNORE
from pydicom.pixels import pixel_array
from pydicom.uid import UID


def decode_here(path: Path, syntax: str, frame: int | None, *, plugin: str) -> NDArray[Any]:
    """Decode one image in this process.

    Parameters
    ----------
    path : Path
        The file.
    syntax : str
        Its transfer syntax.
    frame : int or None
        Which frame, from 0; None if it holds only one.
    plugin : str
        pydicom's name of the decoder; empty for none.

    Returns
    -------
    ndarray
        Stored values. Damaged data raises anything.
    """
    stamp = path.stat()
    dataset = _whole_file(path, (stamp.st_mtime_ns, stamp.st_size))
    dataset.file_meta.TransferSyntaxUID = UID(syntax, IGNORE)
    return np.asarray(
        pixel_array(
            dataset, index=frame, raw=True, correct_unused_bits=False, decoding_plugin=plugin
        )
    )


@lru_cache(maxsize=1)
def _whole_file(path: Path, stamp: tuple[int, int]) -> Any:
    """A file as it was at its stamp; the last one is kept, since it may hold many frames."""
    del stamp
    return pydicom.dcmread(path, force=True)
