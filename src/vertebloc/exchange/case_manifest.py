"""The case folder's manifest: which files make up the case, with size and hash of each.

A file that the manifest does not name is not part of the case. Replacing the manifest is the
one moment at which a change happens.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from vertebloc.case.issued_codes import IssuedCode
from vertebloc.case.provenance import Inputs
from vertebloc.errors import InputError
from vertebloc.exchange.journal import Change

MANIFEST = "case.json"
SCHEMA = 1
ABOUT = (
    "vertebloc case folder. A file this list does not name is not part of the case. "
    "Written by the program: do not edit."
)

#: step -> (folder, beginning of the file's name); the rest of the name is the content's hash.
PLACES: Mapping[str, tuple[str, str]] = {
    "identity": ("", "identity"),
    "series": ("", "series"),
    "ct": ("images", "ct"),
    "labels": ("contours", "labels"),
    "names": ("contours", "names"),
    "surfaces": ("contours", "surfaces"),
    "drawn": ("contours", "drawn"),
    "strokes": ("contours", "strokes"),
    "pictures": ("sheets", "pictures"),
    "plan": ("results", "plan"),
    "sheet": ("sheets", "plan"),
    "history": ("results", "history"),
    "second": ("images", "second"),
    "second_series": ("", "second-series"),
    "second_place": ("results", "second-place"),
    "way_out": ("results", "way-out"),
}
MANY_FILES = ("surfaces", "drawn", "strokes", "pictures")  #: steps that are a folder of files
#: steps a plan is computed from, or speaks of
INPUT_STEPS = (
    "ct", "labels", "names", "surfaces", "drawn", "way_out", "second", "second_place",
)  # fmt: skip
PENDING_CHOICES = ".choices"  #: beginning of the name of choices not yet put in place

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._ -]{0,120}")
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedFile:
    """One file of the case."""

    name: str  #: what it was called when it was put
    path: str  #: below the case folder, with ``/``
    size: int
    sha256: str

    def __post_init__(self) -> None:
        """Refuse a path that could lead out of the folder, and a hash that is none."""
        check_name(self.name)
        parts = self.path.split("/")
        if not all(_NAME.fullmatch(part.removeprefix(".")) for part in parts):
            raise InputError(f"{self.path!r} is no path inside a case folder")
        if not _HASH.fullmatch(self.sha256) or self.size < 0:
            raise InputError(f"{self.path!r} has no proper size and SHA-256")


@dataclass(frozen=True, slots=True)
class SavedStep:
    """The files of one step; most steps have one."""

    files: tuple[SavedFile, ...]

    @property
    def sha256(self) -> str:
        """Hash of the step: of its file, or of its files' names and hashes."""
        return hash_of_step(tuple((file.name, file.sha256) for file in self.files))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRecord:
    """What the plan in the folder was computed from, and why it is out of date, if it is.

    The person's hash stays here: a plan never holds anything of the person.
    """

    inputs: Inputs
    identity: str  #: SHA-256 of the identity step; empty if there was none
    stale: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """Everything the case folder says of itself."""

    change: Change  #: the last change, as it stands in the journal
    steps: Mapping[str, SavedStep] = field(default_factory=dict)
    plan: PlanRecord | None = None
    codes: tuple[IssuedCode, ...] = ()
    pending_choices: SavedFile | None = None
    is_intact: bool = True  #: whether its own hash fits

    def is_same_state(self, other: Manifest) -> bool:
        """Whether both say the same of the case, whatever change led there."""
        return replace(self, change=other.change) == other

    def files(self) -> tuple[SavedFile, ...]:
        """Every file of every step."""
        return tuple(file for step in self.steps.values() for file in step.files)


def check_name(name: str) -> str:
    """Check that a name can be a file's on every system, and nothing but a name.

    Parameters
    ----------
    name : str
        Such as ``ct.nii``.

    Returns
    -------
    str
        The same.

    Raises
    ------
    InputError
        If it is empty, too long, hidden, or holds a path or unusual characters.
    """
    if not _NAME.fullmatch(name):
        raise InputError(
            f"{name!r} cannot be a file's name here: use letters, digits, '.', '-', '_', spaces"
        )
    return name


def hash_of_step(files: tuple[tuple[str, str], ...]) -> str:
    """Hash of a step from the names and hashes of its files.

    Parameters
    ----------
    files : tuple of (str, str)
        Name and SHA-256 of each.

    Returns
    -------
    str
        The file's own hash if there is one; else of the list, sorted by name.
    """
    if len(files) == 1:
        return files[0][1]
    lines = "".join(f"{name}\n{digest}\n" for name, digest in sorted(files))
    return hashlib.sha256(lines.encode()).hexdigest()


