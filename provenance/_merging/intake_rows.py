"""Unites what two copies wrote down beside their acts: received files, unread cells, keys."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._base.errors import UnusableInput
from provenance._history.acts import short_code

Rows = Sequence[Mapping[str, str]]


def originals_of_both(mine: Rows, theirs: Rows) -> list[dict[str, str]]:
    """The received files of both, each once, as it was first written down.

    Raises UnusableInput where one number stands for two files.
    """
    found: dict[str, dict[str, str]] = {}
    for row in sorted([*mine, *theirs], key=lambda row: (row["read_on"], *row.values())):
        there = found.setdefault(row["original_id"], dict(row))
        if there["sha256"] != row["sha256"]:
            raise UnusableInput(
                f"{row['original_id']} (table 'original') is a different file in each copy: "
                f"{there['file_name']} and {row['file_name']}. Import {row['file_name']} into one "
                "copy again after the other was merged without it. Nothing was merged"
            )
        found[row["original_id"]] = {name: text or row[name] for name, text in there.items()}
    return list(found.values())


def unread_of_both(mine: Rows, theirs: Rows) -> list[dict[str, str]]:
    """The unread cells of both, each once; a cell that one copy settled is settled."""
    found: dict[str, dict[str, str]] = {}
    for row in [*mine, *theirs]:
        code = row["unread_id"]
        if code in found and _what(found[code]) != _what(row):
            code = short_code("U", *_what(row))
        there = found.setdefault(code, {**row, "unread_id": code})
        said = {*there["settled"].split(_AND), *row["settled"].split(_AND)} - {""}
        there["settled"] = _AND.join(sorted(said))
    return list(found.values())


_AND = " | "


def _what(row: Mapping[str, str]) -> list[str]:
    return [text for name, text in sorted(row.items()) if name not in ("unread_id", "settled")]


_VOUCHED = ("keeper_key_id", "keeper_signature")
_ENDED = ("until", "until_key_id", "until_signature")


def keys_of_both(mine: Rows, theirs: Rows) -> list[dict[str, str]]:
    """The keys of both, each once: vouched for and retired if either copy has it so.

    Each signature stays with what it is over, and the earlier end of a key counts.
    """
    found: dict[str, dict[str, str]] = {}
    ends: dict[str, list[tuple[str, ...]]] = {}
    for row in sorted([*mine, *theirs], key=lambda row: (row["since"], row["key_id"], _own(row))):
        there = found.setdefault(row["key_id"], dict(row))
        if _own(there) == _own(row):
            vouched = max((there, row), key=lambda one: [one[name] for name in _VOUCHED])
            there |= {name: vouched[name] for name in _VOUCHED}
        if row["until"]:
            ends.setdefault(row["key_id"], []).append(tuple(row[name] for name in _ENDED))
    for code, said in ends.items():
        found[code] |= dict(zip(_ENDED, min(said), strict=True))
    return list(found.values())


def _own(row: Mapping[str, str]) -> list[str]:
    """What a key itself signed, whatever was said of it later."""
    return [text for name, text in sorted(row.items()) if name not in (*_VOUCHED, *_ENDED)]


def origins_of_both(mine: Rows, theirs: Rows) -> list[dict[str, str]]:
    """Where rows were read from, each once; still there if either copy found it so."""
    found: dict[tuple[str, ...], dict[str, str]] = {}
    for row in [*mine, *theirs]:
        key = tuple(text for name, text in sorted(row.items()) if name != "still_there")
        there = found.setdefault(key, dict(row))
        if row["still_there"] == "true":
            there["still_there"] = "true"
    return list(found.values())
