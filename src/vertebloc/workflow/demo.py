"""Try everything with a made-up patient."""

from __future__ import annotations

import re
import shutil
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from vertebloc import made_up
from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.made_up import mr
from vertebloc.workflow.import_case import ImportReport, import_case
from vertebloc.workflow.import_second import import_second
from vertebloc.workflow.plan_case import PlanReport, plan_case
from vertebloc.workflow.saying import Say, say_nothing

MARK = "made-up-patient.txt"  #: a folder with this file was made here and may be made anew
SEED = 20261125
SCANNED_AT = datetime(2026, 1, 5, 9, 30, tzinfo=UTC)  #: made up, like the rest
TWIN_REASON = "the made-up mirror twin: organs are mirrored too"
#: folder of a demo -> files in it that a demo or a case makes; others are never removed
OURS = {
    "ct": re.compile(r"ct_\d+\.dcm|\.aside-.*"),
    "mr": re.compile(r"mr_\d+\.dcm|\.aside-.*"),
    "case": re.compile(
        r"case\.json|journal\.jsonl|choices(-\d{4}-.*)?\.toml|plan\.json|\.(lock|holder)"
        r"|planning-sheet(-without-identity)?\.pdf|\.(aside|choices)-.*"
        r"|(identity|series|second-series)-[0-9a-f]{8,64}\.json"
        r"|(images|contours|results|sheets)/[a-z]+-[0-9a-f]{8,64}[./].*"
        r"|(images|contours|results|sheets|cache)/\.aside-.*"
        r"|cache/measured-[0-9a-f]{16}\.bin"
        r"|role-sheets/(without-identity/)?(\d\d-[A-Za-z-]+\.pdf|operation-note-DRAFT\.txt"
        r"|family-words\.toml|close-faces-rtstruct\.dcm|\.aside-.*)"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoReport:
    """Where the demo lies and what it says."""

    imported: ImportReport
    planned: PlanReport


def make_demo(
    folder: Path,
    *,
    name: str = "lead",
    twin: bool = False,
    with_mr: bool = False,
    say: Say = say_nothing,
) -> DemoReport:
    """Write a made-up patient as DICOM and contours, import it, plan it.

    Parameters
    ----------
    folder : Path
        Where to; an older demo there is replaced, anything else is left alone.
    name : str
        Which made-up patient, one of ``made_up.gallery.PATIENT_NAMES``.
    twin : bool
        The mirror twin instead.
    with_mr : bool
        Also write an MR as a DICOM series in the folder ``mr``, and bring it into the case.
    say : callable
        Called before each long step.

    Returns
    -------
    DemoReport
        What the chain said.

    Raises
    ------
    InputError
        If the folder holds something that is no demo of ours, there is no such patient, or
        its first plan is refused; the case is there then, with its images and outlines.
    """
    patient = made_up.patient_named(name)
    _make_room(folder)
    imported = _bring_in(folder, folder / "case", patient, twin=twin, say=say)
    if with_mr:
        _bring_in_mr(folder, patient.mirrored() if twin else patient, say)
    return DemoReport(imported=imported, planned=plan_case(folder / "case", say=say))


def make_case_of_demo(case_dir: Path, say: Say = say_nothing) -> ImportReport:
    """Make a case of the lead made-up patient in a new or empty folder; no plan yet.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    say : callable
        Called before each long step.

    Returns
    -------
    ImportReport
        What the import said.

    Raises
    ------
    InputError
        If the folder holds something.
    """
    with tempfile.TemporaryDirectory() as aside:
        return _bring_in(Path(aside), case_dir, made_up.lead_patient(), twin=False, say=say)


def _bring_in(
    folder: Path, case: Path, patient: made_up.MadeUpPatient, *, twin: bool, say: Say
) -> ImportReport:
    """Write the patient as a scanner and an outliner would, and import that."""
    if twin:
        patient = patient.mirrored()
    grid = made_up.default_grid(patient)
    say("making the made-up patient's CT")
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(SEED))
    settings = SeriesSettings(
        seed_text=f"{patient.identity.number} {SEED}",
        made_at=SCANNED_AT,
        description="made-up thorax, not a person",
    )
    write_dicom_series(folder / "ct", ct, patient.identity, settings)
    del ct
    say("making the made-up patient's contours")
    labels = made_up.label_map(patient, grid)
    label_path, names_path = folder / "contours.nii.gz", folder / "contours.json"
    write_nifti(label_path, labels.volume)
    write_names_file(names_path, NamesFile(about=patient.about, labels=dict(labels.names)))
    imported = import_case(folder / "ct", case, labels=label_path, names=names_path, say=say)
    if twin:
        _confirm_sides(case)
    return imported


def _bring_in_mr(folder: Path, patient: made_up.MadeUpPatient, say: Say) -> None:
    """Write the patient's MR as a scanner would, and lay it beside the CT in the case."""
    say("making the made-up patient's MR")
    seen = mr.mr_volume(patient, mr.mr_grid(patient), np.random.default_rng(SEED))
    settings = SeriesSettings(
        seed_text=f"{patient.identity.number} {SEED} MR",
        made_at=SCANNED_AT,
        description="made-up spine, T2-like, not a person",
        kind="MR",
    )
    write_dicom_series(folder / "mr", seen, patient.identity, settings)
    import_second(folder / "mr", folder / "case", say=say)


def _make_room(folder: Path) -> None:
    """An empty demo folder; takes away an older demo and nothing else."""
    with atomic.say_plainly(f"make a demo in {folder}"):
        if folder.exists() and not folder.is_dir():
            raise InputError(f"{folder} is a file: give a new folder with --dir")
        if folder.is_dir() and any(folder.iterdir()):
            if not (folder / MARK).is_file():
                raise InputError(f"{folder} is not empty and no demo of ours: give another --dir")
            _refuse_foreign_files(folder)
            for name in OURS:
                if (folder / name).is_dir():
                    shutil.rmtree(folder / name)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / MARK).write_text(
            "A made-up patient, no real person. vertebloc demo makes this folder anew.\n",
            encoding="utf-8",
        )


def _refuse_foreign_files(folder: Path) -> None:
    for name, ours in OURS.items():
        for path in sorted((folder / name).rglob("*")):
            inside = path.relative_to(folder / name).as_posix()
            if path.is_symlink() or (not path.is_dir() and not ours.fullmatch(inside)):
                raise InputError(
                    f"{path} is not of the demo's making and would be lost: move it away, or "
                    "give another --dir"
                )


def _confirm_sides(case: Path) -> None:
    """The twin's aorta lies on the right: somebody has to answer for its sides."""
    path = case / "choices.toml"
    before, heading, after = path.read_text(encoding="utf-8").partition("[sides]")
    after = after.replace('confirmed_by = ""', 'confirmed_by = "the demo"', 1)
    after = after.replace('reason = ""', f'reason = "{TWIN_REASON}"', 1)
    atomic.write_whole(path, (before + heading + after).encode())
