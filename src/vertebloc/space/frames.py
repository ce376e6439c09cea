"""The frames in which points and vectors are written down.

Every point inside the package is in patient LPS unless its name says otherwise:
+x towards the patient's left, +y towards the back, +z towards the head, in mm.
"""

from enum import Enum


class Frame(Enum):
    """A coordinate frame. Two maps may be chained only where their frames meet."""

    PATIENT_LPS = "patient-lps"  #: +x left, +y posterior, +z head; mm
    IMAGE_IJK = "image-ijk"  #: continuous voxel index; whole numbers are voxel centres
    VERTEBRA = "vertebra"  #: +x left, +y posterior, +z cranial of one vertebra; mm
    PLANE = "plane"  #: +x and +y in a plane, +z along its normal; mm
    SCREEN = "screen"  #: +x to the right, +y up, +z towards the viewer; mm


class Side(Enum):
    """A side of the patient, never of a picture."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def sign(self) -> int:
        """+1 for left, -1 for right: the sign of x in patient LPS and of a vertebra's x."""
        return 1 if self is Side.LEFT else -1

    @property
    def other(self) -> "Side":
        """The opposite side."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT
