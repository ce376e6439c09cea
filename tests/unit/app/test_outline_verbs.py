"""What the page of outlines can do, without a browser: verbs, limits, one line for what fails."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from vertebloc.app.drawing_desk import DrawingDesk
from vertebloc.app.outline_verbs import OutlineVerbs
from vertebloc.reports.outline_view import outline_mark
from vertebloc.workflow.open_case import OpenCase

SCAR = "scarred-or-irradiated-bed"


class Page:
    """A desk of outlines, its verbs, and what was refused."""

    def __init__(self, case_dir, run):
        self.case, self.run, self.refused, self.heard = OpenCase.open(case_dir), run, "", []
        self.at = DrawingDesk(lambda: self.case, lambda: None, self._refuse)
        self.verbs = OutlineVerbs(self.at, lambda: self.case, self._refuse)
        self.at.listen("window", self.heard.append)
        run(self.at.open())
        self.at.choose(SCAR)

    def _refuse(self, said):
        self.refused = said

    def stroke(self, index, radius_mm=4.0, *, rub_out=False, seq=1):
        """A dab at a voxel."""
        points = self.at.drawing.grid.lps_from_ijk.points(np.array([index], float)).tolist()
        self.run(self.at.stroke({
            "id": SCAR, "points": points, "normal": [0.0, 0.0, 1.0], "radius_mm": radius_mm,
            "rub_out": rub_out, "seq": seq,
        }))  # fmt: skip

    @property
    def mask(self):
        return self.at.outline().mask


@pytest.fixture
def page(own_case):
    loop = asyncio.new_event_loop()
    with ThreadPoolExecutor(1) as aside:  # a browser test before may have left a loop running here
        made = Page(own_case, lambda what: aside.submit(loop.run_until_complete, what).result())
        yield made
        made.case.close()
        loop.close()


def test_a_stroke_is_answered_with_its_number_and_the_voxels_as_they_are(page):
    page.stroke((60, 200, 50), seq=7)
    assert page.heard[-1] == 7
    sent = page.at.state(may_draw=True, seq=7)
    assert sent["active"] == SCAR and sent["outlines"][0]["id"] == SCAR
    assert sent["outlines"][0]["mark"] == outline_mark(page.mask, page.at.drawing.grid)
    assert page.mask.count > 10 and sent["seq"] == 7
    assert page.at.voxels(SCAR) and not page.at.voxels("nothing of that name")


def test_verbs_change_the_outline_and_each_is_taken_back(page):
    page.stroke((60, 200, 50))
    page.stroke((60, 200, 56), seq=2)
    two = page.mask
    page.run(page.verbs.bridge([0.0, 0.0, 1.0]))
    assert page.mask.count > 3 * two.count
    bridged = page.mask
    page.run(page.verbs.soften())
    assert not page.mask.is_same(bridged)
    page.run(page.at.undo())
    page.run(page.at.undo())
    assert page.mask.is_same(two)
    page.run(page.verbs.crumbs())
    assert "no piece smaller than 0.1 ml" in page.refused or page.mask.count < two.count
    page.run(page.verbs.finish())
    assert page.mask.count > two.count


def test_limits_come_from_the_outline_and_can_be_typed(page):
    assert page.verbs.limits is None  # nothing is drawn yet
    page.run(page.verbs.spread())
    assert page.refused == "nothing is drawn yet: draw a stroke inside first"
    page.stroke((60, 200, 50))
    own = page.verbs.limits
    page.verbs.set_limit("reach_mm", "3,5")
    assert page.verbs.limits.reach_mm == 3.5 and page.verbs.limits.low == own.low
    page.verbs.set_limit("low", "many")
    assert page.refused == "'many' is no number: type digits, such as 12.5"
    page.verbs.set_limit("low", "5000")
    assert "range of intensity is empty" in page.refused
    assert page.verbs.limits.low == own.low
    page.verbs.set_limit("reach_mm", "")
    assert page.verbs.limits == own
    before = page.mask.count
    page.run(page.verbs.spread())
    assert page.mask.count >= before


def test_what_cannot_be_drawn_is_one_line_and_nothing_changes(page):
    page.run(page.at.stroke({
        "id": SCAR, "points": [[0, 0, "x"]], "normal": [0, 0, 1], "radius_mm": 2, "rub_out": False,
        "seq": 3,
    }))  # fmt: skip
    assert page.refused.startswith("that is no stroke") and "\n" not in page.refused
    page.run(page.at.confirm())
    assert "named person" in page.refused
    page.run(page.at.undo())
    assert "no change of scarred or irradiated bed is left" in page.refused
    assert page.mask.is_empty and page.at.drafts() == ()
