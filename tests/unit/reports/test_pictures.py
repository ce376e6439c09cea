"""Left stays left: a tumour on the patient's LEFT must land where a hand-made drawing puts it.

Expectations are written down by hand: prone, seen from behind. Standing at the patient's left,
the head is at the picture's left and the patient's left below; standing at the right, the head
is at the right and the patient's right below. Cross-sections: back up, patient's left at the left.
"""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from numpy.typing import NDArray
from PIL import Image

from vertebloc.reports import HandError, Paper, Scene, palette
from vertebloc.reports import allowance_bars as bars
from vertebloc.reports import pictures as body_pictures
from vertebloc.reports.allowance_bars import allowance_picture
from vertebloc.reports.pictures import behind_picture, coronal_picture, cross_section_picture
from vertebloc.reports.staging_ring import ring_picture, sector_angles_deg
from vertebloc.resection.model import RibFate
from vertebloc.space.frames import Frame, Side
from vertebloc.space.planes import Plane
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View

from .conftest import ball, surface_of


def pixels(png: bytes) -> NDArray[np.int64]:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"), dtype=np.int64)


def middle_of_plum(png: bytes) -> tuple[float, float]:
    """Middle of all plum pixels: shares of the picture's width from its left, height from top."""
    red, green, blue = np.moveaxis(pixels(png), -1, 0)
    rows, columns = np.nonzero((red > green + 35) & (blue > green + 25))
    assert len(rows) > 300
    height, width = red.shape
    return float(columns.mean() / width), float(rows.mean() / height)


# The ball's middle is 9 mm left, 3 mm back and 6 mm towards the feet from the body's middle.


def test_standing_left_puts_the_left_tumour_below_and_towards_the_feet_right(scene: Scene) -> None:
    across, down = middle_of_plum(coronal_picture(scene, (122.0, 64.0)))
    # 152 mm of the body across 122 printed mm; the middle of the picture is 1.5 mm lower.
    assert across == pytest.approx(0.5 + 6 / 152, abs=0.015)
    assert down == pytest.approx(0.5 + (9 - 1.5) / (152 * 64 / 122), abs=0.03)


def test_standing_right_puts_it_above_and_towards_the_feet_left(
    scene_standing_right: Scene,
) -> None:
    across, down = middle_of_plum(coronal_picture(scene_standing_right, (122.0, 64.0)))
    assert across == pytest.approx(0.5 - 6 / 152, abs=0.015)
    assert down == pytest.approx(0.5 - (9 + 1.5) / (152 * 64 / 122), abs=0.03)


@pytest.mark.parametrize(("standing", "sign"), [(Side.LEFT, 1), (Side.RIGHT, -1)])
def test_from_behind_is_turned_the_same_way(scene: Scene, standing: Side, sign: int) -> None:
    picture = behind_picture(replace(scene, standing=standing), (122.0, 64.0))
    across, down = middle_of_plum(picture)
    assert across == pytest.approx(0.5 + sign * 6 / 160, abs=0.015)
    assert down == pytest.approx(0.5 + sign * 9 / (160 * 64 / 122), abs=0.03)


@pytest.mark.parametrize("standing", list(Side))
def test_cross_section_puts_it_left_whoever_stands_where(scene: Scene, standing: Side) -> None:
    across, down = middle_of_plum(
        cross_section_picture(replace(scene, standing=standing), (66.0, 64.0))
    )
    assert across == pytest.approx(0.5 - 9 / 100, abs=0.02)
    # The picture's middle lies 4 mm behind the body's; the tumour 3 mm behind it: 1 mm below.
    assert down == pytest.approx(0.5 + 1 / (100 * 64 / 66), abs=0.02)


def test_image_agrees_with_outlines(scene: Scene) -> None:
    """The bright aorta of the IMAGE lies where the aorta's OUTLINE is drawn, front left."""
    bare = replace(scene, surfaces={"tumour": scene.surfaces["tumour"]})
    grey = pixels(cross_section_picture(bare, (66.0, 64.0))).sum(axis=2)
    height, width = grey.shape
    # A row through the aorta's hinder part, above the words in the corner.
    aorta_row = round(height * (0.5 + (23 + 4) / (100 * 64 / 66)))
    left, right = (round(width * (0.5 + sign * 14 / 100)) for sign in (-1, 1))
    patch = grey[aorta_row - 8 : aorta_row + 8]
    assert patch[:, left - 8 : left + 8].mean() > patch[:, right - 8 : right + 8].mean() + 40


