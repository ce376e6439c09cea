"""The solid picture and the brush in a real browser: what hands do there, against hand-worked mm.

In the picture one pixel is 0.17 mm at first. From behind, with the surgeon at the patient's left,
the picture's right is the feet; the solid picture turns 0.008 rad for each pixel of a pull.
"""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import pytest

from .test_pages import PLAN_S, SCREENSHOTS, becomes, number_of, settled, take_over

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow]

MM_PER_PIXEL, TURN_PER_PIXEL = 0.17, 0.008
HEIGHT = "caudal.both.height"


@pytest.fixture(scope="module")
def page(browser, small_case, tmp_path_factory, serving):
    """One window on the page of cuts, which holds the case."""
    case = shutil.copytree(small_case, tmp_path_factory.mktemp("piece") / "case")
    with serving(Path(case)) as served:
        context = browser.new_context(viewport={"width": 1440, "height": 900})
        made = context.new_page()
        made.wrong = []
        made.on("pageerror", lambda error: made.wrong.append(str(error)))
        made.goto(served.address)
        made.goto(served.address.split("?")[0] + "cuts")
        made.wait_for_selector("text=Against the sac", timeout=PLAN_S)
        take_over(made)
        settled(made)
        SCREENSHOTS.mkdir(parents=True, exist_ok=True)
        yield made
        assert made.wrong == []
        context.close()


def look(page, name):
    page.get_by_role("button", name=name, exact=True).click()
    page.evaluate("window.vertebloc_viewer().home()")
    page.wait_for_timeout(400)


def middle_of(page, handle):
    box = page.locator(f'[data-handle="{handle}"]').bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


PIECE = "window.vertebloc_viewer().parts.find((part) => part.kind === 'piece').url"


def pull(page, handle, dx, dy=0):
    """Press on a handle, pull it in steps, read the bars on the way, let go."""
    x, y = middle_of(page, handle)
    bars = page.locator(".bars").text_content()
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + dx, y + dy, steps=6)
    page.wait_for_function(
        "before => document.querySelector('.bars').textContent !== before",
        arg=bars, timeout=20_000,
    )  # fmt: skip
    piece = page.evaluate(PIECE)
    page.mouse.up()
    # until the new piece is in the picture, the picture says that it is the old one
    page.wait_for_selector(".viewer-pending", timeout=10_000)
    page.wait_for_selector(".viewer-pending", state="detached", timeout=60_000)
    assert page.evaluate(PIECE) != piece
    settled(page)


def test_a_cut_pulled_in_the_solid_picture_moves_by_what_the_projection_says(page):
    """From behind, 30 pixels towards the feet are 5.1 mm of height, and nothing else."""
    look(page, "solid")
    before = number_of(page, HEIGHT)
    tilt = number_of(page, "caudal.both.tilt")
    pull(page, "caudal-left:move", 30, 12)  # 12 pixels aside do not count: the plane is square
    becomes(page, HEIGHT, before + 30 * MM_PER_PIXEL)
    assert number_of(page, "caudal.both.tilt") == pytest.approx(tilt, abs=0.051)
    page.screenshot(path=SCREENSHOTS / "solid-after-pull.png")
    pulled = number_of(page, HEIGHT)
    page.reload()
    page.wait_for_selector("text=Against the sac", timeout=PLAN_S)
    take_over(page)
    settled(page)
    assert number_of(page, HEIGHT) == pulled  # found again
    page.locator("body").press("Control+z")
    becomes(page, HEIGHT, before)
    settled(page)


def test_in_a_turned_solid_picture_only_the_share_along_the_axis_counts(page):
    """Turned by 60 pixels, 0.48 rad, about the upright axis: a pull of 30 pixels counts cos."""
    look(page, "solid")
    before = number_of(page, HEIGHT)
    box = page.locator(".viewer-stage").bounding_box()
    x, y = box["x"] + 40, box["y"] + box["height"] - 120  # where nothing lies
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 60, y, steps=4)
    page.mouse.up()
    page.wait_for_timeout(300)
    pull(page, "caudal-left:move", 30)
    expected = 30 * MM_PER_PIXEL * math.cos(60 * TURN_PER_PIXEL)
    assert expected < 4.6 < 30 * MM_PER_PIXEL  # another number than without the turn
    becomes(page, HEIGHT, before + expected)
    page.locator("body").press("Control+z")
    becomes(page, HEIGHT, before)
    settled(page)


PIXELS = """([left, back]) => {
  const v = window.vertebloc_viewer(), f = v.scene.frame, view = v.view();
  const dot = (a, b) => a.reduce((s, x, i) => s + x * b[i], 0);
  const at = f.origin.map((o, i) => o + left * f.left[i] + back * f.back[i] - v.centre[i]);
  const stage = document.querySelector('.viewer-stage').getBoundingClientRect();
  return [stage.x + stage.width / 2 + dot(at, view.right) / v.mmPerPixel,
    stage.y + stage.height / 2 - dot(at, view.up) / v.mmPerPixel]; }"""
DOTS = """([x, y]) => {
  const flat = document.querySelector('canvas.flat'), box = flat.getBoundingClientRect();
  const sharp = flat.width / box.width, size = Math.round(15 * sharp);
  const data = flat.getContext('2d').getImageData((x - box.x) * sharp - size / 2,
    (y - box.y) * sharp - size / 2, size, size).data;
  let bright = 0;
  for (let i = 0; i < data.length; i += 4)
    if (data[i] > 160 && data[i + 1] > 160 && data[i + 2] > 150 && data[i + 3] > 160) bright += 1;
  return bright / (size * size); }"""
