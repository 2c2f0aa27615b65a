"""What a comparison says: values that name every row, cell and file in which two records differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

if TYPE_CHECKING:
    import pandas as pd

KEY, FIELD, OLD, NEW = "key", "field", "old", "new"
COLUMNS = ("what", "where", KEY, FIELD, OLD, NEW)
"""The columns of `Difference.lines`."""
KEY_SEPARATOR = " / "


@dataclass(frozen=True)
class Side:
    """One of the two records.

    `form` is 'package' or 'bundle'; `edition`, `record_date`, `accession` and `tagmanifest_sha256`
    are '' for a package, which has none of them; `revision_of` are the checksums of the bundles
    that it says it goes on from, newest first. `verdict` is that over the bundle, in words;
    a damaged one is compared only when that was asked for.
    """

    path: Path
    form: str
    name: str
    title: str
    sites: tuple[str, ...]
    edition: str = ""
    record_date: str = ""
    accession: str = ""
    tagmanifest_sha256: str = ""
    revision_of: tuple[str, ...] = ()
    verdict: str = ""
    is_damaged: bool = False

    @property
    def in_words(self) -> str:
        """'bundle holl (full edition, 2024-06-14)'."""
        about = [f"{self.edition} edition"] * bool(self.edition) + [self.record_date]
        said = ", ".join(one for one in about if one)
        return f"{self.form} {self.name}" + (f" ({said})" if said else "")

    def as_dict(self) -> dict[str, Any]:
        """The side as plain values, for JSON."""
        return {
            "name": self.name,
            "form": self.form,
            "title": self.title,
            "edition": self.edition,
            "recordDate": self.record_date,
            "accession": self.accession,
            "tagmanifestSha256": self.tagmanifest_sha256,
            "sites": list(self.sites),
            "verdict": self.verdict,
        }


@dataclass(frozen=True)
class TableDifference:
    """In what the rows of one table differ; all cells are texts, '' where nothing is written.

    `added` has the rows that only the new one has, in its columns, `withdrawn` those that only the
    old one has, in its columns; rows belong together that have the same primary key. `changed` has
    one line a cell: the columns of the primary key, then `field`, `old` and `new`. A key that
    stands in several rows goes by the order of these rows: `nth` counts them from 0 in all three.
    `presence` is 'both', or 'old' or 'new' when only that one has such a table at all. `rewritten`
    says that the file's bytes differ though no row does (other order, other quotes).
    """

    table: str
    title: str
    primary_key: tuple[str, ...]
    presence: str
    added: pl.DataFrame
    withdrawn: pl.DataFrame
    changed: pl.DataFrame
    columns_added: tuple[str, ...]
    columns_removed: tuple[str, ...]
    old_count: int
    new_count: int
    rewritten: bool

    @property
    def same(self) -> bool:
        """Whether the table says the same in both."""
        return (
            self.presence == "both"
            and not (len(self.added) or len(self.withdrawn) or len(self.changed))
            and not (self.columns_added or self.columns_removed)
        )

    @cached_property
    def changed_rows(self) -> int:
        """How many rows have a changed cell."""
        if not len(self.changed):
            return 0
        return len(self.changed.select(*self.primary_key, NTH).unique())

    def keys(self, rows: pl.DataFrame) -> pl.Series:
        """The primary keys of some of its rows as people read them: 'B1-014', 'sample / 231'."""
        columns = [pl.col(name) for name in self.primary_key]
        if not columns or not len(rows):
            return pl.Series(KEY, [""] * len(rows), dtype=pl.String)
        return rows.select(pl.concat_str(columns, separator=KEY_SEPARATOR).alias(KEY))[KEY]

    def changes(self, most: int | None = None) -> Iterator[tuple[str, str, str, str]]:
        """(key, field, old, new) of the changed cells, no more than `most`."""
        part = self.changed if most is None else self.changed.head(most)
        cells = part.select(FIELD, OLD, NEW).iter_rows()
        for key, (field, old, new) in zip(self.keys(part).to_list(), cells, strict=True):
            yield key, field, old, new


NTH = "nth"


@dataclass(frozen=True)
class LedgerDifference:
    """What became of the custody ledger.

    `state` is 'same', 'appended' (the old one is the beginning of the new one), 'cut' (the new one
    is the beginning of the old one) or 'rewritten'; `place` counts from 1 to the first event that
    is not the same, 0 when there is none.
    """

    state: str
    old_count: int
    new_count: int
    place: int = 0

    @property
    def sound(self) -> bool:
        """Whether the past stands as it stood."""
        return self.state in ("same", "appended")


@dataclass(frozen=True)
class FileDifference:
    """Files that differ, by path; tables and what pack writes by itself are left out.

    `renamed` maps old path → new path of files with the same bytes.
    """

    added: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    renamed: Mapping[str, str] | None = None

    @property
    def same(self) -> bool:
        """Whether all files are the same."""
        return not (self.added or self.removed or self.changed or self.renamed)


@dataclass(frozen=True)
class Difference:
    """In what two records differ.

    `kind` is 'same_site', 'editions' (a full edition against a public one) or 'other_site' (the
    records have no site in common; nothing further is compared then). `lineage` is 'forward' when
    the new one says that it goes on from the old one, 'backward' the other way round, else ''.
    `broken_numbers` names, one sentence each, numbers of the old one that are gone or stand for
    something else.
    """

    old: Side
    new: Side
    kind: str
    lineage: str
    tables: tuple[TableDifference, ...]
    files: FileDifference
    ledger: LedgerDifference | None
    broken_numbers: tuple[str, ...]

    @property
    def verdicts(self) -> tuple[str, str]:
        """The verdicts over the old and the new bundle, in words; '' for a package."""
        return self.old.verdict, self.new.verdict

    @property
    def same(self) -> bool:
        """Whether nothing of the record differs."""
        return self.kind == "same_site" and all(one.same for one in self.tables) and self.files.same

    def about(self) -> Iterator[tuple[str, str, str]]:
        """(name, old, new) of what is said differently of the records as a whole."""
        old, new = self.old, self.new
        for name, before, after in (
            ("title", old.title, new.title),
            ("edition", old.edition, new.edition),
            ("record date", old.record_date, new.record_date),
            ("accession", old.accession, new.accession),
        ):
            if before != after and old.form == new.form:
                yield name, before, after

    def lines(self) -> Iterator[tuple[str, str, str, str, str, str]]:
        """All of it as lines of COLUMNS: one a changed cell, one a row or file that came or went.

        `what` is added, withdrawn, changed, renamed, rewritten (the ledger's past) or damaged (one
        of the two bundles); `where` a table, 'file' or 'bundle'.
        """
        for side in (self.old, self.new):
            if side.is_damaged:
                yield "damaged", "bundle", side.name, "", "", side.verdict
        for name, before, after in self.about():
            yield "changed", "bundle", self.new.name, name, before, after
        if self.ledger and not self.ledger.sound:
            yield "rewritten", "custody", str(self.ledger.place), "", "", ""
        for one in self.tables:
            for what, rows in (("added", one.added), ("withdrawn", one.withdrawn)):
                for key in one.keys(rows):
                    yield what, one.table, key, "", "", ""
            for key, field, old, new in one.changes():
                yield "changed", one.table, key, field, old, new
        for what, paths in (
            ("added", self.files.added),
            ("withdrawn", self.files.removed),
            ("changed", self.files.changed),
        ):
            for path in paths:
                yield what, "file", path, "", "", ""
        for before, after in (self.files.renamed or {}).items():
            yield "renamed", "file", before, "path", before, after

    @cached_property
    def frame(self) -> pd.DataFrame:
        """All of it as a pandas frame of texts, a row a changed cell, or a row or file as a whole.

        Columns: what (added, withdrawn, changed, renamed, rewritten or damaged), where (a table,
        'file', 'bundle'), key, field, old, new.
        """
        import pandas as pd

        return pd.DataFrame(self.lines(), columns=list(COLUMNS), dtype=str)

    def count(self, what: str) -> int:
        """How many rows were 'added', 'withdrawn' or 'changed', over all tables."""
        if what == "changed":
            return sum(one.changed_rows for one in self.tables)
        return sum(len(getattr(self, what, ())) for self in self.tables)
