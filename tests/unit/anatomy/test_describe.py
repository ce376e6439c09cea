"""The whole anatomy at once, on the bent spine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from skimage.measure import marching_cubes

from vertebloc.anatomy import (
    CountedFrom,
    default_diseased_level,
    describe_anatomy,
)
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface

BOTH_ENDS = {CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB}


def without_ribs_of(spine, *names):
    """The same spine with some ribs rubbed out."""
    labels = spine.labels.copy()
    for value, contour in spine.key.items():
        if contour.structure is Structure.RIB and contour.level.name in names:
            labels[labels == value] = 0
    return replace(spine, labels=labels)


def cut_at(spine, low_mm, high_mm):
    """The part of the images between two heights of the grid, mm above its lowest slice."""
    step = spine.grid.spacing_mm[2]
    low, high = round(low_mm / step), round(high_mm / step)
    grid = spine.grid.crop((0, 0, low), (*spine.grid.shape[:2], high))
    return replace(spine, grid=grid, labels=np.ascontiguousarray(spine.labels[:, :, low:high]))


def test_levels_are_counted_when_names_are_withheld(thorax):
    anatomy = describe_anatomy(thorax.contours(withheld=True))
    assert [str(level) for level in anatomy.vertebrae] == list(thorax.names)
    assert anatomy.ends_in_view == BOTH_ENDS
    assert anatomy.uncounted == ()
    assert all(isinstance(bone, Volume) for bone in anatomy.bone.values())


def test_names_are_used_and_compared(thorax):
    anatomy = describe_anatomy(thorax.contours())
    assert "agree" in anatomy.counting
    assert anatomy.warnings == ()
    assert anatomy.bone[Level("T5")] == Contour(Structure.VERTEBRA, Level("T5"))


def test_eleven_pairs_leave_every_level_open(thorax):
    anatomy = describe_anatomy(without_ribs_of(thorax, "T12").contours(withheld=True))
    assert dict(anatomy.vertebrae) == {}
    assert len(anatomy.uncounted) == 14
    assert all(vertebra.level is None for vertebra in anatomy.uncounted)
    assert all(rib.level is None for rib in anatomy.ribs)
    assert any("11 pairs of ribs" in warning for warning in anatomy.warnings)


@pytest.mark.slow
def test_thirteen_pairs_leave_every_level_open(arc):
    names = ("C7", *arc.THORACIC, "T13", "L1")
    anatomy = describe_anatomy(arc.make_spine(names).contours(withheld=True))
    assert dict(anatomy.vertebrae) == {}
    assert len(anatomy.ribs) == 26
    assert any("13 pairs of ribs" in warning for warning in anatomy.warnings)


def test_names_shifted_by_one_are_kept_and_shouted_about(thorax):
    order = ["C6", "C7", *(f"T{n}" for n in range(1, 13)), "L1"]
    up = dict(zip(order[1:], order[:-1], strict=True))
    shifted = {
        value: (replace(c, level=Level(up[c.level.name])) if c.level else c,)
        for value, (c,) in thorax.meaning.items()
    }
    anatomy = describe_anatomy(replace(thorax, meaning=shifted).contours())
    assert [str(level) for level in anatomy.vertebrae] == order[:-1]
    assert anatomy.warnings[0].startswith("LEVELS DO NOT AGREE")
    assert "T9 would be T10" in anatomy.warnings[0]


def test_a_box_cut_out_of_the_thorax_shows_no_end_and_names_nothing(thorax):
    box = cut_at(thorax, 120.0, 290.0)
    withheld = describe_anatomy(box.contours(withheld=True))
    assert withheld.ends_in_view == frozenset()
    assert dict(withheld.vertebrae) == {}
    assert any("cannot be counted" in warning for warning in withheld.warnings)
    named = describe_anatomy(box.contours())
    assert {str(level) for level in named.vertebrae} <= set(thorax.names)
    assert len(named.vertebrae) >= 4


def test_a_vertebra_cut_by_the_edge_has_no_frame_and_is_named(thorax):
    lowest = thorax.grid.lps_from_ijk.origin[2]
    canal = thorax.offset - [0, thorax.radius_mm, 0]
    angle = -thorax.height_mm("T12") / thorax.radius_mm
    middle = canal[2] + (thorax.radius_mm - 22.0) * np.sin(angle) - lowest
    anatomy = describe_anatomy(cut_at(thorax, middle, 400.0).contours())
    assert Level("T12") not in anatomy.vertebrae
    assert Level("T11") in anatomy.vertebrae
    assert any(w.startswith("T12 is cut by the edge") for w in anatomy.warnings)


def test_the_last_rib_alone_in_view_is_said(thorax):
    anatomy = describe_anatomy(cut_at(thorax, 0.0, 200.0).contours())
    assert anatomy.ends_in_view == {CountedFrom.LAST_RIB}


@pytest.mark.slow
def test_the_last_rib_counts_by_its_name_if_the_images_go_on_below_it(arc):
    spine = arc.make_spine(("T9", "T10", "T11", "T12"), room_mm=45.0)
    assert describe_anatomy(spine.contours()).ends_in_view == {CountedFrom.LAST_RIB}
    assert describe_anatomy(spine.contours(withheld=True)).ends_in_view == frozenset()
    tight = arc.make_spine(("T9", "T10", "T11", "T12"), room_mm=8.0)
    assert describe_anatomy(tight.contours()).ends_in_view == frozenset()


@pytest.mark.slow
def test_a_part_of_a_rib_from_above_means_that_the_first_rib_is_not_in_view(thorax):
    """T1's ribs without their heads: the pair in view on T2 is not the first one."""
    labels = thorax.labels.copy()
    aside = np.abs(thorax.local(thorax.grid.centres())[:, 0]).reshape(thorax.grid.shape)
    ribs = [thorax.value(Structure.RIB, "T1", side) for side in Side]
    labels[np.isin(labels, ribs) & (aside < 58)] = 0
    anatomy = describe_anatomy(replace(thorax, labels=labels).contours(withheld=True))
    assert anatomy.ends_in_view == {CountedFrom.LAST_RIB}
    assert dict(anatomy.vertebrae) == {}


