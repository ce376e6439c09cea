"""Bring a second scan of the patient, an MR or an older CT, beside the CT of a case."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.dicom_read import ImportedSeries, read_dicom_folder, read_headers
from vertebloc.exchange.dicom_series import why_not_slice
from vertebloc.exchange.nifti import write_nifti
from vertebloc.exchange.series_list import series_numbered
from vertebloc.exchange.volumes import read_volume
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_identity
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.whose_images import settle_identity

OTHER_FRAME = (
    "it has its own frame of reference, as a scan of another day or machine has: where it lies on "
    "the CT is not known from the header; mark at least three pairs of points"
)
SAME_FRAME = (
    "the header says that it has the CT's frame of reference: the search starts from there, and "
    "whether it lies on the CT is checked all the same"
)
NO_FRAME = (
    "it does not say in which frame of reference it lies: mark at least three pairs of points"
)


def second_kind(source: Path, series_uid: str | None) -> str:
    """Whether a folder's series is an MR; a folder that also holds a CT is taken for the CT.

    Parameters
    ----------
    source : Path
        A folder of DICOM files, or a file.
    series_uid : str or None
        The wanted series: its identifier, or its number in the list.

    Returns
    -------
    str
        ``MR``, or ``CT`` for everything else, which the import then reads or refuses.
    """
    if not source.is_dir():
        return "CT"
    headers, _ = read_headers(source)
    wanted = _identifier(source, series_uid)
    if wanted is not None:
        headers = [header for header in headers if header.series_uid == wanted]
    if any(not why_not_slice(header, "CT") for header in headers):
        return "CT"
    return "MR" if any(not why_not_slice(header, "MR") for header in headers) else "CT"


def import_second(
    source: Path,
    case_dir: Path,
    *,
    series_uid: str | None = None,
    typed: Identity | None = None,
    say: Say = say_nothing,
) -> tuple[str, ...]:
    """Read a second scan and put it beside the CT.

    Parameters
    ----------
    source : Path
        Folder of DICOM files (MR or CT), or a NIfTI or NRRD file.
    case_dir : Path
        The case, which has a CT.
    series_uid : str or None
        Which series, if the folder holds several.
    typed : Identity or None
        Who the person is where the images do not say.
    say : callable
        Called before each long step.

    Returns
    -------
    tuple of str
        What was read, left out and tolerated, in lines for people.

    Raises
    ------
    InputError
        If there is no case or no CT in it, the person is another one, or the scan cannot be
        used; the case is then as it was.
    """
    case = _case_with_ct(case_dir)
    kind = "file" if not source.is_dir() else second_kind(source, series_uid)
    say(f"reading the second scan in {source.name}")
    series = _read(source, _identifier(source, series_uid), kind)
    if series.series_uid and series.series_uid == case.json_of("series").get("series_uid"):
        raise InputError(
            "this is the CT that the case has already: give an MR or another CT of the patient"
        )
    identity, notes = settle_identity(
        read=series.identity, known=load_identity(case), typed=typed or Identity()
    )
    frame = _frame_words(case, series)
    say("saving the case")
    now = read_clock()
    with case.transaction(now=now, what="second scan", restamp=Restamper(case)) as change:
        volume = series.volume
        change.put_file("second", "second.nii", lambda path: write_nifti(path, volume))
        change.put_json("second_series", "second-series.json", _facts(source, series, kind))
        change.put_json("identity", "identity.json", asdict(identity))
        if case.has("second_place"):
            change.drop("second_place")
    return _lines(series, kind, (frame, *notes), case_dir)


def _case_with_ct(case_dir: Path) -> CaseFolder:
    if not CaseFolder.is_case(case_dir):
        raise InputError(
            f"{case_dir} is no case yet: import the CT first, the second scan is laid on it"
        )
    case = CaseFolder.open(case_dir)
    if not case.has("ct"):
        raise InputError(
            f"{case_dir} has no CT: import the CT first, the second scan is laid on it"
        )
    return case


def _identifier(source: Path, wanted: str | None) -> str | None:
    """The identifier of a series that was given by its number in the list."""
    if wanted is None or not wanted.isdecimal() or len(wanted) > 4 or not source.is_dir():
        return wanted
    return series_numbered(source, int(wanted)).uid


def _read(source: Path, series_uid: str | None, kind: str) -> ImportedSeries:
    if kind != "file":
        return read_dicom_folder(source, series_uid=series_uid, kind=kind)
    series = read_volume(source)
    notes = tuple(note for note in series.tolerated if "HU" not in note)
    return replace(series, tolerated=notes)


def _frame_words(case: CaseFolder, series: ImportedSeries) -> str:
    own = series.frame_of_reference_uid
    if not own:
        return NO_FRAME
    return (
        SAME_FRAME if own == case.json_of("series").get("frame_of_reference_uid") else OTHER_FRAME
    )


def _facts(source: Path, series: ImportedSeries, kind: str) -> dict[str, object]:
    return {
        "source": source.name,
        "kind": kind,
        "series_uid": series.series_uid,
        "study_uid": series.study_uid,
        "frame_of_reference_uid": series.frame_of_reference_uid,
        "description": series.description,
        "left_out": list(series.left_out),
        "tolerated": list(series.tolerated),
    }


def _lines(
    series: ImportedSeries, kind: str, notes: tuple[str, ...], case_dir: Path
) -> tuple[str, ...]:
    grid = series.volume.grid
    sizes = " x ".join(map(str, grid.shape))
    spacing = " x ".join(f"{mm:.4g}" for mm in grid.spacing_mm)
    name = "second scan" if kind == "file" else f"second scan ({kind})"
    return (
        f"{name} read: {sizes} voxels of {spacing} mm, {series.files} "
        f"file{'s' * (series.files != 1)}",
        *(f"left out: {note}" for note in series.left_out),
        *(f"noted: {note}" for note in (*series.tolerated, *notes)),
        "it does not lie on the CT yet: mark the same points in both on its page "
        f"(vertebloc open {case_dir}), or vertebloc lay {case_dir} --points FILE",
    )
