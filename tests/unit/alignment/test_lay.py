"""Known placements: the made-up MR on the made-up CT, a bent back, a stretched truth."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.alignment import Trust, fit_landmarks, lay_on_ct
from vertebloc.alignment.error_at_tumour import _summary
from vertebloc.alignment.lay import Outlined
from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.made_up import mr
from vertebloc.space.transforms import Transform

#: places that a person would click around T10 of the lead patient, patient LPS of the CT
CLICKED = np.array([[0.0, -14, 13], [0, -13, -12], [-18, 5, 0], [2, 40, -16], [14, 0, -10]])


def turn_between_deg(a: Transform, b: Transform) -> float:
    left = (a @ b.inverse).matrix[:3, :3]
    return float(np.degrees(np.arccos(np.clip((np.trace(left) - 1.0) / 2.0, -1.0, 1.0))))


@pytest.mark.slow
def test_the_made_up_mr_is_found_where_it_was_put(scenes: ModuleType) -> None:
    """The transform by which the MR was made; asked for: 0.5 mm and 0.5 degrees."""
    fixed = scenes.ct_of("lead")
    patient = made_up.lead_patient()
    truth = mr.mr_from_ct(patient)
    rng = np.random.default_rng(4)
    volume = mr.mr_volume(patient, mr.mr_grid(patient), rng)
    clicks = truth.points(CLICKED) + rng.normal(0.0, 1.5, CLICKED.shape)
    start = fit_landmarks(CLICKED, clicks)
    laid = lay_on_ct(fixed, volume, start, rng)
    tumour = patient.solids[Contour(Structure.TUMOUR)]
    p = rng.uniform(*tumour.bounds_mm(), (4000, 3))
    p = p[tumour.signed_distance_mm(p) < 0.0]
    off = np.linalg.norm(laid.moving_from_fixed.points(p) - truth.points(p), axis=1)
    first = np.linalg.norm(start.moving_from_fixed.points(p) - truth.points(p), axis=1)
    assert off.max() < 0.5 < first.max()
    assert turn_between_deg(laid.moving_from_fixed, truth) < 0.5
    assert laid.trust is Trust.YES and laid.reasons == ()
    assert off.mean() <= laid.within_mm < 1.5
    assert {name for name, _ in laid.by_neighbour_mm} == {"T9", "T11"}
    assert laid.landmarks_off_mm is not None and laid.landmarks_off_mm < 6.0


def test_what_is_missing_in_the_ct_is_said(scenes: ModuleType) -> None:
    fixed = scenes.ct_of(scenes.ALIKE)
    second = scenes.scan(fixed, np.random.default_rng(1), plain=True)
    rng = np.random.default_rng(1)
    unknown = Outlined(ct=fixed.ct, labels=fixed.labels, level=Level("L4"))
    with pytest.raises(InputError, match="L4 is not outlined in the CT: outline it and its"):
        lay_on_ct(unknown, second.volume, second.mr_from_ct, rng)
    alone = {
        value: named
        for value, named in fixed.labels.names.items()
        if named[0].structure is Structure.SAC or named[0].level == fixed.level
    }
    lonely = Outlined(ct=fixed.ct, labels=LabelMap(fixed.labels.volume, alone), level=fixed.level)
    with pytest.raises(InputError, match=r"no neighbour of T10 is outlined .* one above and one"):
        lay_on_ct(lonely, second.volume, second.mr_from_ct, rng)


def test_searches_that_ended_elsewhere_are_counted_not_averaged() -> None:
    """By hand: ends 1 and 2 mm away came back, one 9 mm away did not; rms of 1, 1, 2, 2."""
    found = [np.array([1.0, 1.0]), np.array([2.0, 2.0]), np.array([9.0, 9.0])]
    spread = _summary(found)
    assert (spread.tries, spread.came_back, spread.largest_mm) == (12, 2, 2.0)
    assert spread.rms_mm == pytest.approx(np.sqrt(2.5))
    assert _summary([]).largest_mm == np.inf
