"""The spine as a strip: cuts at their true place, sides right, nothing unconfirmed looks sure."""

import re
from dataclasses import replace
from types import SimpleNamespace
from xml.etree import ElementTree

import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import CountedFrom
from vertebloc.reports import page_words as words
from vertebloc.reports.spine_strip import strip_svg
from vertebloc.space.frames import Side

from .conftest import CONFIRMED, LEVELS, MadeUp, at, made_anatomy

SVG = "{http://www.w3.org/2000/svg}"
T10 = Level("T10")
ENDS = frozenset({CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB, CountedFrom.SACRUM})


def ribs(levels=LEVELS):
    return tuple(SimpleNamespace(level=level, side=side) for level in levels for side in Side)


def strip(document=None, **how):
    return ElementTree.fromstring(
        strip_svg(
            replace(made_anatomy(), **({"ribs": ribs(), "ends_in_view": ENDS} | how)),
            T10,
            document,
        )
    )


def body(root, level):
    """Top and bottom of a vertebra's body in the drawing."""
    link = next(one for one in root.iter(f"{SVG}a") if one.get("id") == f"level-{level}")
    box = next(one for one in link.iter(f"{SVG}rect") if one.get("class") == "body")
    return float(box.get("y")), float(box.get("y")) + float(box.get("height"))


def cuts(root):
    """Side, x where it begins, and height of each teal line."""
    found = []
    for path in root.iter(f"{SVG}path"):
        kind = (path.get("class") or "").split()
        if kind[:1] == ["cut"]:
            x, y = re.match(r"M([\d.]+) ([\d.]+)h", path.get("d")).groups()
            found.append((kind[1], float(x), float(y)))
    return found


def said(root):
    return [one.text for one in root.iter(f"{SVG}text")]


def test_head_is_at_the_top_and_each_vertebra_can_be_chosen():
    root = strip()
    assert said(root)[0] == words.HEAD and said(root)[-1] == words.FEET
    links = [one.get("id") for one in root.iter(f"{SVG}a")]
    assert links == [f"level-{level}" for level in LEVELS]  # head first
    tops = [body(root, level)[0] for level in LEVELS]
    assert tops == sorted(tops)


def test_cuts_lie_at_their_share_of_the_body_they_run_through(made_up):
    """By hand: 6 mm above T9's lower endplate of 24 mm; 6.5 mm from T11's middle upwards."""
    root = strip(made_up.document())
    found = cuts(root)
    assert len(found) == 4  # four half cuts; the one through the pedicle is none across
    top, bottom = body(root, "T9")
    for _, _, y in found[:2]:
        assert y == pytest.approx(bottom - (bottom - top) / 4, abs=0.06)
    top, bottom = body(root, "T11")
    share = (12.0 - 6.5) / 24.0
    for _, _, y in found[2:]:
        assert y == pytest.approx(top + (bottom - top) * share, abs=0.06)


def test_a_cut_in_a_disc_lies_in_the_gap(made_up):
    """2 of the disc's 6 mm below T9's lower endplate, which lies 18 mm above T10's middle."""
    cut = replace(made_up.plan.cuts[0], level=T10, entry=at(19.0, 6.0, 16.0))
    made_up.replan(cuts=(cut, *made_up.plan.cuts[1:]))
    root = strip(made_up.document())
    (_, _, y), upper, lower = cuts(root)[0], body(root, "T9")[1], body(root, "T10")[0]
    assert y == pytest.approx(upper + (lower - upper) * 2.0 / 6.0, abs=0.06)


def test_left_halves_and_left_ribs_are_drawn_at_the_left(made_up):
    root = strip(made_up.document())
    for side, x, _ in cuts(root):
        assert (x < 60) == (side == "left")
    for path in root.iter(f"{SVG}path"):
        kind = (path.get("class") or "").split()
        if kind[:1] == ["rib"]:
            assert ("q-" in path.get("d")) == (kind[1] == "left")


def test_only_ribs_that_are_there_are_drawn():
    one_sided = (SimpleNamespace(level=T10, side=Side.LEFT),)
    root = strip(ribs=one_sided)
    drawn = [p.get("class") for p in root.iter(f"{SVG}path") if "rib" in (p.get("class") or "")]
    assert drawn == ["rib left"]