def path_in_folder(step: str, name: str, step_hash: str, digits: int = 8) -> str:
    """Path of a file, named by its content.

    Parameters
    ----------
    step : str
        Key of ``PLACES``.
    name : str
        What the file was called when it was put; its ending is kept.
    step_hash : str
        Hash of the step.
    digits : int, -
        How much of the hash goes into the name.

    Returns
    -------
    str
        Such as ``images/ct-1a2b3c4d.nii``.
    """
    folder, beginning = PLACES[step]
    start = f"{folder}/{beginning}" if folder else beginning
    if step in MANY_FILES:
        return f"{start}-{step_hash[:digits]}/{name}"
    dot = name.find(".")
    return f"{start}-{step_hash[:digits]}{name[dot:] if dot >= 0 else ''}"


def render_json(document: Mapping[str, Any]) -> bytes:
    """Write a JSON document the one way this folder writes them.

    Parameters
    ----------
    document : mapping
        Text, finite numbers, lists and mappings.

    Returns
    -------
    bytes
        UTF-8, two spaces a level, keys as given, a line end at the end.
    """
    text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
    return f"{text}\n".encode()


def render_manifest(manifest: Manifest) -> bytes:
    """Write a manifest down.

    Parameters
    ----------
    manifest : Manifest
        What to write.

    Returns
    -------
    bytes
        JSON, with a hash over its own content.
    """
    body: dict[str, Any] = {
        "about": ABOUT,
        "schema": SCHEMA,
        "steps": {
            step: {"sha256": saved.sha256, "files": [asdict(file) for file in saved.files]}
            for step, saved in manifest.steps.items()
        },
        "plan": None,
        "codes": [
            {
                "code": one.code,
                "made_at": one.made_at,
                "what": one.what,
                "inputs": one.inputs.as_dict(),
            }
            for one in manifest.codes
        ],
        "pending_choices": asdict(manifest.pending_choices) if manifest.pending_choices else None,
        "change": asdict(manifest.change),
    }
    if manifest.plan is not None:
        body["plan"] = {
            "inputs": manifest.plan.inputs.as_dict(),
            "identity": manifest.plan.identity,
            "stale": list(manifest.plan.stale),
        }
    return render_json({**body, "own_sha256": _own_hash(body)})


def parse_manifest(data: bytes) -> Manifest:
    """Read a manifest.

    Parameters
    ----------
    data : bytes
        Content of ``case.json``.

    Returns
    -------
    Manifest
        What it says; ``is_intact`` is false if its own hash does not fit.

    Raises
    ------
    InputError
        If it is of a newer schema, or damaged beyond reading.
    """
    try:
        body = json.loads(data)
        schema = body["schema"]
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"{MANIFEST} is damaged and cannot be read ({error}): restore the folder from a copy"
        ) from error
    if type(schema) is not int or not 1 <= schema <= SCHEMA:
        raise InputError(
            f"{MANIFEST} has schema {schema!r}, this vertebloc reads up to schema {SCHEMA}: "
            "use the newer vertebloc that wrote it"
        )
    try:
        own = body.pop("own_sha256", "")
        return _manifest_from(body, is_intact=own == _own_hash(body))
    except (InputError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise InputError(
            f"{MANIFEST} is damaged ({error}): restore the folder from a copy"
        ) from error


def _manifest_from(body: Mapping[str, Any], *, is_intact: bool) -> Manifest:
    steps = {}
    for step, saved in body["steps"].items():
        if step not in PLACES:
            raise InputError(f"{step!r} is no step of a case")
        steps[step] = SavedStep(tuple(SavedFile(**file) for file in saved["files"]))
    plan = body["plan"]
    pending = body["pending_choices"]
    return Manifest(
        change=Change.from_json(body["change"]),
        steps=steps,
        plan=None
        if plan is None
        else PlanRecord(
            inputs=Inputs.of(plan["inputs"]),
            identity=plan["identity"],
            stale=tuple(plan["stale"]),
        ),
        codes=tuple(
            IssuedCode(**{**one, "inputs": Inputs.of(one["inputs"])}) for one in body["codes"]
        ),
        pending_choices=None if pending is None else SavedFile(**pending),
        is_intact=is_intact,
    )


def _own_hash(body: Mapping[str, Any]) -> str:
    text = json.dumps(body, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
