"""A page with nothing but the picture, of a made-up volume: for tests and for measuring.

Run as a program: ``python viewer_page.py NI NJ NK LARGE``; it prints its address and serves until
it is stopped. More than LARGE voxels are sent coarse first. The images go through the app's own
routes. Not part of the package.

The volume is air with one bright rib at the patient's left, ending 60 mm to the left of the
middle, 30 mm in front of it, 20 mm below it; a bead marks the head end, another the back.
"""

from __future__ import annotations

import json
import socket
import sys
from types import SimpleNamespace

import numpy as np
import uvicorn
from fastapi import FastAPI
from nicegui import app as pages_app
from nicegui import ui

from vertebloc.app.routes import add_data
from vertebloc.app.server import STATIC
from vertebloc.app.widgets.viewer import Viewer
from vertebloc.reports import screen_scene
from vertebloc.space.grids import Grid, Volume

#: place from the middle, mm: left, back, head; and radius
RIB_TIP, HEAD_BEAD, BACK_BEAD = (60.0, -30.0, -20.0), (0.0, 0.0, 70.0), (0.0, 55.0, 0.0)
BEAD_MM = 7.0
AIR_HU, BONE_HU = -1000, 1000
EXTENT_MM = (360.0, 360.0, 240.0)
MIDDLE = np.array([12.0, -150.0, 480.0])  # far from the origin, as in scanners


def marked_volume(shape: tuple[int, int, int]) -> Volume:
    """Air with three beads; the columns run backwards, so that the affine is left-handed."""
    spacing = np.array(EXTENT_MM) / shape
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(spacing * (-1.0, 1.0, 1.0))
    matrix[:3, 3] = MIDDLE - matrix[:3, :3] @ ((np.array(shape) - 1.0) / 2.0)
    grid = Grid.from_matrix(shape, matrix)
    values = np.full(shape, AIR_HU, dtype=np.int16)
    for bead in (RIB_TIP, HEAD_BEAD, BACK_BEAD):
        middle = grid.lps_from_ijk.inverse.points(MIDDLE + bead)[0]
        low = np.floor(middle - BEAD_MM / spacing).astype(int)
        high = np.ceil(middle + BEAD_MM / spacing).astype(int) + 1
        index = np.indices(tuple(high - low)).reshape(3, -1).T + low
        away = np.linalg.norm((index - middle) * spacing, axis=1)
        inside = tuple(index[away <= BEAD_MM].T)
        values[inside] = BONE_HU
    return Volume(grid, values)


def build(ct: Volume) -> FastAPI:
    """The page; its scene and its images come as the app sends them."""
    own = FastAPI(openapi_url=None)
    pages_app.add_static_files("/look", STATIC)

    folder = SimpleNamespace(has=lambda name: name == "ct", hash_of=lambda _: "0" * 64)
    case = SimpleNamespace(folder=folder, ct=ct, prepared=None, planned=None)
    add_data(SimpleNamespace(case=case), own)

    @ui.page("/")
    def page() -> None:
        ui.add_head_html('<link rel="stylesheet" href="/look/look.css">')
        with ui.element("div").classes("picture").style("height: 640px; width: 900px"):
            Viewer(scene_url="/data/scene.json", standing="left")

    ui.run_with(own, gzip_middleware_factory=None, tailwind=False, show_welcome_message=False)
    return own


def main() -> None:
    ni, nj, nk, large = (int(word) for word in sys.argv[1:5])
    screen_scene.LARGE_VOXELS = large
    own = build(marked_volume((ni, nj, nk)))
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen()  # who reads the address may ask before the server runs
    address = f"http://127.0.0.1:{listening.getsockname()[1]}/"
    sys.stdout.write(json.dumps({"address": address}) + "\n")
    sys.stdout.flush()
    uvicorn.Server(uvicorn.Config(own, log_level="warning")).run(sockets=[listening])


if __name__ == "__main__":
    main()
