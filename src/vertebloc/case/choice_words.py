"""The words a choice can be made in. Each value is what stands in the choices file."""

from __future__ import annotations

from enum import Enum


class CountedFrom(Enum):
    """The end of the spine from which the level was counted."""

    NOT_COUNTED = ""
    SACRUM = "sacrum"
    FIRST_RIB = "first rib"
    LAST_RIB = "last rib"
    PLACED_MARKER = "placed marker"


class RibPairs(Enum):
    """How many pairs of ribs this person has, as somebody counted them; never assumed."""

    NOT_ANSWERED = ""
    ELEVEN = "11 pairs"
    TWELVE = "12 pairs"
    THIRTEEN = "13 pairs"
    CANNOT_BE_SEEN = "cannot be seen"


class Transitional(Enum):
    """Whether a vertebra between two regions has features of both."""

    NOT_ANSWERED = ""
    NONE = "none"
    THORACOLUMBAR = "between chest and loin"
    LUMBOSACRAL = "between loin and sacrum"
    CANNOT_BE_SEEN = "cannot be seen"


class StandingSide(Enum):
    """Where the surgeon stands at the prone patient; fixes how theatre pictures are turned."""

    LEFT = "left"
    RIGHT = "right"
    HEAD_UP = "head up"


class DeliverySide(Enum):
    """The side to which the piece is to be turned out."""

    UNDECIDED = "undecided"
    LEFT = "left"
    RIGHT = "right"


class KindChoice(Enum):
    """What is to come out in one piece."""

    WHOLE_BODY = "whole body"
    HALF_BODY = "half body"
    ARCH_ONLY = "arch only"


class Placement(Enum):
    """How a body cut gets its place."""

    BY_RULE = "by rule"
    BY_HAND = "by hand"


class OpenSide(Enum):
    """The side through which the arch is opened."""

    BY_RULE = "by rule"
    LEFT = "left"
    RIGHT = "right"


class ArchPart(Enum):
    """A part of the arch that has a fate of its own."""

    RIGHT_PEDICLE = "right pedicle"
    LEFT_PEDICLE = "left pedicle"
    RIGHT_LAMINA = "right lamina"
    LEFT_LAMINA = "left lamina"
    SPINOUS_PROCESS = "spinous process"
    RIGHT_TRANSVERSE_PROCESS = "right transverse process"
    LEFT_TRANSVERSE_PROCESS = "left transverse process"
    RIGHT_FACETS = "right facets"
    LEFT_FACETS = "left facets"


class BoneChoice(Enum):
    """What is to happen to a part of the arch."""

    BY_RULE = "by rule"
    PIECE = "piece"
    PIECEMEAL = "piecemeal"
    STAYS = "stays"


class RibFateChoice(Enum):
    """What is to happen to a rib."""

    BY_RULE = "by rule"
    KEPT = "kept"
    REMOVED = "removed"
    HEAD_ON_PIECE = "head on piece"


class SoftFace(Enum):
    """A face of the piece that is dissected, not cut."""

    LEFT_SIDE = "left side"
    RIGHT_SIDE = "right side"
    FRONT = "front"
    DURA = "dura"


class CuffSurface(Enum):
    """The surface along which a soft face is dissected."""

    ON_TUMOUR = "on the tumour"
    PLEURA = "pleura"
    MUSCLE = "muscle"


class TractChoice(Enum):
    """What is to happen to the biopsy tract in soft tissue."""

    WITH_PIECE = "with the piece"
    SEPARATE_ELLIPSE = "separate ellipse"
    LEFT = "left"


class FrontBefore(Enum):
    """What was done in front of the spine before."""

    NOT_SAID = "not said"
    NONE = "none"
    OPERATED = "operated"
    IRRADIATED = "irradiated"
    BOTH = "operated and irradiated"


class FrontRelease(Enum):
    """Whether the front is freed in a stage of its own before."""

    NOT_PLANNED = "not planned"
    STAGE_BEFORE = "stage before"


class PlanningExtent(Enum):
    """The extent of tumour that is planned for."""

    PRE_TREATMENT = "pre-treatment"


class SexChoice(Enum):
    """Which equation the blood volume is reckoned by."""

    NOT_SAID = ""
    MALE = "male"
    FEMALE = "female"


class Act(Enum):
    """An act of the operation. The order of acts is a list of these."""

    COUNT_LEVEL = "count the level"
    SIGNAL_RUN = "signal run"  #: the only one that comes more than once
    MARK_TRACT = "mark the tract"
    INCISION = "incision"
    BARE_ARCH = "bare the arch"
    SCREWS = "screws"
    RIBS_LEFT = "ribs left"
    RIBS_RIGHT = "ribs right"
    TEMPORARY_ROD = "temporary rod"
    OPEN_ARCH = "open the arch"
    CUT_ARCH = "cut the arch"
    ROOTS = "roots"
    FREE_SAC = "free the sac"
    FRONT_LEFT = "front left"
    FRONT_RIGHT = "front right"
    FIRST_CRANIAL = "first passes cranial"
    FIRST_CAUDAL = "first passes caudal"
    PROTECTOR = "protector"
    LAST_CRANIAL = "last passes cranial"
    LAST_CAUDAL = "last passes caudal"
    LIGAMENTS = "ligaments and disc ring"
    TURN_OUT = "turn out"
    REBUILD = "rebuild"
    CLOSE = "close"
