"""What was measured of a case, kept beside it so that it opens faster the next time.

Kept under a key made from the outlines as they lie on the disk, the level and error that were
chosen, and the program itself with the libraries it measures with. A plan by ``vertebloc plan``
is always measured anew.
"""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib import metadata
from pathlib import Path

import vertebloc
from vertebloc.case.choices import Choices
from vertebloc.case.provenance import canonical_bytes
from vertebloc.exchange.atomic import size_and_hash
from vertebloc.exchange.case_cache import find_in_cache, put_in_cache, throw_away
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.travelling import CannotComeBackError, from_bytes, to_bytes

_MEASURED_FROM = ("labels", "names", "surfaces", "drawn")
_LIBRARIES = ("numpy", "scipy", "numba", "manifold3d", "scikit-image", "SimpleITK", "nibabel")


def key_of_measures(case: CaseFolder, choices: Choices) -> str:
    """Stand for everything that the measures depend on.

    Parameters
    ----------
    case : CaseFolder
        Its outlines are hashed as they lie there now, whatever the manifest says.
    choices : Choices
        Level, levels and contour error.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    outlines = [
        [step, path.name, size_and_hash(path)[1]]
        for step in _MEASURED_FROM
        if case.has(step)
        for path in _files(case.path_of(step))
    ]
    if case.has("drawn"):
        outlines += [
            ["drawn", name, size_and_hash(path)[1]]
            for name, path in sorted(case.files_of("drawn").items())
        ]
    chosen = [choices.level.diseased, choices.contour_error_mm, choices.levels]
    return hashlib.sha256(canonical_bytes([outlines, chosen, _program()])).hexdigest()


def find_measures(case: CaseFolder, key: str) -> Prepared | None:
    """Look up what was measured before.

    Parameters
    ----------
    case : CaseFolder
        Whose.
    key : str
        From ``key_of_measures``.

    Returns
    -------
    Prepared or None
        None if nothing is kept under the key, or what is kept cannot be read: then it is thrown
        away, and the case is to be measured.
    """
    data = find_in_cache(case.path, key)
    if not data:
        return None
    try:
        found = from_bytes(data)
    except CannotComeBackError:
        found = None
    if not isinstance(found, Prepared):
        throw_away(case.path, key)
        return None
    return found


def keep_measures(case: CaseFolder, choices: Choices, key: str, prepared: Prepared) -> None:
    """Keep what was measured, unless the outlines were changed meanwhile.

    Parameters
    ----------
    case : CaseFolder
        Whose.
    choices : Choices
        What it was measured with.
    key : str
        From ``key_of_measures``, before the outlines were read.
    prepared : Prepared
        What was measured.
    """
    if key_of_measures(case, choices) == key:
        put_in_cache(case.path, key, to_bytes(prepared))


def _files(path: Path) -> list[Path]:
    return sorted(path.iterdir()) if path.is_dir() else [path]


@cache
def _program() -> tuple[str, ...]:
    """Every line of this program, and the versions of what it measures with."""
    digest = hashlib.sha256()
    root = Path(vertebloc.__file__).parent
    for path in sorted(root.rglob("*.py")):
        digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    versions = (f"{name} {metadata.version(name)}" for name in _LIBRARIES)
    return (digest.hexdigest(), platform.python_version(), platform.machine(), *versions)
