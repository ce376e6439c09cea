"""Frames and walls against the closed form of the bent spine."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.frames import find_own_frame, split_body_and_arch
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Volume

HALF_VOXEL_MM = 1.0  # of the labels: 1.5 x 1.5 x 2 mm
WALL_ERROR_MM = HALF_VOXEL_MM + 0.25  # walls are half a voxel off at most, the origin 0.25


def angles_deg(vertebra, axes):
    own = vertebra.lps_from_vertebra.matrix[:3, :3].T
    return np.degrees(np.arccos(np.clip((own * axes).sum(axis=1), -1.0, 1.0)))


def area_moments(arc):
    """Middle of a body behind the canal by fine summation in local terms."""
    y = np.linspace(arc.FRONT_MM, arc.WALL_MM, 4001)
    middle, half = (arc.FRONT_MM + arc.WALL_MM) / 2, (arc.WALL_MM - arc.FRONT_MM) / 2
    width = (1 - ((y - middle) / half) ** 4).clip(0) ** 0.25
    weight = width * (300.0 + y)  # a voxel's share of the circle grows with its radius
    return float((y * weight).sum() / weight.sum())


def test_axes_are_those_of_the_circle(thorax):
    anatomy = describe_anatomy(thorax.contours())
    assert set(anatomy.vertebrae) == {Level(name) for name in thorax.names}
    for level, vertebra in anatomy.vertebrae.items():
        assert angles_deg(vertebra, thorax.true_axes(level.name)).max() < 1.0
        assert vertebra.lps_from_vertebra.is_rigid


def test_the_origin_is_the_bodys_centroid(thorax, arc):
    anatomy = describe_anatomy(thorax.contours())
    for level, vertebra in anatomy.vertebrae.items():
        local = thorax.local(vertebra.lps_from_vertebra.origin[None])[0]
        wanted = [0.0, area_moments(arc), thorax.height_mm(level.name)]
        assert np.allclose(local, wanted, atol=0.5)


def test_walls_are_where_they_were_painted(thorax, arc):
    for vertebra in describe_anatomy(thorax.contours()).vertebrae.values():
        middle = area_moments(arc)
        # at the middle's depth the two endplates, radii of the circle, are closer together
        half_height = (300.0 + middle) * np.tan(arc.HALF_HEIGHT_MM / 300.0)
        for found, wanted in (
            (vertebra.left_wall_mm, arc.HALF_WIDTH_MM),
            (vertebra.right_wall_mm, -arc.HALF_WIDTH_MM),
            (vertebra.anterior_wall_mm, arc.FRONT_MM - middle),
            (vertebra.upper_endplate_mm, half_height),
            (vertebra.lower_endplate_mm, -half_height),
            (vertebra.posterior_wall_mm, -8.5 - middle),  # the ring begins 8.5 mm out
        ):
            assert found == pytest.approx(wanted, abs=WALL_ERROR_MM)


def test_body_and_arch_share_the_bone_without_overlap(short, arc):
    contours = short.contours()
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA, Level("T9")),))
    vertebra = find_own_frame(bone, find_canal(contours))
    body, arch = split_body_and_arch(bone, vertebra)
    assert not (body.values & arch.values).any()
    assert np.array_equal(body.values | arch.values, bone.values)
    behind = short.local(mask_points(arch))[:, 1]
    ahead = short.local(mask_points(body))[:, 1]
    assert behind.min() > arc.WALL_MM - HALF_VOXEL_MM
    assert ahead.max() < arc.WALL_MM + 1.5


def test_a_process_in_front_of_the_wall_turns_nothing_and_is_arch(arc):
    spine = arc.make_spine(ribs=())
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    height = s - spine.height_mm("T9")
    process = (x > 19) & (x < 36) & (np.abs(y + 9) < 5) & (np.abs(height + 3) < 5)
    stem = (x > 8) & (x < 24) & (np.abs(y + 2) < 4) & (np.abs(height + 3) < 5)
    spine.paint(spine.value(Structure.VERTEBRA, "T9"), process | stem)
    contours = spine.contours()
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA, Level("T9")),))
    vertebra = find_own_frame(bone, find_canal(contours))
    assert angles_deg(vertebra, spine.true_axes("T9")).max() < 2.0
    _, arch = split_body_and_arch(bone, vertebra)
    there = np.zeros(bone.values.shape, dtype=bool)
    local = spine.local(bone.grid.centres()).reshape(*bone.values.shape, 3)
    there[(local[..., 0] > 20) & (local[..., 1] < arc.WALL_MM)] = True
    assert (bone.values & there).sum() > 50
    assert arch.values[bone.values & there].all()


def expand(arc, spine, name):
    """A mass that blows the left of a body up by 14 mm, drawn as bone of that vertebra too."""
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    mass = np.hypot(np.hypot(x - 15, y + 22), s - spine.height_mm(name)) < 14.0
    value = spine.value(Structure.VERTEBRA, name)
    spine.meaning[arc.TUMOUR] = (
        Contour(Structure.VERTEBRA, Level(name)),
        Contour(Structure.TUMOUR),
    )
    spine.paint(arc.TUMOUR, mass, over=(0, value))
    return mass


def test_a_blown_up_body_does_not_turn_its_frame(arc):
    spine = arc.make_spine(arc.THORACIC[5:10], ribs=())
    expand(arc, spine, "T8")
    anatomy = describe_anatomy(spine.contours())
    sick = anatomy.vertebrae[Level("T8")]
    assert sick.frame_from_neighbours
    assert sick.own_frame_differs_deg > 8.0
    assert angles_deg(sick, spine.true_axes("T8")).max() < 1.0
    local = spine.local(sick.lps_from_vertebra.origin[None])[0]
    assert np.allclose(local, [0, area_moments(arc), spine.height_mm("T8")], atol=0.7)
    others = [v for level, v in anatomy.vertebrae.items() if level != Level("T8")]
    assert not any(v.frame_from_neighbours for v in others)
    assert all(v.own_frame_differs_deg == 0.0 for v in others)


def test_a_large_turn_of_the_own_frame_is_said(arc):
    spine = arc.make_spine(arc.THORACIC[5:10], ribs=())
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    value = spine.value(Structure.VERTEBRA, "T8")
    spine.labels[(spine.labels == value) & (x < 3) & (y < -8)] = 0
    mass = (np.hypot(x - 20, y + 20) < 18) & (np.abs(s - spine.height_mm("T8")) < 10)
    spine.paint(value, mass)
    anatomy = describe_anatomy(spine.contours(), diseased=Level("T8"))
    assert anatomy.vertebrae[Level("T8")].own_frame_differs_deg > 10.0
    assert any("turned by" in warning for warning in anatomy.warnings)


def test_a_destroyed_body_keeps_its_walls_by_tumour_and_neighbours(arc):
    spine = arc.make_spine(arc.THORACIC[5:10], ribs=())
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    height = s - spine.height_mm("T8")
    value = spine.value(Structure.VERTEBRA, "T8")
    spine.meaning[arc.TUMOUR] = (Contour(Structure.TUMOUR),)
    spine.paint(arc.TUMOUR, (y < -8) & (np.abs(height) < 12) & (np.abs(x) < 25), over=(0, value))
    anatomy = describe_anatomy(spine.contours(), diseased=Level("T8"))
    sick = anatomy.vertebrae[Level("T8")]
    assert sick.own_frame_differs_deg is None
    assert any("no frame of its own" in warning for warning in anatomy.warnings)
    assert angles_deg(sick, spine.true_axes("T8")).max() < 1.0
    for found, wanted in (
        (sick.left_wall_mm, 15.0),
        (sick.right_wall_mm, -15.0),
        (sick.upper_endplate_mm, 9.3),
        (sick.lower_endplate_mm, -9.3),
    ):
        assert found == pytest.approx(wanted, abs=1.2)


def test_without_both_neighbours_the_own_frame_is_kept_and_said(arc):
    spine = arc.make_spine(ribs=())
    anatomy = describe_anatomy(spine.contours(), diseased=Level("T11"))
    assert not anatomy.vertebrae[Level("T11")].frame_from_neighbours
    assert any("keeps its own frame" in warning for warning in anatomy.warnings)


def test_an_arch_alone_is_no_vertebra(short, arc):
    contours = short.contours()
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA, Level("T9")),))
    local = short.local(bone.grid.centres()).reshape(*bone.values.shape, 3)
    arch = Volume(bone.grid, bone.values & (local[..., 1] > arc.WALL_MM + 1))
    with pytest.raises(InputError, match="body"):
        find_own_frame(arch, find_canal(contours))


def test_a_stub_is_no_vertebra(short):
    contours = short.contours()
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA, Level("T9")),))
    local = short.local(bone.grid.centres()).reshape(*bone.values.shape, 3)
    stub = Volume(bone.grid, bone.values & (local[..., 1] < -9) & (np.abs(local[..., 0]) < 5))
    with pytest.raises(InputError, match="mm wide is no vertebra's"):
        find_own_frame(stub, find_canal(contours))


def test_a_crumb_is_no_vertebra(short):
    contours = short.contours()
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA, Level("T9")),))
    crumb = np.zeros(bone.values.shape, dtype=bool)
    crumb[tuple(np.argwhere(bone.values)[:20].T)] = True
    with pytest.raises(InputError, match="too small"):
        find_own_frame(Volume(bone.grid, crumb), find_canal(contours))
