"""Bring a CT and its contours into a case folder."""

from __future__ import annotations

import shutil
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from vertebloc.anatomy.contours import ContourSet
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.contour_files import names_itself, read_contours
from vertebloc.exchange.dicom_read import ImportedSeries
from vertebloc.exchange.names_file import NamesFile, names_bytes, read_names_file
from vertebloc.exchange.nifti import read_nifti_volume, write_nifti
from vertebloc.exchange.same_grid import check_same_grid
from vertebloc.exchange.series_list import series_numbered
from vertebloc.exchange.surface_files import read_surfaces
from vertebloc.exchange.volumes import read_volume
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.default_choices import default_choices
from vertebloc.workflow.import_second import import_second, second_kind
from vertebloc.workflow.load_case import Restamper, load_identity
from vertebloc.workflow.new_case import open_or_make
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.sheet_copy import renew_copy
from vertebloc.workflow.whose_images import settle_identity


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportSettings:
    """What the images do not say themselves."""

    #: which series of the folder, if it holds several: its identifier, or its number in the list
    series_uid: str | None = None
    identity: Identity = field(default_factory=Identity)  #: fills what images and case leave empty
    beside: bool = False  #: a second scan beside the case's CT; an MR is that without being told


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What came in, in lines for people."""

    case: Path
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Outlines:
    contours: ContourSet
    names: bytes  #: the names file
    notes: tuple[str, ...]
    folder: Path = Path()  #: where the surfaces lie
    surface_files: tuple[str, ...] = ()


def import_case(
    source: Path,
    case_dir: Path,
    *,
    labels: Path | None = None,
    names: Path | None = None,
    settings: ImportSettings | None = None,
    say: Say = say_nothing,
) -> ImportReport:
    """Read a CT and contours, and save them in a new or existing case in one change.

    Parameters
    ----------
    source : Path
        DICOM folder, or NIfTI file.
    case_dir : Path
        The case folder; made if it is not there.
    labels, names : Path or None
        A label map (NIfTI or NRRD) or a folder of surfaces, each with its names file; or a
        DICOM segmentation or structure set, which needs none.
    settings : ImportSettings or None
        Which series, and who the person is where the images do not say.
    say : callable
        Called before each long step.

    Returns
    -------
    ImportReport
        What was read, left out and tolerated.

    Raises
    ------
    InputError
        If something cannot be used; the case is then as it was, and a new one is not made.
    """
    own_names = labels is not None and names_itself(labels)
    if (labels is None) != (names is None) and not own_names:
        raise InputError("--labels and --names belong together: give both, or neither")
    settings = settings or ImportSettings()
    if settings.beside or second_kind(source, settings.series_uid) == "MR":
        if labels is not None:
            raise InputError("contours belong to the CT: leave --labels out for a second scan")
        return ImportReport(
            case=case_dir,
            lines=import_second(
                source, case_dir, series_uid=settings.series_uid, typed=settings.identity, say=say
            ),
        )
    known = CaseFolder.open(case_dir) if CaseFolder.is_case(case_dir) else None
    say(f"reading the CT in {source.name}")
    series = read_volume(source, series_uid=_series_uid(source, settings.series_uid))
    identity, notes = settle_identity(
        read=series.identity,
        known=load_identity(known) if known else Identity(),
        typed=settings.identity,
    )
    _refuse_other_images_under_drawn(known, series)
    outlines = None
    if labels is not None:
        say(f"reading the contours in {labels.name}")
        outlines = _read_outlines(series, labels, names)
    elif known is not None:
        _refuse_contours_of_other_images(known, series)
    choices = None
    if known is None or not known.choices_path.exists():
        say("finding the vertebrae")
        choices = default_choices(outlines.contours if outlines else None)
    say("saving the case")
    case = _save(case_dir, source, series, identity, outlines, choices)
    return ImportReport(case=case_dir, lines=_lines(series, outlines, case, notes))


def _save(
    case_dir: Path,
    source: Path,
    series: ImportedSeries,
    identity: Identity,
    outlines: _Outlines | None,
    choices: str | None,
) -> CaseFolder:
    now = read_clock()
    with open_or_make(case_dir, now) as case:
        with case.transaction(now=now, what="images imported", restamp=Restamper(case)) as change:
            _put_images(change, series, source)
            change.put_json("identity", "identity.json", asdict(identity))
            if outlines is not None:
                _put_outlines(change, case, outlines)
            if choices is not None:
                change.put_choices(choices)
        renew_copy(case)
        return case


def _refuse_other_images_under_drawn(case: CaseFolder | None, series: ImportedSeries) -> None:
    """Refuse images other than those on which outlines were drawn here."""
    if case is None or not case.has("drawn"):
        return
    ct = read_nifti_volume(case.path_of("ct"))
    same = ct.grid.shape == series.volume.grid.shape and np.array_equal(
        ct.values, series.volume.values
    )
    if not same:
        raise InputError(
            f"outlines were drawn in {case.path} on the images that lie there, and these are "
            "others: import them into a new folder"
        )


def _refuse_contours_of_other_images(case: CaseFolder, series: ImportedSeries) -> None:
    """Refuse new images under contours that were drawn on others."""
    if not case.has("ct") or not (case.has("labels") or case.has("surfaces")):
        return
    what = (
        "the contours in the case were drawn on another CT grid: give the new images' own "
        "contours with --labels and --names"
    )
    old, new = case.json_of("series").get("frame_of_reference_uid"), series.frame_of_reference_uid
    if old and new and old != new:
        raise InputError(f"{what} (the scanner's frame of reference differs)")
    try:
        check_same_grid(read_nifti_volume(case.path_of("ct")).grid, series.volume.grid)
    except InputError as error:
        raise InputError(f"{what} ({error})") from error


def _series_uid(source: Path, wanted: str | None) -> str | None:
    """The identifier of a series that was given by its number in the list."""
    if wanted is None or not wanted.isdecimal() or len(wanted) > 4:
        return wanted
    listed = series_numbered(source, int(wanted))
    if listed.why_not:
        raise InputError(f"series {wanted} cannot be planned on: {listed.why_not}")
    return listed.uid


def _read_outlines(series: ImportedSeries, labels: Path, names: Path | None) -> _Outlines:
    if labels.is_dir() and names is not None:
        named = read_names_file(names)
        if names.parent.resolve() != labels.resolve():
            raise InputError(f"{names} must lie in {labels}, beside the surfaces that it names")
        surfaces, notes = read_surfaces(names)
        files = tuple(file for file, _ in named.surfaces)
        return _Outlines(
            contours=ContourSet(surfaces=surfaces), names=names.read_bytes(), notes=notes,
            surface_files=files, folder=labels,
        )  # fmt: skip
    label_map, notes = read_contours(
        labels, names, series.volume.grid, series.frame_of_reference_uid
    )
    written = (
        names.read_bytes()
        if names is not None
        else names_bytes(NamesFile(about=f"from {labels.name}", labels=label_map.names))
    )
    return _Outlines(contours=ContourSet(label_map), names=written, notes=notes)


def _put_images(change: Transaction, series: ImportedSeries, source: Path) -> None:
    change.put_file("ct", "ct.nii", lambda path: write_nifti(path, series.volume))
    facts = {
        "source": source.name,
        "series_uid": series.series_uid,
        "study_uid": series.study_uid,
        "study_id": series.study_id,
        "frame_of_reference_uid": series.frame_of_reference_uid,
        "description": series.description,
        "tube_voltage_kv": series.kvp,
        "contrast": series.contrast,
        "left_out": list(series.left_out),
        "tolerated": list(series.tolerated),
    }
    change.put_json("series", "series.json", facts)


def _put_outlines(change: Transaction, case: CaseFolder, outlines: _Outlines) -> None:
    label_map = outlines.contours.label_map
    if label_map is not None:
        volume = label_map.volume
        change.put_file("labels", "labels.nii.gz", lambda path: write_nifti(path, volume))
        change.put_bytes("names", "names.json", outlines.names)
        if case.has("surfaces"):
            change.drop("surfaces")
        return
    change.put_bytes("surfaces", "names.json", outlines.names)
    for file in outlines.surface_files:
        source = outlines.folder / file
        change.put_file("surfaces", file, lambda path, s=source: shutil.copyfile(s, path))  # type: ignore[misc]
    for step in ("labels", "names"):
        if case.has(step):
            change.drop(step)


def _lines(
    series: ImportedSeries, outlines: _Outlines | None, case: CaseFolder, notes: tuple[str, ...]
) -> tuple[str, ...]:
    grid = series.volume.grid
    sizes = " x ".join(map(str, grid.shape))
    spacing = " x ".join(f"{mm:.4g}" for mm in grid.spacing_mm)
    files = f"{series.files} file" + ("s" if series.files > 1 else "")
    lines = [f"CT read: {sizes} voxels of {spacing} mm, {files}"]
    lines += [f"left out: {note}" for note in series.left_out]
    lines += [f"noted: {note}" for note in (*series.tolerated, *notes)]
    if outlines is not None:
        lines.append(f"contours read: {len(outlines.contours.contours())} structures")
        lines += [f"noted: {note}" for note in outlines.notes]
    elif case.has("labels") or case.has("surfaces"):
        lines.append("the contours in the case stay: they lie on the same grid")
    else:
        lines.append("no contours yet: import again with --labels FILE --names FILE")
    if case.has("drawn"):
        lines.append("outlines drawn in the app stay, in the place of those of the same name")
    lines += [f"plan OUT OF DATE: {reason}" for reason in case.marked_stale]
    lines.append(f"case: {case.path}; the team's choices are in {case.choices_path}")
    return tuple(lines)
