"""A case's outlines written out for other programs."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_folder_aside
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.dicom_objects import ObjectSettings
from vertebloc.exchange.dicom_rtstruct_write import write_structure_set
from vertebloc.exchange.dicom_seg_write import write_segmentation
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import load_contours, load_drafts, load_identity
from vertebloc.workflow.saying import Say, say_nothing


class OutlineFormat(Enum):
    """How outlines are written."""

    SEG = "seg"  #: DICOM segmentation
    RTSTRUCT = "rtstruct"  #: DICOM structure set
    NIFTI = "nifti"  #: label map with its names file


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportReport:
    """What was written, in lines for people."""

    files: tuple[Path, ...]
    lines: tuple[str, ...]


def export_contours(
    case_dir: Path, folder: Path, form: OutlineFormat, *, say: Say = say_nothing
) -> ExportReport:
    """Write a case's outlines into a new folder; the case is only read.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    folder : Path
        Where to; must not exist yet, or be empty.
    form : OutlineFormat
        As what.
    say : callable
        Called before each long step.

    Returns
    -------
    ExportReport
        The files, and what they do not say.

    Raises
    ------
    InputError
        If the case has no label map, or the folder holds something.
    """
    case = CaseFolder.open(case_dir)
    contours = load_contours(case)
    label_map = contours.label_map
    if label_map is None:
        raise InputError(
            f"{case_dir} holds surfaces, not outlines on the CT's voxels: they lie in it as PLY "
            "or STL files already"
        )
    say("writing the outlines")
    with say_plainly(f"write to {folder}"), write_folder_aside(folder) as aside:
        names = _write(case, label_map, aside, form)
    files = tuple(folder / name for name in names)
    lines = [f"written: {path}" for path in files]
    lines.append(f"{len(contours.contours())} structures, as outlined, not as planned")
    drafts = load_drafts(case)
    if drafts:
        lines.append(f"CAUTION: drafts that nobody has confirmed: {', '.join(drafts)}")
    if form is not OutlineFormat.NIFTI:
        lines.append("CAUTION: the file names the person; for a colleague outside use pack")
    return ExportReport(files=files, lines=tuple(lines))


def _write(
    case: CaseFolder, label_map: LabelMap, folder: Path, form: OutlineFormat
) -> tuple[str, ...]:
    if form is OutlineFormat.NIFTI:
        write_nifti(folder / "outlines.nii.gz", label_map.volume)
        names = NamesFile(about="outlines of a case", labels=dict(label_map.names))
        write_names_file(folder / "outlines.json", names)
        return "outlines.nii.gz", "outlines.json"
    settings = object_settings(case)
    if form is OutlineFormat.SEG:
        write_segmentation(folder / "outlines-seg.dcm", label_map, settings)
        return ("outlines-seg.dcm",)
    write_structure_set(folder / "outlines-rtstruct.dcm", label_map, settings)
    return ("outlines-rtstruct.dcm",)


def object_settings(case: CaseFolder) -> ObjectSettings:
    """Whose a DICOM object of a case is, and in which study it lies.

    Parameters
    ----------
    case : CaseFolder
        Knows the person and the series.

    Returns
    -------
    ObjectSettings
        With empty identifiers where the images said none.
    """
    facts = case.json_of("series") if case.has("series") else {}
    now = read_clock()
    return ObjectSettings(
        seed_text=f"{facts.get('series_uid', '')} {case.path.name} {now.isoformat()}",
        made_at=now,
        identity=load_identity(case),
        study_uid=str(facts.get("study_uid") or ""),
        study_id=str(facts.get("study_id") or ""),
        frame_of_reference_uid=str(facts.get("frame_of_reference_uid") or ""),
    )
