"""Side of the tumour and levels it reaches, against caps of spheres and ellipsoids."""

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.space.solids import Ellipsoid, Moved, Sphere
from vertebloc.staging import StagingSettings, TumourSide, reached_levels, tumour_side


def cap_share(offset, half_axis):
    """Share of a ball on the far side of a plane, ``offset`` from its middle."""
    height = half_axis + offset
    return height**2 * (3.0 * half_axis - height) / (4.0 * half_axis**3)


def side_of(scene, solid):
    return tumour_side(
        vertebra=scene.vertebra,
        tumour=solid,
        tumour_extent=solid.bounds_mm(),
        settings=StagingSettings(),
    )


@pytest.mark.parametrize("offset", [-9.0, -6.0, -2.0, 0.0, 3.5, 9.0, 14.0])
def test_the_left_share_is_that_of_the_cap(ring, offset):
    found = side_of(ring.Scene(), Sphere((offset, -24.0, 2.0), 9.0))
    expected = cap_share(np.clip(offset, -9.0, 9.0), 9.0)
    assert found.left_share == pytest.approx(expected, abs=0.003)  # cubes of 0.5 mm
    assert found.volume_mm3 == pytest.approx(4.0 / 3.0 * np.pi * 9.0**3, rel=0.005)


def test_an_ellipsoid_six_millimetres_left_lies_on_the_left(ring):
    # Half axes 9, 9 and 7 mm, 6 mm left of the middle: a cap of 3 mm lies on the right, 7.4 %.
    found = side_of(ring.Scene(), Ellipsoid((6.0, -24.0, 0.0), (9.0, 9.0, 7.0)))
    assert found.side is TumourSide.LEFT
    assert found.left_share == pytest.approx(1.0 - 0.0741, abs=0.003)


def test_three_quarters_of_the_volume_are_wanted_for_a_side(ring):
    # A ball's cap holds three quarters at an offset of 0.347 radii.
    sides = [
        side_of(ring.Scene(), Sphere((offset, -24.0, 0.0), 10.0)).side
        for offset in (-3.6, -3.3, 0.0, 3.3, 3.6)
    ]
    assert sides == [
        TumourSide.RIGHT,
        TumourSide.BOTH,
        TumourSide.BOTH,
        TumourSide.BOTH,
        TumourSide.LEFT,
    ]


def test_the_mid_plane_is_the_vertebras_not_the_scanners(ring):
    turned = ring.Scene(motion=ring.turned(155.0, (0.2, 0.3, 1.0), (40.0, 5.0, -7.0)))
    tumour = Sphere((6.0, -24.0, 0.0), 9.0)
    found = side_of(turned, Moved(tumour, turned.motion))
    assert found.side is TumourSide.LEFT
    assert found.left_share == pytest.approx(cap_share(6.0, 9.0), abs=0.003)


def test_an_extent_that_misses_the_tumour_is_refused(ring):
    with pytest.raises(InputError, match="no tumour lies within"):
        tumour_side(
            vertebra=ring.Scene().vertebra,
            tumour=Sphere((0.0, 0.0, 0.0), 5.0),
            tumour_extent=((50.0, 50.0, 50.0), (60.0, 60.0, 60.0)),
            settings=StagingSettings(),
        )


@pytest.mark.parametrize(
    ("extent", "message"),
    [
        ([[0.0, 0.0, 0.0]], "two corners or more"),
        ([[0.0, 0.0, 0.0], [1.0, np.nan, 1.0]], "two corners or more"),
        ([[0.0, 0.0, 5.0], [1.0, 1.0, 1.0]], "low corner first"),
    ],
)
def test_an_extent_that_is_no_box_is_refused(ring, extent, message):
    with pytest.raises(InputError, match=message):
        tumour_side(
            vertebra=ring.Scene().vertebra,
            tumour=Sphere((0.0, 0.0, 0.0), 5.0),
            tumour_extent=extent,
            settings=StagingSettings(),
        )


def test_levels_are_reached_where_tumour_passes_their_endplates(ring):
    # T10 lies from z = -12 to 12, T9 from 16 to 40, T11 from -40 to -16; tumour from -9 to 19.
    scene = ring.Scene()
    staging = scene.stage(Sphere((0.0, -20.0, 5.0), 14.0))
    vertebrae = {
        Level(name): ring.at_level(scene.vertebra, Level(name), middle_z)
        for name, middle_z in (("T11", -28.0), ("T10", 0.0), ("T9", 28.0))
    }
    reach = reached_levels(staging=staging, vertebrae=vertebrae)
    assert [str(one.level) for one in reach] == ["T9", "T10", "T11"]
    assert [one.reached for one in reach] == [True, True, False]
    # Planes are 1 mm apart: an end is known to half of that, two ends to 1 mm.
    assert reach[0].flips_after_mm == pytest.approx(3.0, abs=0.6)
    assert reach[2].flips_after_mm == pytest.approx(7.0, abs=0.6)
