"""Puts the pages of all modules together behind the guard, and turns their answers into HTTP."""

from __future__ import annotations

import asyncio
import importlib
import json
import os
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import (
    FileResponse,
    HTMLResponse,
    JSONResponse,
    Response,
    StreamingResponse,
)
from starlette.routing import BaseRoute, Mount, Route, Router
from starlette.staticfiles import StaticFiles

from provenance._base.disk import disk_trouble
from provenance._base.errors import TreenailError
from provenance._base.fault import fault_in_words
from provenance._base.languages import (
    _,
    available_languages,
    named_languages,
    speaking,
    unreviewed,
)
from provenance._base.page_templates import page_templates
from provenance._base.resources import shipped
from provenance._base.visible import visible
from provenance._desk.answers import Answer, Done, Instead, Page, Sent, Told, Work
from provenance._desk.asked import Asked
from provenance._desk.guard import EXTRA_POLICY, OPENING, Access, Guard
from provenance._desk.pages import Pages, Way
from provenance._desk.pages import Route as PageRoute
from provenance._desk.remembered import remembered
from provenance._desk.things import BUNDLE, RECORD, STORE, NotHere
from provenance._desk.uploads import received

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import Receive, Scope, Send

    from provenance._desk.desk import Desk
    from provenance._desk.record.open_record import OpenRecord

FIRST = "overview"
"""The module of the first page."""
MODULES = (
    "choosing",
    "record.overview",
    "record.rows",
    "record.tables",
    "record.findings",
    "bringing.starting",
    "bringing.settling",
    "bringing.importing",
    "bringing.photos",
    "map.plans",
    "record.day",
    "paper.numbers",
    "paper.printing",
    "paper.preview",
    "paper.printers",
    "laboratory.parcels",
    "laboratory.results",
    "laboratory.reconciling",
    "laboratory.custody",
    "research.overview",
    "record.derived",
    "research.plugs",
    "research.relocation",
    "research.finding_aid",
    "research.comparing",
    "archive.editions",
    "record.history",
    "record.merging",
    "store.about",
    "store.receiving",
    "store.many",
    "store.stocktake",
    "store.audit",
    "store.search",
    "store.records",
    "store.holdings",
    "store.loans",
    "store.lists",
    "store.papers",
)
"""The other modules of this folder that have pages, in the order of the list of ways."""
_KINDS = (RECORD, BUNDLE, STORE)
_SHOWN_ALONE = {b"content-security-policy": b"default-src 'none'; frame-ancestors 'self'; sandbox"}
_GO = "HX-Redirect"
"""Tells the script of the page to load another one."""
_OF_ADDRESSES = "%/?#[]@!$&'()*+,;=:"
"""What an address that is quoted already is made of (RFC 3986); a header holds no other letters."""


def desk_app(desk: Desk, access: Access) -> Guard:
    """The whole desk as an ASGI application."""
    http = _Http(desk, access)
    looks = shipped("templates")
    routes = [
        *http.routes(FIRST),
        Route(OPENING, http.opening, methods=["GET"]),
        # pages with a frame of their own name no icon, and browsers ask for one
        Route("/favicon.ico", lambda _: Response(status_code=HTTPStatus.NO_CONTENT)),
        Route("/record/{record}/events", http.events, methods=["GET"]),
        Route("/look/aid.css", lambda _: FileResponse(looks / "bundle" / "aid.css")),
        Mount("/look", _Looks(directory=looks / "desk")),
        Mount("", http.others),
    ]
    troubles = (HTTPException, TreenailError, OSError, Exception)
    return Guard(
        Starlette(routes=routes, exception_handlers=dict.fromkeys(troubles, http.trouble)), access
    )


class _Looks(StaticFiles):
    """Styles, scripts and drawings; the templates beside them are no pages."""

    def lookup_path(self, path: str) -> tuple[str, os.stat_result | None]:
        """Where it lies, and what kind of thing it is; None where there is nothing to be had."""
        return ("", None) if path.endswith(".html") else super().lookup_path(path)


def pages_of(module: str) -> Pages:
    """The pages of one of MODULES, imported now."""
    pages = importlib.import_module(f"provenance._desk.{module}").pages
    assert isinstance(pages, Pages)
    return pages


@dataclass
class _Http:
    desk: Desk
    access: Access
    ways: list[Way] = field(default_factory=list)
    opened: bool = False
    _router: Router | None = None
    _loading: threading.Lock = field(default_factory=threading.Lock)

    def routes(self, module: str) -> list[BaseRoute]:
        """The pages and acts of a module; its ways are put behind the others."""
        pages = pages_of(module)
        self.ways += pages.ways
        return [
            Route(one.address, self.endpoint(one), methods=[one.method]) for one in pages.routes
        ]

    async def others(self, scope: Scope, receive: Receive, send: Send) -> None:
        """All pages but the first, which comes before their modules are loaded."""
        router = await run_in_threadpool(self._load)
        await router(scope, receive, send)

    def _load(self) -> Router:
        with self._loading:
            if self._router is None:
                self._router = Router([one for name in MODULES for one in self.routes(name)])
            return self._router

    async def opening(self, request: Request) -> Response:
        """The address that the program opens: takes its ticket for a cookie, once."""
        given = request.query_params.get("ticket", "")
        if self.opened or not self.access.is_ticket(given):
            return HTMLResponse(
                "This address was used before. Start the desk again.", HTTPStatus.FORBIDDEN
            )
        self.opened = True
        saved = await run_in_threadpool(remembered)
        wished = saved.language or request.headers.get("accept-language", "")[:2].lower()
        if wished in available_languages():
            self.desk.language = wished
        # no redirect: a Strict cookie is not sent along one that began in a file
        answer = HTMLResponse(
            '<!doctype html><title>treenail</title><link rel="icon" href="data:,">'
            '<meta http-equiv="refresh" content="0;url=/">'
        )
        answer.set_cookie(
            self.access.cookie, self.access.session, httponly=True, samesite="strict", path="/"
        )
        return answer

    def endpoint(self, route: PageRoute) -> Callable[[Request], Awaitable[Response]]:
        """A page or an act of a module as Starlette calls it; its work is done in a thread."""

        async def answered(request: Request) -> Response:
            desk = self.desk
            if route.changes and desk.read_only:
                raise HTTPException(
                    HTTPStatus.METHOD_NOT_ALLOWED, "This desk was opened to read only."
                )
            sent = await received(request, desk)
            asked = Asked(
                desk,
                _path(request),
                request.path_params,
                dict(request.query_params),
                request.query_params.multi_items(),
                sent.form,
                sent.files,
                sent.value,
            )

            def work() -> Response:
                with speaking(desk.language):
                    try:
                        answer = route.answering(asked)
                    except Instead as instead:
                        answer = instead.answer
                    return self._response(request, asked, answer)

            return await run_in_threadpool(work)

        return answered

    async def events(self, request: Request) -> Response:
        """Tells the pages of a record what was changed elsewhere, as server-sent events (HTML)."""
        record = await run_in_threadpool(
            lambda: self.desk.open_record(self.desk.path(request.path_params["record"], RECORD))
        )
        return StreamingResponse(_told_changes(record), media_type="text/event-stream")

    def _response(self, request: Request, asked: Asked, answer: Answer) -> Response:
        match answer:
            case Page():
                request.scope[EXTRA_POLICY] = answer.allowed
                values = dict(answer.values)
                if answer.whole:
                    around = self._around(request, asked)
                    assert values.keys().isdisjoint(around), values.keys() & around.keys()
                    values |= around
                return self._page(request, answer.template, values)
            case Work():
                running = self.desk.jobs.start(answer.title, _page_before(request), answer.work)
                return Response(headers={_GO: f"/work/{running.job_id}"})
            case Done():
                to = quote(answer.to, safe=_OF_ADDRESSES)
                if answer.said:
                    self.desk.said[to.partition("?")[0]] = answer.said
                return Response(headers={_GO: to})
            case Sent():
                return _file(answer)
            case Told():
                if isinstance(answer.value, bytes):
                    return Response(answer.value, answer.status, media_type="application/json")
                return JSONResponse(answer.value, answer.status)

    def _page(
        self, request: Request, template: str, values: dict[str, Any], status: int = HTTPStatus.OK
    ) -> Response:
        filled = page_templates("desk", "bundle", "compare").get_template(template)
        return HTMLResponse(
            filled.render(desk=self.desk, nonce=request.scope["nonce"], **values),
            status,
            background=BackgroundTask(self._load),
        )

    def _around(self, request: Request, asked: Asked) -> dict[str, Any]:
        """What every whole page says around its own content."""
        kind = next((one for one in _KINDS if one in asked.address), "")
        groups: dict[str, list[tuple[str, str, bool]]] = {}
        for way in self.ways:
            if kind and way.address.startswith(f"/{kind}/"):
                to = way.address.format(**{kind: quote(asked.address[kind], safe="")})
                here = _path(request) == to
                groups.setdefault(way.group, []).append((to, way.title, here))
        return {
            "act": self.access.act,
            "at": asked.at,
            "ways": groups,
            "events_at": asked.at("events") if kind == RECORD else "",
            "here": kind and asked.address[kind],
            "languages": named_languages(),
            "path": _path(request),
            "unreviewed": unreviewed(),
            "said": self.desk.said.pop(_path(request), ""),
        }

    async def trouble(self, request: Request, error: Exception) -> Response:
        """What a person reads when something cannot be: in place for an act, else as a page."""
        status, text = _told(error)
        if request.headers.get("accept", "").startswith("application/json"):
            return JSONResponse({"problem": text}, status)
        values: dict[str, Any] = {"problem": text}
        with speaking(self.desk.language):
            if "hx-request" in request.headers:
                answer = self._page(request, "problem.html", values, status)
                answer.headers["HX-Retarget"] = "#problem"
                answer.headers["HX-Reswap"] = "outerHTML"
                return answer
            # of a record that cannot be read, some pages can, and one says what is wrong with it
            address = {} if isinstance(error, NotHere) else request.path_params
            asked = Asked(self.desk, _path(request), address)
            values |= self._around(request, asked)
            return self._page(request, "cannot.html", values, status)


