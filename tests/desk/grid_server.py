"""A small server that answers the grid of one table as the desk does, from rows in memory."""

from __future__ import annotations

import asyncio
import json
import re
import secrets
import socket
import threading
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    JSONResponse,
    PlainTextResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from provenance._base.resources import shipped

TEMPLATES = shipped("templates")
PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<title>Pieces of timber · desk</title><meta name="viewport" content="width=device-width">
<meta name="act" content="{act}"><meta name="nonce" content="{nonce}">
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/bundle/aid.css"><link rel="stylesheet" href="/desk/grid/grid.css">
<script type="module" src="/desk/grid/grid.js"></script></head><body>
<header><h1>Timbers of Hollin Reach (invented)</h1></header>
<main><form role="search"><label for="find">Show rows with</label><input id="find" type="search">
</form><div id="grid" data-table="element"></div><p id="said" role="status"></p>
<p id="problem" class="warning" hidden></p></main></body></html>"""
FUNCTIONS = [["post", "Post"], ["beam", "Beam"], ["brace", "Brace"], ["rafter", "Rafter"]]


def column(name: str, title: str, kind: str = "text", **more: Any) -> dict[str, Any]:
    return {
        "name": name, "title": title, "help": f"{title} of the timber.", "unit": "", "kind": kind,
        "options": None, "readonly": False, "required": False, **more,
    }  # fmt: skip


COLUMNS = [
    column("element_id", "Timber", required=True),
    column("function", "Use", "code", options=FUNCTIONS),
    column("length_m", "Length", "measure", unit="ft in"),
    column("diameter_a1_cm", "Diameter", "number", unit="in"),
    column("rings", "Rings", "integer"),
    column("bark", "Bark", "yes_no"),
    column("recorded_on", "Recorded", "date", readonly=True),
    column("remarks", "Remarks"),
]
NAMES = [one["name"] for one in COLUMNS]


def some_rows(count: int) -> list[list[str]]:
    return [
        [f"B1-{n:03}", FUNCTIONS[n % 4][0], f"{n % 20 + 2}' {n % 12}\"", str(n % 9 + 5),
         str(n % 90), ("yes", "no")[n % 2], "2024-06-16", ""]
        for n in range(1, count + 1)
    ]  # fmt: skip


class Desk:
    """Rows of a table, the acts done to them, and what a test may do to the server."""

    def __init__(self, rows: list[list[str]], columns: list[dict[str, Any]] | None = None) -> None:
        self.columns = columns or COLUMNS
        self.names = [one["name"] for one in self.columns]
        self.rows = {row[0]: list(row) for row in rows}
        self.acts: list[list[tuple[str, list[str] | None]]] = []
        self.token, self.away, self.seconds = "token", False, 0.0
        self.posts: list[list[dict[str, str]]] = []
        self.told: list[asyncio.Queue[str]] = []
        self.loop: asyncio.AbstractEventLoop | None = None

    def tell(self, keys: list[str] | None) -> None:
        """Says to every page that rows were changed elsewhere."""
        said = f"event: changed\ndata: {json.dumps({'tables': {'element': keys}})}\n\n"
        assert self.loop
        for queue in self.told:
            self.loop.call_soon_threadsafe(queue.put_nowait, said)

    def findings(self) -> list[dict[str, str]]:
        if "rings" not in self.names:
            return []
        at = self.names.index("rings")
        return [
            {"key": key, "field": "rings", "rule": "rings_few", "severity": "warning",
             "message": "Fewer than 5 rings.", "remedy": "Count again."}
            for key, row in self.rows.items() if row[at].isdigit() and int(row[at]) < 5
        ]  # fmt: skip

    def do(self, changes: dict[str, list[str] | None]) -> JSONResponse:
        self.acts.append([(key, self.rows.get(key)) for key in changes])
        for key, row in changes.items():
            if row is None:
                self.rows.pop(key, None)
            else:
                self.rows[key] = row
        self.rows = dict(sorted(self.rows.items()))
        rows = [self.rows[key] for key in changes if key in self.rows]
        return JSONResponse({"act": str(len(self.acts) - 1), "rows": rows})

    async def page(self, request: Request) -> Response:
        nonce = secrets.token_urlsafe(16)
        policy = (
            f"default-src 'none'; script-src 'self'; style-src 'self' 'nonce-{nonce}'; "
            "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'self'"
        )
        page = PAGE.format(act=self.token, nonce=nonce)
        return HTMLResponse(page, headers={"Content-Security-Policy": policy})

    async def read(self, request: Request) -> Response:
        return JSONResponse(
            {"key": self.names[0], "columns": self.columns, "rows": list(self.rows.values()),
             "findings": self.findings()}
        )  # fmt: skip

    async def find(self, request: Request) -> Response:
        return JSONResponse(self.findings())

    async def cells(self, request: Request) -> Response:
        if refusal := self.refusal(request):
            return refusal
        await asyncio.sleep(self.seconds)
        cells = await request.json()
        self.posts.append(cells)
        clash, bad, changes = [], [], {}  # type: ignore[var-annotated]
        for cell in cells:
            key, at = cell["key"], self.names.index(cell["field"])
            row = changes.setdefault(
                key, list(self.rows.get(key, [key] + [""] * (len(self.names) - 1)))
            )
            if at and row[at] != cell["before"]:
                clash.append({"key": key, "field": cell["field"], "now": row[at]})
            if self.columns[at]["kind"] == "integer" and not re.fullmatch(r"\d*", cell["after"]):
                what = {"message": "Not a whole number: write digits only."}
                bad.append({"key": key, "field": cell["field"], **what})
            row[at] = self.written(at, cell["after"])
        if bad:
            return JSONResponse({"bad": bad}, 422)
        return JSONResponse({"clash": clash}, 409) if clash else self.do(changes)

    def written(self, at: int, text: str) -> str:
        length = re.fullmatch(r"(\d+)['f] ?(\d+)\"?", text)
        is_length = self.columns[at]["kind"] == "measure" and length
        return f"{length[1]}' {length[2]}\"" if is_length and length else text

    async def rename(self, request: Request) -> Response:
        if refusal := self.refusal(request):
            return refusal
        asked = await request.json()
        row = [asked["new_key"], *self.rows[asked["key"]][1:]]
        return self.do({asked["key"]: None, asked["new_key"]: row})

    async def remove(self, request: Request) -> Response:
        return self.refusal(request) or self.do({(await request.json())["key"]: None})

    async def undo(self, request: Request) -> Response:
        if refusal := self.refusal(request):
            return refusal
        return self.do(dict(self.acts[int((await request.json())["act"])]))

    def refusal(self, request: Request) -> Response | None:
        if self.away:
            return PlainTextResponse("Away.", 503)
        if request.headers.get("x-desk-act") != self.token:
            return PlainTextResponse("The page is out of date; load it again.", 403)
        return None

    async def events(self, request: Request) -> Response:
        self.loop = asyncio.get_running_loop()
        queue: asyncio.Queue[str] = asyncio.Queue()
        self.told.append(queue)

        async def said() -> AsyncIterator[str]:
            yield ": here\n\n"
            while True:
                yield await queue.get()

        return StreamingResponse(said(), media_type="text/event-stream")

    def app(self) -> Starlette:
        post = {"methods": ["POST"]}
        return Starlette(
            routes=[
                Route("/", self.page),
                Route("/tables/element/rows", self.read),
                Route("/tables/element/findings", self.find),
                Route("/tables/element/cells", self.cells, **post),  # type: ignore[arg-type]
                Route("/tables/element/rename", self.rename, **post),  # type: ignore[arg-type]
                Route("/tables/element/remove", self.remove, **post),  # type: ignore[arg-type]
                Route("/acts/undo", self.undo, **post),  # type: ignore[arg-type]
                Route("/events", self.events),
                Mount("/", StaticFiles(directory=TEMPLATES)),
            ]
        )


@contextmanager
def serving(desk: Desk) -> Iterator[str]:
    """The address at which the desk answers, on a free port of this machine."""
    listener = socket.create_server(("127.0.0.1", 0))
    config = uvicorn.Config(desk.app(), log_level="error", timeout_graceful_shutdown=1)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/"
    finally:
        server.should_exit = True
        thread.join()
