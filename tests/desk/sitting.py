"""A browser that sits at a desk, without a browser: the ASGI application asked in the process."""

from __future__ import annotations

import html
import re
import tempfile
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from provenance._desk.app import desk_app
from provenance._desk.desk import Desk
from provenance._desk.guard import Access

PORT = 50_000
HOST = f"http://127.0.0.1:{PORT}"


class Sitting:
    """Opens `folder` as `treenail desk` does, with the headers that a browser sends.

    Its scratch lies where pytest's folders lie, and goes with them.
    """

    def __init__(self, folder: Path, **options: Any) -> None:
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(tempfile, "tempdir", str(folder.parent))
            self.desk = Desk(folder, by=options.pop("by", "MB"), **options)
        self.access = Access(PORT)
        self.client = TestClient(
            desk_app(self.desk, self.access), base_url=HOST, raise_server_exceptions=False
        )
        self.client.cookies.set(self.access.cookie, self.access.session)

    def page(self, path: str, status: int = 200) -> str:
        """The text of a page."""
        answer = self.client.get(path)
        assert answer.status_code == status, text_of(answer.text)
        return answer.text

    @property
    def headers(self) -> dict[str, str]:
        """What a browser sends with an act."""
        return {"Origin": HOST, "X-Desk-Act": self.access.act}

    def act(self, path: str, data: Any = None, status: int = 200, **sent: Any) -> Any:
        """The answer to an act, as a form or a script of a page sends it."""
        by = {"Accept": "application/json"} if "json" in sent else {"HX-Request": "true"}
        answer = self.client.post(path, data=data, headers=self.headers | by, **sent)
        assert answer.status_code == status, text_of(answer.text)
        return answer

    def do(self, path: str, data: Any = None, **sent: Any) -> str:
        """Do an act and go where it leads; the text of that page, once all work has ended."""
        to = self.act(path, data, **sent).headers["HX-Redirect"]
        if to.startswith("/work/"):
            running = self.desk.jobs[to.removeprefix("/work/")]
            running.thread.join(60)
            assert running.done, running.problem
            self.page(to)
            to = running.done.to
        return self.page(to)

    def refused(self, path: str, data: Any = None, **sent: Any) -> str:
        """What a person reads when an act cannot be."""
        return text_of(self.act(path, data, status=422, **sent).text)


def text_of(page: str) -> str:
    """What a person reads on a page, on one line."""
    bare = re.sub(r"<(script|style).*?</\1>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(html.unescape(bare).split())
