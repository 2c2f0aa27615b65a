"""Makes damaged and hostile packages, bundles and field files of sound ones, choice by choice.

Every choice comes from a `Choices`, so that the same choices make the same bytes: a seed in the
tests, the bytes of a coverage-guided fuzzer by hand.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import os
import random
import re
import struct
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Protocol, TypeVar

One = TypeVar("One")


class Choices(Protocol):
    """Where the choices come from."""

    def below(self, most: int) -> int:
        """A number from 0 to `most` - 1."""


class Seeded:
    """The choices of a seed."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)

    def below(self, most: int) -> int:
        return self._random.randrange(most)


class Given:
    """The choices that some bytes stand for; without end all are 0."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._place = 0

    def below(self, most: int) -> int:
        size = 1 if most <= 256 else 3
        piece = self._data[self._place : self._place + size]
        self._place += size
        return int.from_bytes(piece, "little") % most


def pick(choices: Choices, among: Sequence[One]) -> One:
    return among[choices.below(len(among))]


NASTY_TEXTS = (
    "", " ", "0", "-1", "1", "231", "1e999", "NaN", "99999999999999999999999", "1/0", "=1+1",
    "\x00", "\x1b[2J", "\u202e", "\ufeff", "x" * 5_000, "../../out", "/etc/passwd", "a\nb", "a\rb",
    '"', "'", ",", ";", "1-999999999999", "2024-06-31", "-999999999", "0000-00-00", "2024/..",
    "true", "null", "HOLL-231-H", "c:\\x", "~", "%", "{}", "[[", "&", "<b>", "é", "𝟙", "B1-014",
)  # fmt: skip
NASTY_NAMES = (
    "", "/", "//", ".", "..", "../x", "/x", "b//x", "b/./x", "C:x", "b\\x", "~x", "b/\x00x",
    "b/" + "d/" * 40 + "x", "b/" + "n" * 300, "CON", "b/data/tables/site.csv", "b/data/.x", "é",
    "b/bagit.txt", "b/data", "b/e\u0301", "b/\u00e9", " ", "b/-x", "a/b",
)  # fmt: skip
NASTY_VALUES: tuple[Any, ...] = (
    None, True, 0, -1, 10**30, 1.5, "", "x", "../x", [], {}, [[]], {"a": 1}, "site", ["site"],
    "number", "\x00", [None], {"name": "x"}, "tables/site.csv", "a" * 5_000, [{"name": []}],
    "2024-01-01", "(a+)+$", "[",
)  # fmt: skip
TOKENS = (
    b"\x00", b"\xff", b'"', b",", b"\n", b"\r", b"\xef\xbb\xbf", b"\\ud800", b"\xed\xa0\x80",
    b"[" * 300, b"{", b"}", b"-", b"9" * 5_000, b"&a", b"*a", b"\n\n\n", b"PK\x01\x02",
)  # fmt: skip


def mutated_bytes(choices: Choices, data: bytes) -> bytes:
    """Bytes with a stretch taken out, doubled, overwritten, cut off or a token put in."""
    if not data:
        return pick(choices, TOKENS)
    start = choices.below(len(data))
    end = min(len(data), start + 1 + choices.below(pick(choices, (1, 16, 4096))))
    match choices.below(6):
        case 0:
            return data[:start] + data[end:]
        case 1:
            return data[:end] + data[start:end] * (1 + choices.below(40)) + data[end:]
        case 2:
            return data[:start] + bytes([choices.below(256)]) + data[start + 1 :]
        case 3:
            return data[:start]
        case 4:
            return b""
    return data[:start] + pick(choices, TOKENS) + data[start:]


def mutated_csv(choices: Choices, data: bytes) -> bytes:
    """A table whose headings, cells or shape are not what they were."""
    rows = list(csv.reader(io.StringIO(data.decode("utf-8", "replace"), newline="")))
    if not rows or not rows[0]:
        return mutated_bytes(choices, data)
    width = len(rows[0])
    column, row = choices.below(width), choices.below(len(rows))
    match choices.below(11):
        case 0:
            rows[0][column] = ""
        case 1:
            rows[0][column] = pick(choices, (*NASTY_TEXTS, *rows[0]))
        case 2:
            rows = [one[:column] + one[column + 1 :] for one in rows]
        case 3:
            rows[row][min(column, len(rows[row]) - 1) :] = [pick(choices, NASTY_TEXTS)]
        case 4:
            rows.insert(row, [])
        case 5:
            rows[0] += [f"c{n}" for n in range(pick(choices, (1, 900, 6_000)))]
        case 6:
            rows += [rows[-1]] * pick(choices, (1, 50, 2_000))
        case 7:
            rows += [[]] * pick(choices, (1, 50, 2_000))
        case 8:
            del rows[row]
        case 9:
            return mutated_bytes(choices, data)
        case _:
            for one in rows[1:]:
                if column < len(one):
                    one[column] = pick(choices, NASTY_TEXTS)
    written = io.StringIO(newline="")
    ends = pick(choices, ("\n", "\n", "\n", "\r\n", "\r"))
    csv.writer(written, lineterminator=ends).writerows(rows)
    return written.getvalue().encode("utf-8", "surrogatepass")


def _places(value: Any, found: list[tuple[Any, Any]]) -> list[tuple[Any, Any]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, one in list(pairs):
        found.append((value, key))
        if isinstance(one, dict | list):
            _places(one, found)
    return found


def mutated_json(choices: Choices, data: bytes) -> bytes:
    """A document in which something is gone, doubled, renamed or of another kind."""
    try:
        value = json.loads(data)
        places = _places(value, [])
    except (ValueError, TypeError):
        places = []
    if not places:
        return mutated_bytes(choices, data)
    inside, key = pick(choices, places)
    match choices.below(7):
        case 0:
            del inside[key]
        case 1:
            inside[key] = pick(choices, NASTY_VALUES)
        case 2:
            inside[key] = [inside[key]] * (1 + choices.below(3))
        case 3:
            deep: Any = inside[key]
            for _ in range(pick(choices, (3, 70, 400))):
                deep = [deep]
            inside[key] = deep
        case 4 if isinstance(inside, dict):
            inside[str(pick(choices, NASTY_TEXTS))] = inside.pop(key)
        case 5:
            return mutated_bytes(choices, data)
        case _:
            other, name = pick(choices, places)
            copied = other[name]
            # a value in itself is no document any more
            inside[key] = copied if not isinstance(copied, dict | list) else []
    return json.dumps(value).encode("utf-8", "surrogatepass")


# -- trees of files --------------------------------------------------------------------------------

Special = Callable[[Path], None]
"""Makes something at a path that is no plain file."""
Tree = dict[str, "bytes | Special"]
"""What lies in a folder, by path with forward slashes."""

OUT = "OUT"
"""The folder beside, in which nothing may ever be written."""


def _link(target: str) -> Special:
    return lambda path: path.symlink_to(target.replace(OUT, str(out_of(path))))


def out_of(path: Path) -> Path:
    """The folder that links lead to, from anywhere in the room of one try."""
    return Path(os.environ["FUZZ_ROOM"]) / OUT


def _hard_link(path: Path) -> None:
    path.hardlink_to(out_of(path) / "kept")


def _deep_folders(path: Path) -> None:
    path.joinpath(*["d"] * 300).mkdir(parents=True)


SPECIALS: tuple[Special, ...] = (
    _link(f"{OUT}/kept"),
    _link(OUT),
    _link("."),
    _link("/dev/zero"),
    _hard_link,
    os.mkfifo,
    lambda path: path.mkdir(),
    _deep_folders,
)


def _mutated_file(choices: Choices, path: str, data: bytes) -> bytes:
    if path.endswith(".csv"):
        return mutated_csv(choices, data)
    if path.endswith((".json", ".jsonld")):
        return mutated_json(choices, data)
    return mutated_bytes(choices, data)


def mutated_tree(choices: Choices, tree: Tree, *, specials: bool) -> Tree:
    """A folder with one to three things in it that are not as they were."""
    tree = dict(tree)
    for _ in range(1 + choices.below(3)):
        path = pick(choices, sorted(tree))
        content = tree[path]
        match choices.below(12):
            case 0:
                del tree[path]
            case 1 if specials:
                tree[path] = pick(choices, SPECIALS)
            case 2 if specials:
                folder = path.rpartition("/")[0]
                tree = {one: x for one, x in tree.items() if not one.startswith(f"{folder}/")}
                tree[folder or path] = pick(choices, SPECIALS)
            case 3 if specials:
                top = pick(choices, ("", "data/"))
                staging = f"{top}.together.0123456789ab.part"
                paths = [pick(choices, (path, "tables/site.csv", "../OUT/new", "files/l/x"))]
                tree[f"{staging}/commit.json"] = json.dumps(
                    pick(choices, ([paths, {"paths": paths, "seal": "0"}, {"paths": 3}, 7, paths]))
                ).encode()
                tree[f"{staging}/0"] = b"site_id\n"
            case 4:
                tree[f"{path}.{choices.below(3)}"] = content
            case 5:
                tree[pick(choices, (".lock", ".origin.json", "files/x", "fetch.txt"))] = (
                    content if isinstance(content, bytes) else b"{}"
                )
            case _ if isinstance(content, bytes):
                tree[path] = _mutated_file(choices, path, content)
        if not tree:
            break
    return tree


def resealed(tree: Tree) -> Tree:
    """A bag with lists of checksums that fit what lies in it, as a forger would write them."""
    tree = {path: one for path, one in tree.items() if "manifest-" not in path}
    if isinstance(info := tree.get("bag-info.txt"), bytes):
        payload = [
            len(one) if isinstance(one, bytes) else 0
            for path, one in tree.items()
            if path.startswith("data/")
        ]
        sums = f"Payload-Oxum: {sum(payload)}.{len(payload)}".encode()
        tree["bag-info.txt"] = re.sub(rb"Payload-Oxum: .*", sums, info)
    for prefix, wanted in (("", True), ("tag", False)):
        lines = [
            f"{hashlib.sha256(one).hexdigest()}  {path}\n"
            for path, one in sorted(tree.items())
            if path.startswith("data/") is wanted and isinstance(one, bytes)
        ]
        tree[f"{prefix}manifest-sha256.txt"] = "".join(lines).encode()
    return tree


def write_tree(tree: Tree, folder: Path) -> None:
    """Put a tree on the disk; what cannot lie beside something else is left out."""
    folder.mkdir(parents=True, exist_ok=True)
    for path, content in tree.items():
        target = folder / path
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            if not target.resolve().is_relative_to(folder.resolve()):
                continue
            if isinstance(content, bytes):
                target.write_bytes(content)
            else:
                content(target)
        except (OSError, ValueError):
            continue


def read_tree(folder: Path) -> Tree:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# -- zips ------------------------------------------------------------------------------------------


def zipped(choices: Choices, tree: Tree, base: str) -> bytes:
    """A zip of a tree, with now and then a name, a number or a stretch that is not right."""
    stream = io.BytesIO()
    wrong = choices.below(4)
    strange = choices.below(max(len(tree), 1)) if wrong == 1 else -1
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for number, (path, content) in enumerate(sorted(tree.items())):
            name = f"{base}{path}"
            member = zipfile.ZipInfo(name)
            member.compress_type = pick(choices, (8, 8, 8, 8, 0)) if wrong == 1 else 8
            if number == strange:
                member.filename = pick(choices, NASTY_NAMES).replace("b/", base)
                member.external_attr = pick(choices, (0, 0o120777 << 16, 0o010644 << 16))
            archive.writestr(member, content if isinstance(content, bytes) else b"")
    data = stream.getvalue()
    return _restructured(choices, data) if wrong == 2 else data


_FIELDS = ((4, 2), (6, 2), (8, 2), (10, 2), (16, 4), (20, 4), (24, 4), (28, 2), (30, 2), (32, 2),
           (38, 4), (42, 4))  # fmt: skip
"""Offset and size of the fields of a member in the directory (APPNOTE 4.3.12)."""


def _restructured(choices: Choices, data: bytes) -> bytes:
    """A zip with numbers of its directory or its end overwritten, or cut and put together anew."""
    raw = bytearray(data)
    places = [one.start() for one in re.finditer(rb"PK\x01\x02", data[:-46])]
    end = data.rfind(b"PK\x05\x06")
    match choices.below(5):
        case 0 | 1 if places:
            offset, size = pick(choices, _FIELDS)
            at = pick(choices, places) + offset
            value = pick(choices, (0, 1, 7, 255, 65_535, 2**31, 2**32 - 1)) % 2 ** (8 * size)
            raw[at : at + size] = value.to_bytes(size, "little")
        case 2 if end >= 0:
            offset, size = pick(choices, ((4, 2), (8, 2), (10, 2), (12, 4), (16, 4), (20, 2)))
            value = pick(choices, (0, 1, 22, 65_535, 2**31, 2**32 - 1)) % 2 ** (8 * size)
            raw[end + offset : end + offset + size] = value.to_bytes(size, "little")
        case 3:
            pointer = struct.pack("<4sIQI", b"PK\x06\x07", 0, choices.below(2**24), 1)
            raw[end:end] = pick(choices, (pointer, b"PK\x06\x06" + bytes(52) + pointer))
        case _:
            return mutated_bytes(choices, data)
    return bytes(raw)
