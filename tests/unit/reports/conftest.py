"""A made-up person of boxes, cylinders and balls: every place is known by hand.

The diseased T10 has its body's middle at ``ORIGIN``; patient LPS and the vertebra's axes agree.
The tumour is a ball 9 mm to the LEFT of the middle.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import (
    Anatomy,
    CanalSpline,
    CountedFrom,
    Handedness,
    LevelConfirmation,
    SideVerdict,
    Vertebra,
)
from vertebloc.case.choice_words import Act
from vertebloc.case.choices import Choices, Override
from vertebloc.case.identity import Identity
from vertebloc.reports.plan_document import PlanOrigin, plan_document
from vertebloc.reports.scene import Scene, published_hand_error
from vertebloc.resection.acts_model import ActOrder
from vertebloc.resection.depth_model import DepthFan, DepthRay, VesselGap
from vertebloc.resection.model import (
    Allowance,
    BoneFate,
    FaceKind,
    FaceMargin,
    HalfCut,
    Keystone,
    Kind,
    ResectionPlan,
    RibFate,
    TumourLeft,
)
from vertebloc.resection.order_of_acts import PlannedSteps, order_acts
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import rigid_frame
from vertebloc.staging.model import (
    Answer,
    Layer,
    LayerSpread,
    SectorSpread,
    SideShare,
    Staging,
    StagingSettings,
    TumourSide,
)
from vertebloc.staging.sectors import SECTORS, Region

ORIGIN = np.array((12.0, -35.0, 240.0))
PITCH_MM = 30.0
LEVELS = tuple(Level(f"T{number}") for number in range(8, 13))


def at(x: float, y: float, z: float) -> Any:
    """A place given from the middle of the diseased body, in patient LPS."""
    return ORIGIN + np.array((x, y, z))


def surface_of(*meshes: trimesh.Trimesh) -> TriangleSurface:
    joined = trimesh.util.concatenate(meshes)
    return TriangleSurface(joined.vertices + ORIGIN, joined.faces)


def box(low: tuple[float, float, float], high: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=np.array((low, high)))


def rod(start: Any, stop: Any, radius: float) -> trimesh.Trimesh:
    return trimesh.creation.cylinder(radius, segment=np.array((start, stop), float), sections=24)


def ball(middle: Any, radius: float) -> trimesh.Trimesh:
    made = trimesh.creation.icosphere(subdivisions=3, radius=radius)
    made.apply_translation(middle)
    return made


def height_of(level: Level) -> float:
    return PITCH_MM * (10 - level.number)


def arch_of(z: float, sign: int) -> list[trimesh.Trimesh]:
    x = sorted((sign * 9.0, sign * 17.0)), sorted((sign * 0.5, sign * 17.0))
    return [
        box((x[0][0], 14.0, z), (x[0][1], 34.0, z + 9.0)),
        box((x[1][0], 32.0, z - 10.0), (x[1][1], 38.0, z + 9.0)),
    ]


def bone_meshes() -> list[trimesh.Trimesh]:
    made = []
    for level in LEVELS:
        z = height_of(level)
        made.append(rod((0, 0, z - 12), (0, 0, z + 12), 18.0))
        made += arch_of(z, 1) + arch_of(z, -1)
        made.append(box((-2.5, 38.0, z - 16.0), (2.5, 58.0, z - 6.0)))
    return made


def rib_mesh(level: Level, side: Side) -> trimesh.Trimesh:
    z = height_of(level) + 13.0
    return rod((side.sign * 17.0, 14.0, z), (side.sign * 70.0, 34.0, z - 12.0), 4.0)


def made_vertebra(level: Level) -> Vertebra:
    return Vertebra(
        level=level,
        lps_from_vertebra=rigid_frame(
            at(0.0, 0.0, height_of(level)),
            np.eye(3),
            target=Frame.PATIENT_LPS,
            source=Frame.VERTEBRA,
        ),
        canal_s_mm=PITCH_MM * (level.number - 8),
        posterior_wall_mm=18.0,
        anterior_wall_mm=-18.0,
        upper_endplate_mm=12.0,
        lower_endplate_mm=-12.0,
        left_wall_mm=18.0,
        right_wall_mm=-18.0,
        frame_from_neighbours=level == Level("T10"),
        own_frame_differs_deg=0.0,
    )


def made_ct() -> Volume:
    low = ORIGIN - (80.0, 60.0, 90.0)
    matrix = np.diag((1.6, 1.6, 2.0, 1.0))
    matrix[:3, 3] = low
    grid = Grid.from_matrix((100, 90, 90), matrix)
    x, y, z = (grid.centres() - ORIGIN).reshape(*grid.shape, 3).transpose(3, 0, 1, 2)
    values = np.full(grid.shape, 40, dtype=np.int16)
    values[(np.abs(x) > 26) & (y < 20)] = -850
    inside_level = np.abs((z + PITCH_MM / 2) % PITCH_MM - PITCH_MM / 2) < 12
    values[(np.hypot(x, y) < 18) & inside_level] = 320
    values[np.hypot(x - 14, y + 32) < 11] = 180
    return Volume(grid, values)


def half_cut(name: str, level: Level, z: float, side: Side) -> HalfCut:
    outward = np.array((0.0, 0.0, 1.0 if z > 0 else -1.0))
    return HalfCut(
        name=name,
        side=side,
        plane=Plane(at(0.0, 0.0, z), outward),
        entry=at(side.sign * 19.0, 6.0, z),
        entry_edge=np.array((0.0, 1.0, 0.0)),
        blade=np.array((-float(side.sign), 0.0, 0.0)),
        passes_through=f"body of {level}",
        level=level,
    )


def half_disc(z: float, side: Side) -> PlanarFace:
    plane = Plane(at(0.0, 0.0, z), np.array((0.0, 0.0, 1.0 if z > 0 else -1.0)))
    lps_from_plane = plane.frame((1.0, 0.0, 0.0))
    way = np.linspace(-np.pi / 2, np.pi / 2, 15)
    loop = np.column_stack((side.sign * 18 * np.cos(way), 18 * np.sin(way)))
    turn = np.sum(loop[:, 0] * np.roll(loop[:, 1], -1) - np.roll(loop[:, 0], -1) * loop[:, 1])
    return PlanarFace(lps_from_plane, (loop if turn > 0 else loop[::-1],))


def allowance(offset_mm: float, tilt_deg: float) -> Allowance:
    return Allowance(
        keeps_mm=0.0,
        offset_mm=offset_mm,
        tilt_deg=tilt_deg,
        pivot_mm=offset_mm + 1.0,
        offset_at_3_deg_mm=max(0.0, offset_mm - 1.2),
        offset_at_6_deg_mm=max(0.0, offset_mm - 2.5),
        searched_to_mm=15.0,
        searched_to_deg=20.0,
    )


def bone_face(name: str, margin_mm: float, tilt_deg: float, **how: Any) -> FaceMargin:
    values: dict[str, Any] = {
        "name": name,
        "kind": FaceKind.BONE,
        "area_mm2": 508.9,
        "margin_mm": margin_mm,
        "weakest": at(12.0, -6.0, -24.0),
        "weakest_in_words": "left front corner, 12 mm left of the midline",
        "tumour_crossed_mm2": 0.0,
        "barrier": "endplate and disc",
        "allowance": allowance(margin_mm, tilt_deg),
        "face": None,
    }
    return FaceMargin(**(values | how))


def soft_face(name: str, margin_mm: float, words: str) -> FaceMargin:
    return FaceMargin(
        name=name,
        kind=FaceKind.SOFT,
        area_mm2=320.0,
        margin_mm=margin_mm,
        weakest=at(10.0, 17.0, 0.0),
        weakest_in_words=words,
        tumour_crossed_mm2=0.0,
        barrier="",
        allowance=None,
        face=None,
    )


def made_depths() -> tuple[DepthFan, ...]:
    """Both halves of both cuts: 36 mm deep straight ahead, stops by hand, an aorta on the left."""
    fans = []
    for end, level, z in (("cranial", Level("T9"), 24.0), ("caudal", Level("T11"), -23.5)):
        for side in Side:
            name = f"{side.value} half of the {end} cut"
            rays = tuple(made_ray(side, z, angle) for angle in (-10.0, 0.0, 10.0))
            plane = Plane(at(0.0, 0.0, z), np.array((0.0, 0.0, 1.0 if z > 0 else -1.0)))
            square = np.array(((-18.0, -18.0), (18.0, -18.0), (18.0, 18.0), (-18.0, 18.0)))
            fans.append(
                DepthFan(
                    cut_name=name,
                    side=side,
                    level=level,
                    passes_through=f"body of {level}",
                    rays=rays,
                    least_mm=min(ray.depth_mm for ray in rays),
                    most_mm=max(ray.depth_mm for ray in rays),
                    stop_mm=28.7,
                    stop_any_angle_mm=0.0,
                    stop_short_mm=5.0,
                    outline_error_mm=1.25,
                    measured_to="far cortex",
                    protector_in_words=f"in front of the body of {level}",
                    protector=np.array([ray.exit for ray in rays]),
                    vessels_outlined=("aorta",),
                    looked_to_mm=50.0,
                    section=PlanarFace(plane.frame((0.0, -1.0, 0.0)), (square,)),
                    vessel_sections={},
                )
            )
    return tuple(fans)


def made_ray(side: Side, z: float, angle_deg: float) -> DepthRay:
    turn = np.radians(angle_deg)
    way = np.array((-side.sign * np.sin(turn), -np.cos(turn), 0.0))
    depth = 36.0 / np.cos(turn)
    entry = at(side.sign * 9.0, 18.0, z)
    on_line = side is Side.LEFT and angle_deg <= 0.0
    return DepthRay(
        angle_deg=angle_deg,
        entry_share=0.5,
        entry=entry,
        direction=way,
        depth_mm=depth,
        stop_mm=28.7 if angle_deg >= 0.0 else 0.0,
        exit=entry + depth * way,
        left_again_mm=(),
        vessel=VesselGap(vessel="aorta", gap_mm=4.6) if on_line else None,
    )


def made_acts(*order: Act, overrides: tuple[Override, ...] = ()) -> ActOrder:
    """Acts of the made-up plan, from its own ribs, arch and depths."""
    steps = PlannedSteps(
        cuts=(),
        depths=made_depths(),
        open_side=Side.RIGHT,
        bone_fates={"right pedicle": BoneFate.PIECEMEAL, "left pedicle": BoneFate.PIECE},
        rib_fates={"left rib of T10": RibFate.REMOVED, "right rib of T10": RibFate.KEPT},
        has_tract=False,
    )
    return order_acts(steps, Choices(acts_order=order, overrides=overrides))


def made_plan() -> ResectionPlan:
    upper, lower = PITCH_MM - 6.0, -PITCH_MM + 6.5
    cranial, caudal = Level("T9"), Level("T11")
    back = "back of the body, 10 mm left of the midline"
    return ResectionPlan(
        kind=Kind.WHOLE_BODY,
        level=Level("T10"),
        levels=(Level("T10"),),
        wanted_margin_mm=0.0,
        cuts=(
            half_cut("cranial cut, left half", cranial, upper, Side.LEFT),
            half_cut("cranial cut, right half", cranial, upper, Side.RIGHT),
            half_cut("caudal cut, left half", caudal, lower, Side.LEFT),
            half_cut("caudal cut, right half", caudal, lower, Side.RIGHT),
            HalfCut(
                name="right pedicle base",
                side=Side.RIGHT,
                plane=Plane(at(-13.0, 16.0, 4.0), np.array((0.0, 1.0, 0.0))),
                entry=at(-17.0, 16.0, 4.0),
                entry_edge=np.array((0.0, 0.0, 1.0)),
                blade=np.array((1.0, 0.0, 0.0)),
                passes_through="right pedicle of T10",
                level=Level("T10"),
            ),
        ),
        cut_rule="each body cut lies midway between the wanted margin and the far endplate",
        faces=(
            bone_face("cranial cut, left half", 7.9, 14.0, face=half_disc(upper, Side.LEFT)),
            bone_face("cranial cut, right half", 11.2, 19.0, face=half_disc(upper, Side.RIGHT)),
            bone_face("caudal cut, left half", 4.2, 9.0, face=half_disc(lower, Side.LEFT)),
            bone_face("caudal cut, right half", 8.0, 15.0, face=half_disc(lower, Side.RIGHT)),
            bone_face(
                "right pedicle base", 6.1, 12.0, weakest_in_words="its upper edge", barrier=""
            ),
            soft_face("sac", 0.0, back),
            soft_face("left side", 3.0, "left wall at mid-height"),
            soft_face("front", 5.2, "front of the body, 9 mm left of the midline"),
        ),
        nibbled=None,
        piece=surface_of(rod((0, 0, lower), (0, 0, upper), 18.0)),
        tumour_volume_ml=4.4,
        tumour_left=TumourLeft(by_place_ml={}, total_ml=0.0),
        contamination=(),
        keystone=Keystone(
            opens_to_left_mm_per_10_mm=1.1, words="opens 1.1 mm per 10 mm to the left"
        ),
        open_side=Side.RIGHT,
        bone_fates={
            "body": BoneFate.PIECE,
            "left pedicle": BoneFate.PIECE,
            "right pedicle": BoneFate.PIECEMEAL,
            "both laminae": BoneFate.PIECEMEAL,
        },
        rib_fates={
            "left rib of T10": RibFate.REMOVED,
            "right rib of T10": RibFate.KEPT,
            "left rib of T11": RibFate.HEAD_ON_PIECE,
            "right rib of T11": RibFate.KEPT,
        },
        rib_lengths_mm={"left rib of T10": 35.0, "left rib of T11": 20.0},
        depths=made_depths(),
        acts=made_acts(),
        distance_error_words="distances are right to 0.25 mm if the outlines are",
        assumptions=(
            "The biopsy tract in bone counts as tumour.",
            "The blade takes 1.0 mm of bone outside the piece.",
            "The cuff of soft tissue is 3 mm (a choice).",
        ),
    )


def made_staging() -> Staging:
    filled = {
        (Side.LEFT, Region.PEDICLE): 0.31,
        (Side.LEFT, Region.BODY_SIDE): 0.84,
        (Side.LEFT, Region.BODY_MIDDLE): 0.47,
        (Side.RIGHT, Region.BODY_MIDDLE): 0.02,
    }
    sectors = tuple(
        SectorSpread(
            sector=sector,
            area_fraction=filled.get((sector.side, sector.region), 0.0),
            tumour_mm2=100.0 * filled.get((sector.side, sector.region), 0.0),
            worst_s_mm=60.0,
            involved=filled.get((sector.side, sector.region), 0.0) >= 0.05,
            flips_after_mm=1.2 if (sector.side, sector.region) in filled else 10.0,
            flip_found=(sector.side, sector.region) in filled,
        )
        for sector in SECTORS
    )
    layers = tuple(
        LayerSpread(
            layer=layer,
            involved=Answer.YES if layer.value in "BCD" else Answer.NO,
            area_mm2=50.0,
            volume_mm3=900.0,
            flips_after_mm=2.0,
            flip_found=True,
        )
        for layer in Layer
    )
    return Staging(
        level=Level("T10"),
        sectors=sectors,
        layers=layers,
        planes_s_mm=np.array((60.0,)),
        area_fractions=np.array([[spread.area_fraction for spread in sectors]]),
        upper_s_mm=50.0,
        lower_s_mm=70.0,
        epidural_compression="asked",
        settings=StagingSettings(),
        warnings=(),
    )


def made_anatomy() -> Anatomy:
    return Anatomy(
        canal=CanalSpline(
            np.array((0.0, 60.0, 120.0)),
            ORIGIN + np.array(((0.0, 26.0, 60.0), (0.0, 26.0, 0.0), (0.0, 26.0, -60.0))),
            "sac",
        ),
        vertebrae={level: made_vertebra(level) for level in LEVELS},
        ribs=(),
        bone={},
        warnings=(),
        handedness=Handedness(
            verdict=SideVerdict.AGREES,
            evidence=("The aorta lies left of the bodies.",),
            words="The aorta lies on the left, as the names say.",
        ),
        ends_in_view=frozenset({CountedFrom.LAST_RIB}),
        counting="T12 carries the last rib; T10 is the third from it",
    )


def made_scene(**how: Any) -> Scene:
    nibbled = [*arch_of(0.0, -1), box((0.5, 32.0, -10.0), (17.0, 38.0, 9.0))]
    surfaces = {
        "bone": surface_of(*bone_meshes()),
        "tumour": surface_of(ball((9.0, 3.0, -6.0), 10.0)),
        "sac": surface_of(rod((0, 25, -75), (0, 25, 75), 7.5)),
        "cord": surface_of(rod((0, 25, -75), (0, 25, 75), 4.5)),
        "aorta": surface_of(rod((14, -32, -75), (14, -32, 75), 11.0)),
        "piece": made_plan().piece,
        "nibbled": surface_of(*nibbled),
    }
    for level in (Level("T10"), Level("T11")):
        for side in Side:
            surfaces[f"{side.value} rib of {level}"] = surface_of(rib_mesh(level, side))
    values: dict[str, Any] = {
        "plan": made_plan(),
        "vertebra": made_vertebra(Level("T10")),
        "surfaces": surfaces,
        "ct": made_ct(),
        "vertebrae": made_anatomy().vertebrae,
        "hand": published_hand_error(),
    }
    return Scene(**(values | how))


CONFIRMED = LevelConfirmation(
    confirmed_by="Dr A. Example", counted_from=CountedFrom.LAST_RIB, end_in_view=True
)
LEFT = SideShare(side=TumourSide.LEFT, left_share=0.93, volume_mm3=4400.0)
PERSON = Identity("Example, Person Q", "1961-04-30", "MU-0042")


@dataclass
class MadeUp:
    """Everything that a sheet is made from; change a field, then ask for the document."""

    plan: ResectionPlan = field(default_factory=made_plan)
    staging: Staging = field(default_factory=made_staging)
    anatomy: Anatomy = field(default_factory=made_anatomy)
    confirmation: LevelConfirmation = CONFIRMED
    side: SideShare = LEFT
    stale: tuple[str, ...] = ()
    drafts: tuple[str, ...] = ()
    identity: Identity = PERSON

    def replan(self, **changes: Any) -> None:
        """Change fields of the plan."""
        self.plan = replace(self.plan, **changes)

    def document(self) -> dict[str, Any]:
        """The content of plan.json."""
        return plan_document(
            plan=self.plan,
            staging=self.staging,
            anatomy=self.anatomy,
            confirmation=self.confirmation,
            tumour_side=self.side,
            origin=PlanOrigin(
                made_at=datetime(2026, 3, 14, 15, 9, 26, tzinfo=UTC),
                code="K7QM-2R",
                inputs={"ct": "ab" * 32, "contours": "cd" * 32, "choices": "ef" * 32},
                stale=self.stale,
                drafts=self.drafts,
                sources=("Cartiaux 2010, error of free-hand cuts (seen).",),
            ),
        )


@pytest.fixture
def made_up() -> MadeUp:
    return MadeUp()


@pytest.fixture(scope="session")
def scene() -> Scene:
    return made_scene()


@pytest.fixture(scope="session")
def scene_standing_right() -> Scene:
    return made_scene(standing=Side.RIGHT)


@pytest.fixture(scope="session")
def pictures(scene: Scene) -> dict[str, bytes]:
    from vertebloc.reports.paper import planning_pictures

    return planning_pictures(scene, made_staging())
