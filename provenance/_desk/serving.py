"""Opens the desk in the browser of this machine, and serves it until it is closed."""

from __future__ import annotations

import html
import socket
import webbrowser
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import uvicorn

from provenance._base.disk import write_text
from provenance._desk.app import desk_app
from provenance._desk.desk import Desk
from provenance._desk.guard import OPENING, Access

LOOPBACK = "127.0.0.1"
_SECONDS_TO_END = 2


def serve(desk: Desk, *, port: int = 0, browser: bool = True, tell: Callable[[str], None]) -> None:
    """Serve the desk on a free port of this machine alone until it is closed there or stopped.

    Opens the browser by a file that only this person can read, so that the ticket is in no list of
    processes; without `browser`, `tell` is given the address to open.

    Raises OSError when the port cannot be had.
    """
    with socket.create_server((LOOPBACK, port)) as listening:
        access = Access(listening.getsockname()[1])
        address = f"http://{LOOPBACK}:{access.port}"
        opening = f"{address}{OPENING}?{urlencode({'ticket': access.ticket})}"
        server = uvicorn.Server(
            uvicorn.Config(
                desk_app(desk, access),
                log_level="warning",
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=_SECONDS_TO_END,
            )
        )
        desk.stop = lambda: setattr(server, "should_exit", True)
        try:
            if browser and webbrowser.open(_file_that_opens(desk, opening)):
                tell(f"The desk is open in your browser ({address}). Ctrl+C closes it.")
            else:
                tell(f"Open {opening} in your browser. Ctrl+C closes the desk.")
            server.run(sockets=[listening])
        finally:
            desk.close()


def _file_that_opens(desk: Desk, address: str) -> str:
    path: Path = desk.scratch() / "open.html"
    to = html.escape(address)
    write_text(
        path,
        f'<!doctype html><title>treenail</title><meta http-equiv="refresh" content="0;url={to}">',
    )
    path.chmod(0o600)
    return path.as_uri()
