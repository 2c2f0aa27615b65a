"""Opens the desk in the browser of this machine, and serves it until it is closed."""

from __future__ import annotations

import hashlib
import html
import os
import signal
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import urlencode

import uvicorn

from provenance._base.errors import TreenailError
from provenance._desk.app import desk_app
from provenance._desk.desk import Desk
from provenance._desk.guard import OPENING, Access

LOOPBACK = "127.0.0.1"
_SECONDS_TO_END = 2
_DYNAMIC_PORTS = (49_152, 65_535)
_OPENS = ".open-desk.html"


def serve(desk: Desk, *, port: int = 0, browser: bool = True, tell: Callable[[str], None]) -> None:
    """Serve the desk on a free port of this machine alone until it is closed there or stopped.

    Without `port` a folder has the same one each time, if it is free: what a page kept of cells
    that were not answered yet belongs to an address, and is saved once the desk is opened again.

    Opens the browser by a file that only this person can read, so that the ticket is in no list of
    processes; without `browser`, `tell` is given the address to open.

    Raises TreenailError when the port cannot be had.
    """
    with _listening(port, desk.folder) as listening:
        access = Access(listening.getsockname()[1])
        address = f"http://{LOOPBACK}:{access.port}"
        opening = f"{address}{OPENING}?{urlencode({'ticket': access.ticket})}"
        server = uvicorn.Server(
            uvicorn.Config(
                desk_app(desk, access),
                # the usual one asks for a terminal, and a program of a desktop has none
                log_config=None,
                log_level="warning",
                lifespan="off",
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=_SECONDS_TO_END,
            )
        )
        desk.stop = lambda: setattr(server, "should_exit", True)
        try:
            with _closed_when_told(desk):
                if browser and webbrowser.open(_file_that_opens(desk, opening).as_uri()):
                    tell(f"The desk is open in your browser ({address}). Ctrl+C closes it.")
                else:
                    tell(f"Open {opening} in your browser. Ctrl+C closes the desk.")
                server.run(sockets=[listening])
        finally:
            if browser and _is_ours(desk):
                (desk.folder / _OPENS).unlink(missing_ok=True)
            desk.close()


@contextmanager
def _closed_when_told(desk: Desk) -> Iterator[None]:
    """Ctrl+C, a logout and the end of the terminal close the desk as its button does."""
    if threading.current_thread() is not threading.main_thread():
        yield  # whose signals are not ours to take
        return
    # Windows has no SIGHUP
    told = [getattr(signal, name, None) for name in ("SIGINT", "SIGTERM", "SIGHUP")]
    before = {one: signal.signal(one, lambda *_: desk.stop()) for one in told if one}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def _listening(port: int, folder: Path) -> socket.socket:
    if not port:
        with suppress(OSError):
            return socket.create_server((LOOPBACK, usual_port(folder)))
    try:
        return socket.create_server((LOOPBACK, port))
    except OSError as error:
        raise TreenailError(
            f"port {port} cannot be had ({error.strerror}); name another one, or leave out --port"
        ) from error


def usual_port(folder: Path) -> int:
    """The port of a folder, among those that anybody may use for a while (RFC 6335, 6)."""
    first, last = _DYNAMIC_PORTS
    digest = hashlib.sha256(os.fsencode(folder.resolve())).digest()
    return first + int.from_bytes(digest) % (last - first + 1)


def _is_ours(desk: Desk) -> bool:
    return desk.is_shelf and not desk.read_only and os.access(desk.folder, os.W_OK)


def _file_that_opens(desk: Desk, address: str) -> Path:
    # a browser that is shut into a box of its own (a snap) may see no folder for temporary files
    path = (desk.folder if _is_ours(desk) else desk.scratch()) / _OPENS
    path.unlink(missing_ok=True)
    to = html.escape(address)
    with open(path, "x", encoding="utf-8", opener=_for_this_person_alone) as stream:
        stream.write(
            "<!doctype html><title>treenail</title>"
            f'<meta http-equiv="refresh" content="0;url={to}">'
        )
    return path


def _for_this_person_alone(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
