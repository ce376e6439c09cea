"""What the browser paints at once is what is saved: the same strokes both ways, by voxel."""

from __future__ import annotations

import base64
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest

from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.strokes import draw
from vertebloc.reports.outline_view import grid_numbers, outline_bytes, outline_mark
from vertebloc.space.grids import Grid

HERE = Path(__file__).parent
TIPS = HERE.parents[2] / "src" / "vertebloc" / "app" / "static" / "viewer" / "tips.mjs"


def turned(rng):
    """A rotation, or the patient's own axes for every other grid."""
    q, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return q if rng.random() < 0.5 else np.eye(3)


def drawn_case(rng):
    """A grid in any direction, strokes on it, and the outline that follows from them."""
    spacing = rng.uniform(0.5, 2.5, 3) * rng.choice([-1.0, 1.0], 3)
    matrix = np.eye(4)
    matrix[:3, :3] = turned(rng) @ np.diag(spacing)
    matrix[:3, 3] = rng.uniform(-200, 200, 3)
    grid = Grid.from_matrix((40, 36, 30), matrix)
    mask, strokes = OutlineMask.empty(), []
    for _ in range(6):
        normal = turned(rng)[2]
        flat = turned(rng)[:2]
        flat -= np.outer(flat @ normal, normal)
        middle = grid.lps_from_ijk.points(rng.uniform(5, 30, 3))[0]
        radius = float(rng.choice([0.0, 0.5, 2.0, 5.0]))
        points = np.round(middle + rng.uniform(-12, 12, (rng.integers(3, 9), 2)) @ flat, 4)
        rub_out = bool(rng.random() < 0.3)
        strokes.append({
            "points": points.tolist(), "normal": normal.tolist(), "radius": radius,
            "rub_out": rub_out,
        })  # fmt: skip
        mask = draw(mask, grid, Stroke(points, normal, radius), rub_out=rub_out)
    return grid, strokes, mask


@pytest.mark.system("node")
def test_the_browser_paints_what_is_saved(tmp_path, rng):
    cases = [drawn_case(rng) for _ in range(40)]
    assert sum(mask.count for _, _, mask in cases) > 5000
    given = [
        {
            "grid": grid_numbers(grid), "strokes": strokes,
            "taken": base64.b64encode(outline_bytes(mask)).decode(),
        }
        for grid, strokes, mask in cases
    ]  # fmt: skip
    path = tmp_path / "strokes.json"
    path.write_text(json.dumps(given))
    ran = subprocess.run(
        ["node", str(HERE / "tip_marks.mjs")],
        env={**os.environ, "TIPS": str(TIPS), "STROKES": str(path)},
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr[-3000:]
    for (grid, _, mask), theirs in zip(cases, json.loads(ran.stdout), strict=True):
        assert theirs["painted"] == outline_mark(mask, grid)
        assert theirs["again"] == outline_mark(mask, grid)  # as sent by the server
        assert theirs["others"] in (0, 8)  # no other slot was touched
