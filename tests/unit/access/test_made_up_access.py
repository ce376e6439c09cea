"""Ring and front of made-up patients whose tumours are known, and of the real CT (a run test)."""

import json
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.access.unmeasured import Unmeasured
from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import KindChoice
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.exchange.nifti import read_nifti_labels
from vertebloc.made_up.gallery import patient_named
from vertebloc.reports.access_document import add_access, front_document, ring_document
from vertebloc.reports.access_pages import access_pages
from vertebloc.reports.access_views import front_view, ring_view
from vertebloc.resection import collect_solids, plan_resection
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid
from vertebloc.staging import Answer, StagingSettings, stage_tumour
from vertebloc.workflow import measure_access as measuring
from vertebloc.workflow.measure_access import measure_access, prepare_access

sys.path.insert(0, str(Path(__file__).parents[3] / "tools"))
from plan_real_ct import with_tumour

pytestmark = pytest.mark.slow
SCHEMA = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())
MIRROR = np.diag([-1.0, 1.0, 1.0, 1.0])


def parts_of(contours, level, choices):
    """All that ring and front are judged on."""
    anatomy = describe_anatomy(contours, diseased=level)
    solids = collect_solids(contours, anatomy, level)
    staging = stage_tumour(
        canal=anatomy.canal, vertebra=anatomy.vertebrae[level], tumour=solids.tumour_field,
        bone=solids.bone_field, sac=solids.sac_field, tumour_extent=solids.tumour_extent,
        settings=StagingSettings(contour_error_mm=choices.contour_error_mm),
    )  # fmt: skip
    plan = plan_resection(anatomy=anatomy, solids=solids, choices=choices, level=level)
    ground = prepare_access(contours, anatomy, solids, choices.contour_error_mm)
    return ground, anatomy, solids, staging, plan, choices


def measured(contours, level, choices=None, error_mm=1.0):
    return measure_access(
        *parts_of(contours, level, choices or Choices(contour_error_mm=error_mm))
    )


