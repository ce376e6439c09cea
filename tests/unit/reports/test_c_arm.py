"""Predicted views on page and paper: sides, mirror twin, words, what plan.json holds."""

import base64
import json
import re
import struct
import types
import zlib
from functools import partial
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.case.choice_words import CountedFrom
from vertebloc.errors import InputError
from vertebloc.fluoroscopy import CArm, Projector, plan_views, show_as_film
from vertebloc.fluoroscopy.film import FilmSettings
from vertebloc.fluoroscopy.shown import shown_views
from vertebloc.reports import c_arm_text as words
from vertebloc.reports.c_arm_document import c_arm_document, c_arm_of_cut
from vertebloc.reports.c_arm_pages import c_arm_pages
from vertebloc.reports.c_arm_picture import Predicted, beside, c_arm_svg
from vertebloc.reports.c_arm_views import c_arm_view, setting_card
from vertebloc.reports.theatre_pages import _alone
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.planes import Plane
from vertebloc.space.transforms import rigid_frame

SCHEMA = Path(__file__).parents[3] / "docs" / "plan.schema.json"
LEVELS = ("T9", "T10", "T11", "T12")


def spine():
    vertebrae = {
        Level.parse(name): types.SimpleNamespace(
            lps_from_vertebra=rigid_frame(
                np.array([0.0, 0.0, 25.0 - 25.0 * n]), np.eye(3),
                target=Frame.PATIENT_LPS, source=Frame.VERTEBRA,
            ),
            upper_endplate_mm=10.0, lower_endplate_mm=-10.0,
        )
        for n, name in enumerate(LEVELS)
    }  # fmt: skip
    return types.SimpleNamespace(vertebrae=vertebrae)


def cut(name, entry, blade, normal, mirror):
    flip = np.array([-1.0 if mirror else 1.0, 1.0, 1.0])
    entry, blade, normal = (np.array(v, float) * flip for v in (entry, blade, normal))
    side = Side.RIGHT if ("left" in name) == mirror else Side.LEFT
    if mirror:
        name = name.replace("left", "*").replace("right", "left").replace("*", "right")
    return types.SimpleNamespace(
        name=name, side=side, level=Level("T9"), plane=Plane(entry, normal), entry=entry,
        entry_edge=np.array([1.0, 0.0, 0.0]), blade=blade,
    )  # fmt: skip


def views(*, mirror=False, standing=Side.LEFT, end=CountedFrom.LAST_RIB):
    """A cut tilted 10 degrees to the head and one rolled 8 degrees, left end up."""
    a, b = np.radians([10.0, 8.0])
    cuts = (
        cut("left half of the cranial cut", (8, 20, 12), (0, -np.cos(a), np.sin(a)),
            (0, np.sin(a), np.cos(a)), mirror),
        cut("right half of the caudal cut", (-8, 20, -12), (0, -1, 0),
            (-np.sin(b), 0, np.cos(b)), mirror),
    )  # fmt: skip
    plan = types.SimpleNamespace(level=Level("T10"), cuts=cuts, depths=(), faces=())
    numbers = {Level("T12"): 1, Level("T11"): 2, Level("T10"): 3}
    said = LevelConfirmation(counted_from=end, beads=numbers if end.value else {})
    solids = types.SimpleNamespace(bone={}, ribs={})
    found = plan_views(spine(), solids, plan, said, standing=standing, arm=CArm(pixels=64))
    return found, c_arm_document(found, said)


def both_ways(document):
    return {(one["cut"], view["beam"]): view for one in document["cuts"] for view in one["views"]}


def test_settings_by_hand():
    """The tilted cut: from behind the detector goes to the feet by as much; from the side none."""
    _, document = views()
    seen = both_ways(document)
    tilted = seen["left half of the cranial cut", "from behind"]
    assert tilted["end"] == "10 degrees towards the FEET"
    assert (tilted["primary_deg"], tilted["secondary_deg"]) == (180.0, -10.0)
    assert seen["left half of the cranial cut", "from the side"]["end"] == "straight"
    # the left end is up: from the left the detector goes up, seen from behind nothing is tilted
    rolled = seen["right half of the caudal cut", "from the side"]
    assert rolled["end"] == "8 degrees towards the HEAD"
    assert rolled["how"].startswith(
        "C-arm as for a view from the side: detector at the patient's LEFT, tube at the "
        "patient's RIGHT."
    )
    assert "primary +90.0, secondary +8.0 degrees" in rolled["how"]
    assert seen["right half of the caudal cut", "from behind"]["end"] == "straight"
    assert "1.2 cm towards the feet" in rolled["central_ray"]


