"""An act: what one source or person said of the record at one moment, named by its hash.

The record is a set of acts; its tables are what `projection.project` makes of them. An act never
changes. What it says stands in its lines:

    import    a received file states rows and cells
    settle    a person or program decides cells: before is what is refused, after what stands
    bind      a key as one source states it means that row (a split), or one row is another (a join)
    accept    a person lets a finding stand, with the reason
    undo      takes one act back, an undo too

In a line `field` is '' for the row itself (HERE or GONE) and KEY_FIELD for its key. A row goes by
the key it was born with ('201'), or '201~2' where another was split off; references hold that name.
"""

from __future__ import annotations

import hmac
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from hashlib import sha256
from json.encoder import encode_basestring
from typing import NamedTuple

HERE, GONE = "here", "gone"
ROW_FIELD, KEY_FIELD = "", "#"
IMPORT, SETTLE, BIND, ACCEPT, UNDO = "import", "settle", "bind", "accept", "undo"
BEGUN = "begun"
KINDS = (BEGUN, IMPORT, SETTLE, BIND, ACCEPT, UNDO)
ID_LENGTH = 24
_as_json = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
_LETTERS = "ABCDEFGHJKLMNPQRTUVWXY"
"""Letters that are not taken for digits or each other at a glance."""


class Line(NamedTuple):
    """One thing that an act says; texts as they stand in tables/change.csv.

    `said_by` is who said `before`: the number of a received file or of an act. `written` is the
    text of the cell in the received file, where the value says it otherwise.
    """

    table: str
    row: str
    field: str
    before: str = ""
    after: str = ""
    said_by: str = ""
    written: str = ""
    sheet: str = ""
    line: str = ""
    column: str = ""


@dataclass(frozen=True)
class Act:
    """One act with its lines.

    `when` is an RFC 3339 moment in UTC. An import has the number of its received file and the
    SHA-256 of file and mapping together; `replaces` are the acts that read older copies of it.
    `parents` are the acts that none named before this one. `sealed` are the digests of header and
    lines where texts are withheld (public edition), else they are made from the texts.
    """

    kind: str
    who: str = ""
    when: str = ""
    why: str = ""
    source: str = ""
    version: str = ""
    replaces: tuple[str, ...] = ()
    undoes: str = ""
    parents: tuple[str, ...] = ()
    lines: tuple[Line, ...] = field(default=(), repr=False)

    def digests(self, key: bytes) -> tuple[str, list[str]]:
        """The keyed digests (HMAC-SHA-256) of the header's texts and of each line."""
        said = _digest(key, (self.who, self.when, self.why, self.source, self.version))
        return said, [_digest(key, line) for line in self.lines]

    @lru_cache(maxsize=512)  # noqa: B019  (an act is a value, and every command proves all of them)
    def act_id(self, key: bytes) -> str:
        """The act's name, over digests only, so that texts can be withheld and it still proves."""
        return id_of(self, *self.digests(key))

    @property
    def named(self) -> set[str]:
        """The acts that this one names, each of which was there before."""
        return {*self.parents, *self.replaces, *filter(None, [self.undoes])}

    @cached_property
    def covers(self) -> frozenset[tuple[str, str]]:
        """(sheet, table) that an import read, rows or none; `before` is the older sheet's name."""
        return frozenset((one.sheet, one.table) for one in self.lines if not one.row)


def id_of(act: Act, said: str, lines: Sequence[str]) -> str:
    """The name of an act whose texts have these digests."""
    header = [act.kind, said, list(act.replaces), act.undoes, list(act.parents), list(lines)]
    return sha256(_as_json(header).encode()).hexdigest()[:ID_LENGTH]


def _digest(key: bytes, texts: Iterable[str]) -> str:
    # as _as_json has a list of texts, at a fifth of the time: there are a million of these
    listed = f"[{','.join(map(encode_basestring, texts))}]"
    return hmac.digest(key, listed.encode(), "sha256").hex()


Acts = Mapping[str, Act]
"""Acts by their names."""


def live(acts: Acts) -> dict[str, Act]:
    """The acts that are not undone; an undo can itself be undone."""
    undone_by: dict[str, list[str]] = {}
    for name, act in acts.items():
        if act.kind == UNDO:
            undone_by.setdefault(act.undoes, []).append(name)
    known: dict[str, bool] = {}

    def is_live(name: str) -> bool:
        # an undo names an act that was there before, so this ends
        if name not in known:
            known[name] = not any(is_live(undo) for undo in undone_by.get(name, ()))
        return known[name]

    return {name: act for name, act in acts.items() if is_live(name)}


def heads(acts: Acts) -> tuple[str, ...]:
    """The acts that no other act names as its parent, in order of name."""
    named = {parent for act in acts.values() for parent in act.parents}
    return tuple(sorted(set(acts) - named))


def lineages(acts: Acts) -> dict[str, str]:
    """Import → the number of the first received file of which it is a newer copy."""
    found: dict[str, str] = {}

    def of(name: str) -> str:
        if name not in found:
            older = [of(one) for one in acts[name].replaces if one in acts]
            found[name] = min(older, default=acts[name].source)
        return found[name]

    for name, act in acts.items():
        if act.kind == IMPORT:
            of(name)
    return found


def short_code(prefix: str, *texts: str) -> str:
    """A code of eight letters that the same texts have on every computer.

    >>> short_code("IN", "6e340b9cffb37a98")
    'IN-XXXXXXXX'
    """
    number = int.from_bytes(sha256("\0".join(texts).encode()).digest()[:8], "big")
    letters = []
    for _ in range(8):
        number, place = divmod(number, len(_LETTERS))
        letters.append(_LETTERS[place])
    return f"{prefix}-{''.join(letters)}"
