"""Lets only the person's own browser in: host, session, origin, a token for every act, sizes."""

from __future__ import annotations

import hmac
import secrets
from collections.abc import MutableMapping
from dataclasses import dataclass, field
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING, Any

from starlette.responses import PlainTextResponse

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BODY_BYTES = 16 << 20
"""Of an act without files: some 10,000 pasted rows."""
MOST_UPLOAD_BYTES = 4 << 30
OPENING = "/open"
MULTIPART = "multipart/form-data"
EXTRA_POLICY = "desk.policy"
"""Where an answer leaves in the scope what else its page may load, for pages that scan codes."""

_OPENED_ELSEWHERE = "Open the desk with the address that the program showed."
_OUT_OF_DATE = "This page is out of date. Load it again; what was saved is safe."
_ANOTHER_SITE = "This request came from another page."
_ON_EVERY_ANSWER = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
)


@dataclass(frozen=True)
class Access:
    """What a browser must know to be let in; drawn anew at every start.

    `ticket` opens the desk once, `session` is the cookie that it is changed for, `act` stands in
    every page and comes back with every change.
    """

    port: int
    read_only: bool = False
    ticket: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    act: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    def is_ticket(self, given: str) -> bool:
        """Whether this is the ticket."""
        return _same(given, self.ticket)

    @property
    def cookie(self) -> str:
        """The name of the cookie: cookies do not tell ports apart, so that the name does."""
        return f"desk{self.port}"

    @property
    def hosts(self) -> frozenset[str]:
        """What a browser calls this desk."""
        return frozenset({f"127.0.0.1:{self.port}", f"localhost:{self.port}"})


class Guard:
    """Stands before the pages; what it refuses never reaches them."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self.app = app
        self.access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on, bounded, or refuse it; every answer bears the policies."""
        if scope["type"] != "http":
            return
        head = {key.decode("latin-1"): value.decode("latin-1") for key, value in scope["headers"]}
        nonce = scope["nonce"] = secrets.token_urlsafe(16)
        most = MOST_UPLOAD_BYTES if head.get("content-type", "").startswith(MULTIPART) else 0
        most = most or MOST_BODY_BYTES
        got = 0

        async def bounded() -> Message:
            nonlocal got
            message = await receive()
            got += len(message.get("body", b""))
            # a body may come without a length, or with a false one
            return {"type": "http.disconnect"} if got > most else message

        async def answered(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                policy = _policy(nonce, scope.get(EXTRA_POLICY, {}))
                said = {key for key, _ in message["headers"]}
                more = [*_ON_EVERY_ANSWER, (b"content-security-policy", policy.encode())]
                message["headers"] += [one for one in more if one[0] not in said]
            await send(message)

        refused = self._refusal(scope["method"], scope["path"], head) or _too_large(head, most)
        app = PlainTextResponse(refused[1], refused[0]) if refused else self.app
        await app(scope, bounded, answered)

    def _refusal(self, method: str, path: str, head: dict[str, str]) -> tuple[int, str] | None:
        access = self.access
        if head.get("host") not in access.hosts:
            return HTTPStatus.MISDIRECTED_REQUEST, "Unknown host name."
        if path == OPENING and method == "GET":
            return None
        if not _same(_cookies(head).get(access.cookie, ""), access.session):
            return HTTPStatus.FORBIDDEN, _OPENED_ELSEWHERE
        if method in ("GET", "HEAD"):
            return None
        if method != "POST":
            return HTTPStatus.METHOD_NOT_ALLOWED, "The desk knows GET and POST."
        if head.get("origin") not in {f"http://{host}" for host in access.hosts}:
            return HTTPStatus.FORBIDDEN, _ANOTHER_SITE
        if head.get("sec-fetch-site", "same-origin") != "same-origin":
            return HTTPStatus.FORBIDDEN, _ANOTHER_SITE
        if not _same(head.get("x-desk-act", ""), access.act):
            return HTTPStatus.FORBIDDEN, _OUT_OF_DATE
        return None


def _policy(nonce: str, more: dict[str, str]) -> str:
    allowed = {
        "default-src": "'none'",
        "script-src": "'self'",
        "style-src": f"'self' 'nonce-{nonce}'",
        "img-src": "'self' blob: data:",
        "connect-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    for name, value in more.items():
        allowed[name] = f"{allowed.get(name, '')} {value}".strip()
    return "; ".join(f"{name} {value}" for name, value in allowed.items())


def _too_large(head: dict[str, str], most: int) -> tuple[int, str] | None:
    size = head.get("content-length", "0")
    # "٣" is a digit to Python and no size to anybody else
    if size.isascii() and size.isdigit() and int(size) <= most:
        return None
    return (
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
        f"This is more than the {most >> 20} MiB that the desk takes at once. Bring in less, or "
        "use the command line.",
    )


def _cookies(head: dict[str, str]) -> dict[str, str]:
    try:
        return {name: one.value for name, one in SimpleCookie(head.get("cookie", "")).items()}
    except CookieError:
        return {}


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("latin-1", "replace"), wanted.encode())
