"""Ring and front drawn: turned with the side of standing, never mirrored."""

import json
import re
from pathlib import Path
from types import SimpleNamespace

import jsonschema
import numpy as np
import pytest

from vertebloc.access import Front, FrontAnswer, Ring, RingMap, RingSettings
from vertebloc.access.front_model import Neighbour, Station, WallWay
from vertebloc.access.ring_model import Demand, Opening, Surrogate
from vertebloc.case.choice_words import FrontBefore
from vertebloc.reports import access_text, palette
from vertebloc.reports.access_document import add_access, front_document, ring_document
from vertebloc.reports.access_views import front_view, ring_view
from vertebloc.reports.front_picture import front_picture_svg
from vertebloc.reports.ring_picture import ring_picture_svg
from vertebloc.space.frames import Side
from vertebloc.staging import Answer


def ring(answer=Answer.YES, disagreements=()):
    """Twenty heights, rays 5 degrees apart; tumour on the left at 90 to 110 degrees."""
    angles = np.arange(-177.5, 180.0, 5.0)
    heights = np.arange(10.0, -10.0, -1.0)
    shape = (len(heights), len(angles))
    growth = np.full(shape, np.inf)
    growth[:6, (angles > 90.0) & (angles < 110.0)] = -1.0
    tumour = np.broadcast_to(np.where(growth < 0.0, 9.0, np.inf), (3, *shape))
    opening = Opening(
        side=Side.RIGHT, first_deg=-120.0, last_deg=60.0, width_mm=16.4, needed_mm=14.2,
        answer=answer, words="from the right edge of the body to the left lamina",
    )  # fmt: skip
    found = RingMap(
        heights_mm=heights, angles_deg=angles, wall_mm=np.full(shape, 8.0), growth_mm=growth,
        tumour_mm=tumour, crossed_mm2=np.zeros(len(angles)), tract=np.zeros(shape, bool),
        sac_mm=np.full(shape, 6.0), is_arch=np.abs(angles) < 120.0,
        canal_mm=np.full(len(angles), 8.0), bone_lps=np.zeros((*shape, 3)),
        middle_words="middle of the sac", surrogate=Surrogate.SAC,
        settings=RingSettings(contour_error_mm=1.0),
    )  # fmt: skip
    return Ring(
        demand=Demand.OPENING, answer=answer, decided_by="right: free", gaps=(),
        openings=(opening,), least=None, planned_side=Side.RIGHT, planned_words="free",
        rule_words="whole body: yes; boriani1997", disagreements=disagreements, map=found,
        nibbled=np.zeros(shape, bool), assumptions=(),
    )  # fmt: skip


def front(answer=FrontAnswer.POSTERIOR, before=FrontBefore.NOT_SAID):
    def station(side, name, length):
        turn = np.linspace(0.0, np.pi / 2, 40)
        points = 16.0 * np.column_stack((np.cos(turn), 1.0 + np.sin(turn)))
        square = np.array([[-16.0, 0.0], [16.0, 0.0], [16.0, 30.0], [-16.0, 30.0]])
        aorta = np.array([[5.0, 40.0], [15.0, 40.0], [15.0, 50.0], [5.0, 50.0]])
        if side is Side.RIGHT:  # outward is to the other side there
            aorta = aorta * (-1.0, 1.0)
        near = Neighbour(
            name="aorta", gap_mm=3.7 if side is Side.LEFT else 9.0, tumour_gap_mm=np.inf,
            contact_deg=0.0, tumour_contact_deg=0.0, tumour_contact_least_deg=0.0,
            tumour_contact_most_deg=0.0, along_mm=20.0, answer=FrontAnswer.POSTERIOR,
        )  # fmt: skip
        return Station(
            name=name, side=side, is_cut=True, reach=answer, neighbours=(near,), tethers=(),
            way=WallWay(points=points, length_mm=length, turn_rad=1.6, from_rib="corner"),
            wall=(square,), tumour=(), structures={"aorta": (aorta,)},
        )  # fmt: skip

    stations = tuple(
        station(side, name, 25.0 if side is Side.LEFT else 27.0)
        for name in ("cranial cut", "caudal cut")
        for side in Side
    )
    return Front(
        answer=answer, decided_by="longest way: 27 mm of 50 mm", would_settle="",
        stations=stations, not_outlined=(), finger_reach_mm=50.0, before=before, stage=None,
        assumptions=(),
    )  # fmt: skip


def place_of(svg, word):
    found = re.search(rf'<text x="([\d.-]+)" y="([\d.-]+)"[^>]*>{re.escape(word)}<', svg)
    assert found, word
    return float(found[1]), float(found[2])


