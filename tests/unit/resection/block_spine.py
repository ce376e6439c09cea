"""A spine of boxes: every bone, section and volume can be told by hand.

All vertebrae are alike, 25 mm apart, in patient LPS, T10 in the origin. Body: 30 x 28 x 20 mm.
"""

import itertools

import manifold3d
import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, CanalSpline, Handedness, SideVerdict, Vertebra
from vertebloc.case.choices import Choices
from vertebloc.resection import ResectionSolids, plan_resection
from vertebloc.resection.disc_sections import body_ends
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.sections import solid_from_surface, surface_of_solid, united
from vertebloc.space.solids import RoundedBox, Union
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

from .closed_forms import exact_field

PITCH_MM = 25.0
LEVELS = tuple(Level(f"T{n}") for n in range(8, 13))
T10 = Level("T10")
#: low and high corner of each box, in the vertebra's own frame
BODY = ((-15, -14, -10), (15, 14, 10))
PEDICLE = ((8, 13.9, 0), (14, 24.1, 8))  # left; 10 mm behind the wall
LAMINA = ((0, 24, -8), (14, 28, 8))  # left half
TRANSVERSE = ((13.9, 24, 0), (28, 28, 6))
SPINOUS = ((-2, 27.9, -8), (2, 45, 0))
UPPER_FACET = ((9, 24, 7.9), (14, 26, 14))
LOWER_FACET = ((9, 26.5, -14), (14, 28, -7.9))


def mirrored(box):
    (x0, y0, z0), (x1, y1, z1) = box
    return (-x1, y0, z0), (-x0, y1, z1)


def parts(box):
    return [box, mirrored(box)]


#: laminae meet in one box, so that no seam stays in the midline
BOXES = [
    BODY, *parts(PEDICLE), ((-14, 24, -8), (14, 28, 8)), *parts(TRANSVERSE), SPINOUS,
    *parts(UPPER_FACET), *parts(LOWER_FACET),
]  # fmt: skip


def box_solid(box, z=0.0):
    low, high = np.asarray(box[0], float), np.asarray(box[1], float)
    return manifold3d.Manifold.cube(tuple(high - low)).translate(
        tuple(low + np.array([0.0, 0.0, z]))
    )


def height_of(level):
    return -PITCH_MM * (LEVELS.index(level) - LEVELS.index(T10))


def bone_solid(level):
    return united(box_solid(box, height_of(level)) for box in BOXES)


def bone_distance():
    """T10's boxes as one closed form, for fields."""
    solids = []
    for box in BOXES:
        low, high = np.asarray(box[0], float), np.asarray(box[1], float)
        solids.append(RoundedBox((low + high) / 2, (high - low) / 2, 1e-3))
    return Union(solids)


def vertebra(level):
    matrix = np.eye(4)
    matrix[2, 3] = height_of(level)
    return Vertebra(
        level=level,
        lps_from_vertebra=Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.VERTEBRA),
        canal_s_mm=0.0,
        posterior_wall_mm=14.0,
        anterior_wall_mm=-14.0,
        upper_endplate_mm=10.0,
        lower_endplate_mm=-10.0,
        left_wall_mm=15.0,
        right_wall_mm=-15.0,
        frame_from_neighbours=level == T10,
        own_frame_differs_deg=0.0,
    )


def wall(level):
    """The posterior wall, its front on the negative side."""
    return Plane([0.0, 14.0, height_of(level)], [0.0, 1.0, 0.0])


def anatomy(ribs=()):
    ends = np.array([[0.0, 19.0, 100.0], [0.0, 19.0, 0.0], [0.0, 19.0, -100.0]])
    return Anatomy(
        canal=CanalSpline(np.array([0.0, 100.0, 200.0]), ends, "made up"),
        vertebrae={level: vertebra(level) for level in LEVELS},
        ribs=tuple(ribs),
        bone={},
        warnings=(),
        handedness=Handedness(verdict=SideVerdict.CANNOT_TELL, evidence=(), words="boxes"),
        ends_in_view=frozenset(),
        counting="boxes",
    )


def ball(centre, radii, segments=96):
    """An ellipsoid's surface; inscribed, its volume about 0.3 % too small."""
    radii = np.broadcast_to(np.asarray(radii, float), 3)
    made = manifold3d.Manifold.sphere(1.0, segments).scale(tuple(radii))
    return surface_of_solid(made.translate(tuple(map(float, centre))))


def solids_with(
    tumour: TriangleSurface, distance, *, level=T10, levels=(), ribs=None, reach_mm=12.0
):
    """What is planned on: the boxes, and a tumour given as surface and as closed form."""
    at = levels or (level,)
    above, below = LEVELS.index(at[0]) - 1, LEVELS.index(at[-1]) + 1
    low, high = tumour.vertices.min(axis=0), tumour.vertices.max(axis=0)
    return ResectionSolids(
        level=level,
        levels=at,
        back_walls={lv: wall(lv) for lv in LEVELS[above : below + 1]} if len(at) > 1 else {},
        neighbours=(LEVELS[above], LEVELS[below]),
        ends=body_ends(anatomy(), LEVELS[above : below + 1]),
        bone={lv: surface_of_solid(bone_solid(lv)) for lv in LEVELS[above : below + 1]},
        tumour=tumour,
        tumour_field=exact_field(distance, low - reach_mm, high + reach_mm, 0.75),
        bone_field=exact_field(bone_distance(), (-30, -16, -16), (30, 47, 16), 1.0),
        sac=None,
        sac_field=None,
        cord=None,
        aorta=None,
        vessels={},
        has_tract=False,
        bone_error_mm=0.0,
        ribs=dict(ribs or {}),
        tumour_extent=(low, high),
        distance_error_words="closed form",
        assumptions=(),
    )


def planned(solids, choices=None, *, ribs=()):
    return plan_resection(
        anatomy=anatomy(ribs), solids=solids, choices=choices or Choices(), level=solids.level
    )


def counted_mm3(keep, low, high, pitch=0.5):
    """Volume of what a function of points keeps, by counting voxel centres."""
    axes = [np.arange(a + pitch / 2, b, pitch) for a, b in zip(low, high, strict=True)]
    total = 0
    for x in np.array_split(axes[0], 8):
        points = np.stack(np.meshgrid(x, axes[1], axes[2], indexing="ij"), axis=-1)
        total += int(np.count_nonzero(keep(points.reshape(-1, 3))))
    return total * pitch**3


def in_boxes(points, levels=LEVELS, boxes=BOXES):
    """Whether points lie in bone: boxes compared by numbers, no solids involved."""
    inside = np.zeros(len(points), bool)
    for level, box in itertools.product(levels, boxes):
        low = np.asarray(box[0], float) + np.array([0.0, 0.0, height_of(level)])
        high = np.asarray(box[1], float) + np.array([0.0, 0.0, height_of(level)])
        inside |= np.all((points > low) & (points < high), axis=1)
    return inside


def is_one_solid(surface):
    return len(solid_from_surface(surface).decompose()) == 1
