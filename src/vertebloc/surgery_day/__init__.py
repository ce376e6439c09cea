"""Who does what on the day: where is each cut felt, what may bleed, when are signals run?"""

from vertebloc.surgery_day.blood import (
    Sex,
    allowable_loss_by_mean_ml,
    allowable_loss_exact_ml,
    allowable_loss_plain_ml,
    blood_volume_ml,
)
from vertebloc.surgery_day.cut_entries import CutEntry, describe_entries
from vertebloc.surgery_day.landmarks import Landmark, LandmarkKind, find_landmarks
from vertebloc.surgery_day.watch import signal_runs, watched_roots

__all__ = [
    "CutEntry",
    "Landmark",
    "LandmarkKind",
    "Sex",
    "allowable_loss_by_mean_ml",
    "allowable_loss_exact_ml",
    "allowable_loss_plain_ml",
    "blood_volume_ml",
    "describe_entries",
    "find_landmarks",
    "signal_runs",
    "watched_roots",
]
