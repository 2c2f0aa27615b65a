"""Decides which files go into the public edition: only what can be told to be clean.

A photo is drawn anew; a plain text goes in when nothing in it had to be withheld. Everything else
(plans, reports, originals, whatever no row describes) is left out, and stands in the account with
its reason and a keyed hash.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._base.disk import sha256_of, writing
from provenance._base.portable import folded, is_reserved
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.describe.contents import Contents
from provenance._bundle.redaction.account import Account, LeftOutFile
from provenance._bundle.redaction.commitments import commit
from provenance._bundle.redaction.forms import file_ways
from provenance._bundle.redaction.gathering import Known
from provenance._bundle.redaction.masking import WITHHELD
from provenance._bundle.redaction.pictures import NotRedrawn, redraw
from provenance._disclosure.flat import letters_of
from provenance._disclosure.phrases import SHORTEST
from provenance._model.media_types import media_type_of
from provenance._record.snapshot import Row

FILE, ORIGINAL = "file", "original"
TEXT_ENDINGS = frozenset({".txt", ".csv", ".tsv", ".rwl"})
MOST_TEXT_BYTES = 16 << 20
RESTRICTED = "its access is not 'open'"
NOT_THERE = "it was not there"
UNDESCRIBED = "no row of the record describes it"
RECEIVED = "a file as received may hold anything"
OF_A_LEFT_OUT = ("path", "byte_count", "sha256")
OF_A_RESTRICTED = ("notes", "rights", "taken_by")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True)
class FileRows:
    """What the rows of the table file say in public: field → place of the row (from 0) → text."""

    settled: Mapping[str, Mapping[int, str]]
    left_out: Mapping[int, str]
    """Place of each row whose file is not in the edition → why."""


NO_FILES = FileRows({}, {})
"""For the tables that describe no files."""


def redact_files(
    known: Known,
    contents: Contents,
    sums: Mapping[str, str],
    key: str,
    folder: Path,
    account: Account,
    *,
    progress: Progress = say_nothing,
) -> FileRows:
    """Write the files that may be public into `folder`; account for all others.

    `sums` maps each member's path to its SHA-256, `key` is the edition key. `progress` is told the
    rows done and in total.
    """
    settled: dict[str, dict[int, str]] = {}
    left_out: dict[int, str] = {}
    members = {member.path for member in contents.members}
    handled: set[str] = set()
    if FILE in known.package.model.tables:
        files = _Files(known, members, folder)
        rows = known.package.tables.rows(FILE)
        for place, row in enumerate(rows):
            path = row["path"]
            reason = files.take(place, row, settled)
            if reason:
                left_out[place] = reason
                commitment = commit(key, "file", sums[path]) if path in sums else ""
                account.files.append(LeftOutFile(FILE, files.key(row), reason, commitment))
            elif files.way(row) == "picture":
                account.pictures += 1
            else:
                account.texts += 1
            if path:
                handled.add(path)
            progress(place + 1, len(rows))
    account.files += _other_files(known, members - handled, set(contents.undescribed), sums, key)
    return FileRows(settled, left_out)


class _Files:
    """The files of the rows of the table file, one at a time."""

    def __init__(self, known: Known, members: set[str], folder: Path) -> None:
        self.known, self.members, self.folder = known, members, folder
        self.ways = file_ways(known.package.model)
        self.taken: set[str] = set()
        self.kept_back = _kept_back(known.package.tables.rows(FILE))
        self.codes = set(known.masker.codes)
        self.long_codes = {one for code in self.codes if len(one := letters_of(code)) >= SHORTEST}

    def key(self, row: Row) -> str:
        return self.known.public_key(FILE, row["file_id"])

    def way(self, row: Row) -> str:
        return self.ways.get(row["kind"], "")

    def take(self, place: int, row: Row, settled: dict[str, dict[int, str]]) -> str:
        """Write one row's file into the edition; '' if it is in, else why not."""
        path = row["path"]
        reason = self._reason(row)
        target = "" if reason else self._public_path(place, row)
        if not reason:
            try:
                if self.way(row) == "picture":
                    redraw(self.known.package.folder / path, self.folder / target)
                else:
                    self._copy_text(path, target)
            except NotRedrawn as error:
                reason = str(error)
        if reason:
            for name in OF_A_LEFT_OUT + (OF_A_RESTRICTED if reason == RESTRICTED else ()):
                settled.setdefault(name, {})[place] = ""
            if reason == RESTRICTED and row["title"]:
                settled.setdefault("title", {})[place] = WITHHELD
        else:
            written = self.folder / target
            self.taken.add(folded(target))
            for name, text in (
                ("path", target),
                ("sha256", sha256_of(written)),
                ("byte_count", str(written.stat().st_size)),
                ("media_type", media_type_of(target)),
            ):
                settled.setdefault(name, {})[place] = text
        return reason

    def _reason(self, row: Row) -> str:
        if row["file_id"] in self.kept_back:
            return RESTRICTED
        if row["path"] not in self.members:
            return NOT_THERE
        way = self.way(row)
        if not way:
            return "a program cannot tell what a file of its kind shows"
        return self._reason_of_text(row["path"]) if way == "text" else ""

    def _reason_of_text(self, path: str) -> str:
        source = self.known.package.folder / path
        if source.suffix.lower() not in TEXT_ENDINGS:
            return f"only {', '.join(sorted(TEXT_ENDINGS))} are read as plain text"
        if source.stat().st_size > MOST_TEXT_BYTES:
            return f"it has more than {MOST_TEXT_BYTES >> 20} MiB"
        text = read_plainly(source)
        if text is None:
            return "it is no plain text"
        if not self.known.masker.is_clean_file(text.splitlines()):
            return "something in it is withheld elsewhere"
        return ""

    def _copy_text(self, path: str, target: str) -> None:
        with writing(self.folder / target) as stream:
            stream.write((self.known.package.folder / path).read_bytes())

    def _public_path(self, place: int, row: Row) -> str:
        """The file's path, or one made of its code where the path would give something away."""
        path = row["path"]
        words = set(re.split(r"[\W_]+", path))
        new = path
        if not self.known.masker.is_clean(path) or words & self.codes or self._holds_key(path):
            new = self._coded_path(place, row, Path(path).suffix.lower())
        number = 1
        while folded(new) in self.taken:
            number += 1
            new = self._coded_path(place, row, f"-{number}{Path(path).suffix.lower()}")
        return new

    def _holds_key(self, path: str) -> bool:
        """Whether a key that is another one in public stands in the path, however it is parted."""
        plain = letters_of(path)
        return any(code in plain for code in self.long_codes)

    def _coded_path(self, place: int, row: Row, ending: str) -> str:
        stem = re.sub(r"[^A-Za-z0-9_-]+", "-", self.key(row)).strip("-") or f"row-{place + 2}"
        return f"files/_{stem}{ending}" if is_reserved(stem) else f"files/{stem}{ending}"


