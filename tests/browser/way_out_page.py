"""The app's pages of a case that keeps a way out known by hand, without a plan's computation.

Run as a program: ``python way_out_page.py FOLDER left`` (or ``right``: the mirror twin; or
``left leaning``: the way tilted); it makes
a case in the folder, prints its address and serves until it is stopped. Not part of the package.
"""

from __future__ import annotations

import importlib.util
import socket
import sys
from pathlib import Path

import numpy as np
import uvicorn

from vertebloc.app.desk import Desk
from vertebloc.app.server import build_app
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import write_nifti
from vertebloc.reports.travel_data import travel_data
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import rigid_frame
from vertebloc.workflow import import_case
from vertebloc.workflow.case_pictures import describe_pictures
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.way_out import key_of_way_out, put_way_out, saved_way_out

#: The diseased vertebra lies straight: its axes are the patient's.
FRAME = rigid_frame(np.zeros(3), np.eye(3), source=Frame.VERTEBRA)


def by_hand():
    path = Path(__file__).parents[1] / "way_out_by_hand.py"
    spec = importlib.util.spec_from_file_location("way_out_by_hand", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def make_case(folder: Path, *, mirrored: bool, leaning: bool) -> OpenCase:
    grid = Grid.from_matrix((16, 16, 4), np.eye(4))
    write_nifti(folder / "ct.nii", Volume(grid, np.zeros(grid.shape, dtype=np.int16)))
    import_case(folder / "ct.nii", folder / "case")
    case = CaseFolder.open(folder / "case")
    choices = load_choices(case)
    key = key_of_way_out(case.inputs(choices), choices)
    kept = by_hand().hand_kept(mirrored=mirrored, key=key, leaning=leaning)
    with case.transaction(now=read_clock(), what="put", restamp=Restamper(case)) as change:
        put_way_out(change, kept)
    return OpenCase.open(folder / "case")


def main() -> None:
    folder, side = Path(sys.argv[1]), sys.argv[2]
    case = make_case(folder, mirrored=side == "right", leaning="leaning" in sys.argv[3:])
    desk = Desk(case.folder.path)
    desk.case, desk.pictures = case, describe_pictures(case.folder.path)
    desk.document = {
        "way_out": saved_way_out(case.folder, case.folder.inputs(case.choices), case.choices),
        "level": "T10", "level_confirmation": {"confirmed": False}, "tumour": {"side": side},
        "code": "----", "answer_parts": [], "stale": [],
    }  # fmt: skip
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    listening.listen()  # who reads the address may ask before the server runs
    port = listening.getsockname()[1]
    app = build_app(desk, port)
    desk.way.data = lambda way, standing: travel_data(desk.way.kept(), way, standing, FRAME)
    sys.stdout.write(f"http://127.0.0.1:{port}/\n")
    sys.stdout.flush()
    uvicorn.Server(uvicorn.Config(app, log_level="warning")).run(sockets=[listening])


if __name__ == "__main__":
    main()