def test_a_sacrum_in_view_is_an_end_to_count_from(arc):
    spine = arc.make_spine(("T11", "T12", "L1"))
    spine.meaning[9] = (Contour(Structure.SACRUM),)
    spine.labels[60:70, 60:70, 0:3] = 9
    anatomy = describe_anatomy(spine.contours())
    assert CountedFrom.SACRUM in anatomy.ends_in_view
    assert any("1 vertebrae between the last rib and the sacrum" in w for w in anatomy.warnings)


def with_tumour(arc, spine, name, aside_mm=6.0):
    sick = replace(spine, labels=spine.labels.copy(), meaning=dict(spine.meaning))
    x, y, s = np.moveaxis(sick.local(sick.grid.centres()).reshape(*sick.grid.shape, 3), 3, 0)
    mass = np.hypot(np.hypot(x - aside_mm, y + 22), s - sick.height_mm(name)) < 8.0
    value = sick.value(Structure.VERTEBRA, name)
    sick.meaning[arc.TUMOUR] = (*sick.meaning[value], Contour(Structure.TUMOUR))
    sick.paint(arc.TUMOUR, mass, over=(value,))
    return sick


def test_the_diseased_level_is_where_most_of_the_tumour_is(arc, short):
    sick = with_tumour(arc, short, "T9").contours()
    anatomy = describe_anatomy(sick)
    assert default_diseased_level(sick, anatomy) == Level("T9")
    assert anatomy.vertebrae[Level("T9")].frame_from_neighbours
    chosen = describe_anatomy(sick, diseased=Level("T10"))
    assert chosen.vertebrae[Level("T10")].frame_from_neighbours
    assert not chosen.vertebrae[Level("T9")].frame_from_neighbours


def test_without_a_tumour_there_is_no_default(short):
    contours = short.contours()
    with pytest.raises(InputError, match="no tumour is outlined"):
        default_diseased_level(contours, describe_anatomy(contours))


def test_a_tumour_at_a_nameless_vertebra_has_no_level(arc, short):
    sick = with_tumour(arc, short, "T9")
    table = dict(sick.meaning)
    for value, (contour, *rest) in sick.meaning.items():
        if contour.structure is Structure.VERTEBRA:
            table[value] = (Contour(Structure.VERTEBRA), *rest)
    contours = ContourSet(LabelMap(Volume(sick.grid, sick.labels), table))
    with pytest.raises(InputError, match="name the vertebrae"):
        default_diseased_level(contours, describe_anatomy(contours))