async def _told_changes(record: OpenRecord) -> AsyncIterator[str]:
    mark = (await run_in_threadpool(record.changed_since, -1)).mark
    yield "retry: 1000\n\n"
    while True:
        await asyncio.sleep(1)
        changed = await run_in_threadpool(record.changed_since, mark)
        if changed.rows or changed.everything:
            tables: dict[str, list[str] | None] = {}
            for name, key in sorted(changed.rows):
                keys = tables.setdefault(name, [])
                if not key:
                    tables[name] = None
                elif keys is not None:
                    keys.append(key)
            told = {"tables": None if changed.everything else tables}
            yield f"event: changed\ndata: {json.dumps(told)}\n\n"
        else:
            yield ": still here\n\n"
        mark = changed.mark


def _told(error: Exception) -> tuple[int, str]:
    match error:
        case NotHere():
            return HTTPStatus.NOT_FOUND, str(error)
        case TreenailError():
            return HTTPStatus.UNPROCESSABLE_ENTITY, str(error)
        case HTTPException():
            return error.status_code, _("There is no such page.") if (
                error.status_code == HTTPStatus.NOT_FOUND
            ) else error.detail
        case OSError():
            return HTTPStatus.INSUFFICIENT_STORAGE, disk_trouble(error)
    return HTTPStatus.INTERNAL_SERVER_ERROR, fault_in_words(error)


def _path(request: Request) -> str:
    """The path as the browser sent it, still quoted: a number in it may hold '/' or '?'."""
    raw: bytes = request.scope["raw_path"]
    return raw.decode("ascii")


def _page_before(request: Request) -> str:
    """The page that an act was on, as htmx tells it; only ever one of this desk."""
    path = urlsplit(request.headers.get("hx-current-url", "/")).path
    return path if path.startswith("/") and not path.startswith("//") else "/"


def _file(sent: Sent) -> Response:
    how = "inline" if sent.shown or sent.as_page else "attachment"
    name = f"{how}; filename*=UTF-8''{quote(visible(sent.name), safe='')}"
    headers = {"content-disposition": name}
    if isinstance(sent.content, bytes):
        answer = Response(sent.content, media_type=sent.media_type, headers=headers)
    else:
        answer = FileResponse(sent.content, media_type=sent.media_type, headers=headers)
    for key, value in () if sent.as_page else _SHOWN_ALONE.items():
        answer.raw_headers.append((key, value))
    return answer
