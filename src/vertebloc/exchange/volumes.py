"""A CT from wherever it lies: a DICOM folder, a NIfTI or an NRRD file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_read import ImportedSeries, read_dicom_folder
from vertebloc.exchange.nifti import read_nifti_volume
from vertebloc.exchange.nrrd import read_nrrd


def read_volume(source: Path, *, series_uid: str | None = None) -> ImportedSeries:
    """Read a CT from a DICOM folder, a NIfTI or an NRRD file.

    Parameters
    ----------
    source : Path
        A folder with DICOM files, or a ``.nii``, ``.nii.gz``, ``.nrrd`` or ``.nhdr`` file.
    series_uid : str or None
        Which series of a DICOM folder, if it holds several.

    Returns
    -------
    ImportedSeries
        The volume; from a file without identity and identifiers, which the notes say.

    Raises
    ------
    InputError
        If the source is neither, or cannot be used.
    """
    if source.is_dir():
        return read_dicom_folder(source, series_uid=series_uid)
    if not source.exists():
        raise InputError(f"{source} is not there: give a DICOM folder, a NIfTI or an NRRD file")
    name = source.name.lower()
    if not name.endswith((".nii", ".nii.gz", ".nrrd", ".nhdr")):
        raise InputError(
            f"{source} is neither a folder with DICOM files nor a NIfTI or NRRD file (.nii, "
            ".nii.gz, .nrrd, .nhdr): for DICOM give the folder, not one file"
        )
    nifti = name.endswith((".nii", ".nii.gz"))
    volume = read_nifti_volume(source) if nifti else read_nrrd(source)
    what = "a NIfTI" if nifti else "an NRRD"
    notes = [f"{what} file does not say whom it is of: name, birth date and number are empty"]
    lowest = float(np.asarray(volume.values).min())
    if lowest < -1024:
        notes.append(
            f"values down to {lowest:g} HU: padding outside the scanned circle, kept as it is"
        )
    return ImportedSeries(
        volume=volume,
        identity=Identity(),
        series_uid="",
        study_uid="",
        frame_of_reference_uid="",
        description="",
        kvp=None,
        contrast="",
        patient_position="",
        left_out=(),
        tolerated=tuple(notes),
        files=1,
    )
