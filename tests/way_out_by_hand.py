"""A way out that is known by hand: a block goes round a post, all distances in closed form.

The block (12 x 12 x 16 mm) lies in front of a round sac (radius 4 mm, 14 mm behind the block's
middle). It goes 16 mm sideways while it turns by 30 degrees, then 40 mm back. Everything is for
the patient's left; mirrored, for the right.
"""

from __future__ import annotations

import math
from dataclasses import replace

import manifold3d
import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.reports.travel_scene import travel_scene
from vertebloc.reports.way_out_document import way_out_document
from vertebloc.reports.way_out_tilted import tilted_document
from vertebloc.space.frames import Frame, Side
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.transforms import Transform
from vertebloc.way_out import Answer, Bracket, Obstacle, Room, Substance, WayOutSettings
from vertebloc.way_out.answer import Entry, WayOut, family_words
from vertebloc.way_out.model import Path
from vertebloc.way_out.obstacles import RoomOfPlan, rib_obstacle
from vertebloc.way_out.roots import Root
from vertebloc.way_out.tilting import Tilted

HALF_MM, SAC_Y_MM, SAC_R_MM = 6.0, 14.0, 4.0
ASIDE_MM, BACK_MM, TURN_DEG = 16.0, 40.0, 30.0
SETTINGS = WayOutSettings()
T10 = Level.parse("T10")


def side_of(word: str, mirrored: bool) -> Side:
    side = Side(word)
    return side.other if mirrored else side


def room_to_sac_mm(x: float, y: float, turn: float) -> float:
    """Distance of a turned square to a circle, worked out in the square's own axes."""
    dx, dy = 0.0 - x, SAC_Y_MM - y
    u = math.cos(turn) * dx + math.sin(turn) * dy
    v = -math.sin(turn) * dx + math.cos(turn) * dy
    return math.hypot(max(abs(u) - HALF_MM, 0.0), max(abs(v) - HALF_MM, 0.0)) - SAC_R_MM


def gone_mm(x: float, y: float, turn: float) -> float:
    """How far the farthest corner has moved."""
    found = 0.0
    for cx in (-HALF_MM, HALF_MM):
        for cy in (-HALF_MM, HALF_MM):
            px = math.cos(turn) * cx - math.sin(turn) * cy + x
            py = math.sin(turn) * cx + math.cos(turn) * cy + y
            found = max(found, math.hypot(px - cx, py - cy))
    return found


def hand_path(mirrored: bool = False) -> Path:
    sign = -1.0 if mirrored else 1.0
    first = np.linspace(0.0, 1.0, 33)
    aside = np.column_stack((ASIDE_MM * first, 0.0 * first, np.radians(TURN_DEG) * first))
    back = np.linspace(0.0, 1.0, 81)[1:]
    behind = np.column_stack(
        (np.full(80, ASIDE_MM), BACK_MM * back, np.full(80, np.radians(TURN_DEG)))
    )
    poses = np.concatenate((aside, behind)) * [sign, 1.0, sign]
    room = np.array([room_to_sac_mm(*pose) for pose in poses])
    gone = np.array([gone_mm(*pose) for pose in poses])
    clear = gone >= SETTINGS.clear_after_mm
    narrowest = int(np.argmin(np.where(clear, room, np.inf)))
    return Path(
        poses=poses, tilts=np.zeros_like(poses), clearance_mm=room, gone_mm=gone,
        narrowest=narrowest,
    )  # fmt: skip


def _box(low, high, sign):
    low, high = np.array(low, float), np.array(high, float)
    if sign < 0.0:
        low[0], high[0] = -high[0], -low[0]
    solid = manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))
    return surface_of_solid(solid)


