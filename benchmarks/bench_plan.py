"""The whole chain on the made-up patient, and the time from a moved cut to all face margins.

Figures are asked for in the issue that brought this in: chain under 20 s and 2 GiB, all face
margins and allowances under 50 ms. Kernels are compiled once before; the first run on a new
machine takes some ten seconds more.
"""

import resource
import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from vertebloc import made_up
from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.case.choices import Choices
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.resection import collect_solids, measure_bone_faces
from vertebloc.resection.fates import plan_arch
from vertebloc.resection.piece import prepare_bones
from vertebloc.resection.placing import place_cuts
from vertebloc.workflow import import_case, plan_case
from vertebloc.workflow.demo import SCANNED_AT, SEED


def write_patient(folder):
    patient = made_up.lead_patient()
    grid = made_up.default_grid(patient)
    ct = made_up.hounsfield_volume(patient, grid, np.random.default_rng(SEED))
    settings = SeriesSettings(seed_text="bench", made_at=SCANNED_AT, description="made up")
    write_dicom_series(folder / "ct", ct, patient.identity, settings)
    labels = made_up.label_map(patient, grid)
    write_nifti(folder / "labels.nii.gz", labels.volume)
    write_names_file(folder / "names.json", NamesFile(labels=dict(labels.names)))
    return labels, patient.level


def chain_s(folder, case):
    start = time.perf_counter()
    import_case(folder / "ct", case, labels=folder / "labels.nii.gz", names=folder / "names.json")
    imported = time.perf_counter()
    plan_case(case)
    return imported - start, time.perf_counter() - imported


def drag_ms(labels, level, times=25):
    contours = ContourSet(labels)
    anatomy = describe_anatomy(contours, diseased=level)
    solids = collect_solids(contours, anatomy, level)
    vertebra, choices = anatomy.vertebrae[level], Choices()
    bones = prepare_bones(solids, vertebra)
    cuts = place_cuts(anatomy, solids, bones, choices, plan_arch(vertebra, solids, choices))
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        faces = measure_bone_faces(bones, solids, vertebra, cuts)
        taken.append((time.perf_counter() - start) * 1e3)
    return statistics.median(taken), len(faces)


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        labels, level = write_patient(folder)
        first = chain_s(folder, folder / "first")
        runs = [chain_s(folder, folder / f"case{n}") for n in range(3)]
        imported = statistics.median(r[0] for r in runs)
        planned = statistics.median(r[1] for r in runs)
        drag, faces = drag_ms(labels, level)
    peak_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"chain, first run in this process: {sum(first):.1f} s")
    print(f"chain, median of 3: import {imported:.1f} s + plan {planned:.1f} s = "
          f"{imported + planned:.1f} s (asked: under 20)")  # fmt: skip
    print(f"peak memory, making the patient included: {peak_gib:.2f} GiB (asked: under 2)")
    print(f"margins and allowances of {faces} faces: {drag:.1f} ms, median of 25 (asked: < 50)")
    return 0 if imported + planned < 20 and drag < 50 else 1


if __name__ == "__main__":
    sys.exit(main())
