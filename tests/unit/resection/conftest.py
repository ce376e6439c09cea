"""The lead made-up patient on a coarser grid, planned once for all tests."""

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import Choices
from vertebloc.resection import collect_solids, plan_resection
from vertebloc.space.grids import Grid

T10 = Level("T10")


class Planned:
    """Label map, anatomy, solids and plan of one patient."""

    def __init__(self, label_map, choices=None, level=T10):
        self.label_map = label_map
        contours = ContourSet(label_map)
        self.anatomy = describe_anatomy(contours, diseased=level)
        self.vertebra = self.anatomy.vertebrae[level]
        self.solids = collect_solids(contours, self.anatomy, level)
        self.plan = self.again(choices or Choices())

    def again(self, choices):
        return plan_resection(
            anatomy=self.anatomy, solids=self.solids, choices=choices, level=self.solids.level
        )

    def face(self, name):
        return next(face for face in self.plan.faces if face.name == name)


def coarse_grid(patient):
    """Every second voxel of the patient's own grid in the slices: 1 x 1 x 1 mm."""
    fine = made_up.default_grid(patient)
    matrix = np.array(fine.lps_from_ijk.matrix)
    matrix[:3, 3] += 0.5 * (matrix[:3, 0] + matrix[:3, 1])
    matrix[:3, :2] *= 2.0
    return Grid.from_matrix((fine.shape[0] // 2, fine.shape[1] // 2, fine.shape[2]), matrix)


@pytest.fixture(scope="session")
def lead_labels():
    patient = made_up.lead_patient()
    return made_up.label_map(patient, coarse_grid(patient))


@pytest.fixture(scope="session")
def lead(lead_labels):
    return Planned(lead_labels)


@pytest.fixture(scope="session")
def twin():
    patient = made_up.lead_patient().mirrored()
    return Planned(made_up.label_map(patient, coarse_grid(patient)))
