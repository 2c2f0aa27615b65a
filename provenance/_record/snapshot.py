"""The tables of one package as they stood at one moment: read once, typed once, never changed.

Everything that reads tables reads them here, in a package folder and in a zip alike, so that a
malformed table is named in the same words everywhere.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._base.frames import to_pandas
from provenance._model.schema import Model
from provenance._record.reading import TableText, read_table_text
from provenance._record.tables import ROW, typed_frame

if TYPE_CHECKING:
    import pandas as pd


_TABLE_NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]*")

Read = Callable[[str], "TableText | None"]
"""Table name → what is written in it; None where there is no file. Raises UnusablePackage."""

View = TypeVar("View")


class MissingTable(UnusablePackage):
    """A table's file is not there, or the package's schemas know no such table."""

    def __init__(self, table: str, path: str) -> None:
        self.table = table
        super().__init__(f"{path} is missing; every table has its file, even an empty one")


Row = Mapping[str, str]
"""A row as texts by column; '' for a column that its schema, of an older version, lacks."""


class _Row(dict[str, str]):
    def __missing__(self, column: str) -> str:
        return ""


@dataclass(frozen=True)
class Snapshot:
    """Texts and typed frames of every table of a package, which lies at `where`.

    Frames of texts have ROW (the record number in the file: the header is 1, the first row 2) and
    the file's own columns, '' where nothing is written. `snapshot[name]` is typed: ROW and the
    columns of the schema, null where nothing is written or what is written does not fit the type;
    dates stay EDTF text.
    Nothing here is ever changed. A table is read when it is first asked for; one that is missing
    raises MissingTable, and one whose records are uneven or broken UnusablePackage, except where
    `with_faults` says that the asker looks at the faults itself.
    """

    model: Model
    where: str
    _read: Read = field(repr=False)
    _strict: bool = True
    _texts: dict[str, TableText | None] = field(default_factory=dict, repr=False, compare=False)
    _typed: dict[str, pl.DataFrame] = field(default_factory=dict, repr=False, compare=False)
    _views: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)
    _wanted: set[str] = field(default_factory=set, repr=False, compare=False)

    # -- what is written ---------------------------------------------------------------------------

    def written(self, name: str) -> TableText | None:
        """A table as written, faults and all; None where its file is missing."""
        if name not in self._texts:
            # two threads may read one table twice, and get the same
            self._texts.setdefault(name, self._read(name))
        return self._texts[name]

    def each(self) -> Iterator[tuple[str, TableText | None]]:
        """Every table as written, one after the other; the next is read meanwhile."""
        names = list(self.model.tables)
        if self._texts.keys() >= set(names):
            yield from ((name, self._texts[name]) for name in names)
            return
        with ThreadPoolExecutor(max_workers=1) as reader:
            coming = [reader.submit(self.written, name) for name in names[:1]]
            for position, name in enumerate(names, start=1):
                text = coming.pop().result()
                coming += [reader.submit(self.written, n) for n in names[position : position + 1]]
                yield name, text

    def there(self) -> dict[str, TableText]:
        """The tables as written, without those whose file is missing."""
        return {name: text for name, text in self.each() if text is not None}

    def texts(self, name: str) -> pl.DataFrame:
        """A table as texts, with ROW."""
        return self._usable(name).frame

    def columns(self, name: str) -> tuple[str, ...]:
        """The columns that the file has, in its order, those beyond the schema included."""
        return tuple(column for column in self.texts(name).columns if column != ROW)

    def count(self, name: str) -> int:
        """How many rows are behind the header."""
        return len(self.texts(name))

    def counts(self) -> dict[str, int]:
        """How many rows each table has, in the order of the model."""
        return {name: self.count(name) for name in self.model.tables}

    def column(self, name: str, column: str) -> list[str]:
        """One column as texts, row by row; '' throughout where the file has no such column."""
        frame = self.texts(name)
        return frame[column].to_list() if column in frame.columns else [""] * len(frame)

    def whole(self, name: str) -> pl.DataFrame:
        """A table as texts, with ROW and every column of the schema; '' where the file lacks it.

        A file may lack one because a person deleted it, or because the schema is a newer one.
        """
        texts = self.texts(name)
        missing = [one for one in self.model.table(name).names if one not in texts.columns]
        return texts.with_columns(pl.lit("").alias(one) for one in missing)

    def tuples(self, name: str, columns: Sequence[str]) -> Iterator[tuple[str, ...]]:
        """The rows as tuples of texts in the order of `columns`, '' for a column not there."""
        return self._usable(name).tuples(columns)

    def rows(self, name: str) -> list[Row]:
        """The rows as texts by column; none for a table that the model lacks."""
        if name not in self.model.tables:
            return []

        def read(tables: Snapshot) -> list[Row]:
            names = tables.columns(name)
            return [_Row(zip(names, row, strict=True)) for row in tables.tuples(name, names)]

        return self.once(f"rows of {name}", read)

    def rows_with(self, name: str, column: str, text: str) -> list[Row]:
        """The rows in whose column that text stands; for a few rows of a long table."""
        found = self.texts(name)
        if column not in found.columns:
            return []
        some = found.filter(pl.col(column) == text).drop(ROW)
        return [_Row(zip(some.columns, row, strict=True)) for row in some.iter_rows()]

    # -- what it is worth --------------------------------------------------------------------------

    def __getitem__(self, name: str) -> pl.DataFrame:
        """A table as typed; see the class."""
        if name not in self._typed or self._strict:
            text = self._usable(name)
            if name not in self._typed:
                # in one piece: Polars 2.1 panics in pl.format when a filter has left an empty
                # first chunk
                self._typed[name] = typed_frame(self.model.table(name), text.frame).rechunk()
        return self._typed[name]

    def once(self, name: str, compute: Callable[[Snapshot], View]) -> View:
        """What several need (a join, the replayed ledger), computed for the first of them."""
        self._wanted.add(name)
        if name not in self._views:
            self._views[name] = compute(self)
        view: View = self._views[name]
        return view

    def once_more(self, name: str, compute: Callable[[Snapshot, View | None], View]) -> View:
        """What can be made of its value in an older state, which is None where none is known.

        One asks for it. A value holds no frame but what `clone` gives of one.
        """
        return compute(self, None)

    # -- ways to hold it ---------------------------------------------------------------------------

    def with_faults(self) -> Snapshot:
        """The same tables for the check, which names faults itself: broken ones raise nothing."""
        return replace(self, _strict=False, _views={}, _wanted=set())

    def with_known(self, before: Snapshot, names: Iterable[str]) -> Snapshot:
        """The same tables; those of `names` are as before, and are not read again."""
        for name in names:
            if name in before._texts:
                self._texts[name] = before._texts[name]
            if name in before._typed and name in before._texts:
                self._typed[name] = before._typed[name]
        return self

    def hold(self) -> Snapshot:
        """Read what has not been read yet; after this no file is opened any more."""
        for name in self.model.tables:
            self.written(name)
        return self

    def let_go(self, name: str) -> None:
        """Give up the texts of a table, to be read again by the next who asks.

        For the check of a very large record, which has typed them and needs the room.
        """
        self._texts.pop(name, None)

    def let_go_unwanted(self) -> None:
        """Give up what `once` holds and nobody has asked for since this was last called."""
        for name in self._views.keys() - self._wanted:
            del self._views[name]
        self._wanted.clear()

    # -- for users of pandas -----------------------------------------------------------------------

    def frame(self, name: str, columns: Collection[str] | None = None) -> pd.DataFrame:
        """A typed table in pandas: Float64, Int64, boolean and str, NA where there is nothing.

        Columns that the schema lacks are kept behind the others, as texts.
        """
        typed, texts = self[name], self.texts(name)
        beyond = [pl.col(one).replace("", None) for one in texts.columns if one not in typed]
        whole = typed.hstack(texts.select(beyond))
        return to_pandas(whole if columns is None else whole.select(ROW, *columns), index=ROW)

    def _usable(self, name: str) -> TableText:
        text = self.written(name) if name in self.model.tables else None
        if text is None:
            raise MissingTable(name, f"{self.where}/tables/{name}.csv")
        if self._strict and (why := text.trouble):
            raise UnusablePackage(f"{self.where}/tables/{name}.csv: {why}")
        return text


def snapshot_of_folder(folder: Path, model: Model) -> Snapshot:
    """The tables in the folder of a package or in the payload of a bundle."""

    def read(name: str) -> TableText | None:
        if not _TABLE_NAME.fullmatch(name):
            raise UnusablePackage(f"a table cannot be called {name!r}: it must be a file name")
        path = folder / "tables" / f"{name}.csv"
        try:
            return read_table_text(path)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise UnusablePackage(f"{path} cannot be read: {error.strerror}") from error

    return Snapshot(model, str(folder), read)


def snapshot_of_frames(model: Model, typed: dict[str, pl.DataFrame]) -> Snapshot:
    """Typed frames that lie in memory alone, for those who ask a rule or a view about them."""
    texts = {
        name: TableText(tuple(frame.columns), frame, frame[ROW].clear())
        for name, frame in typed.items()
    }
    return Snapshot(model, "memory", texts.get, _typed=dict(typed))
