"""Counting in a real browser, by keyboard alone; what is unsure must read UNCONFIRMED."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

pytestmark = [
    pytest.mark.system("chromium"),
    pytest.mark.slow,
    pytest.mark.full,  # eight plans in a row
    pytest.mark.timeout(1500),  # eight plans in a row on a busy machine
]

SCREENSHOTS = Path(__file__).parents[2] / "build" / "screenshots"
PLAN_S = 400_000  #: ms to wait for a plan on a busy machine


@pytest.fixture(scope="module")
def page(browser, small_case, tmp_path_factory, serving):
    case = shutil.copytree(small_case, tmp_path_factory.mktemp("counted") / "case")
    with serving(case) as served:
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        found = context.new_page()
        found.wrong = []
        found.on("pageerror", lambda error: found.wrong.append(str(error)))
        found.goto(served.address)
        found.goto(served.address.split("?")[0] + "level")
        found.wait_for_selector("text=Level T10 is UNCONFIRMED", timeout=PLAN_S)
        found.case = case
        yield found
        assert not found.wrong
        context.close()


def focus(page, keep):
    """Go there with the Tab key alone, as somebody without a mouse does."""
    for _ in range(120):
        at = page.evaluate("document.activeElement?.dataset?.keep || ''")
        if at == keep:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"the keyboard never comes to {keep}")


def choose(page, keep, words):
    """Type the beginning of a choice, as the keyboard allows, and wait for the new plan."""
    focus(page, keep)
    page.keyboard.type(words)
    page.wait_for_function(
        "([keep, words]) => document.querySelector(`[data-keep='${keep}']`)"
        "?.selectedOptions[0].textContent.startsWith(words)", arg=[keep, words], timeout=PLAN_S,
    )  # fmt: skip
    page.wait_for_timeout(1500)  # a choice by keys is told once they rest
    page.wait_for_selector(".note.pending", state="detached", timeout=PLAN_S)


def confirm(page, number, who):
    focus(page, "count-count")
    page.keyboard.press("Control+A")
    page.keyboard.type(number)
    focus(page, "count-who")
    page.keyboard.press("Control+A")
    page.keyboard.type(who)
    focus(page, "count-confirm")
    page.keyboard.press("Enter")
    page.wait_for_timeout(500)
    page.wait_for_selector(".note.pending", state="detached", timeout=PLAN_S)


def answer(page):
    return page.locator(".answer").first.inner_text()


def beads(page):
    return [
        int(one) for one in page.locator(".strip svg text").all_text_contents() if one.isdigit()
    ]


def test_the_whole_count_by_keyboard(page):
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    # an end that these images do not show: no bead, no field to confirm in, and the word stays
    choose(page, "count-counted_from", "sacrum")
    assert "the sacrum, from which it is counted, is not in the images" in answer(page)
    assert beads(page) == [] and page.locator("[data-keep=count-confirm]").count() == 0
    assert page.locator(".strip svg .unconfirmed").count() == 1
    page.screenshot(path=SCREENSHOTS / "count-not-in-view.png")
    # the last rib is in view: beads from 1 up; still unconfirmed until everything is answered
    choose(page, "count-counted_from", "last rib")
    assert sorted(beads(page)) == [1, 2, 3, 4, 5, 6]
    assert "UNCONFIRMED" in answer(page) and "how many pairs of ribs" in answer(page)
    choose(page, "count-rib_pairs", "12 pairs")
    choose(page, "count-transitional", "none")
    # a miscount by one is shouted about
    confirm(page, "4", "Dr Example")
    page.wait_for_selector("text=LEVELS DO NOT AGREE", timeout=PLAN_S)
    assert "LEVELS DO NOT AGREE: T10 was counted as number 4" in answer(page)
    assert page.locator(".strip svg .unconfirmed").count() == 1
    page.screenshot(path=SCREENSHOTS / "count-conflict.png")
    # the right count confirms, with name, time and offset
    confirm(page, "3", "Dr Example")
    assert page.locator(".error").all_inner_texts() == []
    page.wait_for_selector("text=T10 confirmed by Dr Example on", timeout=PLAN_S)
    assert "counted as number 3 from the last rib towards the head" in answer(page)
    assert page.locator(".strip svg .unconfirmed").count() == 0
    page.screenshot(path=SCREENSHOTS / "count-confirmed.png")
    journal = (page.case / "journal.jsonl").read_text()
    assert "T10 counted as number 3 from the last rib by Dr Example" in journal
    # undo by keyboard: unconfirmed again
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Control+z")
    page.wait_for_selector("text=LEVELS DO NOT AGREE", timeout=PLAN_S)
    assert page.locator(".strip svg .unconfirmed").count() == 1
