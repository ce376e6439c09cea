"""Where does another scan of this patient lie on the CT, and is that good enough near a tumour?"""

from vertebloc.alignment.landmarks import LandmarkFit, fit_landmarks, target_error_mm
from vertebloc.alignment.lay import Laid, Outlined, Trust, lay_on_ct

__all__ = [
    "Laid",
    "LandmarkFit",
    "Outlined",
    "Trust",
    "fit_landmarks",
    "lay_on_ct",
    "target_error_mm",
]
