"""Can it come out whole with a clean margin, through which cuts, and how far may each cut err?"""

from vertebloc.resection.model import (
    Allowance,
    BoneFate,
    FaceKind,
    FaceMargin,
    HalfCut,
    ResectionPlan,
    RibFate,
)
from vertebloc.resection.plan import measure_bone_faces, plan_resection
from vertebloc.resection.solids import ResectionSolids, collect_solids

__all__ = [
    "Allowance",
    "BoneFate",
    "FaceKind",
    "FaceMargin",
    "HalfCut",
    "ResectionPlan",
    "ResectionSolids",
    "RibFate",
    "collect_solids",
    "measure_bone_faces",
    "plan_resection",
]