@cache
def made_up_parts(name, *, twin=False):
    """On 1 x 1 x 1.5 mm voxels; the twin on the mirrored grid, so that voxels mirror exactly."""
    patient = patient_named(name)
    fine = made_up.default_grid(patient)
    matrix = fine.lps_from_ijk.matrix @ np.diag([2.0, 2.0, 1.5, 1.0])
    shape = (fine.shape[0] // 2, fine.shape[1] // 2, int(fine.shape[2] / 1.5))
    if twin:
        matrix, patient = MIRROR @ matrix, patient.mirrored()
    labels = made_up.label_map(patient, Grid.from_matrix(shape, matrix))
    kind = KindChoice.ARCH_ONLY if name == "arch" else KindChoice.WHOLE_BODY
    contours = ContourSet(labels)
    return contours, parts_of(contours, patient.level, Choices(kind=kind))


@cache
def made_up_access(name, *, twin=False):
    return measure_access(*made_up_parts(name, twin=twin)[1])


def side_of(ring, side):
    return next(one for one in ring.openings if one.side is side)


def test_lead_patient_opens_on_the_right_and_goes_round_from_behind():
    """Tumour holds the left pedicle (see made_up.tumours); the right half of the ring is free."""
    access = made_up_access("lead")
    ring = access.ring
    assert ring.answer is Answer.YES
    assert side_of(ring, Side.RIGHT).answer is Answer.YES
    assert side_of(ring, Side.LEFT).answer is Answer.NO
    assert "pedicle" in side_of(ring, Side.LEFT).words
    assert any("rules say no" in line for line in ring.disagreements)  # left facet sector
    assert ring_document(ring)["answer"] == "yes"
    assert access.front.answer.value == "posterior alone"
    # the aorta lies on the left, the azygos vein on the right: each is nearer there
    gaps = {
        (one.side, n.name): n.gap_mm
        for one in access.front.stations if one.name == "cranial cut" for n in one.neighbours
    }  # fmt: skip
    assert gaps[Side.LEFT, "aorta"] < gaps[Side.RIGHT, "aorta"]
    assert gaps[Side.RIGHT, "azygos vein"] < gaps[Side.LEFT, "azygos vein"]


def test_mirror_twin_gives_the_mirrored_numbers_to_a_tenth_of_a_millimetre():
    lead, twin = made_up_access("lead"), made_up_access("lead", twin=True)
    one, other = side_of(lead.ring, Side.RIGHT), side_of(twin.ring, Side.LEFT)
    assert other.answer is one.answer
    assert other.needed_mm == pytest.approx(one.needed_mm, abs=0.1)
    assert (other.first_deg, other.last_deg) == pytest.approx((-one.last_deg, -one.first_deg))
    there = {(s.name, s.side): s for s in twin.front.stations}
    for station in lead.front.stations:
        mirrored = there[station.name, station.side.other]
        assert mirrored.way.length_mm == pytest.approx(station.way.length_mm, abs=0.1)
        theirs = {n.name: n.gap_mm for n in mirrored.neighbours}
        for near in station.neighbours:
            assert theirs[near.name] == pytest.approx(near.gap_mm, abs=0.1), near.name


def test_both_pedicles_give_the_least_contaminated_opening():
    access = made_up_access("both-pedicles")
    ring = access.ring
    assert ring.answer is Answer.NO and ring.least is not None
    assert ring.least.margin_class == "intralesional"
    # a pedicle's cross-section holds the cone of tumour: its radius there is half the pedicle's
    # width less 0.3 mm, some 3 to 5 mm, so that 25 to 80 mm2 are crossed
    assert 25.0 < ring.least.crossed_mm2 < 80.0
    assert "pedicle" in ring.least.place
    written = ring_document(ring)
    assert written["least_contaminated"]["tumour_crossed_mm2"] > 0.0
    assert "Least contaminated opening" in written["words"]


def test_arch_only_needs_no_front():
    access = made_up_access("arch")
    assert access.ring.answer is Answer.YES
    assert {one.side for one in access.ring.openings} == {Side.LEFT, Side.RIGHT}
    assert front_document(access.front)["planes"] == []


def test_a_chordoma_of_l3_is_at_the_end_of_the_fingers_reach():
    """A body of L3 is some 45 mm wide and 35 mm deep: half a way round is about 50 mm."""
    front = made_up_access("lumbar").front
    ways = [one.way.length_mm for one in front.stations if one.is_cut]
    assert min(ways) > 44.0 and max(ways) < 56.0
    assert front.answer.value == "cannot tell" and front.would_settle


def breaks_off(error):
    def measure(*_given, **_named):
        raise error

    return measure


@pytest.mark.parametrize("name", ["nibbled_on_ring", "judge_ring"])
@pytest.mark.parametrize("error", [InputError("the wall has a hole"), IndexError("out of bounds")])
def test_a_ring_that_cannot_be_measured_is_cannot_tell_and_the_front_is_still_told(
    monkeypatch, name, error
):
    """Whoever plans keeps the plan, and reads why the ring is not told."""
    parts = made_up_parts("lead")[1]
    monkeypatch.setattr(measuring, name, breaks_off(error))
    monkeypatch.setattr(measuring, "station_grounds", lambda *_: ())
    access = measure_access(*parts)
    written = ring_document(access.ring)
    assert written["answer"] == "cannot_tell"
    assert str(error) in written["words"] and str(error) in written["decided_by"]
    assert ("a defect of this program" in written["words"]) == isinstance(error, IndexError)
    assert written["rules"] == ring_document(made_up_access("lead").ring)["rules"]
    assert access.front.answer.value == "posterior alone"
    jsonschema.validate(written, SCHEMA["properties"]["ring"])
    calm = {"answer_parts": [{"about": "still open", "words": "End."}], "warnings": []}
    document = add_access(calm, access.ring, access.front)
    assert written["words"] in document["answer"]
    assert ring_view(document).answer[0].must_not_be_overlooked
    pages = access_pages(document, lambda *_: None)
    assert pages[0].must_not_be_overlooked and pages[0].table.rows == ()


@pytest.mark.parametrize("name", ["station_grounds", "measure_station", "judge_stations"])
def test_a_front_that_cannot_be_measured_is_cannot_tell_with_its_reason(monkeypatch, name):
    ground, *rest = made_up_parts("lead")[1]
    monkeypatch.setattr(measuring, name, breaks_off(NoSolutionError("no wall to follow", ())))
    access = measure_access(replace(ground, ring=Unmeasured("not asked here")), *rest)
    written = front_document(access.front)
    assert written["answer"] == "cannot_tell"
    assert "no wall to follow" in written["words"] and "To settle it" in written["words"]
    jsonschema.validate(written, SCHEMA["properties"]["front"])
    assert front_view({"front": written}).answer[0].must_not_be_overlooked


def test_what_no_cut_changes_may_break_off_as_well(monkeypatch):
    """No bone about the canal: the ring is not told, the plan and the front are."""
    contours, (ground, anatomy, solids, *_) = made_up_parts("lead")
    monkeypatch.setattr(measuring, "unroll_ring", breaks_off(InputError("no bone lies about")))
    broken = prepare_access(contours, anatomy, solids, 1.0)
    assert "no bone lies about" in broken.ring.reason
    assert set(broken.around.structures) == set(ground.around.structures)
    monkeypatch.setattr(measuring, "collect_surroundings", breaks_off(InputError("no mask")))
    broken = prepare_access(contours, anatomy, solids, 1.0)
    assert "no mask" in broken.ring.reason and "no mask" in broken.around.reason


def test_given_up_in_between_it_goes_no_further(monkeypatch):
    parts = made_up_parts("arch")[1]
    asked = []
    true = measuring.judge_ring
    monkeypatch.setattr(measuring, "judge_ring", lambda *a: asked.append(1) or true(*a))
    steps = measuring.access_in_steps(*parts)
    next(steps)
    steps.close()
    assert asked == []
    steps = measuring.access_in_steps(*parts)
    next(steps), next(steps)
    assert asked == [1]


@pytest.mark.real_data
@pytest.mark.full
@pytest.mark.parametrize("level", ("T6", "T9"))
def test_real_ct_with_a_made_up_tumour(thorax_ct_folder, level):
    """A run test: no sac is outlined there, the cord stands for it; no clinical claim."""
    labels, _ = read_nifti_labels(
        thorax_ct_folder / "labels.nii.gz", thorax_ct_folder / "labels.json"
    )
    ill, _ = with_tumour(labels, Level(level))
    access = measured(ContourSet(ill), Level(level))
    ring = ring_document(access.ring)
    assert ring["sac_size_from"] == "spinal cord" and not ring["sac_is_outlined"]
    # the ellipsoid lies in the body: the whole arch is free on both sides
    assert ring["answer"] == "yes"
    front = front_document(access.front)
    assert {plane["side"] for plane in front["planes"]} == {"left", "right"}
    # wall of a thoracic body from joint to front: a man's T6 and T9 bodies are 27 to 35 mm
    # wide, so that a quarter of the way round is no less than 20 and no more than 60 mm
    assert all(20.0 < plane["wall_mm"] < 60.0 for plane in front["planes"] if plane["is_cut"])
    names = {one["name"] for plane in front["planes"] for one in plane["structures"]}
    assert "aorta" in names
