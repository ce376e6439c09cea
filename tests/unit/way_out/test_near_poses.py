"""Poses near a way: their numbers, the widest and the shortest path among them, against scipy."""

import itertools

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra, minimum_spanning_tree

from vertebloc.way_out import _kernels_near as kernels
from vertebloc.way_out._kernels import CLOSED
from vertebloc.way_out.measured_poses import STRIDES, keys_of, places_of
from vertebloc.way_out.pose_worths import keys_near, unwound

BENDS = np.array([a for a in itertools.product((-1, 0, 1), repeat=3) if any(a)])


def test_numbers_of_places_lead_there_and_back(rng):
    places = rng.integers(-5000, 5000, size=(400, 3))
    keys = keys_of(places)
    assert (places_of(keys) == places).all()
    for bend in BENDS:
        assert (keys_of(places + bend) == keys + bend @ STRIDES).all()


def test_places_around_one_pose_are_a_cube():
    way = np.array([[1.0, -2.0, 0.3], [1.0, -2.0, 0.3]])
    found = places_of(keys_near(way, np.array([0.5, 0.5, 0.1]), 2))
    assert (found.min(axis=0) == [0, -6, 1]).all() and (found.max(axis=0) == [4, -2, 5]).all()
    assert len(found) == 125


def test_places_near_a_way_are_all_within_so_many_steps():
    """By trying all places of a box: those within two steps of a pose between the way's poses."""
    steps = np.array([0.5, 0.5, 0.1])
    way = np.array([[0.0, 0.0, 3.1], [1.0, 0.5, -3.0], [1.0, 2.0, -2.9]])
    found = {tuple(p) for p in places_of(keys_near(way, steps, 2))}
    line = unwound(way)
    fine = np.concatenate(
        [np.linspace(a, b, 400) for a, b in itertools.pairwise(line)]
    )  # fmt: skip
    box = itertools.product(range(-6, 10), range(-6, 12), range(26, 40))
    for place in box:
        far = np.abs(fine / steps - place).max(axis=1).min()
        if far <= 1.0:
            assert place in found
        if far > 3.0:
            assert place not in found


@pytest.fixture
def cloud(rng):
    """Some places of a block, each with a value; and which are neighbours."""
    block = np.array(list(itertools.product(range(7), range(6), range(5))))
    places = block[rng.random(len(block)) < 0.6]
    keys = np.sort(keys_of(places))
    values = rng.integers(-300, 800, size=len(keys))
    return keys, values, kernels.neighbours(keys, STRIDES)


def edges_of(beside):
    i, q = np.nonzero(beside >= 0)
    return i, beside[i, q], q


def test_widest_path_is_that_of_the_spanning_tree(cloud):
    """Bottleneck of two nodes: the worst edge between them in scipy's tree of least weights."""
    _, values, beside = cloud
    i, j, _ = edges_of(beside)
    weight = 1000.0 - np.minimum(values[i], values[j])
    count = len(values)
    tree = minimum_spanning_tree(coo_array((weight, (i, j)), shape=(count, count)).tocsr())
    tree = (tree + tree.T).tocsr()
    _, before = dijkstra(tree, indices=0, return_predecessors=True)
    for end in range(1, count, 9):
        is_end = np.arange(count) == end
        width = kernels.widest_among(beside, values.astype(np.int64), 0, is_end)
        if before[end] < 0:
            assert width == CLOSED
            continue
        worst, at = 0.0, end
        while at != 0:
            worst, at = max(worst, tree[at, before[at]]), before[at]
        assert width == 1000.0 - worst


def test_shortest_path_is_scipys(cloud):
    _, values, beside = cloud
    costs = np.where(values < 0, np.inf, 1.0 + values / 400.0)
    costs[0] = 1.0
    lengths = np.linalg.norm(BENDS * [1.0, 1.0, 0.4], axis=1)
    i, j, q = edges_of(beside)
    open_ = np.isfinite(costs[i]) & np.isfinite(costs[j])
    i, j, q = i[open_], j[open_], q[open_]
    weight = lengths[q] * (costs[i] + costs[j]) / 2.0
    count = len(values)
    graph = coo_array((weight, (i, j)), shape=(count, count)).tocsr()
    least = dijkstra(graph, indices=0)
    tried = 0
    for end in range(1, count, 7):
        way = kernels.shortest_among(beside, costs, lengths, 0, np.arange(count) == end)
        if not np.isfinite(least[end]):
            assert len(way) == 0
            continue
        tried += 1
        assert way[0] == 0 and way[-1] == end
        assert sum(graph[a, b] for a, b in itertools.pairwise(way)) == pytest.approx(least[end])
    assert tried > 5
