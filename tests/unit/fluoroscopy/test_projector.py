"""The fast picture against the exact integral, and the exact one against a general library's."""

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from vertebloc.fluoroscopy import Projector

from .conftest import make_view, make_volume

TURNS = [(180, 0), (180, -7), (90, 0), (-90, 5), (140, 15), (225, -20), (180, 70)]


def off(found, exact):
    """Rms difference in % of the mean, over rays that meet the body."""
    met = exact > 5.0
    return 100.0 * np.sqrt(np.mean((found - exact)[met] ** 2)) / exact[met].mean()


@pytest.mark.parametrize(("primary", "secondary"), TURNS)
def test_fast_is_the_exact_integral(body, primary, secondary):
    """What was asked for: rms difference below 0.2 % of the mean."""
    view = make_view(primary, secondary)
    projector = Projector.of(body)
    assert off(projector.project(view), projector.project_exactly(view)) < 0.2


def test_oblique_left_handed_and_sheared_grids_give_the_same_picture():
    """A smooth body sampled on other grids: what differs is the sampling, not the place."""
    blob = make_volume(np.zeros((2, 2, 2)))
    a = np.radians(25.0)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    shear = np.array([[1.0, 0, 0], [0, 1, 0.3], [0, 0, 1]])
    mirror = np.diag([-1.0, 1.0, 1.0])
    view = make_view(160.0, 8.0, pixels=48)
    pictures = []
    for turned in (np.eye(3), turn, mirror @ turn, shear):
        grid = make_volume(np.zeros((60, 60, 60)), (2.0, 2.0, 2.0), turned).grid
        p = grid.centres()
        near = np.exp(-(((p - [6.0, -3.0, 4.0]) / [14.0, 9.0, 17.0]) ** 2).sum(axis=1))
        values = (1500.0 * near - 1000.0).reshape(grid.shape).astype(np.int16)
        pictures.append(Projector.of(type(blob)(grid, values)).project(view))
    for other in pictures[1:]:
        # blob of 9 mm and more on 2 mm voxels: sampling errs by well below 0.5 mm of 40
        assert np.max(np.abs(other - pictures[0])) < 0.2
    assert pictures[0].max() > 20.0


@pytest.mark.parametrize(("primary", "secondary"), [(180, 0), (90, 6), (140, 15)])
def test_against_resampling_by_scipy(body, primary, secondary):
    """A general library's linear interpolation, summed in small steps along each ray."""
    view = make_view(primary, secondary, pixels=16)
    exact = Projector.of(body).project_exactly(view).ravel()
    ray = view.pixel_points() - view.source
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    step = 0.2
    far = np.arange(450.0, 750.0, step) + step / 2.0
    points = view.source + far[:, None] * ray[:, None]
    at = body.grid.lps_from_ijk.inverse.points(points.reshape(-1, 3)).T
    values = body.values.astype(np.float64) + 1000.0
    sampled = map_coordinates(values, at, order=1, mode="constant", cval=0.0)
    found = sampled.reshape(len(ray), -1).sum(axis=1) * step / 1000.0
    # the midpoint rule with ten steps a cell of 2 mm, of about 100 mm
    assert np.max(np.abs(found - exact)) < 0.05
    assert exact.max() > 80.0


def test_threads_do_not_change_the_picture(body):
    view = make_view(175.0, 3.0)
    projector = Projector.of(body)
    np.testing.assert_array_equal(
        projector.project(view, parts=1), projector.project(view, parts=5)
    )