def test_the_diseased_one_is_hatched_and_broken_round_until_confirmed():
    confirmed, open_ = MadeUp(), MadeUp(confirmation=replace(CONFIRMED, confirmed_by=None))
    for made, is_open in ((confirmed, False), (open_, True)):
        root = strip(made.document())
        hatched = [one for one in root.iter(f"{SVG}rect") if "hatch" in one.get("fill")]
        assert len(hatched) == 1 and hatched[0].get("y") == f"{body(root, 'T10')[0]:.1f}"
        broken = [one for one in root.iter(f"{SVG}rect") if one.get("class") == "unconfirmed"]
        assert len(broken) == (1 if is_open else 0)
        assert (words.UNCONFIRMED in said(root)) == is_open
    assert words.UNCONFIRMED in said(strip(None))  # nobody can have confirmed it yet


def numbers(root):
    return [int(one) for one in said(root) if one.isdigit()]


@pytest.mark.parametrize(
    ("end", "expected"),
    [(CountedFrom.LAST_RIB, [5, 4, 3, 2, 1]), (CountedFrom.FIRST_RIB, [1, 2, 3, 4, 5]),
     (CountedFrom.PLACED_MARKER, []), (CountedFrom.SACRUM, [])],
)  # fmt: skip
def test_numbers_are_counted_from_the_agreed_end(end, expected):
    """T12 carries the last rib here; the sacrum is not below T12, so from there nothing counts."""
    made = MadeUp(confirmation=replace(CONFIRMED, counted_from=end))
    assert numbers(strip(made.document())) == expected


def test_no_number_is_said_if_the_end_is_not_in_the_images():
    made = MadeUp(confirmation=replace(CONFIRMED, end_in_view=False))
    assert numbers(strip(made.document())) == []


def test_counting_stops_where_a_vertebra_is_not_outlined(made_up):
    kept = {level: v for level, v in made_anatomy().vertebrae.items() if str(level) != "T11"}
    document = made_up.document()
    document["resection"]["cuts"] = []
    root = strip(document, vertebrae=kept)
    assert numbers(root) == [1]  # T12; T10 would be counted one too low


def test_from_the_sacrum_it_counts_upwards_from_the_last_lumbar():
    lumbar = [Level(f"L{n}") for n in range(1, 6)]
    vertebrae = dict(zip(lumbar, made_anatomy().vertebrae.values(), strict=True))
    confirmation = {"confirmed": True, "counted_from": "sacrum", "end_in_view": True}
    document = {"level_confirmation": confirmation, "resection": {"cuts": []}}
    assert numbers(strip(document, vertebrae=vertebrae, ribs=())) == [5, 4, 3, 2, 1]


def test_roots_are_drawn_on_their_side_and_dashed_if_nobody_saw_them(made_up):
    document = made_up.document()
    strand = {"level": "T10", "side": "left", "modelled": True}
    other = {"level": "T9", "side": "right", "modelled": False}
    document["owners"] = {"roots": [strand, other], "segmental_vessels": [other]}
    root = strip(document)
    found = {}
    for path in root.iter(f"{SVG}path"):
        kind = (path.get("class") or "").split()
        if kind and kind[0] in ("roots", "segmental_vessels"):
            y, reach = re.match(r"M[\d.]+ ([\d.]+)h(-?[\d.]+)", path.get("d")).groups()
            found[kind[0], kind[1]] = (float(reach) < 0, path.get("stroke-dasharray"), float(y))
    assert found["roots", "left"][:2] == (True, "3 2")
    assert found["roots", "right"][:2] == (False, None)
    assert body(root, "T10")[1] < found["roots", "left"][2]  # below its own vertebra
    top, bottom = body(root, "T9")
    assert top < found["segmental_vessels", "right"][2] < bottom


def test_words_are_never_smaller_than_13(made_up):
    for root in (strip(made_up.document()), strip(None)):
        sizes = [float(one.get("font-size")) for one in root.iter() if one.get("font-size")]
        assert min(sizes) >= 13.0
