"""The made-up spine has published sizes, measured on its label map as on anybody's."""

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.made_up import label_map, lead_patient
from vertebloc.made_up.spine import make_spine
from vertebloc.published import morphometry
from vertebloc.space.grids import Grid

LEVELS = ("T7", "T8", "T9", "T10", "T11", "T12")
PITCH = 0.4  #: mm; a length read off voxels is off by at most one pitch at either end together
PATIENT = lead_patient()
SPINE = make_spine()


class Measured:
    """One vertebra's voxels in its own axes: i left, j back, k up."""

    def __init__(self, contours, level):
        self.low = np.array([-36.0, -22.0, -16.0])
        shape = (180, 210, 80)
        matrix = np.eye(4)
        matrix[:3, :3] = PITCH * np.eye(3)
        matrix[:3, 3] = self.low
        own = SPINE.vertebrae[Level(level)].lps_from_own
        grid = Grid.from_matrix(shape, own.matrix @ matrix)
        only = replace(PATIENT, solids={c: PATIENT.solids[c] for c in contours})
        self.mask = label_map(only, grid).volume.values > 0

    def index(self, axis, mm):
        return round((mm - self.low[axis]) / PITCH)

    def run_mm(self, line, at, of=True):
        """Length of the unbroken run of ``of`` through an index of a line of voxels."""
        assert line[at] == of
        start = stop = at
        while line[start - 1] == of:
            start -= 1
        while line[stop + 1] == of:
            stop += 1
        return (stop - start + 1) * PITCH

    def line(self, axis, mm):
        """Line of voxels along an axis through a point of the other two."""
        index = [self.index(a, v) if a != axis else slice(None) for a, v in enumerate(mm)]
        return self.mask[tuple(index)]


@pytest.fixture(scope="module", params=LEVELS)
def vertebra(request):
    contour = Contour(Structure.VERTEBRA, Level(request.param))
    return request.param, Measured([contour], request.param)


def _within(found, published, slack=PITCH):
    assert published.low - slack <= found <= published.high + slack, published.what


def _shape(level):
    return SPINE.vertebrae[Level(level)].shape


@pytest.mark.published(source="panjabi1991", place="means by level")
@pytest.mark.parametrize("end", ["upper", "lower"])
def test_endplates(vertebra, end, record_published):
    """Just inside the plates, where the body is up to half a mm slimmer than at the rim."""
    level, measured = vertebra
    sizes = morphometry.VERTEBRA_SIZES[level]
    z = (0.5 * _shape(level).height_mm - 0.8) * (1.0 if end == "upper" else -1.0)
    depth = measured.line(1, [0.0, None, z])
    width = max(
        measured.run_mm(measured.line(0, [None, y, z]), measured.index(0, 0.0))
        for y in np.arange(-6.0, 4.0, PITCH)
    )
    at = measured.index(1, 0.0)
    across, along = getattr(sizes, f"{end}_width"), getattr(sizes, f"{end}_depth")
    record_published(width, across.value, "mm", "endplate width of the made-up vertebra")
    record_published(
        measured.run_mm(depth, at), along.value, "mm", "endplate depth of the made-up vertebra"
    )
    _within(measured.run_mm(depth, at), along, slack=PITCH + 0.5)
    _within(width, across, slack=PITCH + 0.5)


@pytest.mark.published(source="panjabi1991", place="means by level")
def test_heights(vertebra, record_published):
    level, measured = vertebra
    sizes, depth = morphometry.VERTEBRA_SIZES[level], _shape(level).depth_mm
    middle = measured.index(2, 0.0)
    back = measured.run_mm(measured.line(2, [0.0, 0.5 * depth - 1.2, None]), middle)
    front = measured.run_mm(measured.line(2, [0.0, 0.9 * (2.0 - 0.5 * depth), None]), middle)
    theirs = sizes.posterior_height.value
    record_published(back, theirs, "mm", "height of the back wall of the made-up vertebra")
    _within(back, sizes.posterior_height)
    shorter = morphometry.ANTERIOR_SHORTER
    assert shorter.low - PITCH <= back - front <= shorter.high + PITCH


@pytest.mark.published(source="panjabi1991", place="means by level")
def test_canal(vertebra, record_published):
    level, measured = vertebra
    sizes, shape = morphometry.VERTEBRA_SIZES[level], _shape(level)
    y, z = shape.canal_middle_mm, shape.pedicle_z_mm
    width = measured.run_mm(measured.line(0, [None, y, z]), measured.index(0, 0.0), of=False)
    depth = measured.run_mm(measured.line(1, [0.0, None, z]), measured.index(1, y), of=False)
    record_published(width, sizes.canal_width.value, "mm", "canal width")
    record_published(depth, sizes.canal_depth.value, "mm", "canal depth")
    _within(width, sizes.canal_width)
    _within(depth, sizes.canal_depth)


