"""Outlines from whatever file they come in, told by what the file begins with."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_rtstruct import read_structure_set
from vertebloc.exchange.dicom_seg import read_dataset, read_segmentation
from vertebloc.exchange.names_file import read_names_file
from vertebloc.exchange.nifti import label_map_of, read_nifti_volume
from vertebloc.exchange.nrrd import read_nrrd
from vertebloc.exchange.one_line import in_one_line
from vertebloc.exchange.same_grid import lay_on_grid
from vertebloc.space.grids import Grid

_SEG, _RTSTRUCT = "1.2.840.10008.5.1.4.1.1.66.4", "1.2.840.10008.5.1.4.1.1.481.3"
_NRRD = (".nrrd", ".nhdr")


def names_itself(path: Path) -> bool:
    """Whether a file of outlines is DICOM and so says itself what they are of.

    Parameters
    ----------
    path : Path
        A file or folder.

    Returns
    -------
    bool
        True for DICOM.

    Raises
    ------
    InputError
        If it is not there.
    """
    if path.is_dir():
        return False
    try:
        with path.open("rb") as file:
            head = file.read(132)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}") from error
    # some old exports leave the 128-byte preamble out
    return head[128:] == b"DICM" or path.suffix.lower() == ".dcm"


def read_contours(
    path: Path, names_path: Path | None, grid: Grid, frame_uid: str = ""
) -> tuple[LabelMap, tuple[str, ...]]:
    """Read outlines onto the grid of their CT.

    Parameters
    ----------
    path : Path
        NIfTI or NRRD label map, DICOM segmentation or DICOM structure set.
    names_path : Path or None
        Names file, for a label map.
    grid : Grid
        The CT's grid.
    frame_uid : str
        The CT's frame of reference; empty if it has none.

    Returns
    -------
    label_map : LabelMap
        Every outline, on the CT's grid.
    notes : tuple of str
        What was odd or left out.

    Raises
    ------
    InputError
        If the file cannot be used, or was outlined in another frame of reference.
    """
    if names_itself(path):
        if names_path is not None:
            raise InputError(f"{path} is DICOM and names its outlines itself: leave --names out")
        return _read_dicom(path, grid, frame_uid)
    if names_path is None:
        raise InputError(
            "--labels and --names belong together, except for a DICOM segmentation or structure "
            "set: give both"
        )
    nrrd = path.suffix.lower() in _NRRD
    volume = read_nrrd(path) if nrrd else read_nifti_volume(path)
    label_map, notes = label_map_of(volume, path, read_names_file(names_path), names_path)
    laid, more = lay_on_grid(grid, label_map.volume)
    return LabelMap(laid, label_map.names), (*notes, *more)


def _read_dicom(path: Path, grid: Grid, frame_uid: str) -> tuple[LabelMap, tuple[str, ...]]:
    dataset = read_dataset(path)
    kind = str(dataset.get("SOPClassUID", ""))
    if kind not in (_SEG, _RTSTRUCT):
        raise InputError(
            f"{path} is DICOM but neither a segmentation nor a structure set: for outlines, give "
            "one of these"
        )
    try:
        own = _frame_of(dataset)
        if own and frame_uid and own != frame_uid:
            raise InputError(
                f"{path} was outlined in another frame of reference ({own}) than the CT's "
                f"({frame_uid}): outline on this CT, or bring it into its frame first"
            )
        read = read_segmentation if kind == _SEG else read_structure_set
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # values that are odd but not used
            label_map, notes = read(dataset, path.name, grid)
    except InputError:
        raise
    except Exception as error:  # damaged objects raise anything
        raise InputError(
            f"{path} cannot be used ({type(error).__name__}: {in_one_line(error)}): it "
            "may be damaged; copy it again"
        ) from error
    if not (own and frame_uid):
        notes = (
            *notes,
            "nothing says that contours and CT share a frame of reference: check them",
        )
    if not np.any(label_map.volume.values):
        notes = (*notes, "no outline has a voxel on this CT")
    return label_map, notes


def _frame_of(dataset: object) -> str:
    found = str(getattr(dataset, "FrameOfReferenceUID", "") or "")
    if found:
        return found
    frames = {
        str(item.get("ReferencedFrameOfReferenceUID", ""))
        for item in getattr(dataset, "StructureSetROISequence", None) or []
    } - {""}
    if len(frames) > 1:
        raise InputError(f"the structures lie in {len(frames)} frames of reference: split them")
    return frames.pop() if frames else ""
