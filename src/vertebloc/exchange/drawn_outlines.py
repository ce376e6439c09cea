"""Outlines drawn here, in the case folder: voxels as NIfTI, who and when as JSON, every change.

Step ``drawn`` is what plans are computed from: ``outlines.json`` and one NIfTI mask for each
outline, cut to its box. Step ``strokes`` holds what can be taken back, one file for each.
"""

from __future__ import annotations

import base64
import hashlib
import re
import zlib
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_manifest import render_json
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.json_file import read_json_object
from vertebloc.exchange.names_file import contour_entry, contour_of_entry
from vertebloc.exchange.nifti import read_nifti_volume, write_nifti
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.record import Change, DrawnOutline, OutlineRecord, OutlineState, Signature
from vertebloc.space.grids import Grid, Volume

SCHEMA = 1
LIST = "outlines.json"
#: Changes of one outline are kept up to so many bytes; the oldest are let go.
MOST_BYTES = 4_000_000


def file_stem(contour: Contour) -> str:
    """Beginning of the file names of an outline.

    Parameters
    ----------
    contour : Contour
        What it is of.

    Returns
    -------
    str
        Letters, digits and hyphens; different outlines have different ones.
    """
    entry = contour_entry(contour)
    words = "-".join(entry.values())
    plain = re.sub(r"[^A-Za-z0-9]+", "-", words).strip("-")[:60]
    digest = hashlib.sha256(repr(sorted(entry.items())).encode()).hexdigest()
    return f"{plain}-{digest[:6]}"


def put_drawn(
    change: Transaction,
    grid: Grid,
    outlines: Mapping[Contour, DrawnOutline],
    changed: Iterable[Contour],
    *,
    ct_hash: str,
) -> None:
    """Put the drawn outlines into a change of the case; untouched ones stay as they lie.

    Parameters
    ----------
    change : Transaction
        Of the case.
    grid : Grid
        Of the images.
    outlines : mapping of Contour to DrawnOutline
        All drawn ones.
    changed : iterable of Contour
        Those to write anew.
    ct_hash : str
        SHA-256 of the images they were drawn on.
    """
    changed = set(changed)
    listed = []
    for contour, outline in outlines.items():
        stem, mask = file_stem(contour), outline.mask
        file = "" if mask.is_empty else f"{stem}.nii.gz"
        listed.append({
            "file": file, **contour_entry(contour), "start": list(mask.start),
            "shape": list(mask.inside.shape), **_record_entry(outline.record),
        })  # fmt: skip
        if contour not in changed:
            change.keep("strokes", f"{stem}.json")
            if file:
                change.keep("drawn", file)
            continue
        change.put_bytes("strokes", f"{stem}.json", _changes_bytes(outline))
        if file:
            volume = Volume(grid.crop(mask.start, mask.stop), mask.inside)
            change.put_file("drawn", file, lambda path, v=volume: write_nifti(path, v))  # type: ignore[misc]
    change.put_json("drawn", LIST, {"schema": SCHEMA, "ct": ct_hash, "outlines": listed})


def read_drawn(case: CaseFolder, grid: Grid) -> dict[Contour, DrawnOutline]:
    """The drawn outlines of a case, with what can be taken back.

    Parameters
    ----------
    case : CaseFolder
        Where they lie.
    grid : Grid
        Of its images.

    Returns
    -------
    dict of Contour to DrawnOutline
        Empty if none was drawn.

    Raises
    ------
    InputError
        If a file is damaged, written by a newer vertebloc, or drawn on other images.
    """
    if not case.has("drawn"):
        return {}
    files, pasts = case.files_of("drawn"), case.files_of("strokes")
    path = files[LIST]
    document = read_json_object(path)
    _check_schema(document, str(path))
    if document.get("ct") != case.hash_of("ct"):
        raise InputError(
            f"the outlines in {path} were drawn on other images than those in the case: import "
            "these images into a new folder"
        )
    found = {}
    for number, entry in enumerate(document.get("outlines", ()), 1):
        where = f"outlines entry {number}"
        contour = contour_of_entry(entry, str(path), where)
        try:
            mask = OutlineMask.empty()
            if entry["file"]:
                volume = read_nifti_volume(files[entry["file"]])
                mask = OutlineMask.of(entry["start"], volume.values != 0)
            _check_box(mask, grid, entry)
            past = read_json_object(pasts[f"{file_stem(contour)}.json"])
            _check_schema(past, str(path))
            changes = tuple(_change_from(one) for one in past["changes"])
            at = int(past["at"])
            if not 0 <= at <= len(changes):
                raise ValueError(f"change {at} of {len(changes)}")
            found[contour] = DrawnOutline(
                contour=contour, mask=mask, record=_record_from(entry), changes=changes, at=at
            )
        except InputError:
            raise
        except (KeyError, TypeError, ValueError, zlib.error) as error:
            raise InputError(
                f"{path}: {where}: damaged ({error}): restore the folder from a copy"
            ) from error
    return found


