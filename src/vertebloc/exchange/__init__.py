"""How does a case come in from scanner and folder, and how is it kept?"""

from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.exchange.dicom_read import ImportedSeries, read_dicom_folder
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.nifti import read_nifti_labels, read_nifti_volume, write_nifti
from vertebloc.exchange.volumes import read_volume

__all__ = [
    "CaseFolder",
    "ImportedSeries",
    "SeriesSettings",
    "read_choices",
    "read_dicom_folder",
    "read_nifti_labels",
    "read_nifti_volume",
    "read_volume",
    "render_choices",
    "write_dicom_series",
    "write_nifti",
]
