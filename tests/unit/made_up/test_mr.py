"""The made-up MR: contrast by hand, known offset, twins, frozen files."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Structure
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.made_up import gallery, mr
from vertebloc.made_up.patients import MadeUpPatient
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow.demo import SCANNED_AT, SEED

FROZEN = Path(__file__).resolve().parents[2] / "data" / "made_up_hashes.json"
ALL = tuple(name + twin for name in gallery.PATIENT_NAMES for twin in ("", " twin"))


def chosen(name: str) -> MadeUpPatient:
    plain, _, twin = name.partition(" ")
    patient = made_up.patient_named(plain)
    return patient.mirrored() if twin else patient


def coarse_grid(patient: MadeUpPatient) -> Grid:
    """Every sixth pixel, slices twice as thick; a twin's is the mirror image."""
    coarser = np.diag([6.0, 6.0, 2.0, 1.0])
    coarser[2, 3] = 0.0 if patient.twin_of is None else 1.0
    return Grid.from_matrix((40, 40, 10), mr.mr_grid(patient).lps_from_ijk.matrix @ coarser)


def seen_at(volume: Volume, mr_points: np.ndarray) -> np.ndarray:
    index = np.rint(volume.grid.lps_from_ijk.inverse.points(mr_points)).astype(int)
    inside = np.all((index >= 0) & (index < volume.grid.shape), axis=1)
    return volume.values[tuple(index[inside].T)].astype(float)


@cache
def near_t10() -> Volume:
    """The middle of the lead patient's stack at full resolution."""
    patient = made_up.lead_patient()
    grid = mr.mr_grid(patient).crop([60, 80, 6], [190, 170, 14])
    return mr.mr_volume(patient, grid, np.random.default_rng(1))


def test_contrast_is_as_a_t2_picture_has_it(rng: np.random.Generator) -> None:
    """By hand, common practice: fluid bright, cord grey, cortical bone and flowing blood dark.

    Points are found in the CT's solids and looked up through the known offset.
    """
    patient = made_up.lead_patient()
    move = mr.mr_from_ct(patient)
    p = rng.uniform([-25.0, -45.0, -30.0], [25.0, 50.0, 30.0], (30_000, 3))

    def signal(structure: Structure, deep_mm: float, level: str | None = None) -> float:
        solids = [
            solid
            for contour, solid in patient.of(structure).items()
            if level is None or contour.level == Level(level)
        ]
        depth = np.max([-s.signed_distance_mm(p) for s in solids], axis=0)
        inside = depth > deep_mm
        if structure is Structure.SAC:
            cord = next(iter(patient.of(Structure.CORD).values()))
            inside &= cord.signed_distance_mm(p) > 0.9
        assert np.count_nonzero(inside) > 5, structure
        return float(np.median(seen_at(near_t10(), move.points(p[inside]))))

    fluid, cord = signal(Structure.SAC, 0.9), signal(Structure.CORD, 2.0)
    marrow, disc = signal(Structure.VERTEBRA, 4.0, "T9"), signal(Structure.DISC, 2.0)
    tumour, blood = signal(Structure.TUMOUR, 3.0), signal(Structure.AORTA, 4.0)
    assert fluid > 1.3 * cord > 1.3 * blood
    assert tumour > 1.5 * marrow > 3.0 * blood
    assert fluid > disc > blood
    placed = gallery.spine_of("lead").vertebrae[Level("T9")]
    wall = placed.solid.signed_distance_mm(p)
    cortex = (np.abs(wall + 0.4) < 0.3) & (np.abs(p[:, 0]) < 6.0) & (p[:, 1] < -5.0)
    assert np.median(seen_at(near_t10(), move.points(p[cortex]))) < 0.8 * marrow


