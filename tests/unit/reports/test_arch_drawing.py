"""The arch to sweep over: every part once, sides where theatre sees them, never mirrored."""

import re
from xml.etree import ElementTree

import pytest

from vertebloc.case.choice_words import ArchPart, BoneChoice, StandingSide
from vertebloc.reports.arch_drawing import arch_svg, part_outlines

SVG = "{http://www.w3.org/2000/svg}"
BY_RULE = dict.fromkeys(ArchPart, BoneChoice.BY_RULE)


def drawing(standing=StandingSide.HEAD_UP, chosen=BY_RULE, **fates):
    return ElementTree.fromstring(arch_svg(chosen, fates, standing))


def middle_of(outline):
    points = [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", outline)]
    assert points
    return sum(x for x, _ in points) / len(points), sum(y for _, y in points) / len(points)


def seen_at(root, part):
    """Middle of a part on the screen, after the drawing's own turn; by hand, not by a renderer."""
    turned = next(one for one in root.iter(f"{SVG}g") if one.get("transform"))
    turn = re.fullmatch(r"rotate\((-?\d+) 150 150\)", turned.get("transform"))[1]
    link = next(one for one in root.iter(f"{SVG}g") if one.get("data-arch") == part.value)
    x, y = middle_of(link.find(f"{SVG}path").get("d"))
    x, y = x - 150, y - 150
    x, y = {"0": (x, y), "90": (-y, x), "-90": (y, -x)}[turn]
    return x, y


def ways(root):
    """Word at the top, right, bottom, left of the picture."""
    found = [one for one in root.iter(f"{SVG}text") if one.get("class") == "way"]
    by_place = {(float(one.get("x")), float(one.get("y"))): one.text for one in found}
    top, bottom = (min(by_place, key=lambda p: p[1]), max(by_place, key=lambda p: p[1]))
    left, right = (min(by_place, key=lambda p: p[0]), max(by_place, key=lambda p: p[0]))
    return [by_place[place] for place in (top, right, bottom, left)]


def test_every_part_is_a_button_once():
    names = [one.get("data-arch") for one in drawing().iter(f"{SVG}g") if one.get("data-arch")]
    assert sorted(names) == sorted(part.value for part in ArchPart)
    assert set(part_outlines()) == set(ArchPart)


@pytest.mark.parametrize(
    ("standing", "expected"),
    [
        (StandingSide.HEAD_UP, ["HEAD", "patient's RIGHT", "FEET", "patient's LEFT"]),
        (StandingSide.LEFT, ["patient's RIGHT", "FEET", "patient's LEFT", "HEAD"]),
        (StandingSide.RIGHT, ["patient's LEFT", "HEAD", "patient's RIGHT", "FEET"]),
    ],
)
def test_words_stand_where_theatre_sees_them(standing, expected):
    """By hand: prone, from behind; standing at the left, the head lies at the picture's left."""
    assert ways(drawing(standing)) == expected


@pytest.mark.parametrize(
    ("standing", "left_part"),
    [(StandingSide.HEAD_UP, (-1, 0)), (StandingSide.LEFT, (0, 1)), (StandingSide.RIGHT, (0, -1))],
)
def test_left_parts_lie_on_the_patients_left(standing, left_part):
    """By hand: left is at the left, at the bottom, at the top. y on the screen points down."""
    root = drawing(standing)
    for part in ArchPart:
        x, y = seen_at(root, part)
        along = x * left_part[0] + y * left_part[1]
        if part is ArchPart.SPINOUS_PROCESS:
            assert abs(along) < 1
        else:
            assert (along > 20) == part.value.startswith("left")
            assert abs(along) > 20


def test_the_spinous_process_points_to_the_feet():
    """Common practice, no source: thoracic spinous processes slope to the feet."""
    assert seen_at(drawing(StandingSide.HEAD_UP), ArchPart.SPINOUS_PROCESS)[1] > 20
    assert seen_at(drawing(StandingSide.LEFT), ArchPart.SPINOUS_PROCESS)[0] > 20
    assert seen_at(drawing(StandingSide.RIGHT), ArchPart.SPINOUS_PROCESS)[0] < -20


def test_a_part_says_the_plans_fate_and_whether_it_was_chosen():
    chosen = {**BY_RULE, ArchPart.LEFT_LAMINA: BoneChoice.STAYS}
    root = drawing(chosen=chosen, **{"left lamina": "stays", "right lamina": "piecemeal"})
    said = {
        one.get("data-arch"): one.get("aria-label")
        for one in root.iter(f"{SVG}g")
        if one.get("data-arch")
    }
    assert said["left lamina"] == "left lamina: kept in place"
    assert said["right lamina"] == "right lamina: nibbled away (by rule)"
    assert said["left facets"] == "left facets: as the rule says"