def test_a_diseased_level_that_is_not_there_is_refused(short):
    with pytest.raises(InputError, match="L3 is not outlined; in view: T8, T9, T10, T11"):
        describe_anatomy(short.contours(), diseased=Level("L3"))


def test_without_any_vertebra_the_error_says_what_to_outline(short, arc):
    only_canal = ContourSet(
        LabelMap(Volume(short.grid, short.labels), {arc.CANAL: (Contour(Structure.CANAL),)})
    )
    with pytest.raises(InputError, match="no vertebra is outlined"):
        describe_anatomy(only_canal)


def test_names_upside_down_are_shouted_about(arc):
    spine = arc.make_spine(ribs=())
    upside = dict(zip(("T8", "T9", "T10", "T11"), ("T11", "T10", "T9", "T8"), strict=True))
    meaning = {
        value: (replace(c, level=Level(upside[c.level.name])) if c.level else c,)
        for value, (c,) in spine.meaning.items()
    }
    anatomy = describe_anatomy(replace(spine, meaning=meaning).contours())
    assert any("DO NOT RUN FROM HEAD TO FEET" in warning for warning in anatomy.warnings)


def test_stray_islands_of_a_vertebra_change_no_frame(arc):
    spine = arc.make_spine(ribs=())
    before = describe_anatomy(spine.contours()).vertebrae[Level("T9")]
    spine.labels[2:5, 2:5, 2:5] = spine.value(Structure.VERTEBRA, "T9")
    anatomy = describe_anatomy(spine.contours())
    after = anatomy.vertebrae[Level("T9")].lps_from_vertebra
    assert np.allclose(after.matrix, before.lps_from_vertebra.matrix, atol=1e-6)
    assert any("stray islands" in warning for warning in anatomy.warnings)


def test_body_and_arch_outlined_apart_make_one_vertebra(short, arc):
    labels = short.labels.copy()
    local = short.local(short.grid.centres()).reshape(*short.grid.shape, 3)
    meaning = dict(short.meaning)
    value = short.value(Structure.VERTEBRA, "T9")
    labels[(labels == value) & (local[..., 1] > arc.WALL_MM)] = 60
    meaning[value] = (Contour(Structure.BODY, Level("T9")),)
    meaning[60] = (Contour(Structure.ARCH, Level("T9")),)
    anatomy = describe_anatomy(replace(short, labels=labels, meaning=meaning).contours())
    whole = describe_anatomy(short.contours())
    assert np.allclose(
        anatomy.vertebrae[Level("T9")].lps_from_vertebra.matrix,
        whole.vertebrae[Level("T9")].lps_from_vertebra.matrix,
    )
    assert isinstance(anatomy.bone[Level("T9")], Volume)


def surface_of(spine, values):
    mask = np.pad(np.isin(spine.labels, values), 1).astype(np.float32)
    corners, triangles, _, _ = marching_cubes(mask, 0.5)
    surface = TriangleSurface(spine.grid.lps_from_ijk.points(corners - 1), triangles)
    if surface.volume_mm3 < 0:
        surface = TriangleSurface(surface.vertices, surface.triangles[:, ::-1])
    return surface


@pytest.mark.slow
def test_closed_surfaces_do_as_well_as_labels(arc):
    spine = arc.make_spine(aorta_mm=13.0)
    surfaces = {contour: surface_of(spine, [value]) for value, (contour,) in spine.meaning.items()}
    anatomy = describe_anatomy(ContourSet(None, surfaces))
    labelled = describe_anatomy(spine.contours())
    for level, vertebra in anatomy.vertebrae.items():
        other = labelled.vertebrae[level].lps_from_vertebra
        # filled on 1 mm voxels
        assert np.allclose(vertebra.lps_from_vertebra.origin, other.origin, atol=0.5)
        assert np.abs(vertebra.lps_from_vertebra.matrix - other.matrix)[:3, :3].max() < 0.02
    assert [(r.level, r.side) for r in anatomy.ribs] == [(r.level, r.side) for r in labelled.ribs]
    assert anatomy.handedness.verdict == labelled.handedness.verdict
