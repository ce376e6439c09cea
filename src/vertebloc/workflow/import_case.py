"""Bring a CT and its contours into a case folder."""

from __future__ import annotations

import shutil
from dataclasses import asdict, dataclass
from pathlib import Path

from vertebloc.anatomy import default_diseased_level, describe_anatomy
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.structures import Structure
from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.errors import InputError, VertBlocError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.choices_file import render_choices
from vertebloc.exchange.dicom_read import ImportedSeries
from vertebloc.exchange.names_file import read_names_file
from vertebloc.exchange.nifti import read_nifti_labels, read_nifti_volume, write_nifti
from vertebloc.exchange.same_grid import check_same_grid, lay_on_grid
from vertebloc.exchange.surface_files import read_surfaces
from vertebloc.exchange.volumes import read_volume
from vertebloc.space.grids import Volume
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper
from vertebloc.workflow.saying import Say, say_nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportReport:
    """What came in, in lines for people."""

    case: Path
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Outlines:
    contours: ContourSet
    names_path: Path
    notes: tuple[str, ...]
    surface_files: tuple[str, ...] = ()


def import_case(
    source: Path,
    case_dir: Path,
    *,
    labels: Path | None = None,
    names: Path | None = None,
    series_uid: str | None = None,
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
        A label map with its names file, or a folder of surfaces with its names file.
    series_uid : str or None
        Which series of the folder.
    say : callable
        Called before each long step.

    Returns
    -------
    ImportReport
        What was read, left out and tolerated.

    Raises
    ------
    InputError
        If something cannot be used; the case is then as it was.
    """
    if (labels is None) != (names is None):
        raise InputError("--labels and --names belong together: give both, or neither")
    say(f"reading the CT in {source.name}")
    series = read_volume(source, series_uid=series_uid)
    outlines = None
    if labels is not None and names is not None:
        say(f"reading the contours in {labels.name}")
        outlines = _read_outlines(series.volume, labels, names)
    is_new = not CaseFolder.is_case(case_dir)
    now = read_clock()
    case = CaseFolder.create(case_dir, now) if is_new else CaseFolder.open(case_dir)
    if not is_new:
        _refuse_mixing(case, series, outlines)
    say("saving the case")
    with case.transaction(now=now, what="images imported", restamp=Restamper(case)) as change:
        _put_images(change, series, source)
        if outlines is not None:
            _put_outlines(change, case, outlines)
        if not case.choices_path.exists():
            say("finding the vertebrae")
            change.put_choices(_default_choices(outlines))
    return ImportReport(case=case_dir, lines=_lines(series, outlines, case_dir))


def _refuse_mixing(case: CaseFolder, series: ImportedSeries, outlines: _Outlines | None) -> None:
    """Refuse another person's images, and new images under contours of another grid."""
    if case.has("identity"):
        known = case.identity()
        if not known.is_blank and not series.identity.is_blank and known != series.identity:
            raise InputError(
                f"the case {case.path} is another person's: its images name {known.words}, these "
                f"name {series.identity.words}; import them into a case of their own"
            )
    if outlines is None and case.has("labels") and case.has("ct"):
        try:
            check_same_grid(read_nifti_volume(case.path_of("ct")).grid, series.volume.grid)
        except InputError as error:
            raise InputError(
                "the contours in the case were drawn on another CT grid: give the new images' "
                f"own contours with --labels and --names ({error})"
            ) from error


def _read_outlines(ct: Volume, labels: Path, names: Path) -> _Outlines:
    if labels.is_dir():
        named = read_names_file(names)
        if names.parent.resolve() != labels.resolve():
            raise InputError(f"{names} must lie in {labels}, beside the surfaces that it names")
        surfaces, notes = read_surfaces(names)
        files = tuple(file for file, _ in named.surfaces)
        return _Outlines(
            contours=ContourSet(surfaces=surfaces), names_path=names, notes=notes,
            surface_files=files,
        )  # fmt: skip
    label_map, notes = read_nifti_labels(labels, names)
    laid, more = lay_on_grid(ct.grid, label_map.volume)
    return _Outlines(
        contours=ContourSet(LabelMap(laid, label_map.names)),
        names_path=names,
        notes=(*notes, *more),
    )


def _put_images(change: Transaction, series: ImportedSeries, source: Path) -> None:
    change.put_file("ct", "ct.nii", lambda path: write_nifti(path, series.volume))
    change.put_json("identity", "identity.json", asdict(series.identity))
    facts = {
        "source": source.name,
        "series_uid": series.series_uid,
        "study_uid": series.study_uid,
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
        change.put_bytes("names", "names.json", outlines.names_path.read_bytes())
        if case.has("surfaces"):
            change.drop("surfaces")
        return
    folder = outlines.names_path.parent
    change.put_bytes("surfaces", "names.json", outlines.names_path.read_bytes())
    for file in outlines.surface_files:
        source = folder / file
        change.put_file("surfaces", file, lambda path, s=source: shutil.copyfile(s, path))  # type: ignore[misc]
    for step in ("labels", "names"):
        if case.has(step):
            change.drop(step)


def _default_choices(outlines: _Outlines | None) -> str:
    if outlines is None or not outlines.contours.of(Structure.TUMOUR):
        return render_choices(Choices(), {"level.diseased": "no tumour was outlined at import"})
    try:
        anatomy = describe_anatomy(outlines.contours)
        level = default_diseased_level(outlines.contours, anatomy)
    except VertBlocError as error:
        return render_choices(Choices(), {"level.diseased": f"not found at import: {error}"})
    reason = f"{level} holds most of the outlined tumour; nobody has confirmed it by counting"
    return render_choices(
        Choices(level=LevelChoice(diseased=str(level))), {"level.diseased": reason}
    )


def _lines(series: ImportedSeries, outlines: _Outlines | None, case_dir: Path) -> tuple[str, ...]:
    grid = series.volume.grid
    sizes, spacing = (
        " x ".join(map(str, grid.shape)),
        " x ".join(f"{s:g}" for s in grid.spacing_mm),
    )
    lines = [f"CT read: {sizes} voxels of {spacing} mm, {series.files} files"]
    lines += [f"left out: {note}" for note in series.left_out]
    lines += [f"noted: {note}" for note in series.tolerated]
    if outlines is None:
        lines.append("no contours yet: import again with --labels FILE --names FILE")
    else:
        lines.append(f"contours read: {len(outlines.contours.contours())} structures")
        lines += [f"noted: {note}" for note in outlines.notes]
    lines.append(f"case: {case_dir}; the team's choices are in {case_dir / 'choices.toml'}")
    return tuple(lines)
