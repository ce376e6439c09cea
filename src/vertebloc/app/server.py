"""The web server: on 127.0.0.1 only, behind the gate, for one case."""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from nicegui import app as pages_app
from nicegui import core, ui

from vertebloc.app.desk import Desk
from vertebloc.app.gate import Gate
from vertebloc.app.keys import Keys
from vertebloc.app.routes import add_pages
from vertebloc.errors import InputError

HERE = "127.0.0.1"
STATIC = Path(__file__).parent / "static"


def serve_case(case_dir: Path, *, port: int, opened: Callable[[str], None]) -> None:
    """Serve the pages of one case until stopped by the keyboard.

    Parameters
    ----------
    case_dir : Path
        The case folder; it may not exist yet.
    port : int
        Port on this machine; 0: any that is free.
    opened : callable
        Called with each address that lets one browser in: once at the start, and again whenever
        Enter is pressed in the terminal.

    Raises
    ------
    InputError
        If the port is taken, or the folder is no case and holds something else.
    """
    desk = Desk(case_dir)
    with _listen(port) as listening:
        port = listening.getsockname()[1]
        keys = Keys()
        server = uvicorn.Server(uvicorn.Config(
            Gate(build_app(desk, port), port=port, keys=keys), host=HERE, port=port,
            log_level="warning", timeout_graceful_shutdown=3, server_header=False,
        ))  # fmt: skip

        def give_address() -> None:
            opened(f"http://{HERE}:{port}/?key={keys.issue()}")

        _when_listening(server, give_address)
        try:
            server.run(sockets=[listening])
        finally:
            desk.close()


def build_app(desk: Desk, port: int) -> FastAPI:
    """Build the application without its gate.

    Parameters
    ----------
    desk : Desk
        The case under work.
    port : int
        The port it will be reached under.

    Returns
    -------
    FastAPI
        Pages and data.
    """
    own = FastAPI(openapi_url=None)
    pages_app.add_static_files("/look", STATIC)
    add_pages(desk, own)
    # the default compression takes 27 s for a CT that travels in half a second without
    ui.run_with(own, title="vertebloc", gzip_middleware_factory=None, tailwind=False,
                show_welcome_message=False, reconnect_timeout=10.0)  # fmt: skip
    core.sio.eio.cors_allowed_origins = [f"http://{HERE}:{port}", f"http://localhost:{port}"]
    return own


@contextlib.contextmanager
def _listen(port: int):  # type: ignore[no-untyped-def]
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((HERE, port))
        yield listening
    except OSError as error:
        if listening.getsockname()[1]:
            raise
        raise InputError(
            f"port {port} is taken or not allowed ({error.strerror}): give another --port, or none"
        ) from error
    finally:
        listening.close()


def _when_listening(server: uvicorn.Server, give_address: Callable[[], None]) -> None:
    """Give the first address once requests are answered, and another at each Enter."""

    def wait() -> None:
        started = threading.Event()
        while not server.started and not server.should_exit:
            started.wait(0.05)
        if server.should_exit:
            return
        give_address()
        if sys.stdin is not None and sys.stdin.isatty():
            for _ in sys.stdin:
                give_address()

    threading.Thread(target=wait, daemon=True).start()