def test_the_offset_is_the_told_one() -> None:
    """By hand: R = Rz(2.5) Ry(-3) Rx(4); its angle from the trace; a point turned by hand."""
    move = mr.mr_from_ct(made_up.lead_patient())
    assert move.is_rigid
    assert move.origin == pytest.approx([11.0, -7.0, 16.0])
    # trace of Rz(c)Ry(b)Rx(a) = cos b cos c + cos a cos c + sin a sin b sin c + cos a cos b
    a, b, c = np.deg2rad([4.0, -3.0, 2.5])
    trace = np.cos(b) * np.cos(c) + np.cos(a) * np.cos(c) + np.cos(a) * np.cos(b)
    trace += np.sin(a) * np.sin(b) * np.sin(c)
    assert np.trace(move.matrix[:3, :3]) == pytest.approx(trace, abs=1e-12)
    # the z axis after Rx, then Ry, then Rz
    z = np.array([np.sin(b) * np.cos(a), -np.sin(a), np.cos(b) * np.cos(a)])
    turned = [z[0] * np.cos(c) - z[1] * np.sin(c), z[0] * np.sin(c) + z[1] * np.cos(c), z[2]]
    assert move.vectors([0.0, 0.0, 1.0])[0] == pytest.approx(turned, abs=1e-12)


def test_a_thick_slice_is_the_mean_of_what_lies_in_it() -> None:
    """Closed form: without noise a slice of 4 mm equals the mean of four of 1 mm within it."""
    patient = made_up.lead_patient()
    thick = mr.mr_grid(patient).crop([90, 100, 9], [130, 140, 10])
    thin = np.diag([1.0, 1.0, 0.25, 1.0])
    thin[2, 3] = 0.125 - 0.5
    grid = Grid.from_matrix((40, 40, 4), thick.lps_from_ijk.matrix @ thin)

    class Quiet:
        def standard_normal(self, shape, dtype):
            return np.zeros(shape, dtype=dtype)

    whole = mr.mr_volume(patient, thick, Quiet()).values[:, :, 0].astype(float)
    parts = mr.mr_volume(patient, grid, Quiet()).values.astype(float).mean(axis=2)
    # each thin slice is itself a mean within 1 mm where the thick one looks once per mm
    assert np.percentile(np.abs(whole - parts), 99) < 12.0
    assert np.abs(whole - parts).mean() < 2.0
    assert np.ptp(whole) > 200.0


@pytest.mark.slow
@pytest.mark.parametrize("name", ("lead", "scoliosis"))
def test_a_twins_mr_is_the_mirror_image(name: str) -> None:
    patient = made_up.patient_named(name)
    twin = patient.mirrored()
    one = mr.mr_volume(patient, coarse_grid(patient), np.random.default_rng(3))
    other = mr.mr_volume(twin, coarse_grid(twin), np.random.default_rng(3))
    grid = other.grid.lps_from_ijk.matrix
    assert np.linalg.det(grid[:3, :3]) > 0.0
    p = one.grid.lps_from_ijk.points([[3.0, 4.0, 2.0], [20.0, 18.0, 5.0]])
    index = np.rint(other.grid.lps_from_ijk.inverse.points(p * [-1, 1, 1])).astype(int)
    assert other.grid.lps_from_ijk.points(index) == pytest.approx(p * [-1, 1, 1])
    assert [other.values[tuple(i)] for i in index] == [one.values[3, 4, 2], one.values[20, 18, 5]]


def _hash_of(patient: MadeUpPatient, grid: Grid, folder: Path) -> str:
    volume = mr.mr_volume(patient, grid, np.random.default_rng(SEED))
    settings = SeriesSettings(
        seed_text="frozen MR", made_at=SCANNED_AT, description="made-up", kind="MR"
    )
    found = hashlib.sha256()
    for path in write_dicom_series(folder / "mr", volume, patient.identity, settings):
        found.update(path.name.encode())
        found.update(path.read_bytes())
    return found.hexdigest()


@pytest.mark.parametrize("name", ALL)
def test_files_are_frozen_small(name: str, tmp_path: Path) -> None:
    """Frozen when they were first looked at, like the CT's."""
    patient = chosen(name)
    frozen = json.loads(FROZEN.read_text(encoding="utf-8"))
    assert _hash_of(patient, coarse_grid(patient), tmp_path) == frozen["mr small"][name]
    assert set(frozen["mr small"]) == set(ALL)


@pytest.mark.full
@pytest.mark.slow
@pytest.mark.parametrize("name", ALL)
def test_files_are_frozen_at_full_size(name: str, tmp_path: Path) -> None:
    patient = chosen(name)
    frozen = json.loads(FROZEN.read_text(encoding="utf-8"))
    assert _hash_of(patient, mr.mr_grid(patient), tmp_path) == frozen["mr full"][name]
