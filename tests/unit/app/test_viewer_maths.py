"""The maths of the picture, run by Node: against hand-written places, and against the planner."""

from __future__ import annotations

import itertools
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choices import HalfPlacement
from vertebloc.resection.cuts import half_cut
from vertebloc.space.frames import Frame, Side
from vertebloc.space.transforms import Transform

HERE = Path(__file__).parent
STATIC = HERE.parents[2] / "src" / "vertebloc" / "app" / "static" / "viewer"
VERTEBRA = Vertebra(
    level=Level("T10"),
    lps_from_vertebra=Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA),
    canal_s_mm=0.0,
    posterior_wall_mm=14.0,
    anterior_wall_mm=-14.0,
    upper_endplate_mm=11.0,
    lower_endplate_mm=-11.0,
    left_wall_mm=17.0,
    right_wall_mm=-15.0,
    frame_from_neighbours=True,
    own_frame_differs_deg=0.0,
)


def mark_of(side: Side, height_mm: float, tilt_deg: float, roll_deg: float) -> dict[str, object]:
    """A half cut as the planner lays it, in the picture's terms."""
    placed = HalfPlacement(height_mm=height_mm, tilt_deg=tilt_deg, roll_deg=roll_deg)
    cut = half_cut(VERTEBRA, placed, side, cranial=True, words="-", level=Level("T9"))
    wall = VERTEBRA.left_wall_mm if side is Side.LEFT else VERTEBRA.right_wall_mm
    return {
        "side": side.value, "height_mm": height_mm, "tilt_deg": tilt_deg, "roll_deg": roll_deg,
        "entry_lps_mm": cut.entry.tolist(), "edge": cut.entry_edge.tolist(),
        "blade": cut.blade.tolist(), "half_width_mm": abs(wall) / 2, "depth_mm": 28.0,
        "normal": cut.plane.normal.tolist(),
    }  # fmt: skip


@pytest.mark.system("node")
@pytest.mark.parametrize("name", ["viewer_maths.test.mjs", "viewer_words.test.mjs"])
def test_the_pictures_maths(tmp_path: Path, name: str) -> None:
    turns = list(itertools.product((-20.0, 0.0, 20.0), (-15.0, 0.0, 15.0)))
    marks = [mark_of(side, 12.0, tilt, roll) for side in Side for tilt, roll in turns]
    pairs = []
    for mark in marks:
        other = mark_of(Side.LEFT if mark["side"] == "right" else Side.RIGHT, 0.0, 0.0, 0.0)
        across = np.subtract(other["entry_lps_mm"], mark["entry_lps_mm"])
        normal = np.array(mark["normal"])
        # where the planner's plane stands above the other half's entry at height 0
        pairs.append({
            "mark": mark, "other": other,
            "height_mm": float(-(normal @ across) / normal[2]),
        })  # fmt: skip
    given = tmp_path / "half-cuts.json"
    given.write_text(json.dumps({"marks": marks, "pairs": pairs}))
    ran = subprocess.run(
        ["node", "--test", str(HERE / name)],
        env={
            **os.environ,
            "GEOMETRY": str(STATIC / "geometry.mjs"),
            "HALF_CUTS": str(given),
        },
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout[-6000:] + ran.stderr[-2000:]
    count = (HERE / name).read_text().count('\ntest("')
    assert f"# pass {count}\n# fail 0" in ran.stdout