def read_drawn_states(case: CaseFolder) -> dict[Contour, OutlineState]:
    """How far the drawn outlines of a case can be relied on, without reading their voxels.

    Parameters
    ----------
    case : CaseFolder
        Where they lie.

    Returns
    -------
    dict of Contour to OutlineState
        Those that have a voxel.

    Raises
    ------
    InputError
        If the list is damaged, or written by a newer vertebloc.
    """
    path = case.files_of("drawn")[LIST]
    document = read_json_object(path)
    _check_schema(document, str(path))
    found = {}
    for number, entry in enumerate(document.get("outlines", ()), 1):
        contour = contour_of_entry(entry, str(path), f"outlines entry {number}")
        if entry.get("file"):
            empty = OutlineMask.empty()
            record = _record_from(entry)
            found[contour] = DrawnOutline(contour=contour, mask=empty, record=record).state
    return found


def _check_schema(document: Mapping[str, Any], path: str) -> None:
    schema = document.get("schema")
    if type(schema) is not int or not 1 <= schema <= SCHEMA:
        raise InputError(
            f"{path}: drawn outlines of schema {schema!r}, this vertebloc reads up to {SCHEMA}: "
            "use the newer vertebloc that wrote them"
        )


def _check_box(mask: OutlineMask, grid: Grid, entry: Mapping[str, Any]) -> None:
    outside = any(a < 0 for a in mask.start) or any(
        b > n for b, n in zip(mask.stop, grid.shape, strict=True)
    )
    if outside or list(mask.inside.shape) != list(entry["shape"]):
        raise ValueError("its voxels are not where the list says")


def _record_entry(record: OutlineRecord) -> dict[str, Any]:
    confirmed = record.confirmed_by
    return {
        "imported": record.is_imported,
        "drawn_by": [_signature_entry(one) for one in record.drawn_by],
        "confirmed_by": _signature_entry(confirmed) if confirmed is not None else None,
    }


def _signature_entry(one: Signature) -> dict[str, str]:
    return {"name": one.name, "time": one.time}


def _signature_from(entry: Mapping[str, Any]) -> Signature:
    return Signature(name=str(entry["name"]), time=str(entry["time"]))


def _record_from(entry: Mapping[str, Any]) -> OutlineRecord:
    confirmed = entry["confirmed_by"]
    return OutlineRecord(
        drawn_by=tuple(_signature_from(one) for one in entry["drawn_by"]),
        confirmed_by=None if confirmed is None else _signature_from(confirmed),
        is_imported=bool(entry["imported"]),
    )


def _changes_bytes(outline: DrawnOutline) -> bytes:
    entries = [_change_entry(change) for change in outline.changes]
    sizes = [len(entry["flipped"]["bits"]) for entry in entries]
    first = 0
    while sum(sizes[first:]) > MOST_BYTES and first < min(outline.at, len(entries) - 1):
        first += 1
    return render_json({"schema": SCHEMA, "at": outline.at - first, "changes": entries[first:]})


def _change_entry(change: Change) -> dict[str, Any]:
    mask = change.flipped
    packed = zlib.compress(np.packbits(mask.inside.reshape(-1)).tobytes(), 1)
    return {
        "what": change.what,
        "who": _signature_entry(change.who),
        "flipped": {
            "start": list(mask.start),
            "shape": list(mask.inside.shape),
            "bits": base64.b64encode(packed).decode("ascii"),
        },
        "before": _record_entry(change.before),
        "after": _record_entry(change.after),
    }


def _change_from(entry: Mapping[str, Any]) -> Change:
    flipped = entry["flipped"]
    shape = tuple(int(n) for n in flipped["shape"])
    packed = np.frombuffer(zlib.decompress(base64.b64decode(flipped["bits"])), dtype=np.uint8)
    bits = np.unpackbits(packed, count=int(np.prod(shape))).astype(np.bool_)
    return Change(
        what=str(entry["what"]),
        who=_signature_from(entry["who"]),
        flipped=OutlineMask.of(flipped["start"], bits.reshape(shape)),
        before=_record_from(entry["before"]),
        after=_record_from(entry["after"]),
    )
