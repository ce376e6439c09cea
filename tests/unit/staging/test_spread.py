"""Sectors, layers and flips against areas known in closed form.

All expected figures are worked out here from circles, strips and segments, not from the code.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.solids import Box, Difference, Grown, Sphere, Union
from vertebloc.staging import Answer, Layer, StagingSettings
from vertebloc.staging.sectors import SECTORS

# Samples lie 0.5 mm apart along a ray, rays 1 degree apart (0.7 mm at the ring's outer edge).
FLIP_MM = 0.12
FRACTION = 0.01


def layer(staging, letter):
    return next(one for one in staging.layers if one.layer is Layer(letter))


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (1, 1),
        (5, 9),
        *(
            pytest.param(*ends, marks=pytest.mark.slow)
            for ends in [(2, 3), (4, 4), (5, 8), (4, 8), (9, 10), (11, 12)]
        ),
    ],
)
def test_a_wedge_that_fills_its_sectors_involves_them_and_no_other(ring, first, last):
    staging = ring.Scene().stage(ring.wedge(first, last))
    wanted = set(range(first, last + 1))
    assert ring.numbers(staging) == wanted
    for number, spread in enumerate(staging.sectors, start=1):
        assert spread.sector is SECTORS[number - 1]
        assert spread.area_fraction == pytest.approx(float(number in wanted), abs=1e-9)


def test_the_fraction_is_tumour_area_over_the_sectors_bone(ring):
    staging = ring.Scene().stage(ring.wedge(6, 6, outer=20.0))
    spread = staging.sectors[5]
    tumour = np.pi * (20.0**2 - ring.canal_mm**2) / 12.0
    assert spread.tumour_mm2 == pytest.approx(tumour, rel=FRACTION)
    assert spread.area_fraction == pytest.approx(tumour / ring.sector_mm2, rel=FRACTION)


def test_soft_tissue_tumour_adds_to_both_parts_of_the_fraction(ring):
    # From 34 to 46 mm: 34 to 40 eats bone, 40 to 46 lies in soft tissue.
    staging = ring.Scene().stage(ring.wedge(3, 3, inner=34.0, outer=46.0))
    tumour = np.pi * (46.0**2 - 34.0**2) / 12.0
    whole = np.pi * (46.0**2 - ring.canal_mm**2) / 12.0
    assert staging.sectors[2].area_fraction == pytest.approx(tumour / whole, rel=FRACTION)


def test_the_worst_plane_decides_and_is_named(ring):
    thin = ring.wedge(6, 6, outer=20.0, half_height=8.0)
    thick = Box((4.0, -24.0, 5.0), (3.9, 15.9, 0.8))
    staging = ring.Scene().stage(Union((thin, thick)))
    spread = staging.sectors[5]
    assert spread.worst_s_mm == pytest.approx(95.0, abs=0.5)  # z = +5 lies 5 mm headward
    column = staging.area_fractions[:, 5]
    assert spread.area_fraction == column.max() > np.median(column) + 0.05


def test_planes_are_one_millimetre_apart_and_cover_the_tumour(ring):
    staging = ring.Scene().stage(ring.wedge(6, 6, half_height=6.4))
    assert np.diff(staging.planes_s_mm) == pytest.approx(1.0)
    assert staging.upper_s_mm == pytest.approx(100.0 - 6.4, abs=0.5)
    assert staging.lower_s_mm == pytest.approx(100.0 + 6.4, abs=0.5)
    assert staging.area_fractions.shape == (len(staging.planes_s_mm), 12)


def test_a_sliver_does_not_involve_a_sector(ring):
    # 0.8 mm2 beyond the bone: all there is in its plane, yet next to nothing.
    sliver = Box((45.0, 0.5, ring.half_height_mm + 3.0), (0.5, 0.4, 3.0))
    body = ring.wedge(6, 6)
    staging = ring.Scene().stage(Union((body, sliver)))
    assert ring.numbers(staging) == {6}
    assert 0.0 < staging.sectors[2].area_fraction < 0.05


def strip_growth(ring, share):
    """Growth at which a wedge fills a share of the next sector: a strip along its flat side."""

    def strip(radius, width):
        return quad(lambda v: np.sqrt(radius**2 - v**2), 0.0, width)[0]

    def lacking(d):
        grown = strip(ring.bone_mm + d, d) - strip(ring.canal_mm - d, d)
        of_bone = strip(ring.bone_mm, d) - strip(ring.canal_mm, d)
        return grown - share * (ring.sector_mm2 + grown - of_bone)

    return brentq(lacking, 1e-6, 3.0)


@pytest.mark.parametrize("share", [0.05, 0.2])
def test_a_free_neighbour_flips_after_the_strip_that_fills_its_share(ring, share):
    settings = StagingSettings(involved_fraction=share)
    staging = ring.Scene().stage(ring.wedge(5, 6), settings=settings)
    expected = strip_growth(ring, share)
    for number in (4, 7):
        spread = staging.sectors[number - 1]
        assert not spread.involved and spread.flip_found
        assert spread.flips_after_mm == pytest.approx(expected, abs=FLIP_MM)
        assert spread.growth_to_flip_mm == spread.flips_after_mm


def test_a_box_beside_the_midline_flips_the_other_half_after_strip_and_segment(ring):
    # A box of the right half, 3 mm off the midline, 24 mm deep: grown by d it crosses the
    # midline by a strip of width d - 3 and two half segments of a circle of radius d.
    box = Box((-16.5, -24.0, 0.0), (13.5, 12.0, 6.0))

    def lacking(d):
        segment = d * d * np.arccos(3.0 / d) - 3.0 * np.sqrt(d * d - 9.0)
        return 24.0 * (d - 3.0) + segment - 0.05 * ring.sector_mm2

    left_middle = ring.Scene().stage(box).sectors[5]
    assert left_middle.flips_after_mm == pytest.approx(brentq(lacking, 3.001, 6.0), abs=FLIP_MM)


def test_an_involved_sector_flips_by_the_shrinking_that_empties_it(ring):
    # The tip of a wedge from 32 to 40 mm: shrunk by d it is (32 + d, 40 - d) and d narrower
    # at each flat side; its area then falls below the share.
    tumour = ring.wedge(6, 6, inner=32.0)

    def left_over(d):
        area = quad(lambda r: r * (np.pi / 6.0 - 2.0 * np.arcsin(d / r)), 32.0 + d, 40.0 - d)[0]
        return area - 0.05 * ring.sector_mm2

    spread = ring.Scene().stage(tumour).sectors[5]
    assert spread.involved
    assert spread.flips_after_mm == pytest.approx(brentq(left_over, 0.0, 3.9), abs=FLIP_MM)
    assert spread.growth_to_flip_mm == -spread.flips_after_mm


def test_shrinking_is_searched_to_the_tumours_heart(ring):
    # A ball of 16 mm in front fills sectors 6 and 7 evenly: a half disc of 20.1 mm2 is left of
    # it after shrinking to a radius of 3.58 mm, beyond the 10 mm to which growth is searched.
    spread = ring.Scene().stage(Sphere((0.0, -24.0, 0.0), 16.0)).sectors[5]
    radius = np.sqrt(2.0 * 0.05 * ring.sector_mm2 / np.pi)
    assert spread.flip_found
    assert spread.flips_after_mm == pytest.approx(16.0 - radius, abs=FLIP_MM)


@pytest.mark.slow
def test_growing_or_shrinking_by_the_flip_flips_the_sector(ring):
    tumour = Sphere((12.0, -20.0, 1.0), 9.0)
    scene = ring.Scene()
    staging = scene.stage(tumour)
    flips = [one.growth_to_flip_mm for one in staging.sectors if one.flip_found]
    assert len(flips) >= 4
    for growth in flips:
        below = scene.stage(Grown(tumour, growth - 0.01), box=tumour.bounds_mm())
        above = scene.stage(Grown(tumour, growth + 0.01), box=tumour.bounds_mm())
        changed = below.involved_sectors ^ above.involved_sectors
        assert len(changed) >= 1
        assert below.involved_sectors <= above.involved_sectors


@pytest.mark.slow
def test_sectors_if_the_outline_moved_are_those_of_the_moved_outline(ring):
    tumour = Sphere((12.0, -20.0, 0.0), 9.0)
    scene = ring.Scene()
    staging = scene.stage(tumour)
    for growth in (-4.0, -1.0, 0.0, 2.0, 6.0):
        moved = scene.stage(Grown(tumour, growth), box=tumour.bounds_mm())
        assert staging.sectors_if_outline_moved(growth) == moved.involved_sectors


def test_a_flip_beyond_the_search_is_said_not_to_be_found(ring):
    far_in_front = Sphere((0.0, -30.0, 0.0), 5.0)
    spread = ring.Scene().stage(far_in_front).sectors[0]
    assert not spread.flip_found
    assert spread.flips_after_mm == StagingSettings().search_mm


def test_bone_is_deep_in_its_inner_half_and_superficial_in_its_outer(ring):
    staging = ring.Scene().stage(ring.wedge(6, 6))
    middle = 0.5 * (ring.canal_mm + ring.bone_mm)
    deep = np.pi * (middle**2 - ring.canal_mm**2) / 12.0
    outer = np.pi * (ring.bone_mm**2 - middle**2) / 12.0
    assert staging.layer_letters == ("B", "C")
    assert layer(staging, "C").area_mm2 == pytest.approx(deep, rel=FRACTION)
    assert layer(staging, "B").area_mm2 == pytest.approx(outer, rel=FRACTION)
    # Planes stand for 1 mm each: 13 planes meet a slab of 12 mm whose ends lie on planes.
    assert layer(staging, "C").volume_mm3 == pytest.approx(13.0 * deep, rel=FRACTION)


def test_canal_and_sac_split_epidural_from_intradural(ring):
    # Inside the ring (8 mm) and outside the sac (6 mm) is D, inside the sac is E.
    staging = ring.Scene().stage(ring.wedge(6, 6, inner=3.0, outer=20.0))
    assert staging.layer_letters == ("C", "D", "E")
    epidural = np.pi * (8.0**2 - 6.0**2) / 12.0
    assert layer(staging, "D").area_mm2 == pytest.approx(epidural, rel=2 * FRACTION)
    within = np.pi * (6.0**2 - 3.0**2) / 12.0
    assert layer(staging, "E").area_mm2 == pytest.approx(within, rel=2 * FRACTION)


def test_without_a_sac_the_inside_of_the_sac_cannot_be_told(ring):
    staging = ring.Scene().stage(ring.wedge(6, 6, inner=3.0, outer=20.0), sac=None)
    intradural = layer(staging, "E")
    assert intradural.involved is Answer.CANNOT_TELL
    assert intradural.area_mm2 is None and intradural.flips_after_mm is None
    canal = np.pi * (8.0**2 - 3.0**2) / 12.0
    assert layer(staging, "D").area_mm2 == pytest.approx(canal, rel=FRACTION)
    assert any("layer E" in warning for warning in staging.warnings)


def test_soft_tissue_layer_flips_after_the_growth_that_leaves_bone(ring):
    # Outer face at 37 mm of 40; a wedge grown by d reaches 37 + d and d past each flat side.
    tumour = ring.wedge(6, 6, inner=20.0, outer=37.0)

    def outside(d):
        area = quad(lambda r: r * (np.pi / 6.0 + 2.0 * np.arcsin(d / r)), 40.0, 37.0 + d)[0]
        return area - 5.0

    soft = layer(ring.Scene().stage(tumour), "A")
    assert soft.involved is Answer.NO
    assert soft.flips_after_mm == pytest.approx(brentq(outside, 3.0, 5.0), abs=0.26)  # half step


def test_a_gap_in_the_ring_is_soft_tissue_outside_and_canal_inside(ring):
    # On the left the ring is open from z = -13 to 0 and out to 30 mm, as a foramen is under a
    # transverse process; above, it is closed. The canal's wall is at 8 mm all the same.
    foramen = Box((17.5, 0.0, -6.5), (12.5, 6.0, 6.5))
    bone = Difference(ring.bone, foramen)
    outside = Box((20.0, 0.0, -6.0), (4.0, 3.0, 3.0))
    inside = Box((7.0, 0.0, -6.0), (0.9, 3.5, 3.0))
    assert ring.Scene().stage(outside, bone=bone).layer_letters == ("A",)
    assert ring.Scene().stage(inside, bone=bone).layer_letters == ("D",)


def test_epidural_compression_is_asked_never_computed(ring):
    staging = ring.Scene().stage(ring.wedge(6, 6, inner=3.0))
    assert staging.epidural_compression == "asked"


MOTIONS = {
    "shifted": (0.0, (0, 0, 1), (31.7, -120.3, 911.1)),
    "canal tilted 34 degrees": (34.0, (1, 0, 0), (0.0, 0.0, 0.0)),
    "turned at random": (71.0, (0.3, -0.8, 0.5), (5.0, 17.0, -40.0)),
    "upside down": (180.0, (0, 1, 0), (0.0, 0.0, 0.0)),
}


@pytest.mark.parametrize("name", MOTIONS)
def test_moving_and_turning_the_patient_changes_nothing(ring, name):
    degrees, axis, shift = MOTIONS[name]
    tumour = Sphere((13.0, -21.0, 2.3), 8.7)
    still = ring.Scene().stage(tumour)
    moved = ring.Scene(motion=ring.turned(degrees, axis, shift)).stage(tumour)
    assert moved.involved_sectors == still.involved_sectors
    assert moved.layer_letters == still.layer_letters
    # Only samples that lie on a surface to rounding can change sides: one cell is < 0.35 mm2.
    for one, other in zip(moved.sectors, still.sectors, strict=True):
        assert one.area_fraction == pytest.approx(other.area_fraction, abs=2e-3)
        assert one.flips_after_mm == pytest.approx(other.flips_after_mm, abs=0.02)


@pytest.mark.slow
def test_planes_follow_the_canal_even_if_the_vertebras_frame_does_not_tilt(ring):
    scene = ring.Scene(motion=ring.turned(34.0, (1, 0, 0)))
    scene.vertebra = ring.Scene().vertebra
    found = [one.area_fraction for one in scene.stage(ring.wedge(2, 2)).sectors]
    assert found == pytest.approx([0.0, 1.0] + [0.0] * 10, abs=1e-6)


def test_swapping_sides_swaps_sectors(ring):
    left = ring.Scene().stage(Sphere((13.0, -21.0, 2.3), 8.7))
    right = ring.Scene().stage(Sphere((-13.0, -21.0, 2.3), 8.7))
    assert {one.side for one in left.involved_sectors} == {Side.LEFT}
    assert {one.mirrored for one in left.involved_sectors} == right.involved_sectors
    for one, other in zip(left.sectors, reversed(right.sectors), strict=True):
        assert one.area_fraction == pytest.approx(other.area_fraction, abs=1e-6)


def test_layer_volumes_add_up_to_the_tumour_on_a_bent_canal(ring):
    # A canal bent to a radius of 120 mm: planes fan out in front, so areas x spacing alone
    # would miss the volume of a sphere 22 mm off the canal by 18 %.
    staging = ring.bent_scene(120.0).stage(Sphere((0.0, -22.0, 0.0), 9.0))
    total = sum(one.volume_mm3 for one in staging.layers)
    assert total == pytest.approx(4.0 / 3.0 * np.pi * 9.0**3, rel=0.01)


def test_a_tumour_that_no_plane_meets_is_refused(ring):
    with pytest.raises(InputError, match="no plane across the canal meets tumour"):
        ring.Scene().stage(Sphere((12.0, -20.0, 70.0), 5.0), box=((9, -23, -3), (15, -17, 3)))


def test_bone_that_is_not_about_the_canal_is_refused(ring):
    far = Sphere((0.0, 500.0, 0.0), 5.0)
    with pytest.raises(InputError, match="meets bone around it"):
        ring.Scene().stage(ring.wedge(6, 6), bone=far)


def test_bone_beyond_the_reach_is_said(ring):
    settings = StagingSettings(reach_mm=30.0)
    staging = ring.Scene().stage(Sphere((0.0, -12.0, 0.0), 5.0), settings=settings)
    assert any("reaches farther than" in warning for warning in staging.warnings)
    assert ring.Scene().stage(Sphere((0.0, -12.0, 0.0), 5.0)).warnings == ()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"involved_fraction": 0.0}, "involved_fraction"),
        ({"deep_below": 1.5}, "deep_below"),
        ({"plane_spacing_mm": -1.0}, "plane_spacing_mm"),
        ({"search_mm": float("nan")}, "search_mm"),
        ({"wall_ratio": 0.5}, "wall_ratio"),
        ({"contour_error_mm": 11.0}, "contour_error_mm"),
        ({"side_share": 0.5}, "side_share"),
    ],
)
def test_settings_without_meaning_are_refused(changes, message):
    with pytest.raises(InputError, match=message):
        StagingSettings(**changes)
