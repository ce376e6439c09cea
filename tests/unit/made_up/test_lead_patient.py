"""The lead made-up patient: everything where a surgeon expects it, nothing inside another."""

from itertools import pairwise

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.made_up import lead_patient
from vertebloc.made_up.spine import make_spine
from vertebloc.space.frames import Side

PATIENT = lead_patient()
LEVELS = [Level(name) for name in ("T7", "T8", "T9", "T10", "T11", "T12")]
T10 = Contour(Structure.VERTEBRA, Level("T10"))
SAC, CORD = Contour(Structure.SAC), Contour(Structure.CORD)
AORTA, TUMOUR = Contour(Structure.AORTA), Contour(Structure.TUMOUR)


def _grid_of_points(low, high, pitch):
    axes = [np.arange(a, b, pitch) for a, b in zip(low, high, strict=True)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def _least_room_mm(first, second, pitch=1.0):
    """Least of the larger distance to either: below 0 only where both solids are at once."""
    a, b = PATIENT.solids[first], PATIENT.solids[second]
    (la, ha), (lb, hb) = a.bounds_mm(), b.bounds_mm()
    low, high = np.maximum(la, lb) - 1.5, np.minimum(ha, hb) + 1.5
    if np.any(high <= low):
        return np.inf
    p = _grid_of_points(low, high, pitch)
    pieces = np.array_split(p, max(len(p) // 3000, 1))
    return min(
        float(np.maximum(a.signed_distance_mm(q), b.signed_distance_mm(q)).min()) for q in pieces
    )


def test_every_outline_asked_for_is_there():
    contours = set(PATIENT.solids)
    for level in LEVELS:
        assert Contour(Structure.VERTEBRA, level) in contours
        for side in Side:
            assert Contour(Structure.RIB, level, side) in contours
    for level in LEVELS[:-1]:
        assert Contour(Structure.DISC, level) in contours
    for side in Side:
        assert {
            Contour(Structure.LUNG, side=side),
            Contour(Structure.MUSCLE, side=side),
        } < contours
    single = {Structure.TRACT, Structure.SKIN, Structure.AZYGOS}
    assert {SAC, CORD, AORTA, TUMOUR, *map(Contour, single)} < contours
    assert "MADE-UP" in PATIENT.identity.name and "no real person" in PATIENT.about


@pytest.mark.parametrize(
    ("above", "below"),
    [  # the diseased vertebra's joint in each quick run
        pytest.param(*pair, marks=() if pair[1] == T10.level else pytest.mark.slow)
        for pair in pairwise(LEVELS)
    ],
)
def test_neighbouring_vertebrae_leave_a_joint_space(above, below):
    first, second = Contour(Structure.VERTEBRA, above), Contour(Structure.VERTEBRA, below)
    assert _least_room_mm(first, second) > 0.0


@pytest.mark.slow
@pytest.mark.parametrize("level", LEVELS)
def test_soft_structures_stay_clear_of_bone(level):
    bone = Contour(Structure.VERTEBRA, level)
    for other in (SAC, AORTA, Contour(Structure.AZYGOS)):
        assert _least_room_mm(bone, other) > 0.2
    for side in Side:
        rib = Contour(Structure.RIB, level, side)
        assert _least_room_mm(bone, rib) > 0.2  # cartilage: the head must not melt into bone
        assert _least_room_mm(rib, Contour(Structure.LUNG, side=side), 1.5) > 0.0
        assert _least_room_mm(bone, Contour(Structure.LUNG, side=side), 1.5) > 0.0


def test_cord_lies_in_the_sac_and_the_sac_has_room_for_it():
    cord, sac = PATIENT.solids[CORD], PATIENT.solids[SAC]
    low, high = cord.bounds_mm()
    p = np.random.default_rng(1).uniform(low, high, (40_000, 3))
    inside = cord.signed_distance_mm(p) < 0.0
    inside &= np.abs(p[:, 2]) < 90.0  # both ends leave the field of view
    assert inside.sum() > 1000
    assert np.all(sac.signed_distance_mm(p[inside]) < -0.3)


def test_tumour_lies_where_the_story_says():
    """Left half of the body, left pedicle, beside the vertebra; the rest of T10 is free."""
    spine = make_spine()
    own = spine.vertebrae[Level("T10")]
    tumour, bone = PATIENT.solids[TUMOUR], PATIENT.solids[T10]
    low, high = tumour.bounds_mm()
    p = _grid_of_points(low, high, 0.75)
    p = p[tumour.signed_distance_mm(p) < 0.0]
    local = own.lps_from_own.inverse.points(p)
    in_bone = bone.signed_distance_mm(p) < 0.0
    ml = len(p) * 0.75**3 / 1000.0
    assert 15.0 < ml < 25.0
    assert np.all((p.max(axis=0) - p.min(axis=0) > 23.0) & (p.max(axis=0) - p.min(axis=0) < 46.0))
    assert (local[:, 0] > 0.0).mean() > 0.9  # eccentric left
    assert 0.2 < in_bone.mean() < 0.5  # body and pedicle; the tongue lies outside
    shape = own.shape
    behind = local[:, 1] > shape.canal_middle_mm
    assert not np.any(behind & (local[:, 0] < 0.0))  # right arch free
    pedicle = [shape.pedicle_x_mm, shape.canal_middle_mm - 4.0, shape.pedicle_z_mm]
    assert tumour.signed_distance_mm(own.at(pedicle))[0] < -2.0
    assert tumour.signed_distance_mm(own.at(np.array(pedicle) * [-1, 1, 1]))[0] > 10.0
    in_body = in_bone & (np.abs(local[:, 0]) < 15.0) & (local[:, 1] < 14.0)
    for plane in shape.endplates():  # it does not reach the endplates
        reach = plane.moved(own.lps_from_own).signed_distance_mm(p[in_body])
        assert -4.0 < reach.max() < -1.0


def test_tumour_pushes_the_sac_to_the_right_and_back_and_keeps_off_vessels():
    spine = make_spine()
    own = spine.vertebrae[Level("T10")]
    shape = own.shape
    heights = {"at": shape.pedicle_z_mm, "far": -40.0}
    middles = {}
    for name, z in heights.items():
        flat = _grid_of_points([-12, shape.canal_middle_mm - 12, z], [12, 45, z + 0.1], 0.25)
        p = own.at(flat)
        inside = PATIENT.solids[SAC].signed_distance_mm(p) < 0.0
        middles[name] = flat[inside].mean(axis=0)
    assert middles["at"][0] - middles["far"][0] < -1.5
    assert 0.2 < _least_room_mm(TUMOUR, SAC, 0.5) < 1.2
    assert _least_room_mm(TUMOUR, AORTA) > 1.5
    for level in ("T9", "T10"):
        assert _least_room_mm(TUMOUR, Contour(Structure.DISC, Level(level)), 0.5) > 0.0
    for level in ("T9", "T11"):
        assert _least_room_mm(TUMOUR, Contour(Structure.VERTEBRA, Level(level))) > 0.0


def test_tract_runs_from_the_skin_on_the_left_through_muscle_into_the_pedicle_tumour():
    tract = PATIENT.solids[Contour(Structure.TRACT)]
    p = np.linspace(tract.start, tract.end, 200)
    assert np.all(p[:, 0] > 0.0) and p[0, 1] > p[-1, 1] + 30.0
    touched = {
        contour: bool(np.any(PATIENT.solids[contour].signed_distance_mm(p) < 0.0))
        for contour in (TUMOUR, T10, Contour(Structure.MUSCLE, side=Side.LEFT))
    }
    assert all(touched.values())
    assert abs(PATIENT.unnamed["outline"].signed_distance_mm(p[0])[0] + 1.2) < 0.05
    assert np.all(PATIENT.solids[SAC].signed_distance_mm(p) > 1.2)


def test_image_slices_are_not_perpendicular_to_the_canal():
    """Gentle kyphosis: each vertebra leans a little more than the one above it."""
    spine = make_spine()
    up = np.array([spine.vertebrae[level].lps_from_own.axis(2) for level in LEVELS])
    lean = np.degrees(np.arctan2(up[:, 1], up[:, 2]))
    assert np.all(np.diff(lean) > 2.0) and 10.0 < lean[-1] - lean[0] < 30.0
    assert lean[LEVELS.index(Level("T10"))] > 5.0


@pytest.mark.parametrize("level", LEVELS)
def test_rib_heads_lie_as_anatomy_books_say(level):
    """Heads 7 to 9 straddle the disc above their vertebra; 10 to 12 touch their own body only."""
    own = make_spine().vertebrae[level]
    rib = PATIENT.solids[Contour(Structure.RIB, level, Side.LEFT)]
    low, high = rib.bounds_mm()
    p = _grid_of_points(low, np.minimum(high, low + 35.0), 0.8)
    p = np.concatenate((p, _grid_of_points([14, -5, low[2]], [32, 45, high[2]], 0.8)))
    p = p[rib.signed_distance_mm(p) < 0.0]
    local = own.lps_from_own.inverse.points(p)
    head = local[local[:, 1] < local[:, 1].min() + 6.0]
    near = head[np.abs(head[:, 0]) < 30.0]
    upper_endplate = 0.5 * own.shape.height_mm
    if level.number <= 9:
        assert near[:, 2].max() > upper_endplate + 4.0 > upper_endplate > near[:, 2].min()
    else:
        assert near[:, 2].max() < upper_endplate + 3.0


def test_aorta_lies_in_front_on_the_left_and_the_azygos_on_the_right():
    aorta, azygos = PATIENT.solids[AORTA], PATIENT.solids[Contour(Structure.AZYGOS)]
    for level, placed in make_spine().vertebrae.items():
        if level not in LEVELS:
            continue
        z = placed.lps_from_own.origin[2]
        flat = _grid_of_points([-40, -80, z], [60, 40, z + 0.1], 0.5)
        middle = flat[aorta.signed_distance_mm(flat) < 0.0].mean(axis=0)
        vein = flat[azygos.signed_distance_mm(flat) < 0.0].mean(axis=0)
        assert middle[0] > 5.0 > -5.0 > vein[0]
        assert middle[1] < placed.lps_from_own.origin[1]


def test_twin_swaps_sides_everywhere_and_is_undone_by_a_second_mirror():
    twin = PATIENT.mirrored()
    assert twin.mirrored() is PATIENT
    assert twin.identity != PATIENT.identity and "TWIN" in twin.identity.name
    p = np.random.default_rng(2).uniform([-60, -60, -60], [60, 60, 60], (200, 3))
    mirrored = p * [-1.0, 1.0, 1.0]
    for contour, solid in PATIENT.solids.items():
        other = contour.side.other if contour.side else None
        named = Contour(contour.structure, contour.level, other, contour.part)
        found = twin.solids[named].signed_distance_mm(mirrored)
        assert found == pytest.approx(solid.signed_distance_mm(p), abs=1e-9)
