"""A JSON file that holds one object, read with one line of error."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from vertebloc.errors import InputError


def read_json_object(path: Path) -> dict[str, Any]:
    """Read a file of the case folder that is one JSON object.

    Parameters
    ----------
    path : Path
        An existing file.

    Returns
    -------
    dict
        What it says.

    Raises
    ------
    InputError
        If it is damaged.
    """
    try:
        document = json.loads(path.read_bytes())
    except ValueError as error:
        raise InputError(f"{path} is damaged ({error}): restore it from a copy") from error
    if not isinstance(document, dict):
        raise InputError(f"{path} is damaged (no JSON object): restore it from a copy")
    return document
