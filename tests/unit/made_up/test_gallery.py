"""All made-up patients: every structure, published sizes, closed forms, twins, frozen files."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.made_up import gallery
from vertebloc.made_up.patients import MadeUpPatient
from vertebloc.made_up.side_branches import ROOT_RADIUS_MM, root_course, segmental_course
from vertebloc.made_up.sizes import LEAD_PLAN
from vertebloc.published import morphometry
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid
from vertebloc.workflow.demo import SCANNED_AT, SEED

FROZEN = Path(__file__).resolve().parents[2] / "data" / "made_up_hashes.json"
NAMES = gallery.PATIENT_NAMES
FURTHER = NAMES[1:]
SINGLE = (
    Structure.SKIN, Structure.AORTA, Structure.AZYGOS, Structure.INFERIOR_CAVA,
    Structure.OESOPHAGUS, Structure.SAC, Structure.CORD, Structure.TUMOUR, Structure.TRACT,
)  # fmt: skip


def plan_of(name: str):
    return LEAD_PLAN if name == "lead" else gallery._STORIES[name].plan


def points_in(solid, rng, count=20_000):
    low, high = solid.bounds_mm()
    p = rng.uniform(np.maximum(low, -150.0), np.minimum(high, 150.0), (count, 3))
    return p[solid.signed_distance_mm(p) < 0.0]


@pytest.mark.parametrize("name", NAMES)
def test_every_patient_has_every_structure(name: str) -> None:
    """By hand, from the list of structures that each made-up patient must have."""
    found = set(made_up.patient_named(name).solids)
    assert {Contour(s) for s in SINGLE} <= found
    plan = plan_of(name)
    for side in Side:
        assert {Contour(Structure.LUNG, side=side), Contour(Structure.MUSCLE, side=side)} <= found
        for level in plan.outlined:
            assert Contour(Structure.ROOT, level, side) in found
            assert Contour(Structure.SEGMENTAL_VESSEL, level, side) in found
            assert (Contour(Structure.RIB, level, side) in found) == (level.region == "T")
    for level in plan.outlined:
        assert Contour(Structure.VERTEBRA, level) in found
    for level in plan.outlined[:-1]:
        assert Contour(Structure.DISC, level) in found
    patient = made_up.patient_named(name)
    assert "MADE-UP" in patient.identity.name and "no real person" in patient.about


def test_thirteen_ribs_and_the_unknown_patient() -> None:
    pairs = {c.level for c in made_up.patient_named("thirteen-ribs").of(Structure.RIB)}
    assert max(pairs) == Level("T13") and len(pairs) == 5
    with pytest.raises(InputError, match="there is no made-up patient 'x': there are lead, lumb"):
        made_up.patient_named("x")


@pytest.mark.parametrize("name", NAMES)
def test_sizes_are_the_published_ones(name: str) -> None:
    """FACTS-level means by level ([panjabi1991] as quoted in published/), read off the solids."""
    spine = gallery.spine_of(name)
    for level in plan_of(name).outlined:
        if level.name == "T13":
            continue  # nothing is published: invented
        placed = spine.vertebrae[level]
        sizes = morphometry.VERTEBRA_SIZES[level.name]
        body = placed.shape._body()

        def run(start, along, body=body):
            t = np.arange(-40.0, 40.0, 0.02)
            return 0.02 * np.count_nonzero(
                body.signed_distance_mm(np.asarray(start) + t[:, None] * np.asarray(along)) < 0.0
            )

        top = 0.5 * placed.shape.height_mm - 0.8
        for z, width in ((top, sizes.upper_width), (-top, sizes.lower_width)):
            assert width.low - 0.8 <= run([0.0, 0.0, z], [1.0, 0.0, 0.0]) <= width.high + 0.8
        height = run([0.0, 0.5 * placed.shape.depth_mm - 2.0, 0.0], [0.0, 0.0, 1.0])
        assert sizes.posterior_height.low - 0.3 <= height <= sizes.posterior_height.high + 0.3
        p = placed.at([[0.0, placed.shape.canal_middle_mm, 0.0]])
        room = placed.solid.signed_distance_mm(p)[0]
        assert room <= 0.5 * min(sizes.canal_depth.high, sizes.canal_width.high) + 0.1
        assert room >= 0.5 * min(sizes.canal_depth.low, sizes.canal_width.low) - 1.0


@pytest.mark.parametrize("name", NAMES)
def test_neighbouring_vertebrae_do_not_touch(name: str, rng: np.random.Generator) -> None:
    """Closed form: no point lies in two vertebrae, or in a vertebra and the sac or a rib."""
    spine = gallery.spine_of(name)
    patient = made_up.patient_named(name)
    moved = gallery.after_from_before() if name == "after" else None
    levels = plan_of(name).outlined
    for above, below in pairwise(levels):
        a, b = spine.vertebrae[above].solid, spine.vertebrae[below].solid
        p = points_in(a, rng, 40_000)
        assert len(p) > 300
        assert not np.any(b.signed_distance_mm(p) < 0.0), (above, below)
        others = [patient.solids[Contour(Structure.SAC)]]
        ribs = (Contour(Structure.RIB, n, side) for n in (above, below) for side in Side)
        others += [patient.solids[c] for c in ribs if c in patient.solids]
        here = p if moved is None else moved.points(p)
        for other in others:
            assert not np.any(other.signed_distance_mm(here) < 0.0), above


@pytest.mark.parametrize("name", FURTHER)
def test_cord_lies_in_the_sac(name: str, rng: np.random.Generator) -> None:
    patient = made_up.patient_named(name)
    p = points_in(patient.solids[Contour(Structure.CORD)], rng)
    p = p[np.abs(p[:, 2]) < 80.0]
    assert len(p) > 50
    assert np.all(patient.solids[Contour(Structure.SAC)].signed_distance_mm(p) < -0.2)


@pytest.mark.parametrize("name", NAMES)
def test_roots_run_below_their_own_pedicle_from_the_sac(name: str) -> None:
    """Closed form: a root is a rod of known course; its least distance to its pedicle is known."""
    spine = gallery.spine_of(name)
    patient = made_up.patient_named("before" if name == "after" else name)
    for level in plan_of(name).outlined:
        placed = spine.vertebrae[level]
        shape = placed.shape
        for side in Side:
            root = patient.solids[Contour(Structure.ROOT, level, side)]
            course = root_course(placed, float(side.sign))
            radius = ROOT_RADIUS_MM[level.region]
            # through its points, up to the rounding of the curve's 2 mm steps
            ends = root.signed_distance_mm(course[[0, -1]])
            assert ends == pytest.approx(-radius, abs=1e-6)  # a square root near nought
            assert np.all(root.signed_distance_mm(course) < -radius + 0.3)
            assert patient.solids[Contour(Structure.SAC)].signed_distance_mm(course[:1])[0] < 0.0
            below = shape.pedicle_z_mm - 0.5 * shape.sizes.pedicle_height.value
            edge = placed.at([side.sign * shape.pedicle_x_mm, shape.canal_middle_mm - 1.0, below])
            assert root.signed_distance_mm(edge)[0] == pytest.approx(1.0, abs=0.6)
            assert np.sign(course[-1, 0] - placed.lps_from_own.origin[0]) == side.sign


@pytest.mark.parametrize("name", NAMES)
def test_segmental_vessels_run_at_mid_body_clear_of_bone(name: str) -> None:
    spine = gallery.spine_of(name)
    patient = made_up.patient_named("before" if name == "after" else name)
    for level in plan_of(name).outlined:
        placed = spine.vertebrae[level]
        for side in Side:
            rod = patient.solids[Contour(Structure.SEGMENTAL_VESSEL, level, side)]
            points = segmental_course(placed, float(side.sign))
            assert rod.signed_distance_mm(points) == pytest.approx(-1.3, abs=1e-6)
            own = placed.lps_from_own.inverse.points(points)
            assert np.allclose(own[:, 2], -0.5, atol=1e-9)
            assert np.all(np.sign(own[:, 0]) == side.sign)
            assert np.all(placed.solid.signed_distance_mm(points) > 1.3)  # its radius


def test_tumours_lie_where_the_stories_say(rng: np.random.Generator) -> None:
    """By hand: which part of the vertebra is taken, and what must be free."""

    def own(name):
        patient = made_up.patient_named(name)
        p = points_in(patient.solids[Contour(Structure.TUMOUR)], rng, 40_000)
        placed = gallery.spine_of(name).vertebrae[patient.level]
        return patient, placed, placed.lps_from_own.inverse.points(p)

    patient, placed, p = own("arch")
    assert p[:, 1].min() > placed.shape.arch_mm
    patient, placed, p = own("both-pedicles")
    x, z = placed.shape.pedicle_x_mm, placed.shape.pedicle_z_mm
    tumour = patient.solids[Contour(Structure.TUMOUR)]
    for side in (1.0, -1.0):
        middle = placed.at([side * x, placed.shape.canal_middle_mm - 4.0, z])
        assert tumour.signed_distance_mm(middle)[0] < -3.0
    for name in ("thirteen-ribs", "scoliosis"):
        _, _, p = own(name)
        assert (p[:, 0] < 0.0).mean() > 0.95
    patient, placed, p = own("lumbar")
    tumour = patient.solids[Contour(Structure.TUMOUR)]
    for level in ("L2", "L3", "L4"):  # the roots that must be kept are free
        for side in Side:
            root = patient.solids[Contour(Structure.ROOT, Level(level), side)]
            q = points_in(root, rng, 40_000)
            assert len(q) > 200 and tumour.signed_distance_mm(q).min() > 0.5
    sac = patient.solids[Contour(Structure.SAC)]
    q = points_in(tumour, rng, 60_000)
    assert 0.2 < sac.signed_distance_mm(q).min() < 1.5  # the sac rides on it


def test_before_and_after_the_drug(rng: np.random.Generator) -> None:
    """Closed form: half axes 0.8 times as long; the patient moved rigidly by a known transform."""
    before, after = made_up.patient_named("before"), made_up.patient_named("after")
    assert before.identity == after.identity and before.level == after.level == Level("L1")
    by = made_up.after_from_before()
    assert np.linalg.det(by.matrix[:3, :3]) == pytest.approx(1.0)
    angle = np.degrees(np.arccos((np.trace(by.matrix[:3, :3]) - 1.0) / 2.0))
    assert angle == pytest.approx(3.0)
    bone = Contour(Structure.VERTEBRA, Level("L2"))
    p = rng.uniform(-50.0, 50.0, (500, 3))
    assert after.solids[bone].signed_distance_mm(by.points(p)) == pytest.approx(
        before.solids[bone].signed_distance_mm(p), abs=1e-9
    )
    centre = gallery.spine_of("before").vertebrae[Level("L1")].at([4.0, -1.0, 0.0])
    tumour = Contour(Structure.TUMOUR)
    # in the middle of an ellipsoid the distance is its least half axis
    assert before.solids[tumour].signed_distance_mm(centre)[0] == pytest.approx(-9.0, abs=1e-6)
    assert after.solids[tumour].signed_distance_mm(by.points(centre))[0] == pytest.approx(
        -7.2, abs=1e-6
    )


@pytest.mark.parametrize("name", NAMES)
def test_twins_swap_sides(name: str, rng: np.random.Generator) -> None:
    patient = made_up.patient_named(name)
    twin = patient.mirrored()
    p = rng.uniform(-60.0, 60.0, (40, 3))
    for contour, solid in patient.solids.items():
        other = contour.side.other if contour.side else None
        named = Contour(contour.structure, contour.level, other, contour.part)
        assert twin.solids[named].signed_distance_mm(p * [-1, 1, 1]) == pytest.approx(
            solid.signed_distance_mm(p), abs=1e-9
        )


def test_the_curve_to_the_side_is_as_told() -> None:
    """By hand: 12 and -11 degrees between T7 and T12 make a curve of 23 degrees."""
    spine = gallery.spine_of("scoliosis")
    up = [spine.vertebrae[Level(n)].lps_from_own.matrix[:3, 2] for n in ("T7", "T12")]
    aside = [np.degrees(np.arctan2(axis[0], axis[2])) for axis in up]
    assert aside[0] - aside[1] == pytest.approx(23.0, abs=0.5)
    for placed in spine.vertebrae.values():
        assert np.linalg.det(placed.lps_from_own.matrix[:3, :3]) == pytest.approx(1.0)


@cache
def _frozen() -> dict[str, dict[str, str]]:
    return json.loads(FROZEN.read_text(encoding="utf-8"))


def _hash_of(patient: MadeUpPatient, grid: Grid, folder: Path) -> str:
    """One hash of all files: the CT as DICOM, the outlines as NIfTI, the names."""
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(SEED))
    settings = SeriesSettings(seed_text="frozen", made_at=SCANNED_AT, description="made-up")
    write_dicom_series(folder / "ct", ct, patient.identity, settings)
    labels = made_up.label_map(patient, grid)
    write_nifti(folder / "outlines.nii", labels.volume)
    write_names_file(folder / "outlines.json", NamesFile(labels=dict(labels.names)))
    found = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        found.update(path.relative_to(folder).as_posix().encode())
        found.update(path.read_bytes())
    return found.hexdigest()


def _chosen(name: str) -> MadeUpPatient:
    plain, _, twin = name.partition(" ")
    patient = made_up.patient_named(plain)
    return patient.mirrored() if twin else patient


ALL = tuple(name + twin for name in NAMES for twin in ("", " twin"))


def _small_grid(patient: MadeUpPatient) -> Grid:
    fine = made_up.default_grid(patient)
    return Grid.from_matrix((86, 86, 48), fine.lps_from_ijk.matrix @ np.diag([6.0, 6.0, 4.0, 1.0]))


@pytest.mark.parametrize("name", ALL)
def test_files_are_frozen_small(name: str, tmp_path: Path) -> None:
    """Frozen when they were first looked at: a later change adds a patient, it bends none."""
    patient = _chosen(name)
    assert _hash_of(patient, _small_grid(patient), tmp_path) == _frozen()["small"][name]
    assert set(_frozen()["small"]) == set(_frozen()["full"]) == set(ALL)


@pytest.mark.full
@pytest.mark.slow
@pytest.mark.parametrize("name", ALL)
def test_files_are_frozen_at_full_size(name: str, tmp_path: Path) -> None:
    patient = _chosen(name)
    assert _hash_of(patient, made_up.default_grid(patient), tmp_path) == _frozen()["full"][name]