def test_mirror_twin_says_the_other_side():
    """Patient mirrored, surgeon at the other side: every side in words and angles changes over."""
    _, one = views(standing=Side.LEFT)
    _, twin = views(mirror=True, standing=Side.RIGHT)
    swapped = json.dumps(one)
    for a, b in (("LEFT", "RIGHT"), ("left", "right")):
        swapped = swapped.replace(a, "*").replace(b, a).replace("*", b)
    for (name, beam), view in both_ways(json.loads(swapped)).items():
        other = both_ways(twin)[name, beam]
        assert other["end"] == view["end"] and other["central_ray"] == view["central_ray"]
        assert other["secondary_deg"] == view["secondary_deg"]
        assert other["how"].split("Positioner")[0] == view["how"].split("Positioner")[0]
    side = both_ways(twin)["left half of the caudal cut", "from the side"]
    assert side["primary_deg"] == -90.0 and "detector at the patient's RIGHT" in side["how"]


@pytest.mark.parametrize(
    ("standing", "corner"),
    [(Side.LEFT, (-1, 1)), (Side.RIGHT, (1, -1)), (None, (-1, -1))],
)
def test_a_marked_rib_is_where_theatre_sees_it(standing, corner):
    """Metal at the patient's left towards the head, by hand: standing at the left it is at the
    picture's left (head) and bottom (patient's left); at the right at the right and top; head
    up at the left and top. The letters at the edges say the same.
    """
    plan, _ = views(standing=standing)
    values = np.full((60, 60, 60), -1000, np.int16)
    values[10:50, 10:50, 10:50] = 0
    values[38:42, 28:32, 38:42] = 3000  # +x left, +z head
    matrix = np.diag([2.0, 2.0, 2.0, 1.0])
    matrix[:3, 3] = -59.0
    projector = Projector.of(Volume(Grid.from_matrix(values.shape, matrix), values))
    shown = shown_views(plan)[0]
    waters = projector.project(shown.view)
    row, col = np.unravel_index(int(waters.argmax()), waters.shape)
    middle = (waters.shape[0] - 1) / 2.0
    assert (np.sign(col - middle), np.sign(row - middle)) == corner
    grey = show_as_film(waters, shown.view.arm.pitch_mm, FilmSettings(even_out_mm=0.0))
    svg = c_arm_svg(plan, Predicted(shown=shown, grey=grey))
    at = {said: float(x) for x, said in re.findall(r'<text x="([\d.]+)"[^>]*>([^<]+)</text>', svg)}
    ys = {said: float(y) for y, said in re.findall(r'y="([\d.]+)"[^>]*>([^<]+)</text>', svg)}
    if standing is Side.LEFT:
        assert at["HEAD"] < 100 < 900 < at["FEET"] and ys["patient's LEFT"] > 900
    elif standing is Side.RIGHT:
        assert at["HEAD"] > 900 > 100 > at["FEET"] and ys["patient's LEFT"] < 100
    else:
        assert ys["HEAD"] < 100 < 900 < ys["FEET"] and at["patient's LEFT"] < 100
    assert np.argmax(pixels_of(svg)) == int(np.argmax(np.round(grey * 255)))


def pixels_of(svg):
    """The picture inside the SVG, decoded by hand: palette places, a row at a time."""
    data = base64.b64decode(re.search(r"base64,([^\"]+)", svg)[1])
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    wide, tall = struct.unpack(">II", data[16:24])
    start = data.index(b"IDAT")
    (length,) = struct.unpack(">I", data[start - 4 : start])
    rows = np.frombuffer(zlib.decompress(data[start + 4 : start + 4 + length]), np.uint8)
    return rows.reshape(tall, wide + 1)[:, 1:]


def test_every_picture_says_that_it_is_predicted_and_what_it_shows():
    plan, _ = views()
    for shown in shown_views(plan):
        svg = c_arm_svg(plan, Predicted(shown=shown, grey=np.zeros((64, 64))), of_strip=1)
        assert "PREDICTED from a supine CT: not a real picture" in svg
        assert "HEAD" in svg and "FEET" in svg and "20 mm at the spine" in svg
        if shown.place:
            assert "T12 · 1" in svg and "T10 · 3" in svg and "picture 1 of 1" in svg
        else:
            assert "T10" in svg
    assert beside([svg, svg]).count("<image") == 2