@pytest.mark.slow
def test_turning_the_patient_in_the_scanner_changes_no_picture(scene: Scene) -> None:
    """A person lying askew: everything is moved alike, the vertebra's frame turns them back."""
    angle = np.deg2rad(25.0)
    matrix = np.eye(4)
    matrix[:3, :3] = [
        [np.cos(angle), -np.sin(angle), 0.0],
        [np.sin(angle), np.cos(angle), 0.0],
        [0.0, 0.0, 1.0],
    ]
    matrix[:3, 3] = (40.0, -10.0, 25.0)
    motion = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    cuts = tuple(
        replace(
            cut,
            entry=motion.points(cut.entry)[0],
            entry_edge=motion.vectors(cut.entry_edge)[0],
            blade=motion.vectors(cut.blade)[0],
            plane=Plane(motion.points(cut.plane.point)[0], motion.vectors(cut.plane.normal)[0]),
        )
        for cut in scene.plan.cuts
    )
    turned = replace(
        scene,
        ct=None,
        plan=replace(scene.plan, cuts=cuts),
        surfaces={name: surface.moved(motion) for name, surface in scene.surfaces.items()},
        vertebra=replace(
            scene.vertebra, lps_from_vertebra=motion @ scene.vertebra.lps_from_vertebra
        ),
    )
    straight = replace(scene, ct=None)
    for draw in (coronal_picture, cross_section_picture):
        assert middle_of_plum(draw(turned)) == pytest.approx(
            middle_of_plum(draw(straight)), abs=0.004
        )


def figures_of(monkeypatch: pytest.MonkeyPatch, draw: Any, *given: Any) -> Figure:
    """The figure behind a picture, with all its words."""
    kept: list[Figure] = []

    def keep(figure: Figure) -> bytes:
        kept.append(figure)
        return b""

    monkeypatch.setattr(body_pictures, "png_bytes", keep)
    draw(*given)
    (figure,) = kept
    return figure


WORDS = {
    coronal_picture: {
        "theatre view",
        "from behind",
        "patient's RIGHT",
        "patient's LEFT · you stand here",
        "HEAD",
        "FEET",
        "20 mm",
        "T10",
        "cut in T9",
        "cut in T11",
        "tumour",
    },
    cross_section_picture: {
        "theatre view",
        "from the feet",
        "BACK",
        "FRONT",
        "patient's LEFT",
        "patient's RIGHT",
        "10 mm",
        "tumour",
        "sac",
        "aorta",
        "ring opened on\npatient's RIGHT",
    },
    behind_picture: {
        "theatre view",
        "from behind",
        "patient's RIGHT",
        "patient's LEFT",
        "HEAD",
        "FEET",
        "20 mm",
        "removed",
        "head on\npiece",
    },
}


SIZES = {
    coronal_picture: lambda sizes: (sizes.coronal_mm, sizes.upper_mm),
    cross_section_picture: lambda sizes: (sizes.cross_section_mm, sizes.upper_mm),
    behind_picture: lambda sizes: (sizes.behind_mm, sizes.lower_mm),
}


@pytest.mark.parametrize("paper", list(Paper))
@pytest.mark.parametrize("draw", list(WORDS), ids=lambda draw: str(draw.__name__))
def test_every_picture_names_its_view_sides_and_scale_and_nothing_is_cut_off(
    monkeypatch: pytest.MonkeyPatch, scene: Scene, draw: Any, paper: Paper
) -> None:
    figure = figures_of(monkeypatch, draw, scene, SIZES[draw](paper.sizes))
    texts = figure.axes[0].texts
    assert WORDS[draw] <= {text.get_text() for text in texts}
    assert_words_keep_clear(figure)


