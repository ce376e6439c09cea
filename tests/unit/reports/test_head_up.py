"""Pictures turned head up: levels beside their bodies, nobody said to stand anywhere."""

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.reports.canvas import body_canvas
from vertebloc.reports.marks import name_levels
from vertebloc.reports.pictures import coronal_picture
from vertebloc.space.views import View

from .conftest import made_scene


@pytest.fixture(scope="module")
def head_up():
    return made_scene(standing=None)


def test_the_view_is_head_up(head_up):
    assert head_up.theatre_view is View.THEATRE_HEAD_UP


def test_each_level_stands_at_the_height_of_its_own_body(head_up):
    canvas = body_canvas((122.0, 60.0), 80.0, (0.0, 0.0))
    screen_from_lps = head_up.screen_from_lps(head_up.theatre_view)
    name_levels(canvas, head_up, screen_from_lps)
    written = {text.get_text(): text.get_position() for text in canvas.axes.texts}
    assert str(head_up.plan.level) in written
    for name, (_, y) in written.items():
        body = head_up.vertebrae[Level.parse(name)].lps_from_vertebra.origin
        assert y == pytest.approx(screen_from_lps.points(body)[0, 1])
    heights = [y for _, (_, y) in sorted(written.items(), key=lambda one: Level.parse(one[0]))]
    assert heights == sorted(heights, reverse=True)  # the head is up
    assert len(heights) >= 2 and np.ptp(heights) > 20.0


def test_standing_and_head_up_differ(head_up, scene):
    assert coronal_picture(head_up) != coronal_picture(scene)
