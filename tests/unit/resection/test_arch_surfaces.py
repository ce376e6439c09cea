"""The parts shown on a slice are the parts that a plan cuts; sizes by hand on the block spine."""

import pytest

from vertebloc.case.choice_words import ArchPart
from vertebloc.resection.arch_surfaces import arch_surfaces
from vertebloc.resection.piece import prepare_bones


def test_they_are_the_parts_that_a_plan_is_made_with(lead):
    shown = arch_surfaces(lead.solids, lead.vertebra)
    planned = prepare_bones(lead.solids, lead.vertebra).arch_parts
    assert set(shown) == {part for part in ArchPart if planned[part].volume() > 0.0}
    for part, surface in shown.items():
        assert surface.is_closed
        assert surface.volume_mm3 == pytest.approx(planned[part].volume(), rel=1e-9)


def test_each_part_lies_on_its_own_side(lead):
    """By hand: left is +x, the spinous process lies behind all others, facets above and below."""
    shown = arch_surfaces(lead.solids, lead.vertebra)
    local = {
        part: lead.vertebra.lps_from_vertebra.inverse.points(surface.vertices)
        for part, surface in shown.items()
    }
    for part, places in local.items():
        if part.value.startswith("left"):
            assert places[:, 0].min() > -1e-6
        if part.value.startswith("right"):
            assert places[:, 0].max() < 1e-6
    back = {part: places[:, 1].max() for part, places in local.items()}
    assert max(back, key=back.get) is ArchPart.SPINOUS_PROCESS
    assert local[ArchPart.LEFT_PEDICLE][:, 1].max() < local[ArchPart.LEFT_LAMINA][:, 1].max()
