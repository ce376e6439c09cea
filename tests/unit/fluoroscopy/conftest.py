"""Small volumes whose pictures are known, and C-arms that look at them."""

import numpy as np
import pytest

from vertebloc.fluoroscopy import CArm, CArmView, HeadAt
from vertebloc.space.grids import Grid, Volume


def make_view(primary=180.0, secondary=0.0, aim=(0.0, 0.0, 0.0), head_at=HeadAt.LEFT_EDGE, **arm):
    """A view of a small picture."""
    measures = {"pixels": 96, "detector_mm": 180.0} | arm
    return CArmView(
        primary_deg=primary,
        secondary_deg=secondary,
        aim=np.array(aim, dtype=float),
        head_at=head_at,
        arm=CArm(**measures),
    )


def make_volume(values, spacing=(2.0, 2.0, 2.0), turned=None):
    """Values on a grid about the origin; ``turned``: a (3, 3) matrix of its axes."""
    matrix = np.eye(4)
    matrix[:3, :3] = (np.eye(3) if turned is None else turned) @ np.diag(spacing)
    matrix[:3, 3] = -matrix[:3, :3] @ ((np.array(values.shape) - 1.0) / 2.0)
    return Volume(Grid.from_matrix(values.shape, matrix), values)


@pytest.fixture(scope="session")
def body():
    """Something like a body: smooth lumps of bone, lung and muscle, air around."""
    from scipy.ndimage import gaussian_filter

    rng = np.random.default_rng(7)
    values = gaussian_filter(rng.normal(size=(80, 66, 70)), 3.0)
    values = np.clip(values / values.std() * 350.0, -900.0, 1500.0)
    place = np.indices(values.shape) - (np.array(values.shape)[:, None, None, None] - 1) / 2.0
    out = np.sqrt(((place / np.array([34.0, 27.0, 30.0])[:, None, None, None]) ** 2).sum(axis=0))
    skin = np.clip((1.0 - out) * 20.0 + 0.5, 0.0, 1.0)  # over about one voxel, as a scanner's
    values = skin * (values + 1000.0) - 1000.0
    return make_volume(values.astype(np.int16))