@pytest.mark.parametrize("standing", [Side.LEFT, Side.RIGHT, None], ids=str)
@pytest.mark.parametrize("draw", list(SIZES), ids=lambda draw: str(draw.__name__))
def test_words_keep_clear_of_each_other_however_the_patient_is_turned(
    monkeypatch: pytest.MonkeyPatch, scene: Scene, draw: Any, standing: Side | None
) -> None:
    fates = {name: RibFate.REMOVED for name in scene.plan.rib_fates}
    crowded = replace(scene, standing=standing, plan=replace(scene.plan, rib_fates=fates))
    figure = figures_of(monkeypatch, draw, crowded, SIZES[draw](Paper.LETTER.sizes))
    assert_words_keep_clear(figure)
    if draw is behind_picture:
        written = [text.get_text() for text in figure.axes[0].texts]
        assert written.count("removed") == 4
        assert ("theatre, head up" in written) is (standing is None)


def assert_words_keep_clear(figure: Figure) -> None:
    """Nothing is cut off, nothing covers other words, nothing is too small to read."""
    texts = figure.axes[0].texts
    boxes = [text.get_window_extent() for text in texts]
    whole = figure.bbox
    for text, box in zip(texts, boxes, strict=True):
        inside = whole.x0 <= box.x0 and box.x1 <= whole.x1
        assert inside and whole.y0 <= box.y0 and box.y1 <= whole.y1, text.get_text()
        assert text.get_fontsize() >= 9
    for i, first in enumerate(boxes):
        for j, second in enumerate(boxes[:i]):
            pair = (texts[i].get_text(), texts[j].get_text())
            shrunk = second.expanded(0.98, 0.85)  # the line's own leading may touch
            assert not first.overlaps(shrunk), pair


@pytest.mark.parametrize("standing", [Side.LEFT, Side.RIGHT, None], ids=str)
@pytest.mark.parametrize("draw", list(SIZES), ids=lambda draw: str(draw.__name__))
def test_all_tumour_and_every_entry_are_in_the_picture(
    monkeypatch: pytest.MonkeyPatch, scene: Scene, draw: Any, standing: Side | None
) -> None:
    """A tumour of 40 mm radius that reaches far beside and in front of the body."""
    surfaces = {**scene.surfaces, "tumour": surface_of(ball((35.0, -20.0, 0.0), 40.0))}
    grown = replace(scene, standing=standing, surfaces=surfaces)
    width, height = SIZES[draw](Paper.A4.sizes)
    figure = figures_of(monkeypatch, draw, grown, (width, height))
    axes = figure.axes[0]
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    band = 4.9 * (right - left) / width  # lines of words along the upper and lower edge
    assert (right - left) / width == pytest.approx((top - bottom) / height)
    view = View.THEATRE_CROSS_SECTION if draw is cross_section_picture else grown.theatre_view
    wanted = [surfaces["tumour"].vertices, *(cut.entry[None] for cut in scene.plan.cuts)]
    x, y, _ = grown.screen_from_lps(view).points(np.concatenate(wanted)).T
    assert left < x.min() and x.max() < right
    assert bottom + band < y.min() and y.max() < top - band


def test_standing_right_turns_every_word(
    monkeypatch: pytest.MonkeyPatch, scene_standing_right: Scene
) -> None:
    figure = figures_of(monkeypatch, coronal_picture, scene_standing_right)
    place = {t.get_text(): t.get_window_extent() for t in figure.axes[0].texts}
    assert place["HEAD"].x0 > place["FEET"].x1
    assert place["patient's RIGHT · you stand here"].y1 < place["patient's LEFT"].y0


def test_weakest_place_is_ringed_where_it_is_and_told_in_words(
    monkeypatch: pytest.MonkeyPatch, scene: Scene
) -> None:
    figure = figures_of(monkeypatch, coronal_picture, scene)
    axes = figure.axes[0]
    (ring,) = [line for line in axes.lines if line.get_markersize() == 13]
    # 24 mm towards the feet is right of the middle; 12 mm left is below it.
    assert (ring.get_xdata()[0], ring.get_ydata()[0]) == pytest.approx((24.0, -12.0))
    words = " ".join(text.get_text().replace("\n", " ") for text in axes.texts)
    assert "nearest: 4.2 mm caudal cut, left half" in words
    assert "9 mm beyond this slice" in words  # slice 3 mm behind, place 6 mm in front of mid-body


