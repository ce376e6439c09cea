"""A mixed folder on the first page of a new case: pictures, reasons, and one series taken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from vertebloc.case.identity import Identity
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow.demo import SCANNED_AT

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow]
SCREENSHOTS = Path(__file__).parents[2] / "build" / "screenshots"
WAIT = 120_000


def test_a_series_is_chosen_by_its_picture(browser, serving, tmp_path):
    who = Identity(name="MADE-UP, FOLDER", number="VB-F-1", birth_date="1970-01-01")
    for name, sizes in (("thin", (64, 64, 8)), ("thick", (64, 64, 1))):  # one image is no stack
        grid = Grid.from_matrix(sizes, np.diag([2.0, 2.0, 3.0, 1.0]))
        x, y, _ = np.indices(sizes)
        values = np.where(np.hypot(x - 32, y - 30) < 20, 400, -900).astype(np.int16)
        settings = SeriesSettings(seed_text=name, made_at=SCANNED_AT, description=f"{name} slices")
        write_dicom_series(tmp_path / "scan" / name, Volume(grid, values), who, settings)
    with serving(tmp_path / "case") as served:
        page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
        wrong = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(served.address)
        page.wait_for_selector("text=There is no case here yet", timeout=WAIT)
        page.wait_for_function("() => window.did_handshake", timeout=30_000)
        _type_while_the_card_is_made_anew(page)
        page.locator("[data-keep=series-source]").fill(str(tmp_path / "scan"))
        page.keyboard.press("Tab")
        page.locator("[data-keep=series-look]").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("text=thin slices", timeout=WAIT)
        pictures = page.locator(".one-series img")
        assert pictures.count() == 2
        assert pictures.first.evaluate("image => image.naturalWidth") > 20
        assert page.locator(".one-series", has_text="not for planning").count() == 1
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        page.screenshot(path=SCREENSHOTS / "series.png")
        take = page.get_by_role("button", name="take series")
        assert take.count() == 1
        take.focus()
        page.keyboard.press("Enter")
        page.wait_for_selector("text=CT of 64 x 64 x 8 voxels", timeout=WAIT)
        assert "MADE-UP, FOLDER" in page.locator(".answer").inner_text()
        assert not wrong
        page.context.close()


def _type_while_the_card_is_made_anew(page):
    """What is typed and not told yet outlives that the server draws the field again."""
    page.locator("[data-keep=series-source]").focus()
    page.keyboard.type("half a na")
    page.evaluate("window.emitEvent('told', 'series-look', '')")
    page.wait_for_selector("text=no folder is named", timeout=WAIT)
    page.wait_for_selector("[data-keep=series-look]:not([disabled])", timeout=WAIT)
    page.keyboard.type("me")
    assert page.locator("[data-keep=series-source]").input_value() == "half a name"
