"""Which vertebra is it, which way does it face, and which ribs and side are whose?

Goes from outlines (a label map, closed surfaces, or both) to the canal's middle line, one
frame per vertebra, levels named or counted, ribs with their owners, and a finding about left
and right. Everything else is in the modules: ``canal``, ``frames``, ``separation``, ``ribs``,
``counting``, ``handedness``.
"""

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.describe import default_diseased_level, describe_anatomy
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, LevelConfirmation, Rib, Vertebra
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choice_words import CountedFrom

__all__ = [
    "Anatomy",
    "Contour",
    "ContourSet",
    "CountedFrom",
    "LabelMap",
    "Level",
    "LevelConfirmation",
    "Rib",
    "Structure",
    "Vertebra",
    "default_diseased_level",
    "describe_anatomy",
]
