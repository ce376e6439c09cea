"""Why a number is what it is: formula, source and limits, for beside each answer."""

from __future__ import annotations

from vertebloc.published import margins
from vertebloc.reports.access_why import FRONT_WHY, RING_WHY
from vertebloc.reports.c_arm_why import C_ARM_WHY
from vertebloc.reports.page_words import Question
from vertebloc.reports.role_why import ROLES_WHY
from vertebloc.reports.way_out_why import WAY_OUT_WHY
from vertebloc.reports.why_entry import Why
from vertebloc.resection.allowance import SEARCHED_TO_DEG, SEARCHED_TO_MM
from vertebloc.resection.cuts import CUT_RULE
from vertebloc.resection.margin_map import PITCH_MM
from vertebloc.space.accuracy import MEASURED
from vertebloc.staging.model import StagingSettings


def why_of(question: Question) -> tuple[Why, ...]:
    """What stands behind the answers of a page.

    Parameters
    ----------
    question : Question
        Which page.

    Returns
    -------
    tuple of Why
        One for each kind of number.
    """
    return {
        Question.PICTURES: (_SIZES,),
        Question.LEVEL: (_LEVEL, _SIDES),
        Question.CONTOURS: (_VOXELS, _STANDS_FOR),
        Question.SPREAD: (_sectors(), _LAYERS),
        Question.RING: RING_WHY,
        Question.FRONT: FRONT_WHY,
        Question.ROLES: ROLES_WHY,
        Question.CUTS: (
            _PLACES,
            _MARGIN,
            _MAP,
            _allowance(),
            _hand(),
            _distances(),
            _LEFT_BEHIND,
            _KEYSTONE,
        ),
        Question.WAY_OUT: WAY_OUT_WHY,
        Question.C_ARM: C_ARM_WHY,
    }[question]


_SIZES = Why(
    title="Images and contours",
    formula="Voxel edges and places come from each image's own position and orientation.",
    source="DICOM PS3.3, image plane module; NIfTI-1 standard.",
    limits="Says nothing about whether these are the right person's images: compare name, date "
    "of birth and number with the person.",
)
_LEVEL = Why(
    title="Level",
    formula="Vertebrae are put in order along the canal; ribs are given to vertebrae by counting "
    "and by where their heads lie.",
    source="Common practice, no source.",
    limits="A name in an outline is no count. The level is confirmed only by a named person who "
    "counts from an end that is in the images, and theatre counts from the same end.",
)
_SIDES = Why(
    title="Left and right",
    formula="Outlines named left or right are compared with the images' own left, and the aorta's "
    "side with what is usual.",
    source="Common practice, no source.",
    limits="Images that were mirrored together with their outlines, in a person whose organs lie "
    "the other way round, cannot be told apart here.",
)
_VOXELS = Why(
    title="Volume of an outline",
    formula="Number of voxels inside times the volume of one. A stroke takes the voxels of its "
    "slice, in whatever direction, whose middles lie under the tip or within the loop.",
    source="Counting, no source.",
    limits="A voxel is in or out: the edge is known to half a voxel. How far a hand may draw "
    "amiss is a setting of its own, the outline's error in choices.toml.",
)
_STANDS_FOR = Why(
    title="Who stands for an outline",
    formula="Whoever draws and whoever confirms is kept with the time, in the case folder and its "
    "journal. A stroke after a confirmation makes a draft again.",
    source="Common practice, no source.",
    limits="A name is as typed; nobody checks who sits at the machine. Imported outlines bear no "
    "name here: who drew them stands in their own file, or nowhere.",
)
_LAYERS = Why(
    title="Layers A to E",
    formula="Tumour outside bone, in superficial and deep bone, epidural, and inside the sac: "
    "areas and volumes in planes square to the canal.",
    source="WBB surgical staging (Boriani, Weinstein, Biagini 1997), see published/staging.",
    limits="Epidural compression needs sac and cord on T2 images; it is asked, not computed.",
)
_PLACES = Why(
    title="Where the cuts lie",
    formula=f"By rule: {CUT_RULE}. A cut placed by hand stays where it was put.",
    source="Ours; no source.",
    limits="The rule knows margin and bone, not vessels, roots, screws or the way in.",
)
_MARGIN = Why(
    title="Margin of a face",
    formula="Least distance of the finite cut face, not of its endless plane, to tumour and to "
    "the biopsy tract in bone; below 0 where tumour reaches through.",
    source="Closed forms in the project's tests: sphere, ellipsoid, box.",
    limits="As good as the outlines. Soft faces are measured on the piece's own surface: margins "
    "in soft tissue belong to pathology.",
)
_MAP = Why(
    title="The piece, opened out",
    formula="Bone faces are turned flat in their own planes, so that lengths and areas stay; the "
    f"distance to tumour is read every {PITCH_MM:g} mm over each of them.",
    source="Closed forms in the project's tests: sphere, ellipsoid, areas of the drawing.",
    limits="Dissected faces are curved: they are drawn as they are seen, their area is a number "
    "only. A thin place between two points of the map is found by the margin, not by the tint.",
)
_LEFT_BEHIND = Why(
    title="Tumour left behind",
    formula="Volume of outlined tumour that lies outside the piece, by exact booleans of solids.",
    source="Checked against counting voxels in the project's tests.",
    limits="Tumour that nobody outlined is not seen.",
)
_KEYSTONE = Why(
    title="Keystone",
    formula="Thickness between the two body cuts at the left and at the right wall, their "
    "difference over the width, in mm per 10 mm.",
    source="Geometry, no source.",
    limits="Says nothing about the way out past the sac: that is not computed yet.",
)


