"""Decides which files go into the public edition: only what somebody released.

A photo is drawn anew; a plain text goes in when the search finds nothing in it. Everything else
(plans, reports, originals, whatever no row describes) is left out, and stands in the account with
its reason and a keyed hash. Files are named for the code of their row.
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
from provenance._bundle.redaction.pictures import KINDS, NotRedrawn, redraw
from provenance._bundle.redaction.release import FILE as FILE_KIND
from provenance._bundle.redaction.release import PICTURE, WAITING
from provenance._model.media_types import media_type_of
from provenance._record.snapshot import Row

FILE, ORIGINAL = "file", "original"
TEXT_ENDINGS = frozenset({".txt", ".csv", ".tsv", ".rwl"})
MOST_TEXT_BYTES = 16 << 20
RESTRICTED = "its access is not 'open'"
NOT_THERE = "it was not there"
UNDESCRIBED = "no row of the record describes it"
RECEIVED = "a file as received may hold anything"
NOT_RELEASED = "no one has reviewed and released it"
REFUSED = "it was withheld when it was reviewed"
OF_A_LEFT_OUT = ("path", "byte_count", "sha256")
OF_A_RESTRICTED = ("notes", "rights", "taken_by")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True)
class FileRows:
    """What the rows of the table file say in public: field → place of the row (from 0) → text."""

    settled: Mapping[str, Mapping[int, str]]
    left_out: Mapping[int, str]
    """Place of each row whose file is not in the edition → why."""
    shown: frozenset[str] = frozenset()
    """Codes of the files that are in the edition."""


def redact_files(
    known: Known,
    contents: Contents,
    sums: Mapping[str, str],
    key: str,
    folder: Path | None,
    account: Account,
    *,
    progress: Progress = say_nothing,
) -> FileRows:
    """Write the files that may be public into `folder`; account for all others.

    Without a folder nothing is written: all that is asked for is asked, and no more.
    `sums` maps each member's path to its SHA-256, `key` is the edition key. `progress` is told the
    rows done and in total.
    """
    settled: dict[str, dict[int, str]] = {}
    left_out: dict[int, str] = {}
    shown: set[str] = set()
    members = {member.path for member in contents.members}
    handled: set[str] = set()
    if FILE in known.package.model.tables:
        files = _Files(known, members, sums, folder)
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
            if not reason:
                shown.add(row["file_id"])
            if path:
                handled.add(path)
            progress(place + 1, len(rows))
    account.files += _other_files(known, members - handled, set(contents.undescribed), sums, key)
    return FileRows(settled, left_out, frozenset(shown))


class _Files:
    """The files of the rows of the table file, one at a time."""

    def __init__(
        self, known: Known, members: set[str], sums: Mapping[str, str], folder: Path | None
    ) -> None:
        self.known, self.members, self.sums, self.folder = known, members, sums, folder
        self.ways = file_ways(known.package.model)
        self.taken: set[str] = set()
        self.kept_back = _kept_back(known.package.tables.rows(FILE))

    def key(self, row: Row) -> str:
        return self.known.public_key(FILE, row["file_id"])

    def way(self, row: Row) -> str:
        return self.ways.get(row["kind"], "")

    def take(self, place: int, row: Row, settled: dict[str, dict[int, str]]) -> str:
        """Write one row's file into the edition; '' if it is in, else why not."""
        reason = self._reason(row)
        target = "" if reason else self._public_path(place, row)
        if not reason and self.folder:
            reason = self._write(row, self.folder / target)
        if reason:
            for name in OF_A_LEFT_OUT + (OF_A_RESTRICTED if reason == RESTRICTED else ()):
                settled.setdefault(name, {})[place] = ""
            if reason == RESTRICTED and row["title"]:
                settled.setdefault("title", {})[place] = WITHHELD
        elif self.folder:
            written = self.folder / target
            self.taken.add(folded(target))
            for name, text in (
                ("path", target),
                ("sha256", sha256_of(written)),
                ("byte_count", str(written.stat().st_size)),
                ("media_type", media_type_of(target)),
            ):
                settled.setdefault(name, {})[place] = text
        else:
            settled.setdefault("path", {})[place] = target
        return reason

    def _write(self, row: Row, target: Path) -> str:
        """Write a file; '' if it is written, else why it cannot be."""
        source = self.known.package.folder / row["path"]
        if self.way(row) == "text":
            with writing(target) as stream:
                stream.write(source.read_bytes())
            return ""
        try:
            redraw(source, target)
        except NotRedrawn as error:
            return str(error)
        return ""

    def _reason(self, row: Row) -> str:
        if row["file_id"] in self.kept_back:
            return RESTRICTED
        if row["path"] not in self.members:
            return NOT_THERE
        way = self.way(row)
        if not way:
            return "a program cannot tell what a file of its kind shows"
        reason = self._reason_of_text(row["path"]) if way == "text" else ""
        if way == "picture" and Path(row["path"]).suffix.lower() not in KINDS:
            reason = f"only {', '.join(KINDS)} can be redrawn"
        return reason or self._unreleased(row, PICTURE if way == "picture" else FILE_KIND)

    def _unreleased(self, row: Row, kind: str) -> str:
        """Why a file that could go out does not; '' for one that somebody released."""
        release, digest = self.known.release, self.sums[row["path"]]
        site = self.known.site_of.get(row["about_table"], {}).get(row["about_id"], "")
        under = {f"site:{site}", f"party:{row['taken_by']}"}
        if row["about_table"] == "party":
            under.add(f"party:{row['about_id']}")
        if release.of_file(kind, "file.path", row["path"], digest, (), under):
            return ""
        return NOT_RELEASED if release.asked[digest].state == WAITING else REFUSED

    def _reason_of_text(self, path: str) -> str:
        source = self.known.package.folder / path
        if source.suffix.lower() not in TEXT_ENDINGS:
            return f"only {', '.join(sorted(TEXT_ENDINGS))} are read as plain text"
        if source.stat().st_size > MOST_TEXT_BYTES:
            return f"it has more than {MOST_TEXT_BYTES >> 20} MiB"
        text = read_plainly(source)
        if text is None:
            return "it is not plain text"
        if not self.known.masker.is_clean_file(text.splitlines()):
            return "something in it is withheld elsewhere"
        return ""

    def _public_path(self, place: int, row: Row) -> str:
        """A path made of the row's code in public: the crew's own name may give something away."""
        ending = Path(row["path"]).suffix.lower()
        new = self._coded_path(place, row, ending)
        number = 1
        while folded(new) in self.taken:
            number += 1
            new = self._coded_path(place, row, f"-{number}{ending}")
        return new

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
