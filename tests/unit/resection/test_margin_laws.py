"""Laws of margins on a spine of boxes, with tumours in closed form.

Growing the tumour never widens a margin; moving a cut away by d adds at most d, where the bone
is as wide there. Outside source: both follow from a distance changing by at most the way gone.
"""

import functools

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import HalfPlacement
from vertebloc.resection.cuts import arch_cut, half_cut
from vertebloc.resection.faces import faces_of
from vertebloc.resection.margins import measure_face
from vertebloc.resection.piece import Cuts, prepare_bones
from vertebloc.space.frames import Side
from vertebloc.space.solids import Box, Capsule, Ellipsoid, Sphere, Union

from .block_spine import T10, ball, solids_with, vertebra

AROUND = st.tuples(*(st.floats(-a, a) for a in (20.0, 22.0, 12.0))).map(np.array)
SIZE = st.tuples(*(st.floats(1.0, 9.0) for _ in range(3))).map(np.array)
GROWS = st.floats(0.0, 5.0)


@functools.cache
def bones():
    far = np.array([0.0, 0.0, 0.0])
    return prepare_bones(solids_with(ball(far, 1.0, 16), Sphere(far, 1.0)), vertebra(T10))


def cuts_at(up, down, tilt=0.0, roll=0.0):
    at = vertebra(T10)
    cranial = {
        side: half_cut(
            at,
            HalfPlacement(height_mm=up, tilt_deg=tilt, roll_deg=roll),
            side,
            cranial=True,
            words="body of T9",
            level=Level("T9"),
        )
        for side in Side
    }
    caudal = {
        side: half_cut(
            at,
            HalfPlacement(height_mm=down),
            side,
            cranial=False,
            words="body of T11",
            level=Level("T11"),
        )
        for side in Side
    }
    base = {
        side: arch_cut(
            at, side, 14.0, name=f"{side.value} pedicle base", words="wall", towards_back=True
        )
        for side in Side
    }
    return Cuts(cranial=cranial, caudal=caudal, arch={}, base=base)


def margins(tumour, cuts):
    found = faces_of(bones(), vertebra(T10), cuts)
    return {cut.name: measure_face(face, tumour).margin_mm for cut, face in found}


def dumb_bell(middle, size):
    other = middle + np.array([14.0, 12.0, -3.0])
    return Union(
        [
            Sphere(middle, float(size[0])),
            Sphere(other, float(size[1])),
            Capsule(middle, other, float(size.min())),
        ]
    )


SHAPES = {
    "sphere": lambda middle, size: Sphere(middle, float(size[0])),
    "ellipsoid": Ellipsoid,
    "box": Box,
    "dumb-bell": dumb_bell,
}
SHAPE = st.sampled_from(sorted(SHAPES))


@settings(max_examples=40, deadline=None)
@given(shape=SHAPE, middle=AROUND, size=SIZE, grows=GROWS, tilt=st.floats(-8.0, 8.0))
def test_growing_the_tumour_never_widens_a_margin(shape, middle, size, grows, tilt):
    cuts = cuts_at(19.0, -19.0, tilt=tilt)
    before = margins(SHAPES[shape](middle, size), cuts)
    after = margins(SHAPES[shape](middle, size + grows), cuts)
    assert set(before) == set(after)
    for name, margin in before.items():
        assert after[name] <= margin + 0.02, (
            name
        )  # 0.02: fine points lie around the coarse nearest


@settings(max_examples=40, deadline=None)
@given(shape=SHAPE, middle=AROUND, size=SIZE, away=st.floats(0.0, 8.0), tilt=st.floats(-6.0, 6.0))
def test_moving_a_cut_away_adds_at_most_the_way(shape, middle, size, away, tilt):
    tumour = SHAPES[shape](middle, size)
    near = margins(tumour, cuts_at(20.0, -19.0, tilt=tilt))
    far = margins(tumour, cuts_at(20.0 + away, -19.0, tilt=tilt))
    for side in Side:
        name = f"{side.value} half of the cranial cut"
        # the way is measured along the axis: a tilted plane goes less far, never farther
        assert far[name] <= near[name] + away + 0.05, name
