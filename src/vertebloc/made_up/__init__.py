"""Who can it be tried on without harm? Made-up patients whose every outline is known exactly."""

from vertebloc.made_up.ellipsoid_tumour import add_ellipsoid_tumour
from vertebloc.made_up.gallery import after_from_before, patient_named
from vertebloc.made_up.images import default_grid, hounsfield_volume, label_map
from vertebloc.made_up.patients import MadeUpPatient, lead_patient
from vertebloc.made_up.surfaces import surface_of, tumour_surface

__all__ = [
    "MadeUpPatient",
    "add_ellipsoid_tumour",
    "after_from_before",
    "default_grid",
    "hounsfield_volume",
    "label_map",
    "lead_patient",
    "patient_named",
    "surface_of",
    "tumour_surface",
]