def _allowance() -> Why:
    return Why(
        title="How far a cut may err",
        formula="The face is moved towards tumour, tilted about its entry edge and about the "
        "blade, each alone, until it touches; for the pivot its entry edge is moved while the far "
        "edge stays right. Offset and tilt are NOT allowed together.",
        source="Closed forms in the project's tests.",
        limits=f"Searched up to {SEARCHED_TO_MM:.0f} mm and {SEARCHED_TO_DEG:.0f} degrees. The "
        "face is moved as a rigid shape; a blade that wanders is not.",
    )


def _hand() -> Why:
    mean = margins.LOCATION_FREE_HAND_MM
    return Why(
        title="The bracket: what hands were found to do",
        formula="Mean location error of free-hand cuts, drawn from the start of each bar: where "
        "ink ends inside the bracket, a hand that is off by as much reaches tumour.",
        source=f"{mean.source}, {mean.place}: {mean.what}; {mean.population}.",
        limits="Blocks, no vertebra; other hands and tools: no prediction for this cut.",
    )


def _sectors() -> Why:
    settings = StagingSettings()
    return Why(
        title="Sectors",
        formula="Twelve sectors about the canal, in planes square to it; a sector counts as "
        f"involved from {100 * settings.involved_fraction:.0f} % of its area in its worst plane.",
        source="WBB surgical staging (Boriani, Weinstein, Biagini 1997); the share is assumed.",
        limits="Two numberings of the sectors are in use: side and region are what is meant. "
        "'Flips' says by how much the outline would have to be wrong.",
    )


def _distances() -> Why:
    finest, coarsest = MEASURED[0], MEASURED[-1]
    return Why(
        title="How far distances may be wrong",
        formula="Distances to outlines of known bodies, placed and turned at random on the grid, "
        "are compared with their closed form: "
        + "; ".join(
            f"in voxels of {' x '.join(f'{mm:g}' for mm in case.spacing_mm)} mm, 95 % were off "
            f"by no more than {case.most_of_them_mm:.2f} mm"
            for case in (finest, coarsest)
        )
        + ".",
        source="Ours: space/accuracy, measured again by the project's tests.",
        limits="Holds for smooth outlines. An error of the outline itself comes on top, and is "
        "mostly larger.",
    )
