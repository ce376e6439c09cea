"""Tubes against the closed form of a prism; joined ones keep their volume."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.space.tubes import join_surfaces, tube_surface

PRISM = 0.5 * 10 * np.sin(2.0 * np.pi / 10)  # area of a regular decagon in the unit circle


@pytest.mark.parametrize("way", [[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [1.0, -2.0, 0.5]])
def test_a_straight_tube_is_a_prism(way):
    line = np.arange(5)[:, None] * np.array(way) * 3.0
    tube = tube_surface(line, 2.0)
    long = 12.0 * np.linalg.norm(way)
    assert tube.is_closed
    assert tube.volume_mm3 == pytest.approx(PRISM * 4.0 * long)


def test_a_bent_tube_is_near_to_a_torus_part_and_outside_in():
    angle = np.linspace(0.0, np.pi, 90)
    line = 20.0 * np.stack([np.cos(angle), np.sin(angle), np.zeros(90)], axis=1)
    tube = tube_surface(line, 1.5)
    assert tube.is_closed
    # Pappus: area times the way of its middle
    assert tube.volume_mm3 == pytest.approx(PRISM * 1.5**2 * 20.0 * np.pi, rel=2e-3)
    both = join_surfaces([tube, tube_surface(line + 100.0, 1.5)])
    assert both.is_closed and both.volume_mm3 == pytest.approx(2.0 * tube.volume_mm3, rel=1e-9)


@pytest.mark.parametrize(("line", "radius"), [([[0, 0, 0]], 1), ([[0, 0, 0]] * 2, 1),
                                              ([[0, 0, 0], [1, 0, 0]], 0)])  # fmt: skip
def test_no_tube_without_length_or_thickness(line, radius):
    with pytest.raises(InputError, match="a tube needs two different points"):
        tube_surface(line, radius)