#: Places in the axial slice through the middle of T10, mm left of and behind its middle.
LAMINA, PROCESS, PEDICLE = (13.0, 27.0), (22.0, 33.0), (11.0, 18.0)


def fate(page, part):
    return page.locator(f'[data-arch="{part}"]').get_attribute("data-fate")


def has_fate(page, part, wanted):
    page.wait_for_function(
        "([part, wanted]) => document.querySelector(`[data-arch='${part}']`)?.dataset.fate"
        " === wanted", arg=[part, wanted], timeout=60_000,
    )  # fmt: skip


def sweep(page, *places):
    (x, y), *further = (page.evaluate(PIXELS, list(place)) for place in places)
    page.mouse.move(x, y)
    page.mouse.down()
    for x, y in further:
        page.mouse.move(x, y, steps=5)


def comes_true(seen, page):
    """Wait as an eye would: the picture follows the plan, and that is computed beside it."""
    for _ in range(150):
        if seen():
            return
        page.wait_for_timeout(200)
    page.screenshot(path=SCREENSHOTS / "brush-not-seen.png")
    raise AssertionError("the picture does not follow")


def test_the_arch_is_brushed_on_the_slice(page):
    """Swept once: nibbled away and dotted; swept again: back to the rule. What was not swept
    stays as it was."""
    look(page, "across")
    page.get_by_role("button", name="brush", exact=True).click()
    page.wait_for_timeout(300)
    parts = ("left lamina", "left transverse process", "left pedicle", "right lamina")
    first = {part: fate(page, part) for part in parts}
    assert "piecemeal" not in (first["left lamina"], first["left transverse process"])
    lamina = page.evaluate(PIXELS, list(LAMINA))
    clean = page.evaluate(DOTS, lamina)
    sweep(page, LAMINA, PROCESS)
    page.wait_for_timeout(300)
    said = page.locator(".overlay").text_content()
    assert "left lamina becomes: nibbled away" in said
    page.screenshot(path=SCREENSHOTS / "brush-while-swept.png")
    page.mouse.up()
    has_fate(page, "left lamina", "piecemeal")
    has_fate(page, "left transverse process", "piecemeal")
    settled(page)
    page.wait_for_timeout(800)
    assert fate(page, "left pedicle") == first["left pedicle"]
    assert fate(page, "right lamina") == first["right lamina"]
    # a dot of radius 1.5 in a cell of 7 by 7 pixels covers 14 %
    comes_true(lambda: page.evaluate(DOTS, lamina) > clean + 0.05, page)
    page.screenshot(path=SCREENSHOTS / "brush-marked.png")
    sweep(page, PROCESS, LAMINA)
    page.mouse.up()
    has_fate(page, "left lamina", first["left lamina"])
    has_fate(page, "left transverse process", first["left transverse process"])
    settled(page)
    page.wait_for_timeout(800)
    comes_true(lambda: page.evaluate(DOTS, lamina) < clean + 0.03, page)
    page.get_by_role("button", name="brush", exact=True).click()


def test_the_piece_stands_alone_with_the_numbers_of_the_carton(page):
    """The picture's words against the carton's; the weakest place where the plan has it."""
    look(page, "the piece")
    page.wait_for_function("() => window.vertebloc_viewer().solidDrawing.parts.has('piece')")
    page.wait_for_timeout(500)
    page.screenshot(path=SCREENSHOTS / "piece.png")
    scene = page.evaluate("window.vertebloc_viewer().scene.piece")
    carton = page.locator("svg.carton").first
    for face in scene["faces"]:
        groups = carton.locator(f'[data-face="{face["name"]}"]')
        assert groups.count() == 1, face["name"]
    bars = page.locator(".bars").text_content()
    for face in scene["faces"]:
        if face["cut"]:  # the bars and the piece say the same number of the same face
            name, _, number = face["words"].rpartition(": ")
            assert name in bars and number in bars
    weakest = page.evaluate("window.vertebloc_viewer().weakest")
    number = weakest["words"].removeprefix("nearest: ").partition(",")[0]
    assert any(face["words"].endswith(f": {number}") for face in scene["faces"] if face["cut"])
    margins = [float(face["words"].rpartition(": ")[2].split()[0]) for face in scene["faces"]
               if face["cut"]]  # fmt: skip
    assert float(number.split()[0]) == min(margins)
    ring = page.locator(".overlay circle.lit").first
    at = page.evaluate(
        """() => { const v = window.vertebloc_viewer(), a = v.axes();
        const dot = (p, q) => p.reduce((s, x, i) => s + x * q[i], 0);
        const d = v.weakest.point.map((x, i) => x - v.centre[i]);
        return [dot(d, a.right) / v.mmPerPixel, -dot(d, a.up) / v.mmPerPixel]; }"""
    )
    stage = page.locator(".viewer-stage").bounding_box()
    # the piece stands 120 pixels to the right of the middle: its key stands at the left
    assert float(ring.get_attribute("cx")) == pytest.approx(
        stage["width"] / 2 + 120 + at[0], abs=1
    )
    assert float(ring.get_attribute("cy")) == pytest.approx(stage["height"] / 2 + at[1], abs=1)
    others = page.evaluate(
        "[...window.vertebloc_viewer().solidDrawing.parts.entries()]"
        ".filter(([, part]) => part.visible).map(([name]) => name)"
    )
    assert {name.split()[0] for name in others} <= {"piece", "opened"}
