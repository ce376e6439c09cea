"""From a stroke to the sheet: what was planned on is told, and what moved on is out of date."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.outlining.model import Stroke
from vertebloc.workflow import plan_case
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.open_case import OpenCase

TUMOUR = Contour(Structure.TUMOUR)


@pytest.mark.slow
def test_a_drawn_tumour_is_measured_anew_and_said_to_be_a_draft(own_case):
    plan_case(own_case)
    case, loop = OpenCase.open(own_case), asyncio.new_event_loop()
    with ThreadPoolExecutor(1) as aside:  # a browser test before may have left a loop running here

        def run(what):
            return aside.submit(loop.run_until_complete, what).result()

        try:
            before = run(case.replan()).document
            assert not case.has_moved_on and not case.stale_reasons
            assert "DRAFT" not in before["answer"]
            drawing = Drawing.open(case, case.ct.grid)
            middle = drawing.outline(TUMOUR).mask
            index = np.argwhere(middle.inside).mean(axis=0) + middle.start
            at = drawing.grid.lps_from_ijk.points(index)
            up = np.array([0.0, 0.0, 1.0])
            drawing.stroke(TUMOUR, Stroke(at, up, 2.0), rub_out=True, by="A. Drawer")
            assert case.has_moved_on
            assert case.stale_reasons == (
                "the drawn outlines were added after this plan was computed",
            )
            assert case.folder.marked_stale == case.stale_reasons  # on paper in the same moment
            with pytest.raises(InputError, match="measure again"):
                case.save_sheet()
            after = run(case.replan()).document
            assert not case.has_moved_on
            assert after["tumour"]["volume_ml"] < before["tumour"]["volume_ml"]
            assert "The outline of tumour is a DRAFT" in after["answer"]
            assert after["inputs"]["drawn"] == CaseFolder.open(own_case).hash_of("drawn")
            assert run(case.measure_access())  # ring and front follow behind
            case.save_sheet()
            assert not case.stale_reasons
            drawing.confirm(TUMOUR, "C. Surgeon")
            assert case.has_moved_on  # the sheet says draft, the case no longer does
            last = run(case.replan()).document
            assert "DRAFT" not in last["answer"]
            drawing.undo(TUMOUR)
            drawing.undo(TUMOUR)
            assert drawing.outline(TUMOUR).mask.is_same(middle)
        finally:
            case.close()
            loop.close()