def _kept_back(rows: Sequence[Row]) -> set[str]:
    """Files that are not open, and all that is about one of these, such as its converted copy."""
    found = {row["file_id"] for row in rows if row["access"] != "open"}
    of_files = [row for row in rows if row["about_table"] == FILE]
    while more := {row["file_id"] for row in of_files if row["about_id"] in found} - found:
        found |= more
    return found


def read_plainly(path: Path) -> str | None:
    """The text of a file in UTF-8, else in Latin-1; None where it holds control characters."""
    raw = path.read_bytes()
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return None if _CONTROL.search(text) else text


def _other_files(
    known: Known, paths: set[str], undescribed: set[str], sums: Mapping[str, str], key: str
) -> list[LeftOutFile]:
    """Everything that is neither of the table file nor of the package's own making."""
    originals = known.package.tables.rows(ORIGINAL)
    received = {row[name] for row in originals for name in ("path", "mapping_path")}
    left_out = []
    for path in sorted(paths & (received | undescribed)):
        # the path itself may give something away, so the file stands here by its hash alone
        commitment = commit(key, "file", sums[path])
        table, reason = (ORIGINAL, RECEIVED) if path in received else ("", UNDESCRIBED)
        left_out.append(LeftOutFile(table, "", reason, commitment))
    # in an order that says nothing of their names
    return sorted(left_out, key=lambda one: (one.reason, one.commitment))