def hand_room(mirrored: bool = False) -> RoomOfPlan:
    sign = -1.0 if mirrored else 1.0
    left = side_of("left", mirrored).value
    post = manifold3d.Manifold.cylinder(40.0, SAC_R_MM, circular_segments=128, center=True)
    roots, obstacles = [], []
    for word in ("left", "right"):
        side = side_of(word, mirrored)
        x = np.linspace(4.0, 45.0, 60) * (sign if word == "left" else -sign)
        line = np.column_stack((x, np.full(60, 22.0), np.zeros(60)))
        roots.append(Root(level=T10, side=side, line=line, radius_mm=1.8, is_outlined=True))
        obstacles.append(
            Obstacle(
                name=roots[-1].name, substance=Substance.ROOT, line=line, radius_mm=1.8,
                may_press_mm=3.0, sacrifice=roots[-1].name,
            )
        )  # fmt: skip
    rib = f"{left} rib of T10"
    for length, inner in ((20.0, 18.0), (35.0, 34.0)):
        obstacles.append(
            Obstacle(
                name=rib_obstacle(rib, length), substance=Substance.RIB, may_press_mm=1.0,
                surface=_box([inner, -3.0, -4.0], [60.0, 3.0, 4.0], sign),
                sacrifice=f"{length:.0f} mm of {rib}",
                part_of=rib_obstacle(rib, 20.0) if length > 20.0 else None,
            )
        )  # fmt: skip
    obstacles.append(
        Obstacle(
            name="bone of T9 that stays", substance=Substance.BONE, may_press_mm=1.0,
            surface=_box([-30.0, -12.0, 8.0], [30.0, 8.0, 14.0], sign),
        )
    )  # fmt: skip
    same = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    piece = _box([-HALF_MM, -HALF_MM, -8.0], [HALF_MM, HALF_MM, 8.0], sign)
    room = Room(
        piece=piece,
        sac=surface_of_solid(post.translate((0.0, SAC_Y_MM, 0.0))),
        obstacles=tuple(obstacles), delivered_y_mm=32.0, x_mm=(-58.0, 58.0), y_mm=(-14.0, 46.0),
        sac_middle_mm=(0.0, SAC_Y_MM),
    )  # fmt: skip
    return RoomOfPlan(
        room=room, lps_from_travel=same, roots=tuple(roots), rib_lengths_mm={rib: (20.0, 35.0)},
        planned_mm={rib: 20.0},
    )  # fmt: skip


def hand_way_out(mirrored: bool = False, answer: Answer = Answer.YES) -> WayOut:
    """Two plans to the left that are a yes (a root, or a longer rib), none to the right."""
    left, right = (side_of(word, mirrored) for word in ("left", "right"))
    rib = f"{left.value} rib of T10"
    root = f"{left.value} T10 root"
    path = hand_path(mirrored)
    least = float(path.clearance_mm[path.narrowest])
    no = answer is not Answer.YES
    one = Entry(
        side=left, given_up=frozenset({root, rib_obstacle(rib, 20.0)}), answer=answer,
        model=Bracket(least - 0.2, least + 0.9), with_errors=Bracket(least - 1.7, least + 2.9),
        path=path, blocking=("bone of T9 that stays",) if answer is Answer.NO else (),
    )  # fmt: skip
    other = Entry(
        side=left, given_up=frozenset({rib_obstacle(rib, 20.0), rib_obstacle(rib, 35.0)}),
        answer=answer, model=Bracket(least - 0.4, least + 0.9),
        with_errors=Bracket(least - 2.0, least + 2.9), path=path, blocking=(),
    )  # fmt: skip
    shut = Entry(
        side=right, given_up=frozenset(), answer=Answer.NO, model=Bracket(-np.inf, -np.inf),
        with_errors=Bracket(-np.inf, -np.inf), path=None, blocking=(f"{right.value} T10 root",),
    )  # fmt: skip
    return WayOut(
        answer=answer, side=None if no else left, best=one, ledger=(one, other, shut),
        family=family_words(SETTINGS), scenarios_searched=3, settings=SETTINGS,
    )  # fmt: skip


def leaning_way_out() -> WayOut:
    """The first plan leaned about both axes and lifted; its room is not measured anew.

    Farther than any family allows: it shall be seen.
    """
    found, path = hand_way_out(), hand_path()
    tilts = np.linspace(0.0, 1.0, len(path.poses))[:, None] * [12.0, -9.0, 1.5]
    way = np.column_stack((path.poses, np.radians(tilts[:, :2]), tilts[:, 2]))
    tilted = Tilted(worth_mm=1.2345, way=way, gained_mm=0.4567, against_errors=True)
    best = replace(found.best, path=replace(path, tilts=tilts))
    return replace(found, best=best, ledger=(best, *found.ledger[1:]), tilted=tilted)


def hand_kept(
    mirrored: bool = False, answer: Answer = Answer.YES, key: str = "", leaning: bool = False
) -> dict:
    """As a case keeps it."""
    found = leaning_way_out() if leaning else hand_way_out(mirrored, answer)
    room = hand_room(mirrored)
    scene, ways = travel_scene(found, room, {})
    settings = {
        name: getattr(SETTINGS, name)
        for name in ("least_mm", "clear_after_mm", "tolerance_mm", "sac_motion_mm",
                     "contour_error_mm")
    }  # fmt: skip
    written = way_out_document(found, room, (T10,)) | tilted_document(found)
    written |= {"settings": settings}
    return {"key": key, "way_out": written, "ways": ways, "scene": scene}
