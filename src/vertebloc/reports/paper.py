"""The papers a sheet may be printed on, and the pictures' sizes on each."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from vertebloc.reports.allowance_bars import allowance_picture
from vertebloc.reports.pictures import behind_picture, coronal_picture, cross_section_picture
from vertebloc.reports.scene import Scene
from vertebloc.reports.staging_ring import ring_picture
from vertebloc.staging.model import Staging


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSizes:
    """Printed sizes of the pictures, mm: two in the upper row, two and facts in the lower."""

    upper_mm: float  #: height of the upper row
    coronal_mm: float  #: width, as those below
    cross_section_mm: float
    lower_mm: float
    behind_mm: float
    ring_mm: float


class Paper(Enum):
    """A paper size. The value is the name the typesetter knows it by."""

    A4 = "a4"
    LETTER = "us-letter"

    @property
    def sizes(self) -> PictureSizes:
        """How large the pictures are printed."""
        if self is Paper.A4:
            return PictureSizes(
                upper_mm=60.0,
                coronal_mm=122.0,
                cross_section_mm=66.0,
                lower_mm=44.0,
                behind_mm=76.0,
                ring_mm=40.0,
            )
        return PictureSizes(
            upper_mm=50.0,
            coronal_mm=125.0,
            cross_section_mm=68.0,
            lower_mm=41.0,
            behind_mm=82.0,
            ring_mm=39.0,
        )


def planning_pictures(scene: Scene, staging: Staging, paper: Paper = Paper.A4) -> dict[str, bytes]:
    """Draw every picture of a plan, at its printed size.

    Parameters
    ----------
    scene : Scene
        Images, outlines and plan.
    staging : Staging
        Sectors, for the ring.
    paper : Paper
        Paper that the sheet is printed on.

    Returns
    -------
    dict
        PNG bytes under ``coronal``, ``cross_section``, ``behind`` and ``ring``; and
        ``allowance``, for screens: on paper the bars stand in the table.
    """
    sizes = paper.sizes
    return {
        "coronal": coronal_picture(scene, (sizes.coronal_mm, sizes.upper_mm)),
        "cross_section": cross_section_picture(scene, (sizes.cross_section_mm, sizes.upper_mm)),
        "behind": behind_picture(scene, (sizes.behind_mm, sizes.lower_mm)),
        "allowance": allowance_picture(scene.bone_faces, scene.hand),
        "ring": ring_picture(staging, (sizes.ring_mm, sizes.lower_mm)),
    }
