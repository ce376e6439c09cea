"""Landmarks and entries against places known by hand: boxes, and a made-up vertebra's own tips."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.made_up.vertebrae import VertebraShape
from vertebloc.resection.model import HalfCut
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.planes import Plane
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import rigid_frame
from vertebloc.surgery_day import LandmarkKind, describe_entries, find_landmarks

T9, T10 = Level("T9"), Level("T10")


def vertebra(level, origin, turn=None):
    return Vertebra(
        level=level,
        lps_from_vertebra=rigid_frame(
            np.array(origin, float), np.eye(3) if turn is None else turn,
            target=Frame.PATIENT_LPS, source=Frame.VERTEBRA,
        ),
        canal_s_mm=0.0, posterior_wall_mm=15.0, anterior_wall_mm=-15.0,
        upper_endplate_mm=10.0, lower_endplate_mm=-10.0, left_wall_mm=16.0,
        right_wall_mm=-16.0, frame_from_neighbours=False, own_frame_differs_deg=None,
    )  # fmt: skip


def box(low, high):
    made = trimesh.creation.box(bounds=np.array((low, high)))
    return TriangleSurface(made.vertices, made.faces)


def joined(*parts):
    made = trimesh.util.concatenate([trimesh.Trimesh(p.vertices, p.triangles) for p in parts])
    return TriangleSurface(made.vertices, made.faces)


BONE = joined(
    box((-16, -15, -10), (16, 15, 10)),  # body
    box((-2, 30, -20), (2, 55, -12)),  # spinous process: tip at y = 55
    box((10, 20, -2), (38, 26, 4)),  # left transverse process: tip at x = 38
    box((-36, 20, -2), (-10, 26, 4)),  # right one, shorter
)
TUMOUR = box((5, -5, -5), (15, 5, 5))


def test_tips_of_boxes():
    found = find_landmarks({T9: vertebra(T9, (0, 0, 0))}, {T9: BONE}, {}, TUMOUR)
    places = {mark.words: mark.place for mark in found}
    assert set(places) == {
        "tip of the spinous process of T9",
        "tip of the left transverse process of T9",
        "tip of the right transverse process of T9",
    }
    np.testing.assert_allclose(places["tip of the spinous process of T9"], (0, 55, -16))
    np.testing.assert_allclose(places["tip of the left transverse process of T9"], (38, 23, 1))
    np.testing.assert_allclose(places["tip of the right transverse process of T9"], (-36, 23, 1))


def test_a_rib_counts_only_if_it_is_seen_on_beyond_its_hindmost_place():
    arch = joined(box((40, 30, 0), (50, 45, 5)), box((50, 10, 0), (90, 20, 5)))
    cut_off = box((40, 30, 0), (50, 45, 5))
    for rib, count in ((arch, 1), (cut_off, 0)):
        found = find_landmarks(
            {T9: vertebra(T9, (0, 0, 0))}, {T9: BONE}, {"left rib of T9": rib}, TUMOUR
        )
        assert sum(mark.kind is LandmarkKind.RIB for mark in found) == count


def test_the_made_up_vertebra_s_own_tip_is_found():
    """The knob at the tip: the far end of a capsule of 3.8 mm about the shape's own tip."""
    shape = VertebraShape(Level("T10"))
    solid = shape.solid()
    spacing = 1.5
    matrix = np.diag([spacing, spacing, spacing, 1.0])
    matrix[:3, 3] = (-45.0, -25.0, -50.0)
    grid = Grid.from_matrix((60, 66, 52), matrix)
    inside = solid.signed_distance_mm(grid.centres()).reshape(grid.shape) < 0.0
    bone = surface_from_mask(Volume(grid, inside), outward=False)
    found = find_landmarks({T10: vertebra(T10, (0, 0, 0))}, {T10: bone}, {}, TUMOUR)
    tip = next(mark.place for mark in found if mark.kind is LandmarkKind.SPINOUS)
    back, _ = shape.shape.spinous_tip_mm
    y = shape.arch_mm + 3.0 + back + 3.8  # the capsule's farthest to the back
    assert tip[0] == pytest.approx(0.0, abs=0.5)
    assert tip[1] == pytest.approx(y, abs=1.75)  # half a 1 mm shell, and a voxel
    side = next(m.place for m in found if m.side is Side.LEFT)
    x, _, _ = shape.shape.transverse_tip_mm
    assert side[0] == pytest.approx(x + 4.6, abs=1.75)  # a round cone's end ball


def cut(side, entry, blade):
    return HalfCut(
        name=f"{side.value} half of the cranial cut", side=side,
        plane=Plane(np.array(entry, float), np.array((0.0, 0.0, 1.0))),
        entry=np.array(entry, float), entry_edge=np.array((1.0, 0.0, 0.0)),
        blade=np.array(blade, float), passes_through="body of T9", level=T9,
    )  # fmt: skip


def test_entries_are_the_plain_differences():
    bones = {T9: vertebra(T9, (0, 0, 0)), T10: vertebra(T10, (0, 0, -25))}
    marks = find_landmarks(bones, {T9: BONE}, {}, TUMOUR)
    made = describe_entries([cut(Side.LEFT, (8, 15, 2), (0, -1, 0))], bones[T10], marks, [T10])
    first, second = made[0].entries[:2]
    assert first.landmark == "tip of the spinous process of T9"
    assert (first.headward_mm, first.leftward_mm, first.deeper_mm) == (18.0, 8.0, 40.0)
    assert second.landmark == "tip of the left transverse process of T9"
    assert (second.headward_mm, second.leftward_mm, second.deeper_mm) == (1.0, -30.0, 8.0)
    assert (made[0].forward, made[0].leftward, made[0].headward) == (1.0, 0.0, 0.0)


def test_what_comes_out_or_lies_near_tumour_is_no_landmark():
    bones = {T9: vertebra(T9, (0, 0, 0))}
    near = find_landmarks(bones, {T9: BONE}, {}, box((-5, 40, -20), (5, 50, -10)))
    spinous = next(mark for mark in near if mark.kind is LandmarkKind.SPINOUS)
    assert spinous.is_near_tumour
    here = [cut(Side.LEFT, (8, 15, 2), (0, -1, 0))]
    for marks, taken in ((near, []), (find_landmarks(bones, {T9: BONE}, {}, TUMOUR), [T9])):
        named = [
            one.landmark for one in describe_entries(here, bones[T9], marks, taken)[0].entries
        ]
        assert "tip of the spinous process of T9" not in named


def test_a_mirrored_body_has_mirrored_entries():
    mirror = TriangleSurface(BONE.vertices * (-1, 1, 1), BONE.triangles[:, ::-1])
    bones = {T9: vertebra(T9, (0, 0, 0))}
    plain = describe_entries(
        [cut(Side.LEFT, (8, 15, 2), (0.1, -0.99, 0))], bones[T9],
        find_landmarks(bones, {T9: BONE}, {}, TUMOUR), [],
    )[0]  # fmt: skip
    twin = describe_entries(
        [cut(Side.RIGHT, (-8, 15, 2), (-0.1, -0.99, 0))], bones[T9],
        find_landmarks(bones, {T9: mirror}, {}, TUMOUR), [],
    )[0]  # fmt: skip
    for one, other in zip(plain.entries, twin.entries, strict=True):
        assert other.landmark == one.landmark.replace("left", "right")
        assert other.leftward_mm == pytest.approx(-one.leftward_mm)
        assert other.headward_mm == pytest.approx(one.headward_mm)
    assert twin.leftward == -plain.leftward
