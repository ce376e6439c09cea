"""The way out in a real browser: answer on top, played by slider and keys, read as stored."""

from __future__ import annotations

import re
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest
from pypdf import PdfReader

from vertebloc.reports.travel_picture import leans_on_plane

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow]

PAGE = Path(__file__).with_name("way_out_page.py")
SCREENSHOTS = Path(__file__).parents[2] / "build" / "screenshots"


@pytest.fixture(scope="module")
def kept(way_out_by_hand):
    return way_out_by_hand.hand_kept()


@contextmanager
def opened(browser, folder, side, *more):
    """The page of a case that keeps a way out to a side; its server ends with it."""
    command = [sys.executable, str(PAGE), str(folder), side, *more]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as served:
        try:
            address = served.stdout.readline().strip()
            made = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
            made.wrong = []
            made.on("pageerror", lambda error: made.wrong.append(str(error)))
            made.goto(f"{address}way-out")
            made.wait_for_selector(f"text=Out to the {side} if", timeout=60_000)
            made.wait_for_function("() => window.vertebloc_travel?.().painted > 0", timeout=60_000)
            yield made
            made.context.close()
            assert not made.wrong
        finally:
            served.terminate()


@pytest.fixture(scope="module")
def page(browser, tmp_path_factory):
    with opened(browser, tmp_path_factory.mktemp("way"), "left") as made:
        yield made


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
    assert "shown to be possible" in side and "no way in the plane betters" in side
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


def ends(page):
    """Where the piece stands at rest and when it is out, in the plane's picture."""
    found = []
    for key in ("Home", "End"):
        page.locator(".travel-slider").focus()
        page.keyboard.press(key)
        page.wait_for_timeout(100)
        found.append(page.locator(".travel-plane .piece").bounding_box())
    return found


def test_to_the_left_is_to_the_pictures_left_and_the_slider_fits(page):
    """Seen from the feet, back up: the patient's left is at the left."""
    first, last = ends(page)
    assert last["x"] < first["x"] and last["y"] < first["y"]  # left and back
    box, place = page.locator(".travel-slider").bounding_box(), page.locator(".picture")
    assert box["y"] + box["height"] <= place.bounding_box()["y"] + place.bounding_box()["height"]


@pytest.mark.full
def test_the_mirror_twin_goes_to_the_pictures_right(browser, tmp_path):
    with opened(browser, tmp_path, "right") as made:
        first, last = ends(made)
        assert last["x"] > first["x"] and last["y"] < first["y"]
        side = made.inner_text("aside")
        assert (
            "the right T10 root" in side and "the left T10 root" not in side.split("RIGHT: NO")[0]
        )


@pytest.mark.full
def test_a_tilted_piece_is_moved_outline_by_outline_and_read(browser, tmp_path, way_out_by_hand):
    kept = way_out_by_hand.hand_kept(leaning=True)
    way = kept["ways"][0]
    with opened(browser, tmp_path, "left", "leaning") as made:
        assert "gains 0.4 mm there" in made.inner_text("aside")
        assert "Tilted on its way" in made.inner_text(".travel-plane")
        made.locator(".travel-slider").focus()
        made.keyboard.press("End")
        made.wait_for_timeout(200)
        assert "tilted 15 degrees, 1.5 mm to the head" in made.inner_text(".travel-reading")
        leans = made.evaluate(
            "() => [...document.querySelectorAll('.travel-plane .leans')]"
            ".map((one) => one.getAttribute('transform'))"
        )
        first, *_, end = leans_on_plane(kept["scene"], way)
        assert leans == end != first
        made.screenshot(path=SCREENSHOTS / "way-out-leaning.png")


def test_it_plays_and_pauses_without_freezing_the_page(page):
    page.locator('[data-travel="rest"]').click()
    page.locator('[data-travel="slow"]').check()
    page.locator('[data-travel="play"]').click()
    page.wait_for_function("() => window.vertebloc_travel().pose > 0", timeout=20_000)
    page.locator('[data-travel="play"]').click()
    pose = page.evaluate("() => window.vertebloc_travel().pose")
    page.wait_for_timeout(400)
    assert page.evaluate("() => window.vertebloc_travel().pose") == pose


def test_it_prints_on_both_papers(page, tmp_path):
    for paper in ("A4", "Letter"):
        page.pdf(path=tmp_path / f"{paper}.pdf", format=paper, print_background=True)
        said = PdfReader(tmp_path / f"{paper}.pdf").pages[0].extract_text()
        assert "Out to the left" in " ".join(said.split())
