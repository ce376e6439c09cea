"""Margins of the lead patient from its label map, against its own closed-form tumour."""

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.resection.margins import measure_face
from vertebloc.resection.model import FaceKind

from .conftest import Planned

pytestmark = pytest.mark.slow


def test_label_maps_of_half_a_millimetre_never_flatter_a_margin():
    """Issue: 95 % within 0.25 mm, largest 0.40 mm; and never more than the truth."""
    patient = made_up.lead_patient()
    labels = made_up.label_map(patient, made_up.default_grid(patient))
    planned = Planned(labels)
    tumour = patient.solids[Contour(Structure.TUMOUR)]
    off = []
    for face in planned.plan.faces:
        if face.kind is FaceKind.BONE and "half of" in face.name:
            # the tract in bone counts as tumour too, but lies far from the body cuts
            off.append(face.margin_mm - measure_face(face.face, tumour).margin_mm)
    assert len(off) == 4
    # 0.05: the face's points and the field's straight steps
    assert np.max(off) <= 0.05
    assert np.min(off) >= -0.40
