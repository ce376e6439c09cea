"""Load what the computing processes need while the server still loads its own."""

from __future__ import annotations

import multiprocessing
from multiprocessing import forkserver

#: the module whose functions they run, by name: importing it here would take as long
NEEDED = "vertebloc.workflow.planner"


def load_ahead() -> None:
    """Start the process from which the computing processes are made, where the system can.

    It holds nothing of any case: it loads the program once, and each computing process begins
    as its copy. It ends with this program.
    """
    if "forkserver" in multiprocessing.get_all_start_methods():
        multiprocessing.set_forkserver_preload([NEEDED])
        forkserver.ensure_running()
