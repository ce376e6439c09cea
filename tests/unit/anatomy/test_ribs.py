"""Owners of ribs, and ribs that come in pieces, together, or not at all."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.ribs import assign_owners, find_rib_pieces, find_side
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid, Volume


@pytest.fixture(scope="module")
def spine(arc):
    return arc.make_spine(arc.THORACIC[5:10])


def key_of(spine, rib):
    """What the voxels of a rib were painted as."""
    index = np.argwhere(rib.mask.values).astype(float)
    at = spine.grid.lps_from_ijk.inverse.points(rib.mask.grid.lps_from_ijk.points(index))
    values, counts = np.unique(spine.labels[tuple(at.round().astype(int).T)], return_counts=True)
    return spine.key[int(values[np.argmax(counts)])]


def changed(spine, labels):
    return replace(spine, labels=labels)


def test_every_rib_finds_its_owner_with_names_and_sides_withheld(thorax):
    anatomy = describe_anatomy(thorax.contours(withheld=True))
    assert len(anatomy.ribs) == 24
    for rib in anatomy.ribs:
        painted = key_of(thorax, rib)
        assert (rib.level, rib.side) == (painted.level, painted.side)


def test_a_ribs_head_is_its_end_next_to_the_spine(thorax):
    for rib in describe_anatomy(thorax.contours()).ribs:
        aside, back, _ = thorax.local(rib.head[None])[0]
        # painted from 22 mm aside and 10 mm in front of the canal's middle outwards
        assert abs(aside) == pytest.approx(22.0, abs=3.0)
        assert back == pytest.approx(-9.0, abs=3.0)


@pytest.mark.slow
def test_heads_cut_off_10_mm_short_of_the_spine_still_find_their_owner(thorax):
    """Real labels begin at the neck: 11 mm from the vertebra."""
    labels = thorax.labels.copy()
    local = thorax.local(thorax.grid.centres()).reshape(*thorax.grid.shape, 3)
    labels[(labels >= 100) & (np.abs(local[..., 0]) < 38)] = 0
    short = changed(thorax, labels)
    anatomy = describe_anatomy(short.contours(withheld=True))
    assert len(anatomy.ribs) == 24
    for rib in anatomy.ribs:
        painted = key_of(short, rib)
        assert (rib.level, rib.side) == (painted.level, painted.side)


def pieces_of(contours):
    return find_rib_pieces(contours, find_canal(contours))


def test_crumbs_are_dropped_and_said(spine):
    labels = spine.labels.copy()
    labels[3:5, 3:5, 3:5] = spine.value(Structure.RIB, "T8", Side.LEFT)
    pieces, notes = pieces_of(changed(spine, labels).contours(withheld=True))
    assert len(pieces) == 10
    assert notes == ["crumbs dropped from rib: 1"]


def test_a_broken_rib_is_joined_and_said(spine):
    labels = spine.labels.copy()
    local = spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3)
    value = spine.value(Structure.RIB, "T8", Side.LEFT)
    whole = np.count_nonzero(labels == value)
    gap = (labels == value) & (local[..., 0] > 60) & (local[..., 0] < 66) & (local[..., 1] > -30)
    labels[gap] = 0
    pieces, notes = pieces_of(changed(spine, labels).contours(withheld=True))
    assert len(pieces) == 10
    assert notes == ["fragments joined to their ribs: 1"]
    sizes = [np.count_nonzero(p.mask.values) for p in pieces]
    assert whole - np.count_nonzero(gap) in sizes


def test_a_part_of_a_rib_whose_head_is_not_in_view_belongs_to_nobody(spine):
    labels = spine.labels.copy()
    local = spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3)
    value = spine.value(Structure.RIB, "T8", Side.LEFT)
    labels[(labels == value) & (local[..., 0] < 75)] = 0
    anatomy = describe_anatomy(changed(spine, labels).contours(withheld=True))
    assert any("belong to no vertebra" in warning for warning in anatomy.warnings)
    assert len(anatomy.ribs) == 10


@pytest.mark.slow
def test_two_ribs_that_touch_far_from_the_spine_are_split(spine):
    labels = spine.labels.copy()
    local = spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3)
    x, y, s = np.moveaxis(local, 3, 0)
    upper = labels == spine.value(Structure.RIB, "T8", Side.LEFT)
    at = local[upper & (x > 80)].mean(axis=0)
    post = (np.hypot(x - at[0], y - at[1]) < 3) & (s > at[2]) & (s < at[2] + 26) & (labels == 0)
    labels[post] = spine.value(Structure.RIB, "T8", Side.LEFT)
    fused = changed(spine, labels)
    pieces, _ = pieces_of(fused.contours(withheld=True))
    assert len(pieces) == 10
    found = describe_anatomy(fused.contours(withheld=True))
    assert {key_of(fused, rib) for rib in found.ribs} == {
        contour for contour in fused.key.values() if contour.structure is Structure.RIB
    }


def test_a_level_without_a_side_holds_two_ribs(spine):
    meaning = {
        value: (Contour(c.structure, c.level, None),) if c.structure is Structure.RIB else (c,)
        for value, c in spine.key.items()
    } | {3: (Contour(Structure.CANAL),)}
    contours = ContourSet(LabelMap(Volume(spine.grid, spine.labels), meaning))
    ribs = describe_anatomy(contours).ribs
    assert sorted((str(r.level), r.side.value) for r in ribs) == sorted(
        (name, side.value) for name, side in itertools.product(spine.names, Side)
    )


def test_sides_are_those_of_the_vertebral_frame(spine):
    contours = spine.contours()
    vertebrae = list(describe_anatomy(contours).vertebrae.values())
    for piece in pieces_of(contours)[0]:
        assert find_side(piece, vertebrae) is piece.named_side


def test_a_rib_named_against_its_place_is_a_loud_conflict(spine):
    swapped = dict(spine.meaning)
    one = spine.value(Structure.RIB, "T8", Side.LEFT)
    two = spine.value(Structure.RIB, "T9", Side.LEFT)
    swapped[one], swapped[two] = swapped[two], swapped[one]
    contours = replace(spine, meaning=swapped).contours()
    anatomy = describe_anatomy(contours)
    loud = [w for w in anatomy.warnings if w.startswith("LEVELS DO NOT AGREE")]
    assert len(loud) == 2
    assert "left rib named T9 belongs by its place to the vertebra T8" in " ".join(loud)
    assert [str(r.level) for r in anatomy.ribs].count("T9") == 2  # the given name is kept


class Heads:
    """Vertebrae in a straight row and heads at given heights on it, for the assignment alone."""

    def __init__(self, arc):
        straight = arc.make_spine(arc.THORACIC[5:10], radius_mm=1e6, ribs=("T6",))
        self.contours = straight.contours()
        self.vertebrae = list(describe_anatomy(self.contours).vertebrae.values())
        self.piece = pieces_of(self.contours)[0][0]

    def owners(self, heights):
        """Heights: place in the row + height on that vertebra (0 upper, -1 lower endplate)."""
        pieces = []
        for place, height in heights:
            vertebra = self.vertebrae[place]
            tall = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
            z = vertebra.upper_endplate_mm + height * tall
            head = vertebra.lps_from_vertebra.points([20.0, 12.0, z])[0]
            pieces.append(replace(self.piece, head=head))
        return assign_owners(pieces, self.vertebrae)


@pytest.fixture(scope="module")
def heads(arc):
    return Heads(arc)


@pytest.mark.parametrize("height", [0.25, 0.0, -0.3, -0.5])
def test_a_head_at_or_below_the_disc_belongs_to_the_vertebra_below_the_disc(heads, height):
    assert heads.owners([(2, height)]) == [2]


def test_owners_come_in_the_order_of_the_pieces_given(heads):
    assert heads.owners([(3, 0.0), (1, 0.0), (2, 0.0)]) == [3, 1, 2]


def test_one_doubtful_head_is_decided_by_its_neighbours(heads):
    # alone, -0.8 on the second vertebra fits the third (where it is 0.5) better
    assert heads.owners([(1, -0.8)]) == [2]
    assert heads.owners([(0, 0.0), (1, -0.8), (2, 0.0)]) == [0, 1, 2]
    # a last rib: the vertebra it would skip costs more than its low head
    assert heads.owners([(0, 0.0), (1, 0.0), (2, -0.8)]) == [0, 1, 2]


def test_a_missing_rib_leaves_its_vertebra_free(heads):
    assert heads.owners([(0, 0.0), (1, 0.0), (3, 0.0), (4, 0.0)]) == [0, 1, 3, 4]


def test_no_vertebra_gets_two_ribs_of_one_side(heads):
    owners = heads.owners([(1, 0.0), (1, -0.2), (2, 0.0)])
    assert sorted(o for o in owners if o is not None) == [1, 2]
    assert owners.count(None) == 1


def test_without_vertebrae_or_heads_nobody_owns_anything(heads):
    assert assign_owners([heads.piece], []) == [None]
    far = replace(heads.piece, from_canal_mm=80.0)
    assert assign_owners([far], heads.vertebrae) == [None]
    grid = Grid.from_matrix((2, 2, 2), np.eye(4))
    assert assign_owners([replace(far, mask=Volume(grid, np.ones((2, 2, 2), bool)))], []) == [None]


def test_names_are_carried_along(spine):
    pieces, notes = pieces_of(spine.contours())
    assert {(str(p.named_level), p.named_side) for p in pieces} == {
        (str(Level(name)), side) for name, side in itertools.product(spine.names, Side)
    }
    assert notes == []
