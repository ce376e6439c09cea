"""Surfaces of made-up solids against closed forms."""

import numpy as np
import pytest

from vertebloc.anatomy.structures import Structure
from vertebloc.errors import InputError
from vertebloc.made_up import lead_patient, surface_of, tumour_surface
from vertebloc.space.planes import Plane
from vertebloc.space.solids import HalfSpace, Sphere


def test_ball_has_the_volume_and_radius_of_a_ball():
    ball = Sphere(np.array([3.0, -4.0, 100.0]), 9.0)
    surface = surface_of(ball, 0.75)
    assert surface.is_closed
    off = np.linalg.norm(surface.vertices - ball.centre, axis=1) - 9.0
    assert np.abs(off).max() < 0.75**2 / (8.0 * 9.0) + 1e-3  # as the docstring says
    assert surface.volume_mm3 == pytest.approx(ball.volume_mm3, rel=0.01)


@pytest.mark.parametrize("twin", [False, True])
def test_tumour_surface_lies_on_the_tumour(twin):
    patient = lead_patient().mirrored() if twin else lead_patient()
    surface = tumour_surface(patient, 1.2)
    (solid,) = patient.of(Structure.TUMOUR).values()
    assert surface.is_closed and 15.0 < surface.volume_ml < 25.0
    assert (surface.vertices[:, 0].mean() > 0.0) is not twin
    distance = np.abs(solid.signed_distance_mm(surface.vertices))
    # one pitch^2 / 8 r at the most curved part (r about 3 mm); creases cost up to half a pitch
    assert np.quantile(distance, 0.95) < 1.2**2 / 24.0
    assert distance.max() < 0.6


@pytest.mark.parametrize("pitch", [0.0, 0.05, 9.0])
def test_pitches_without_sense_are_refused(pitch):
    with pytest.raises(InputError, match=r"0\.1 to 5 mm"):
        tumour_surface(lead_patient(), pitch)


def test_solid_without_end_is_refused():
    half = HalfSpace(Plane(np.zeros(3), np.array([0.0, 0.0, 1.0])))
    with pytest.raises(InputError, match="with an end"):
        surface_of(half, 1.0)
