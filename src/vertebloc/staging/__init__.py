"""How far has the tumour grown: in which sectors and layers about the canal, on which side?"""

from vertebloc.staging.extent import reached_levels, tumour_side
from vertebloc.staging.model import (
    Answer,
    Layer,
    Staging,
    StagingSettings,
    TumourSide,
)
from vertebloc.staging.rules import rule_verdict
from vertebloc.staging.sectors import Numbering, Sector, number_sector
from vertebloc.staging.spread import stage_tumour

__all__ = [
    "Answer",
    "Layer",
    "Numbering",
    "Sector",
    "Staging",
    "StagingSettings",
    "TumourSide",
    "number_sector",
    "reached_levels",
    "rule_verdict",
    "stage_tumour",
    "tumour_side",
]
