"""Reads a JSON document that may be a stranger's: how large, how many values, how deep.

RFC 8259 leaves it to the reader what two members of one name mean, so that two programs would read
two documents; such a one is refused, and so are numbers and texts that cannot be passed on.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path
from typing import Any

from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.folders import read_plain
from provenance._gate.refusal import ASK_AGAIN, RefusedInput, at_most


def read_json(
    path: Path, budget: Budget = DEFAULT_BUDGET, *, remedy: str = ASK_AGAIN, bom: bool = False
) -> Any:
    """What a file of JSON says; with `bom` a byte order mark before it is let pass.

    Raises FileNotFoundError, OSError, and RefusedInput that names the file and what is wrong.
    """
    data = read_plain(path, budget.most_json_bytes)
    if bom:
        data = data.removeprefix(b"\xef\xbb\xbf")
    return json_from(data, path, budget, remedy=remedy)


def json_from(
    data: bytes,
    where: str | os.PathLike[str],
    budget: Budget = DEFAULT_BUDGET,
    *,
    remedy: str = ASK_AGAIN,
) -> Any:
    """What bytes of JSON say; `where` is what a person knows them by. Raises RefusedInput."""
    proof = budget, sha256(data).digest()
    if proof in _proved:
        return json.loads(data.decode("utf-8"))
    if len(data) > budget.most_json_bytes:
        limit = at_most(budget.most_json_bytes, "bytes")
        raise RefusedInput(where, f"has {len(data):,} bytes", limit=limit, remedy=remedy)
    begun = sum(map(data.count, (b",", b"[", b"{")))
    if begun > budget.most_json_values:
        limit = at_most(budget.most_json_values, "values")
        raise RefusedInput(where, f"holds {begun:,} values", limit=limit, remedy=remedy)
    try:
        value = _DECODER.decode(data.decode("utf-8"))
    except RecursionError:
        value = None
        depth = budget.deepest_json + 1
    except ValueError as error:
        # the library quotes the document, which may be of any length
        raise RefusedInput(
            where, f"is not readable JSON: {str(error)[:300]}", remedy=remedy
        ) from error
    else:
        depth = _depth(value, budget.deepest_json)
    if depth > budget.deepest_json:
        limit = f"values may nest {budget.deepest_json} deep"
        raise RefusedInput(where, "is nested too deep", limit=limit, remedy=remedy)
    if b"\\u" in data and not _is_text(value):
        what = "holds half a character (a lone surrogate) or a NUL"
        raise RefusedInput(where, what, remedy=remedy)
    if len(_proved) == _MOST_PROVED:
        _proved.clear()
    _proved.add(proof)
    return value


_MOST_PROVED = 4096
_proved: set[tuple[Budget, bytes]] = set()
"""Budgets and checksums of what was read and kept all the rules: a bundle has the same documents
as the record in it, and is read more than once. Without the rules a reading takes a third.
"""


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))  # type: ignore[func-returns-value]
        raise ValueError(f"{twice[:80]!r} occurs twice in one object")
    return made


def _no_number(text: str) -> Any:
    raise ValueError(f"{text} is not a number of JSON")


def _finite(text: str) -> float:
    number = float(text)
    if not math.isfinite(number):
        raise ValueError(f"{text[:40]} is larger than any number that can be worked with")
    return number


_DECODER = json.JSONDecoder(
    object_pairs_hook=_once_each, parse_constant=_no_number, parse_float=_finite
)
_HOLDERS = (dict, list)


def _inside(values: Iterable[Any]) -> list[Any]:
    """The lists and objects in some lists and objects."""
    return [
        one
        for value in values
        for one in (value.values() if value.__class__ is dict else value)
        if one.__class__ in _HOLDERS
    ]


def _depth(value: Any, most: int) -> int:
    """How deep values nest, looked at to one more than `most`."""
    level = [value] if isinstance(value, dict | list) else []
    depth = 0
    while level and depth <= most:
        depth += 1
        level = _inside(level)
    return depth


def _is_text(value: Any) -> bool:
    """Whether every text in a document can be written as UTF-8 and into a name."""
    try:
        written = json.dumps(value, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return b"\\u0000" not in written
