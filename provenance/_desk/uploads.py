"""Takes in what a browser sends: form fields, and files into scratch under harmless names."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from provenance._base.portable import folded, is_reserved
from provenance._gate.documents import json_from

if TYPE_CHECKING:
    from starlette.requests import Request

    from provenance._desk.desk import Desk

MOST_FILES = 5_000
"""Uploaded at once: the photos of a season."""
MOST_FIELDS = 20_000
_UNSAFE = re.compile(r'[<>:"|?*\x00-\x1f\x7f]|^[. ]+|[. ]+$')
_LONGEST_NAME = 120


@dataclass(frozen=True)
class Received:
    """What came with a request; see `Asked`."""

    form: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, Sequence[Path]] = field(default_factory=dict)
    value: Any = None


async def received(request: Request, desk: Desk) -> Received:
    """The body of a request, read to its end; raises UnusableInput."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind == "application/json":
        body = await request.body()
        return Received(
            value=await run_in_threadpool(
                json_from, body, Path("request"), remedy="load the page again"
            )
        )
    form: dict[str, list[str]] = {}
    files: dict[str, list[Path]] = {}
    async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS) as sent:
        for name, value in sent.multi_items():
            if not isinstance(value, UploadFile):
                form.setdefault(name, []).append(value)
            # a file field in which nothing was chosen sends an empty name
            elif value.filename:
                path = await run_in_threadpool(_kept, value, desk, files.setdefault(name, []))
                files[name].append(path)
    return Received(form, files)


def harmless_name(name: str) -> str:
    """The last part of a name from elsewhere, as every system can hold it.

    >>> [harmless_name(one) for one in ("../a.csv", "C:\\\\x\\\\b?.csv", "CON", "..")]
    ['a.csv', 'b_.csv', '_CON', '_']
    """
    last = re.split(r"[/\\]", name)[-1]
    safe = _UNSAFE.sub("_", last) or "_"
    stem, dot, ending = safe.rpartition(".")
    if len(safe) > _LONGEST_NAME:
        ending = ending[:20]
        safe = f"{(stem or safe)[: _LONGEST_NAME - len(ending) - 1]}{dot}{ending}"
    return f"_{safe}" if is_reserved(safe) else safe


def _kept(upload: UploadFile, desk: Desk, beside: Sequence[Path]) -> Path:
    name = harmless_name(upload.filename or "")
    # files of one field lie together, as they did in the folder that they came from
    taken = {folded(one.name) for one in beside}
    folder = beside[0].parent if beside and folded(name) not in taken else desk.scratch()
    path = folder / name
    with path.open("xb") as stream:
        upload.file.seek(0)
        shutil.copyfileobj(upload.file, stream)
    return path
