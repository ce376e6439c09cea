"""The canal's line against the circle that the made-up spine is bent along."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Volume


def off_line_mm(spine, canal, keep_from_ends_mm=6.0):
    s = np.arange(keep_from_ends_mm, canal.s_mm[-1] - keep_from_ends_mm, 1.0)
    local = spine.local(canal.at(s))
    return np.hypot(local[:, 0], local[:, 1])


def test_the_line_runs_in_the_canals_middle_from_head_to_feet(thorax):
    canal = find_canal(thorax.contours())
    assert off_line_mm(thorax, canal).max() < 0.5
    heights = thorax.local(canal.points)[:, 2]
    assert np.all(np.diff(heights) > 0)  # made-up heights grow towards the feet
    # a knot's s is the length of the curve: the circle's arc
    assert np.ptp(heights) == pytest.approx(canal.s_mm[-1], abs=0.5)
    assert "spinal canal" in canal.source
    assert canal.notes == ()


def test_tangents_point_to_the_head_along_the_circle(thorax):
    canal = find_canal(thorax.contours())
    for name in thorax.names:
        s = canal.nearest_s_mm(_on_canal(thorax, name))
        angle = np.degrees(np.arccos(canal.tangent(s)[0] @ thorax.true_axes(name)[2]))
        assert angle < 1.0


def _on_canal(spine, name):
    angle = -spine.height_mm(name) / spine.radius_mm
    from_centre = spine.radius_mm * np.array([0.0, np.cos(angle), np.sin(angle)])
    centre = spine.offset - [0.0, spine.radius_mm, 0.0]
    return centre + from_centre


@pytest.mark.parametrize(
    ("structure", "word"), [(Structure.SAC, "sac"), (Structure.CORD, "spinal cord")]
)
def test_a_sac_or_a_cord_will_do_and_is_named(arc, structure, word):
    spine = arc.make_spine(canal=structure, ribs=())
    canal = find_canal(spine.contours())
    assert word in canal.source
    assert off_line_mm(spine, canal).max() < 0.5


def test_the_canal_is_preferred_to_a_cord_beside_it(arc):
    spine = arc.make_spine(ribs=())
    x, y, _ = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    spine.meaning[6] = (Contour(Structure.CORD), Contour(Structure.CANAL))
    spine.paint(6, np.hypot(x - 3, y) < 3.0, over=())
    assert off_line_mm(spine, find_canal(spine.contours())).max() < 0.5


def test_a_cord_fatter_than_a_cord_and_off_the_middle_stays_inside_the_canal(arc):
    spine = arc.make_spine(canal=Structure.CORD, ribs=())
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    spine.labels[spine.labels == arc.CANAL] = 0
    wander = 2.0 * np.sin(s / 8.0)  # of 50 mm length, as cord labels do
    spine.paint(arc.CANAL, np.hypot(x - wander, y) < 7.0, over=(0,))
    assert off_line_mm(spine, find_canal(spine.contours())).max() < 2.0


def test_stray_islands_move_nothing_and_are_mentioned(arc):
    spine = arc.make_spine(ribs=())
    before = find_canal(spine.contours())
    spine.labels[5:9, 5:9, 5:9] = arc.CANAL  # in front and aside
    spine.labels[55:57, 60:62, 30:33] = arc.CANAL
    after = find_canal(spine.contours())
    assert np.allclose(after.points, before.points, atol=1e-6)
    assert after.notes == ("stray islands of the spinal canal's outline left out: 2",)


def test_a_gap_is_bridged_and_mentioned(arc):
    spine = arc.make_spine(arc.THORACIC[:6], ribs=())
    spine.labels[(spine.labels == arc.CANAL) & _between(spine, -10.0, 10.0)] = 0
    canal = find_canal(spine.contours())
    assert off_line_mm(spine, canal).max() < 0.6
    assert any("gap" in note for note in canal.notes)


def _between(spine, low_mm, high_mm):
    height = spine.local(spine.grid.centres())[:, 2].reshape(spine.grid.shape)
    return (height > low_mm) & (height < high_mm)


def push_sac(arc):
    """A sac that a tumour in the canal pushes 4 mm to the right over 30 mm."""
    spine = arc.make_spine(arc.THORACIC[:6], canal=Structure.SAC, ribs=())
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    spine.labels[spine.labels == arc.CANAL] = 0
    pushed = -4.0 * np.exp(-((s / 12.0) ** 4))
    spine.paint(arc.CANAL, np.hypot(x - pushed, y) < 5.0)
    return spine, (np.hypot(x - 6.0, y) < 5.5) & (np.abs(s) < 15.0)


def test_a_sac_pushed_by_tumour_does_not_pull_the_line_along(arc):
    spine, mass = push_sac(arc)
    free = find_canal(spine.contours())
    assert off_line_mm(spine, free).max() > 1.5  # without the tumour nobody can know
    spine.meaning[arc.TUMOUR] = (Contour(Structure.TUMOUR),)
    spine.paint(arc.TUMOUR, mass)
    bridged = find_canal(spine.contours())
    assert off_line_mm(spine, bridged).max() < 0.6
    (note,) = [note for note in bridged.notes if "bridged from above" in note]
    assert "lies up to 4." in note or "lies up to 3." in note


def test_tumour_at_the_outlines_end_is_mentioned(arc):
    spine, mass = push_sac(arc)
    spine.meaning[arc.TUMOUR] = (Contour(Structure.TUMOUR),)
    spine.paint(arc.TUMOUR, mass)
    spine.labels[(spine.labels == arc.CANAL) & _between(spine, -200.0, -12.0)] = 0
    assert any("at its end" in note for note in find_canal(spine.contours()).notes)


def test_without_any_outline_the_error_says_what_to_do(arc):
    spine = arc.make_spine(ribs=())
    del spine.meaning[arc.CANAL]
    with pytest.raises(InputError, match="outline one of them"):
        find_canal(spine.contours())


def test_too_short_an_outline_is_refused(arc):
    spine = arc.make_spine(ribs=())
    spine.labels[(spine.labels == arc.CANAL) & ~_between(spine, -1.5, 1.5)] = 0
    with pytest.raises(InputError, match="mm long"):
        find_canal(spine.contours())


def test_a_piece_of_canal_shorter_than_wide_still_runs_head_to_feet(arc):
    spine = arc.make_spine(ribs=())
    spine.labels[(spine.labels == arc.CANAL) & ~_between(spine, -7.0, 7.0)] = 0
    canal = find_canal(spine.contours())
    assert canal.tangent(0.0)[0, 2] > 0.99


def test_beyond_its_ends_the_line_goes_on_straight(short):
    canal = find_canal(short.contours())
    end = canal.s_mm[-1]
    step = canal.at(end + 20.0)[0] - canal.at(end)[0]
    assert np.allclose(step, -20.0 * canal.tangent(end)[0], atol=1e-9)
    assert canal.nearest_s_mm(canal.at(end + 20.0))[0] == pytest.approx(end + 20.0, abs=1e-6)


def test_labels_of_another_structure_are_not_used(short):
    labels = short.contours().label_map
    only = ContourSet(LabelMap(Volume(labels.volume.grid, labels.volume.values), {}))
    with pytest.raises(InputError, match="no spinal canal"):
        find_canal(only)
