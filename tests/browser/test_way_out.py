"""The way out in a real browser: answer on top, played by slider and keys, read as stored."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices
from vertebloc.workflow.way_out import key_of_way_out, put_way_out

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow, pytest.mark.full]

SCREENSHOTS = Path(__file__).parents[2] / "build" / "screenshots"
PLAN_S = 240_000  #: ms to wait for the first plan on a busy machine


@pytest.fixture(scope="module")
def kept(way_out_by_hand):
    return way_out_by_hand.hand_kept()


@pytest.fixture(scope="module")
def page(small_case, tmp_path_factory, serving, browser, kept):
    """The page of a planned case that keeps a way out known by hand."""
    folder = Path(shutil.copytree(small_case, tmp_path_factory.mktemp("way") / "case"))
    case = CaseFolder.open(folder)
    choices = load_choices(case)
    own = kept | {"key": key_of_way_out(case.inputs(choices), choices)}
    with case.transaction(now=read_clock(), what="put", restamp=Restamper(case)) as change:
        put_way_out(change, own)
    with serving(folder) as served:
        made = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
        made.wrong = []
        made.on("pageerror", lambda error: made.wrong.append(str(error)))
        made.goto(served.address)
        made.goto(served.address.split("?")[0] + "way-out")
        made.wait_for_selector("text=Out to the left if", timeout=PLAN_S)
        made.wait_for_function("() => window.vertebloc_travel?.().painted > 0", timeout=60_000)
        yield made
        assert not made.wrong
        made.context.close()


def reading(page):
    said = page.inner_text(".travel-reading")
    found = re.search(r"moved (\d+\.\d) mm, .*: (-?\d+\.\d\d) mm( or more)? from the sac", said)
    return float(found[1]), float(found[2])


def transform(page):
    return page.get_attribute(".travel-plane .moving", "transform")


def test_the_answer_is_on_top_and_the_numbers_beside_it(page, kept):
    answer = page.locator(".answer").first
    assert kept["way_out"]["words"] in answer.inner_text()
    assert answer.bounding_box()["y"] < page.locator(".travel").bounding_box()["y"]
    side = page.inner_text("aside")
    assert "shown to be possible" in side and "no way betters" in side
    assert "the left T10 root" in side and "HARM LINE" not in side
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SCREENSHOTS / "way-out.png")


def test_scrubbing_moves_the_piece_and_reads_the_stored_curve(page, kept):
    played = kept["ways"][0]["played"]
    slider = page.locator(".travel-slider")
    slider.focus()
    page.keyboard.press("Home")
    seen = set()
    for _ in range(4):
        page.keyboard.press("PageUp")
        pose = int(slider.input_value())
        page.wait_for_timeout(100)
        moved, room = reading(page)
        assert moved == pytest.approx(played["moved_mm"][pose], abs=0.051)
        assert room == pytest.approx(played["clearance_mm"][pose], abs=0.0051)
        shift = [float(n) for n in re.findall(r"-?[\d.]+", transform(page))]
        assert shift[0] == pytest.approx(-5.0 * played["x_mm"][pose], abs=0.01)
        assert shift[2] == pytest.approx(played["turn_deg"][pose], abs=0.01)
        seen.add(transform(page))
    assert len(seen) == 4


def test_to_the_left_is_to_the_pictures_left_and_the_slider_fits(page):
    """Seen from the feet, back up: the patient's left is at the left."""
    page.locator(".travel-slider").focus()
    page.keyboard.press("Home")
    first = page.locator(".travel-plane .moving").bounding_box()
    page.keyboard.press("End")
    page.wait_for_timeout(100)
    last = page.locator(".travel-plane .moving").bounding_box()
    assert last["x"] < first["x"] and last["y"] < first["y"]  # left and back
    box, place = page.locator(".travel-slider").bounding_box(), page.locator(".picture")
    assert box["y"] + box["height"] <= place.bounding_box()["y"] + place.bounding_box()["height"]


def test_it_plays_and_pauses_without_freezing_the_page(page):
    page.locator('[data-travel="rest"]').click()
    page.locator('[data-travel="slow"]').check()
    page.locator('[data-travel="play"]').click()
    page.wait_for_function("() => window.vertebloc_travel().pose > 0", timeout=20_000)
    page.locator('[data-travel="play"]').click()
    pose = page.evaluate("() => window.vertebloc_travel().pose")
    page.wait_for_timeout(400)
    assert page.evaluate("() => window.vertebloc_travel().pose") == pose


def test_a_setting_makes_it_out_of_date_at_once_and_undo_brings_it_back(page):
    page.locator("summary", has_text="Settings").click()
    field = page.locator('input[data-keep="least_mm"]')
    field.fill("3")
    field.press("Enter")
    page.wait_for_selector("text=OUT OF DATE and not shown", timeout=60_000)
    assert not page.locator(".travel").is_visible()
    page.locator("body").press("Control+z")
    page.wait_for_selector("text=Out to the left if", timeout=60_000)


def test_it_prints_on_both_papers(page, tmp_path):
    from pypdf import PdfReader

    for paper in ("A4", "Letter"):
        page.pdf(path=tmp_path / f"{paper}.pdf", format=paper, print_background=True)
        said = PdfReader(tmp_path / f"{paper}.pdf").pages[0].extract_text()
        assert "Out to the left" in " ".join(said.split())
