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

    @property
    def snomed(self) -> SnomedCode | None:
        """Its SNOMED CT code; None where no code was checked against the source."""
        return _CODES.get(self)


@dataclass(frozen=True, slots=True)
class SnomedCode:
    """A SNOMED CT concept, as DICOM writes it."""

    value: str
    meaning: str


# Values and meanings as in the concept dictionary that pydicom carries (pydicom.sr, made from
# DICOM PS3.16); a test compares them. Left out, since not in it: vertebral body, disc in
# general, nerve root, segmental vessels (its intercostal artery is only the thoracic ones),
# biopsy tract, muscle beside the spine (its erector spinae is only a part), other.
_CODES = {
    Structure.VERTEBRA: SnomedCode("51282000", "Vertebra"),
    Structure.ARCH: SnomedCode("40265002", "Arch of vertebra"),
    Structure.RIB: SnomedCode("113197003", "Rib"),
    Structure.SACRUM: SnomedCode("54735007", "Sacrum"),
    Structure.STERNUM: SnomedCode("56873002", "Sternum"),
    Structure.TUMOUR: SnomedCode("108369006", "Neoplasm"),
    Structure.SCAR: SnomedCode("12402003", "Scar tissue"),
    Structure.SAC: SnomedCode("18545000", "Dura mater"),  # the sac's wall stands for the sac
    Structure.CORD: SnomedCode("2748008", "Spinal cord"),
    Structure.CANAL: SnomedCode("61853006", "Spinal canal structure (body structure)"),
    Structure.AORTA: SnomedCode("15825003", "Aorta"),
    Structure.AZYGOS: SnomedCode("72107004", "Azygos vein"),
    Structure.SUPERIOR_CAVA: SnomedCode("48345005", "Superior vena cava"),
    Structure.INFERIOR_CAVA: SnomedCode("64131007", "Inferior vena cava"),
    Structure.OESOPHAGUS: SnomedCode("32849002", "Esophagus"),
    Structure.TRACHEA: SnomedCode("44567001", "Trachea"),
    Structure.HEART: SnomedCode("80891009", "Heart"),
    Structure.LIVER: SnomedCode("10200004", "Liver"),
    Structure.LUNG: SnomedCode("39607008", "Lung"),
    Structure.LUNG_LOBE: SnomedCode("31094006", "Lobe of lung"),
    Structure.SKIN: SnomedCode("39937001", "Skin"),
    Structure.IMPLANT: SnomedCode("40388003", "Implant"),
}

_VERTEBRA_CODES = {
    "C1": "14806007",
    "C2": "39976000",
    "C3": "113205007",
    "C4": "5329002",
    "C5": "36978003",
    "C6": "36054005",
    "C7": "87391001",
    "T1": "64864005",
    "T2": "53733008",
    "T3": "1626008",
    "T4": "73071006",
    "T5": "56401006",
    "T6": "45296009",
    "T7": "62487009",
    "T8": "11068009",
    "T9": "82687006",
    "T10": "7610001",
    "T11": "12989004",
    "T12": "23215003",
    "L1": "66794005",
    "L2": "14293000",
    "L3": "36470004",
    "L4": "11994002",
    "L5": "49668003",
}  # their meanings read "T10 vertebra"; S1-S5, T13 and L6 are not in the dictionary


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

    @property
    def snomed(self) -> SnomedCode | None:
        """Its SNOMED CT code, that of the very vertebra if there is one."""
        if self.structure is Structure.VERTEBRA and self.level is not None:
            value = _VERTEBRA_CODES.get(self.level.name)
            if value is not None:
                return SnomedCode(value, f"{self.level} vertebra")
        return self.structure.snomed


def by_code(value: str) -> Contour | None:
    """The structure, and the level if the code is one vertebra's, of a SNOMED CT code.

    Parameters
    ----------
    value : str
        The code.

    Returns
    -------
    Contour or None
        Without side or part; None if the vocabulary does not hold the code.
    """
    for level, code in _VERTEBRA_CODES.items():
        if code == value:
            return Contour(Structure.VERTEBRA, Level(level))
    for structure, known in _CODES.items():
        if known.value == value:
            return Contour(structure)
    return None