def tumour_middle(svg):
    boxes = re.findall(
        r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)" '
        r'fill="url\(#unrolled-tumour\)"', svg
    )  # fmt: skip
    rows = np.array(boxes, dtype=float)
    return rows[:, 0].mean() + rows[:, 2].mean() / 2, rows[:, 1].mean() + rows[:, 3].mean() / 2


@pytest.mark.parametrize("standing", (Side.LEFT, Side.RIGHT, None))
def test_ring_is_turned_as_theatre_sees_it_and_never_mirrored(standing):
    """Written by hand: where head, feet, left and right lie for each side of standing."""
    svg = ring_picture_svg(ring(), standing)
    head, feet = place_of(svg, "HEAD"), place_of(svg, "FEET")
    left, right = place_of(svg, "patient's LEFT"), place_of(svg, "patient's RIGHT")
    if standing is Side.LEFT:
        assert head[0] < feet[0] and left[1] > right[1]
    elif standing is Side.RIGHT:
        assert head[0] > feet[0] and right[1] > left[1]
    else:
        assert head[1] < feet[1] and left[0] < right[0]
    across, along = np.subtract(left, right), np.subtract(head, feet)
    # y runs down: from left to head is the same turn for all three, else it were mirrored
    assert across[0] * along[1] - across[1] * along[0] > 0.0
    # the tumour lies on the left and near the head
    middle = np.array(tumour_middle(svg))
    assert np.linalg.norm(middle - left) < np.linalg.norm(middle - right)
    assert np.linalg.norm(middle - head) < np.linalg.norm(middle - feet)


def test_ring_says_the_opening_against_the_sac():
    svg = ring_picture_svg(ring(), None)
    assert "16.4 mm" in svg and "sac 14.2 mm" in svg and palette.CUT in svg


def test_front_shows_left_at_the_left_and_each_length_on_its_side():
    svg = front_picture_svg(front())
    assert place_of(svg, "LEFT 25 mm")[0] < place_of(svg, "RIGHT 27 mm")[0]
    assert place_of(svg, "BACK")[1] < place_of(svg, "FRONT")[1]
    aorta = place_of(svg, "aorta 3.7 mm")  # drawn left of the middle
    assert aorta[0] < (place_of(svg, "LEFT 25 mm")[0] + place_of(svg, "RIGHT 27 mm")[0]) / 2
    assert "reach 50 mm" in svg and svg.count("aorta") == 2  # once in each plane


def test_document_and_answer():
    document = {"answer_parts": [{"about": "still open", "words": "End."}], "warnings": ["old"]}
    calm = add_access(document, ring(), front())
    assert calm["answer"] == "End." and calm["warnings"] == ["old"]
    assert (calm["ring"]["answer"], calm["front"]["answer"]) == ("yes", "posterior_alone")
    loud = add_access(
        document, ring(Answer.NO, ("they disagree",)), front(FrontAnswer.RELEASE)
    )  # fmt: skip
    assert [part["about"] for part in loud["answer_parts"]] == ["ring", "front", "still open"]
    assert all(part["must_not_be_overlooked"] for part in loud["answer_parts"][:2])
    assert "they disagree" in loud["warnings"]


def test_views_say_what_is_not_said_and_wash_what_disagrees():
    document = {"ring": ring_document(ring(disagreements=("rules disagree",)))}
    document["front"] = front_document(front())
    said = ring_view(document).answer
    assert said[0].words.startswith("The ring can be opened without tumour: on the right")
    assert "16.4 mm wide, the sac is 14.2 mm" in said[0].words
    assert said[1].must_not_be_overlooked
    foot = front_view(document).foot
    assert foot[0].words == access_text.BEFORE_NOT_SAID and foot[0].must_not_be_overlooked
    assert any("assumed" in one.words for one in foot)


def test_least_contaminated_opening_in_words():
    least = SimpleNamespace(
        side=Side.LEFT, first_deg=-70.0, last_deg=95.0, crossed_mm2=55.2, between_share=0.02,
        margin_class="intralesional", place="between the right facet and the left pedicle",
    )  # fmt: skip
    found = ring(Answer.NO)
    object.__setattr__(found, "least", least)
    words = ring_document(found)["words"]
    assert words.startswith("The ring cannot be opened without tumour. Least contaminated opening")
    assert "on the left" in words and "55 mm² of tumour" in words and "intralesional" in words


@pytest.mark.parametrize("answer", tuple(Answer))
def test_both_fit_the_schema(answer):
    schema = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())
    parts = {"ring": ring_document(ring(answer)), "front": front_document(front())}
    for name, part in parts.items():
        jsonschema.validate(json.loads(json.dumps(part)), schema["properties"][name])
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(parts["ring"] | {"answer": "maybe"}, schema["properties"]["ring"])