def test_cut_lines_start_at_their_entry_and_end_at_the_midline(
    monkeypatch: pytest.MonkeyPatch, scene: Scene
) -> None:
    figure = figures_of(monkeypatch, coronal_picture, scene)
    ends = {
        tuple(np.round((*line.get_xdata(), *line.get_ydata()), 2))
        for line in figure.axes[0].lines
        if line.get_linewidth() == 1.3
    }
    # Standing left: head (+z) is at the left, patient's left is below; entries 19 mm off.
    wanted = {(x, x, y, 0.0) for x in (-24.0, 23.5) for y in (-19.0, 19.0)}
    assert {tuple(abs(v) if v == 0 else v for v in end) for end in ends} >= wanted


def test_a_scene_without_images_and_outlines_still_draws(scene: Scene) -> None:
    bare = replace(scene, ct=None, surfaces={}, vertebrae={}, hand=None)
    for draw in (coronal_picture, cross_section_picture, behind_picture):
        assert pixels(draw(bare)).std() > 5  # the words are there


def test_bar_is_as_long_as_the_margin_and_as_dark_as_told(scene: Scene) -> None:
    caudal = replace(scene.bone_faces[2], margin_mm=4.2)
    image = pixels(allowance_picture([caudal], None))
    colour = np.round(255 * palette.rgb(palette.room_colour(4.2, bars.BAR_END_MM)))
    track = np.round(255 * palette.rgb(palette.TRACK))
    filled = (np.abs(image - colour).max(axis=2) <= 2).any(axis=0).sum()
    empty = (np.abs(image - track).max(axis=2) <= 2).any(axis=0).sum()
    assert filled / (filled + empty) == pytest.approx(0.42, abs=0.01)


def test_bracket_spans_the_hands_error(scene: Scene) -> None:
    faces = [replace(scene.bone_faces[2], margin_mm=0.0)]
    hands = [
        HandError(low_mm=low, high_mm=high, words="free-hand") for low, high in ((2, 6), (0, 0))
    ]
    drawn, at_zero = (pixels(allowance_picture(faces, hand)) for hand in hands)
    track = np.abs(at_zero - np.round(255 * palette.rgb(palette.TRACK))).max(axis=2) <= 2
    start, end = np.flatnonzero(track.any(axis=0))[[0, -1]]
    ink = np.round(255 * palette.rgb(palette.INK))
    dark, before = (np.abs(image - ink).max(axis=2) <= 40 for image in (drawn, at_zero))
    marked = np.flatnonzero((dark & ~before).any(axis=0))
    length = end - start
    assert (marked[0] - start) / length == pytest.approx(0.2, abs=0.03)
    assert (marked[-1] - start) / length == pytest.approx(0.6, abs=0.03)


def test_ring_shows_a_left_tumour_front_left(made_up: Any) -> None:
    across, down = middle_of_plum(ring_picture(made_up.staging))
    assert across < 0.42  # patient's left at the picture's left
    assert down > 0.62  # front below


def test_ring_angles_by_hand(made_up: Any) -> None:
    angles = {spread.sector.words: sector_angles_deg(spread) for spread in made_up.staging.sectors}
    assert angles["left half of the spinous process"] == (90.0, 120.0)  # back is up
    assert angles["left pedicle"] == (180.0, 210.0)  # at the picture's left
    assert angles["left middle of the body"] == (240.0, 270.0)  # front is down
    assert angles["right pedicle"] == (330.0, 360.0)
    assert angles["right half of the spinous process"] == (420.0, 450.0)  # = 60 to 90


def test_same_scene_same_bytes(scene: Scene) -> None:
    assert cross_section_picture(scene) == cross_section_picture(scene)


def test_view_follows_the_standing_side(scene: Scene, scene_standing_right: Scene) -> None:
    assert scene.theatre_view is View.THEATRE_STANDING_LEFT
    assert scene_standing_right.theatre_view is View.THEATRE_STANDING_RIGHT


def test_tumour_middle_is_its_volumes_middle(scene: Scene) -> None:
    assert scene.tumour_middle == pytest.approx(
        scene.vertebra.lps_from_vertebra.origin + np.array((9.0, 3.0, -6.0)), abs=0.01
    )
