"""The team's own C-arm: refused where it cannot stand so, assumed and told so where unsaid."""

from types import SimpleNamespace

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.app.changes import changed_c_arm
from vertebloc.case.choices import Choices
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.errors import InputError
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.fluoroscopy import CArm, CArmView
from vertebloc.fluoroscopy.model import HeadAt, StripView
from vertebloc.fluoroscopy.views import _measures
from vertebloc.reports.c_arm_text import distance_words
from vertebloc.workflow import predict_fluoroscopy
from vertebloc.workflow.predict_fluoroscopy import arm_of

OWN = TheatreChoice(
    c_arm_source_detector_cm=105.0,
    c_arm_source_object_cm=70.0,
    c_arm_detector_cm=20.0,
    c_arm_pixel_mm=0.4,
)


def test_what_nobody_said_is_assumed_and_told() -> None:
    assert _measures(arm_of(TheatreChoice())) == (
        "a usual C-arm: tube to detector 100 cm, tube to spine 60 cm, detector 30 cm (assumed)",
    )
    some = arm_of(TheatreChoice(c_arm_source_object_cm=70.0))
    assert _measures(some) == ("a usual C-arm: tube to detector 100 cm, detector 30 cm (assumed)",)
    assert _measures(arm_of(OWN)) == ()


def test_shadows_are_as_large_as_the_ratio_of_distances() -> None:
    """Closed form: 10 mm at the spine are 10 * 105 / 70 = 15 mm on the detector; usual: 16.67."""
    for said, wide_mm in ((OWN, 15.0), (TheatreChoice(), 10.0 * 1000.0 / 600.0)):
        view = CArmView(
            primary_deg=180.0,
            secondary_deg=0.0,
            aim=np.zeros(3),
            head_at=HeadAt.TOP_EDGE,
            arm=arm_of(said),
        )
        ends = view.on_detector([[-5.0, 0.0, 0.0], [5.0, 0.0, 0.0]])
        assert abs(np.ptp(ends[:, 0])) == pytest.approx(wide_mm, rel=1e-12)
    arm = arm_of(OWN)
    assert (arm.pixels, arm.pitch_mm) == (500, 0.4)  # 200 mm of 0.4 mm
    assert arm.field_mm == pytest.approx(200.0 / 1.5)


def test_distances_are_told_in_centimetres() -> None:
    assert distance_words(600.0, 1000.0, said=False) == (
        "Tube 60 cm from the spine, detector 40 cm (assumed)"
    )
    assert distance_words(625.0, 1050.0, said=True) == (
        "Tube 62.5 cm from the spine, detector 42.5 cm"
    )


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"c_arm_source_object_cm": 100.0}, "lies between tube and detector"),  # of 100 assumed
        ({"c_arm_source_detector_cm": 1050.0}, "from 50 to 200 cm"),  # mm for cm
        ({"c_arm_detector_cm": 0.3}, "from 5 to 60 cm"),
        ({"c_arm_pixel_mm": 0.1}, "3000 pixels along a side"),  # 300 mm assumed
    ],
)
def test_a_machine_that_cannot_stand_so_is_refused(said: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        TheatreChoice(**said)  # type: ignore[arg-type]


def test_it_is_kept_in_the_file_and_read_from_the_page() -> None:
    assert read_choices(render_choices(Choices(theatre=OWN), {})).theatre == OWN
    with pytest.raises(InputError, match=r"line \d+.*c_arm_detector_cm"):
        read_choices(render_choices(Choices(), {}).replace("c_arm_detector_cm = 0.0",
                                                       "c_arm_detector_cm = 300.0"))  # fmt: skip
    said = changed_c_arm(Choices(), "c_arm_source_detector_cm", " 104,5 cm ")
    assert said.theatre.c_arm_source_detector_cm == 104.5
    assert changed_c_arm(said, "c_arm_source_detector_cm", "") == Choices()
    with pytest.raises(InputError, match="c_arm_detector_cm is 'wide': use a number"):
        changed_c_arm(Choices(), "c_arm_detector_cm", "wide")


@pytest.mark.parametrize(
    ("count", "kept"),
    [(1, ["c-arm-strip"]), (3, ["c-arm-strip-1", "c-arm-strip-2", "c-arm-strip-3"])],
)
def test_on_paper_each_picture_of_the_strip_has_a_page(
    count: int, kept: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three beside each other on A4 have letters of 7 points: nobody reads that from 2 m."""
    monkeypatch.setattr(predict_fluoroscopy, "predict_picture", lambda _, __, key: key)
    view = CArmView(primary_deg=180.0, secondary_deg=0.0, aim=np.zeros(3), head_at=HeadAt.TOP_EDGE)
    strip = tuple(StripView(view=view, numbers={Level("T12"): 1}) for _ in range(count))
    plan = SimpleNamespace(behind=view, side=view, cuts=(), lines=(), strip=strip)
    found = predict_fluoroscopy.predict_for_sheet(None, plan)  # type: ignore[arg-type]
    assert list(found) == ["c-arm-behind", "c-arm-side", *kept]


def test_a_needle_in_the_picture_leaves_bone_as_bright(monkeypatch: pytest.MonkeyPatch) -> None:
    """Away from it the picture is the one without it, but for the noise of one in 255 greys."""
    monkeypatch.setattr(
        predict_fluoroscopy, "c_arm_svg", lambda _, predicted, **__: predicted.grey
    )
    view = CArmView(
        primary_deg=90.0, secondary_deg=0.0, aim=np.zeros(3), head_at=HeadAt.LEFT_EDGE,
        arm=CArm(pixels=200),
    )  # fmt: skip
    across = np.sin(np.arange(200) / 3.0)
    body = 120.0 + 20.0 * across[:, None] * across
    projector = SimpleNamespace(project=lambda _: body)
    cut = SimpleNamespace(name="cut", entry=np.zeros(3), blade=np.array([0.0, -1.0, 0.0]))
    plan = SimpleNamespace(cuts=(cut,))
    with_it, without = (
        predict_fluoroscopy._draw(projector, plan, SimpleNamespace(view=view, cuts=cuts), 0)  # type: ignore[arg-type]
        for cuts in (("cut",), ())
    )
    away = np.abs(np.arange(200) - 99.5) * view.arm.pitch_mm > 60.0
    assert isinstance(with_it, np.ndarray) and isinstance(without, np.ndarray)
    assert (
        with_it[20:90, 99:101].mean() > 0.99 > without[20:90, 99:101].mean()
    )  # it is in it, pale
    assert np.abs(with_it - without)[:, away].max() < 0.02
