"""A search that looks around: low hills beside the true one do not hold it."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from vertebloc.alignment.look_around import look_around
from vertebloc.alignment.refine import Moving, perturbed, prepare_moving, refine
from vertebloc.alignment.region import Region, choose_region, neighbours_of
from vertebloc.errors import NoSolutionError
from vertebloc.space.transforms import Transform

Pair = tuple[Region, Moving, Transform]


@pytest.fixture(scope="module")
def pair(scenes: ModuleType) -> Pair:
    """The lead patient's CT around T10, a second scan of him, and where it truly lies."""
    fixed = scenes.ct_of("lead")
    rng = np.random.default_rng([20261128, 0])
    second = scenes.scan(fixed, rng)
    region = choose_region(
        fixed.ct, fixed.labels, neighbours_of(fixed.labels, fixed.level, 1), rng
    )
    return region.first(10_000), prepare_moving(second.volume), second.mr_from_ct


def off_mm(found: Transform, truth: Transform, region: Region) -> float:
    p = region.samples.points
    return float(np.linalg.norm(found.points(p) - truth.points(p), axis=1).max())


def test_it_finds_the_place_where_climbing_alone_is_held(pair: Pair) -> None:
    """The truth is the map by which the scan was made; both searches get the same starts."""
    region, moving, truth = pair
    middle = region.samples.points.mean(axis=0)
    rng = np.random.default_rng(5)
    found = {refine: 0, look_around: 0}
    for _ in range(6):
        start = perturbed(truth, middle, rng.uniform(-8, 8, 3), rng.uniform(-6, 6, 3))
        for search in found:
            end = search(region.samples, moving, start).moving_from_fixed
            found[search] += off_mm(end, truth, region) < 2.0  # mm at the farthest point
    assert found[look_around] >= 5 > found[refine]


def test_a_start_outside_the_other_image_is_refused(pair: Pair) -> None:
    region, moving, truth = pair
    away = perturbed(truth, region.samples.points.mean(axis=0), np.full(3, 900.0), np.zeros(3))
    with pytest.raises(NoSolutionError, match="vertebrae around the tumour lie in the other"):
        look_around(region.samples, moving, away)