def test_schema_holds_and_refuses():
    _, document = views()
    schema = json.loads(SCHEMA.read_text())["properties"]["c_arm"]
    jsonschema.validate(document, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document | {"detector_at": "above"}, schema)


def test_card_of_a_half_cut():
    _, document = views()
    said = c_arm_of_cut({"c_arm": document}, "left half of the cranial cut")
    assert said.beam == "from the side" and (said.primary_deg, said.secondary_deg) == (90.0, 0.0)
    assert said.words.startswith("Predicted: from the side, C-arm straight, this cut is a line")
    assert "its depth cannot be seen" in said.words  # of the view from behind
    with pytest.raises(InputError, match="name no cut 'chin'"):
        c_arm_of_cut({"c_arm": document}, "chin")
    with pytest.raises(InputError, match="plan the case anew"):
        c_arm_of_cut({}, "chin")


def test_page_without_an_agreed_end_says_so_and_shows_no_strip():
    plan, document = views(end=CountedFrom.NOT_COUNTED)
    page = c_arm_view({"c_arm": document, "level": "T10"})
    assert page.answer[1].must_not_be_overlooked
    assert page.answer[1].words.startswith("No level strip: no end to count from is named")
    assert not any(one.place for one in shown_views(plan))
    assert any(one.words == words.CAUTION and one.must_not_be_overlooked for one in page.foot)
    plan, document = views()
    page = c_arm_view({"c_arm": document, "level": "T10"})
    assert page.answer[1].must_not_be_overlooked  # nobody confirmed the level
    assert page.answer[1].words == (
        "Level strip of 1 picture from the last rib: T10 is number 3. That is by the outlines: "
        "the level is UNCONFIRMED."
    )
    document["strip"]["level_confirmed"] = True
    page = c_arm_view({"c_arm": document, "level": "T10"})
    assert not page.answer[1].must_not_be_overlooked
    assert page.answer[1].words == "Level strip of 1 picture from the last rib: T10 is number 3."
    card = setting_card({"c_arm": document}, shown_views(plan)[-1])
    assert card.note.endswith("T12 is 1, T11 is 2, T10 is 3.")


def test_halves_seen_alike_are_told_together():
    _, document = views()
    rows = words.line_rows(document["cuts"])
    assert rows == (
        ("left half of the cranial cut", "side straight; behind 10° to FEET"),
        ("right half of the caudal cut", "side 8° to HEAD; behind straight"),
    )
    other = dict(document["cuts"][0], cut="right half of the cranial cut")
    assert words.line_rows([document["cuts"][0], other]) == (
        ("cranial cut", "side straight; behind 10° to FEET"),
    )


def test_sheet_pages_one_picture_each():
    plan, document = views()
    shown = shown_views(plan)
    drawn = {
        one.key: c_arm_svg(plan, Predicted(shown=one, grey=np.zeros((64, 64)))).encode()
        for one in shown
    }
    pages = c_arm_pages({"c_arm": document, "level": "T10"}, tuple(drawn), partial(_alone, drawn))
    assert len(pages) == 1 + len(shown)
    assert pages[0].table is not None and len(pages[0].table.rows) == 5
    assert "Tube 60 cm from the spine, detector 40 cm (assumed)." in pages[0].notes
    for page in pages[1:]:
        # 22 points on what hangs in theatre: capitals of 5.7 mm, from 2 m 9.7 minutes of arc where
        # sight of 20/20 needs 5 (from memory); a point is 0.3528 mm, a capital 0.73 of its size
        large = max(float(n) for n in re.findall(rb'font-size="(\d+)"', page.picture.drawing))
        assert page.picture is not None and page.picture.width_mm * large / 1000 / 0.3528 >= 22.0
    assert c_arm_pages({}, (), partial(_alone, {})) == ()


def test_whoever_sets_the_c_arm_reads_how_the_level_is_counted() -> None:
    _, document = views()
    said = words.strip_setting(document, "T10")
    assert said == (
        "To count from the last rib: C-arm as for a view from behind: tube below the table, "
        "detector above the back. Picture 1: central ray 2.5 cm towards the feet of the middle of "
        "T10, T12 is 1, T11 is 2, T10 is 3. That is by the outlines: the level is UNCONFIRMED."
    )  # by hand: from T12 at -50 mm to T10 at 0
    _, none = views(end=CountedFrom.NOT_COUNTED)
    assert words.strip_setting(none, "T10").startswith("No level strip: no end to count from")
