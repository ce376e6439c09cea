"""The closed vocabulary of things that can be outlined, with their SNOMED CT codes."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from vertebloc.anatomy.levels import Level
from vertebloc.space.frames import Side


class Structure(Enum):
    """A kind of thing that can be outlined. The value is its name in names files."""

    VERTEBRA = "vertebra"
    BODY = "vertebral body"
    ARCH = "vertebral arch"
    DISC = "disc"
    RIB = "rib"
    SACRUM = "sacrum"
    STERNUM = "sternum"
    TUMOUR = "tumour"
    TRACT = "biopsy tract"
    SCAR = "scarred or irradiated bed"
    SAC = "sac"
    CORD = "spinal cord"
    CANAL = "spinal canal"
    ROOT = "nerve root"
    AORTA = "aorta"
    AZYGOS = "azygos vein"
    SUPERIOR_CAVA = "superior vena cava"
    INFERIOR_CAVA = "inferior vena cava"
    SEGMENTAL_VESSEL = "segmental vessel"
    OESOPHAGUS = "oesophagus"
    TRACHEA = "trachea"
    HEART = "heart"
    LIVER = "liver"
    LUNG = "lung"
    LUNG_LOBE = "lung lobe"
    MUSCLE = "muscle beside the spine"
    SKIN = "skin"
    IMPLANT = "implant"
    OTHER = "other"  #: named in the file, known to nobody here: kept, shown, not used


@dataclass(frozen=True, slots=True)
class Contour:
    """What one outline is of: the structure, and where it helps level, side and part."""

    structure: Structure
    level: Level | None = None
    side: Side | None = None
    part: str | None = None

    @property
    def words(self) -> str:
        """The outline's name for people, such as ``left rib of T10``."""
        name = self.structure.value if self.structure is not Structure.OTHER else "other"
        if self.part:
            name = f"{name}, {self.part}"
        if self.side is not None:
            name = f"{self.side.value} {name}"
        return f"{name} of {self.level}" if self.level is not None else name
