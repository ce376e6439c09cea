"""Each made-up patient's mirror twin is planned: every answer is the mirror image, to 0.1 mm.

Law: mirroring the patient mirrors the plan. The twin lies on the mirrored voxels, so that what
differs comes from a side that is treated otherwise than the other, not from sampling.
"""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy import ContourSet
from vertebloc.case.choice_words import KindChoice
from vertebloc.case.choices import Choices, SidesChoice
from vertebloc.case.level_choice import LevelChoice
from vertebloc.errors import VertBlocError
from vertebloc.made_up import gallery
from vertebloc.resection import plan_resection
from vertebloc.space.grids import Grid
from vertebloc.workflow.compute_plan import prepare_plan
from vertebloc.workflow.saying import say_nothing

pytestmark = pytest.mark.slow

MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])
SWAP = {"left": "right", "right": "left"}


def mirrored_words(words):
    return " ".join(SWAP.get(word, word) for word in words.split(" "))


def planned(patient, space):
    fine = made_up.default_grid(patient) if space is None else None
    if fine is None:
        fine = made_up.default_grid(patient.mirrored())
    matrix = np.array(fine.lps_from_ijk.matrix)
    matrix[:3, :3] *= 2.0
    if space is not None:
        matrix = space @ matrix
    grid = Grid.from_matrix(tuple(n // 2 for n in fine.shape), matrix)
    contours = ContourSet(made_up.label_map(patient, grid))
    choices = Choices(
        level=LevelChoice(diseased=str(patient.level)),
        sides=SidesChoice(confirmed_by="the test", reason="a mirror twin by design"),
        kind=KindChoice.ARCH_ONLY if "ARCH" in patient.identity.name else KindChoice.WHOLE_BODY,
    )
    prepared = prepare_plan(contours, choices, say_nothing)
    plan = plan_resection(
        anatomy=prepared.anatomy, solids=prepared.solids, choices=choices, level=prepared.level
    )
    return prepared, plan


#: a minute each
TWINS = [pytest.param(name, marks=pytest.mark.full) for name in gallery.PATIENT_NAMES]


@pytest.mark.parametrize("name", TWINS)
def test_the_twin_has_the_mirrored_plan(name):
    patient = made_up.patient_named(name)
    try:
        prepared, plan = planned(patient, None)
    except VertBlocError as error:
        # what cannot be planned by the rule cannot be for the twin either, for the same reason
        with pytest.raises(type(error)) as twin_error:
            planned(patient.mirrored(), MIRROR)
        assert mirrored_words(str(twin_error.value)) == str(error)
        return
    twin_prepared, twin = planned(patient.mirrored(), MIRROR)
    assert twin.open_side is plan.open_side.other
    assert twin.tumour_volume_ml == pytest.approx(plan.tumour_volume_ml, abs=0.01)
    assert twin.tumour_left.total_ml == pytest.approx(plan.tumour_left.total_ml, abs=0.01)
    faces = {face.name: face for face in plan.faces}
    assert {mirrored_words(face.name) for face in twin.faces} == set(faces)
    for face in twin.faces:
        own = faces[mirrored_words(face.name)]
        assert face.margin_mm == pytest.approx(own.margin_mm, abs=0.1), face.name
        if own.allowance is not None:
            assert face.allowance.offset_mm == pytest.approx(own.allowance.offset_mm, abs=0.1)
            assert face.allowance.tilt_deg == pytest.approx(own.allowance.tilt_deg, abs=0.3)
    assert {mirrored_words(rib): fate for rib, fate in twin.rib_fates.items()} == dict(
        plan.rib_fates
    )
    for one in twin_prepared.owners.roots:
        own = prepared.owners.root(one.level, one.side.other)
        assert one.lps_mm * [-1, 1, 1] == pytest.approx(own.lps_mm, abs=0.1)
