"""The page of the second scan in a real browser: marking by mouse and by keyboard."""

from __future__ import annotations

import json
import shutil
import time

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.made_up import mr
from vertebloc.space.grids import Grid
from vertebloc.workflow import import_case
from vertebloc.workflow.demo import SCANNED_AT
from vertebloc.workflow.second_view import SecondView

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow]
WAIT = 120_000  #: ms, on a busy machine


@pytest.fixture(scope="module")
def case(small_case, tmp_path_factory):
    """The small case with a coarse MR beside its CT."""
    folder = tmp_path_factory.mktemp("other")
    copy = shutil.copytree(small_case, folder / "case")
    patient = made_up.lead_patient()
    fine = mr.mr_grid(patient)
    grid = Grid.from_matrix((60, 60, 20), fine.lps_from_ijk.matrix @ np.diag([4.0, 4, 1, 1]))
    seen = mr.mr_volume(patient, grid, np.random.default_rng(1))
    settings = SeriesSettings(seed_text="m", made_at=SCANNED_AT, description="made up", kind="MR")
    identity = json.loads(next(copy.glob("identity-*.json")).read_text())
    write_dicom_series(folder / "mr", seen, type(patient.identity)(**identity), settings)
    import_case(folder / "mr", copy)
    return copy


def pairs_in(case):
    found = sorted(case.glob("results/second-place-*.json"), key=lambda path: path.stat().st_mtime)
    return json.loads(found[-1].read_text())["pairs"] if found else []


def wait_for_pairs(case, count):
    for _ in range(200):
        if len(pairs_in(case)) == count:
            return pairs_in(case)
        time.sleep(0.1)
    raise AssertionError(f"{len(pairs_in(case))} pairs saved, {count} wanted")


def test_places_are_marked_by_mouse_and_by_keyboard(browser, serving, case) -> None:
    """By hand: the picture's middle is the tumour's; one step to the right is 1 mm to the back."""
    with serving(case) as served:
        context = browser.new_context(viewport={"width": 1400, "height": 900})
        page = context.new_page()
        wrong = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.goto(served.address)
        page.wait_for_selector("text=Does the other scan lie on the CT?", timeout=WAIT)
        page.goto(served.address.split("?")[0] + "other-scan")
        page.wait_for_selector(".reading", state="detached", timeout=WAIT)
        page.wait_for_selector("text=Next: a place in the CT", timeout=WAIT)
        assert "does not lie on the CT yet" in page.inner_text(".answer")
        assert page.locator("button[data-mode=edges]").is_disabled()
        page.locator("figure[data-what=ct] .seen").click()  # its middle
        page.wait_for_selector("text=Next: the same place in the MR", timeout=WAIT)
        page.locator("figure[data-what=second] .seen").click()
        first = wait_for_pairs(case, 1)[0]
        page.wait_for_selector("text=1 of at least 3 pairs", timeout=WAIT)
        for what, said in (("ct", "the same place in the MR"), ("second", "a place in the CT")):
            page.focus(f"figure[data-what={what}]")
            for _ in range(4):
                page.keyboard.press("ArrowRight")
            page.keyboard.press("ArrowUp")
            page.keyboard.press("Enter")
            page.wait_for_selector(f"text=Next: {said}", timeout=WAIT)
        second = wait_for_pairs(case, 2)[1]
        page.click("text=forget the last pair")
        wait_for_pairs(case, 1)
        assert wrong == []
        context.close()
    view = SecondView(case)
    middle = np.array(view._at_ct["side"].rows).T @ np.array(view._at_ct["side"].centre)
    # a click is good to a pixel of the window: 140 mm over some 500 of them
    assert np.abs(np.array(first[0]) - middle).max() < 0.5
    assert np.array(second[0]) - np.array(first[0]) == pytest.approx([0.0, 4.0, 1.0], abs=1e-3)
    assert np.array(second[1]) - np.array(first[1]) == pytest.approx([0.0, 4.0, 1.0], abs=1e-3)


def test_the_page_is_reached_and_left_by_keyboard(browser, serving, case) -> None:
    with serving(case) as served:
        context = browser.new_context(viewport={"width": 1400, "height": 900})
        page = context.new_page()
        page.goto(served.address)
        page.wait_for_selector(".questions a[href='/other-scan']", timeout=WAIT)
        page.keyboard.press("o")
        page.wait_for_url("**/other-scan", timeout=WAIT)
        page.wait_for_selector(".reading", state="detached", timeout=WAIT)
        page.keyboard.press("2")
        page.wait_for_url("**/level", timeout=WAIT)
        context.close()
