"""The picture in a real browser: what is painted, against places thought out by hand.

The only bright things are a bead at the tip of a LEFT rib, one towards the HEAD and one at the
BACK; the volume's columns run backwards. Pixels are read where a person would look.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.system("chromium"), pytest.mark.slow]

PAGE = Path(__file__).with_name("viewer_page.py")
SCREENSHOTS = Path(__file__).parents[2] / "build" / "screenshots"
# mm to the picture's right and up from the middle, and how deep the slice must lie to meet it
# (mm towards the viewer), with the body in mind:
RIB = {
    # the rib ends 60 mm left, 30 mm in front of, 20 mm below the middle
    ("behind", "left"): (20, -60, -30),  # head at the left, patient's left below
    ("behind", "right"): (-20, 60, -30),  # head at the right, patient's right below
    ("behind", "head up"): (-60, -20, -30),  # left is left
    ("side", "left"): (20, -30, 60),  # from the left, back up: near to the viewer
    ("side", "right"): (-20, -30, -60),  # from the right: far from the viewer
    ("side", "head up"): (-30, -20, 60),  # head up, front at the picture's left
    ("across", "left"): (-60, -30, 20),  # from the feet, back up, left at the left
    ("across", "right"): (-60, -30, 20),
    ("across", "head up"): (-60, -30, 20),
}
# the bead 70 mm towards the head, and the one 55 mm towards the back, in the middle slice
HEAD = {
    ("behind", "left"): (-70, 0), ("behind", "right"): (70, 0), ("behind", "head up"): (0, 70),
    ("side", "left"): (-70, 0), ("side", "right"): (70, 0), ("side", "head up"): (0, 70),
}  # fmt: skip
BACK = {
    ("side", "left"): (0, 55), ("side", "right"): (0, 55), ("side", "head up"): (55, 0),
    ("across", "left"): (0, 55), ("across", "right"): (0, 55), ("across", "head up"): (0, 55),
}  # fmt: skip
LOOKED_AT = """([look, standing, x, y, deep]) => {
  const v = window.vertebloc_viewer();
  v.look = look;
  const base = v.scene.views[look][standing], before = v.view;
  v.centre = v.scene.centre.map((c, i) => c + deep * base.toward[i]);
  v.drawing.draw(base, v.centre, 0.25);
  const gl = v.drawing.gl, seen = new Uint8Array(4), { width, height } = v.drawing.canvas;
  gl.readPixels(Math.round(width / 2 + x / 0.25), Math.round(height / 2 + y / 0.25), 1, 1,
    gl.RGBA, gl.UNSIGNED_BYTE, seen);
  return seen[0];
}"""


@pytest.fixture(scope="module")
def address():
    served = subprocess.Popen(
        [sys.executable, str(PAGE), "144", "144", "96", "1000"], stdout=subprocess.PIPE, text=True
    )
    try:
        yield json.loads(served.stdout.readline())["address"]
    finally:
        served.terminate()
        served.wait(20)
        served.stdout.close()


@pytest.fixture(scope="module")
def page(browser, address):
    made = browser.new_page(viewport={"width": 960, "height": 720})
    made.wrong = []
    made.answers = []
    made.on("response", lambda answer: made.answers.append((answer.url, answer.status)))
    made.on("pageerror", lambda error: made.wrong.append(str(error)))
    made.goto(address)
    made.wait_for_function(
        "() => window.vertebloc_viewer?.().drawing?.texture"
        " && document.querySelector('.viewer-load').textContent === ''",
        timeout=60_000,
    )
    made.wait_for_timeout(300)
    yield made
    assert made.wrong == []
    made.close()


def test_a_large_image_comes_coarse_first_and_then_whole(page):
    images = [(url.rpartition("/")[2], status) for url, status in page.answers if "/ct/" in url]
    assert images[:2] == [("0" * 16 + "?every=2", 200), ("0" * 16, 200)]
    scene = page.evaluate("window.vertebloc_viewer().scene.volume")
    assert scene["coarse"]["shape"] == [72, 72, 48]
    shown = page.evaluate("[...window.vertebloc_viewer().drawing.texFromLps]")
    assert shown == pytest.approx(scene["tex_from_lps"], abs=1e-6)  # the whole one, float32


def shade(page, look, standing, x, y, deep=0.0):
    return page.evaluate(LOOKED_AT, [look, standing, x, y, deep])


@pytest.mark.parametrize(("look", "standing"), list(RIB))
def test_the_left_rib_is_painted_where_a_person_would_see_it(page, look, standing):
    x, y, deep = RIB[look, standing]
    assert shade(page, look, standing, x, y, deep) > 180
    for other in {(-x, y), (x, -y), (-x, -y)}:  # mirrored or upside down it would be here
        assert shade(page, look, standing, *other, deep) < 60
    assert shade(page, look, standing, x, y, -deep) < 60  # nor on the patient's other side
    for marks, mm in ((HEAD, 70), (BACK, 55)):
        if (look, standing) in marks:
            x, y = marks[look, standing]
            assert shade(page, look, standing, x, y) > 180, f"bead at {mm} mm"
            assert shade(page, look, standing, -x, -y) < 60


EDGES = """() => {
  const s = document.querySelector(".viewer-stage").getBoundingClientRect();
  return [...document.querySelectorAll(".overlay text")].map((t) => {
    const b = t.getBoundingClientRect();
    const x = (b.x + b.width / 2 - s.x) / s.width, y = (b.y + b.height / 2 - s.y) / s.height;
    return [t.textContent, x, y,
      parseFloat(getComputedStyle(t).fontSize)]; }); }"""


@pytest.mark.parametrize(
    ("standing", "left", "right", "up", "down"),
    [
        ("left", "HEAD", "FEET", "patient's RIGHT", "patient's LEFT · you stand here"),
        ("right", "FEET", "HEAD", "patient's LEFT", "patient's RIGHT · you stand here"),
        ("head up", "patient's LEFT", "patient's RIGHT", "HEAD", "FEET"),
    ],
)
def test_each_edge_says_what_lies_there(page, standing, left, right, up, down):
    page.evaluate(
        "async (s) => { const v = window.vertebloc_viewer(); v.$.props.standing = s;"
        " v.look = 'behind'; v.centre = v.scene.centre; v.drawNow(); }",
        standing,
    )
    SCREENSHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SCREENSHOTS / f"viewer-{standing.replace(' ', '-')}.png")
    said = {words: (x, y) for words, x, y, _ in page.evaluate(EDGES)}
    assert said[left][0] < 0.15 and said[right][0] > 0.85
    assert said[up][1] < 0.2 and said[down][1] > 0.85
    assert all(size >= 13 for *_, size in page.evaluate(EDGES))


def painted(page):
    return page.evaluate("window.vertebloc_viewer().painted")


def test_nothing_is_drawn_while_nothing_changes(page):
    before = painted(page)
    page.wait_for_timeout(600)
    assert painted(page) == before
    page.locator(".viewer-stage").focus()
    page.keyboard.press("ArrowDown")
    page.wait_for_timeout(200)
    assert painted(page) == before + 1


def state(page):
    return page.evaluate(
        "() => { const v = window.vertebloc_viewer(); return {centre: v.centre,"
        " zoom: v.mmPerPixel,"
        " window: v.drawing.windowHu}; }"
    )


def test_keys_and_wheel_step_zoom_move_and_come_home(page):
    page.evaluate("() => { const v = window.vertebloc_viewer(); v.look = 'across'; v.home(); }")
    stage = page.locator(".viewer-stage")
    stage.focus()
    home = state(page)
    page.keyboard.press("ArrowDown")  # seen from the feet: away from the viewer is headwards
    assert state(page)["centre"][2] == pytest.approx(home["centre"][2] + 0.5)
    page.keyboard.press("ArrowUp")
    page.keyboard.press("+")
    assert state(page)["zoom"] < home["zoom"]
    for _ in range(60):
        page.keyboard.press("-")
    assert state(page)["zoom"] == pytest.approx(1.2)  # no farther
    page.keyboard.press("Shift+ArrowRight")
    assert state(page)["centre"][0] < home["centre"][0]  # the patient's left is at the left
    page.keyboard.press("Home")
    assert state(page)["centre"] == home["centre"] and state(page)["zoom"] == home["zoom"]
    box = stage.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 200)
    page.mouse.wheel(0, 100)
    page.wait_for_timeout(200)
    assert state(page)["centre"][2] == pytest.approx(home["centre"][2] + 1.0)
    page.mouse.down()
    page.mouse.move(box["x"] + 340, box["y"] + 200)
    page.mouse.up()
    assert state(page)["centre"][0] > home["centre"][0]  # pulled to the right: its left comes in
    page.keyboard.down("Shift")
    page.mouse.down()
    page.mouse.move(box["x"] + 340, box["y"] + 150)
    page.mouse.up()
    page.keyboard.up("Shift")
    assert state(page)["window"] != home["window"]


def test_a_lost_graphics_card_is_said_and_the_picture_comes_back(page):
    page.evaluate(
        """() => { const v = window.vertebloc_viewer();
          window.card = v.drawing.gl.getExtension("WEBGL_lose_context");
          window.card.loseContext(); }"""
    )
    page.wait_for_function(
        "() => document.querySelector('.viewer-load').textContent.includes('drawn anew')"
    )
    page.evaluate("window.card.restoreContext()")
    page.wait_for_function("() => document.querySelector('.viewer-load').textContent === ''")
    assert shade(page, "behind", "left", *RIB["behind", "left"]) > 180


LAID = """() => {
  const v = window.vertebloc_viewer(), [x, y, z] = v.centre, { flat } = v.$refs, r = 20;
  const positions = new Float32Array([x - r, y, z, x + r, y, z, x, y - r, z, x, y + r, z,
    x, y, z - r, x, y, z + r]);
  const triangles = new Uint32Array([0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4,
    2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5]);
  v.parts = [{ name: 'tumour', kind: 'tumour', url: 'one', mesh: { positions, triangles } }];
  const ink = flat.getContext('2d');
  const seen = () => { v.drawNow(); return ink.getImageData(0, 0, flat.width, flat.height).data; };
  const off = (a, b) => a.reduce((most, one, i) => Math.max(most, Math.abs(one - b[i])), 0);
  const pulled = () => { v.nudged = true; const found = seen(); v.nudged = false; return found; };
  const home = seen(), inked = home.filter((value, i) => i % 4 === 3 && value).length;
  const found = [inked, off(home, pulled()), off(home, pulled())];
  v.centre = [x, y + 3, z + 8];
  const there = seen();
  found.push(off(home, there), off(there, pulled()));
  v.parts = [];
  found.push(off(seen(), pulled()));
  return found; }"""


def test_outlines_laid_down_while_a_cut_is_pulled_are_those_drawn_at_rest(page):
    """Drawn once and laid down again; drawn anew when the slice or the outlines change."""
    inked, *same, moved, there, none = page.evaluate(LAID)
    assert inked > 1000 and moved > 50
    assert max(*same, there, none) <= 2  # of 255: rounding where pale ink lies over nothing
