"""A cut pulled, and a plan computed anew, as an open case answers them: workers and all.

Figures are asked for in the issue that brought the app in: a drag answered under 50 ms (median
of 50), piece and plan within 1 s of letting go. Give the folder of a case, or none for the lead
made-up patient on its finest grid. While drags are measured, a plan is computed beside them
once more, to see that they do not wait for it.
"""

from __future__ import annotations

import asyncio
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from vertebloc.workflow.demo import make_case_of_demo
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.saying import say_nothing

DRAGS, PLANS = 50, 5
ASKED_DRAG_MS, ASKED_PLAN_S = 50.0, 1.0


def moved(placed, way_mm):
    return {
        side: replace(half, height_mm=half.height_mm + way_mm) for side, half in placed.items()
    }


async def drag_ms(case, times):
    """Both cuts by turns, never twice at the same place; also left and right apart and tilted."""
    taken = []
    start = case.placements()
    for number in range(times):
        cranial = number % 2 == 0
        way = 0.05 * (number + 1) * (1 if cranial else -1)
        halves = moved(start["cranial" if cranial else "caudal"], way)
        if number % 5 == 4:
            side = next(iter(halves))
            halves[side] = replace(halves[side], tilt_deg=0.1 * number, roll_deg=0.05 * number)
        began = time.perf_counter()
        await case.measure_drag(cranial=cranial, halves=halves)
        taken.append((time.perf_counter() - began) * 1e3)
    return taken


async def plan_s(case, times):
    taken = []
    for number in range(times):
        halves = moved(case.placements()["caudal"], -0.2 * (number + 1))
        case.move_cut(cranial=False, halves=halves)
        began = time.perf_counter()
        await case.replan()
        taken.append(time.perf_counter() - began)
    return taken


async def measure(folder):
    began = time.perf_counter()
    case = OpenCase.open(folder)
    opened = time.perf_counter() - began
    try:
        began = time.perf_counter()
        await case.prepare(say_nothing)
        prepared = time.perf_counter() - began
        await case.replan()
        await drag_ms(case, 5)  # kernels are compiled, sections of the other faces known
        drags = await drag_ms(case, DRAGS)
        plans = await plan_s(case, PLANS)
        beside = asyncio.create_task(plan_s(case, 1))
        await asyncio.sleep(0.01)
        busy = await drag_ms(case, 10)
        await beside
    finally:
        case.close()
    return opened, prepared, drags, plans, busy


def main():
    with tempfile.TemporaryDirectory() as aside:
        if len(sys.argv) > 1:
            import shutil

            folder = Path(shutil.copytree(sys.argv[1], Path(aside) / "case"))
        else:
            folder = Path(aside) / "case"
            make_case_of_demo(folder)
        opened, prepared, drags, plans, busy = asyncio.run(measure(folder))
    drag, plan = statistics.median(drags), statistics.median(plans)
    print(f"case opened in {opened * 1e3:.0f} ms, measured in {prepared:.1f} s")
    print(f"drag, median of {DRAGS}: {drag:.1f} ms, worst {max(drags):.0f} ms "
          f"(asked: under {ASKED_DRAG_MS:.0f})")  # fmt: skip
    print(f"drag while a plan is computed: {statistics.median(busy):.1f} ms, median of 10")
    print(f"plan anew, median of {PLANS}: {plan:.2f} s (asked: under {ASKED_PLAN_S:.0f})")
    return 0 if drag < ASKED_DRAG_MS and plan < ASKED_PLAN_S else 1


if __name__ == "__main__":
    sys.exit(main())