@pytest.mark.published(source="panjabi1991", place="means by level")
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_pedicles(vertebra, side, record_published):
    """At the isthmus: the narrowest place between body and arch."""
    level, measured = vertebra
    sizes, shape = morphometry.VERTEBRA_SIZES[level], _shape(level)
    x, z = side * shape.pedicle_x_mm, shape.pedicle_z_mm
    behind = np.arange(0.5 * shape.depth_mm + 2.0, shape.canal_middle_mm, PITCH)
    widths = [
        measured.run_mm(measured.line(0, [None, y, z]), measured.index(0, x)) for y in behind
    ]
    heights = [
        measured.run_mm(measured.line(2, [x, y, None]), measured.index(2, z)) for y in behind
    ]
    record_published(min(widths), sizes.pedicle_width.value, "mm", "pedicle width")
    record_published(min(heights), sizes.pedicle_height.value, "mm", "pedicle height")
    _within(min(widths), sizes.pedicle_width)
    _within(min(heights), sizes.pedicle_height)


@pytest.mark.published(source="pedicles2005", place="abstract")
def test_seen_ranges_hold_for_the_quoted_means(record_published):
    """Where a range was seen in its source, the value quoted from memory must lie in it."""
    t11, t12, t9 = (morphometry.VERTEBRA_SIZES[n] for n in ("T11", "T12", "T9"))
    height = morphometry.PEDICLE_HEIGHT_T11
    assert height.low <= t11.pedicle_height.value <= height.high
    for range_, sizes in (
        (morphometry.PEDICLE_WIDTH_T12, t12),
        (morphometry.PEDICLE_WIDTH_T11_DOWN, t11),
        (morphometry.PEDICLE_WIDTH_T11_DOWN, t12),
    ):
        assert range_.low <= sizes.pedicle_width.value <= range_.high
    theirs = morphometry.POSTERIOR_HEIGHT_T9.value
    ours = t9.posterior_height.value
    record_published(ours, theirs, "mm", "height of the back wall of T9, other population")
    # two populations: within 7 % of each other
    assert t9.posterior_height.value == pytest.approx(
        morphometry.POSTERIOR_HEIGHT_T9.value, rel=0.07
    )


def _lamina_mm(measured, shape, x):
    """Across the plate, half way between pedicle and spinous process, where it is free."""
    line = measured.line(1, [x, None, -5.0])
    found = [i for i in np.flatnonzero(line) if i > measured.index(1, shape.canal_middle_mm)]
    slope = np.arctan2(shape.arch_mm - shape.canal_middle_mm - 2.4, shape.pedicle_x_mm + 0.5)
    return measured.run_mm(line, found[0]) * np.cos(slope)


@pytest.mark.published(source="heights-nigeria", place="abstract")
def test_lamina_thickness(vertebra):
    level, measured = vertebra
    thickest = max(_lamina_mm(measured, _shape(level), x) for x in (-6.0, 6.0))
    published = morphometry.LAMINA_THICKNESS_T9.value
    assert published - 2.0 < thickest < published + 2.5  # one value, men, another level


@pytest.mark.published(source="frostell2016", place="summary of diameters")
def test_cord_is_as_thick_as_published():
    measured = Measured([Contour(Structure.CORD)], "T8")
    y = _shape("T8").canal_middle_mm
    width = measured.run_mm(measured.line(0, [None, y, 0.0]), measured.index(0, 0.0))
    depth = measured.run_mm(measured.line(1, [0.0, None, 0.0]), measured.index(1, y))
    assert width == pytest.approx(morphometry.CORD_WIDTH_T8.value, abs=PITCH)
    assert depth == pytest.approx(morphometry.CORD_DEPTH_T8.value, abs=PITCH)


@pytest.mark.published(source="aorta2012", place="abstract")
def test_aorta_moves_away_from_the_left_pedicle_downwards():
    """Entry point to the aorta's wall: 25 mm at T6, 49 mm at T12; T7 lies near the former."""
    aorta = PATIENT.solids[Contour(Structure.AORTA)]
    found = []
    for level in LEVELS:
        own, shape = SPINE.vertebrae[Level(level)], _shape(level)
        entry = own.at([shape.pedicle_x_mm + 2.0, shape.canal_middle_mm + 7.0, shape.pedicle_z_mm])
        found.append(float(aorta.signed_distance_mm(entry)[0]))
    assert np.all(np.diff(found) > 0.0)
    # means of another population: half a standard aortic diameter, 6 mm, either way
    assert found[0] == pytest.approx(morphometry.PEDICLE_ENTRY_TO_AORTA_T6.value, abs=6.0)
    assert found[-1] == pytest.approx(morphometry.PEDICLE_ENTRY_TO_AORTA_T12.value, abs=6.0)
