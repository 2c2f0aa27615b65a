"""Tables that note which of their columns are read, so that it is known what hangs on what."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import Any

import polars as pl

from provenance._record.reading import TableText
from provenance._record.snapshot import Snapshot, View
from provenance._record.tables import ROW

Source = tuple[str, str]
"""Table and column; the column ROW stands for which rows there are."""
Sources = frozenset[Source]
DISK: Source = ("", "")
"""Everything in the folder of the package but its tables."""
_NOTHING: Sources = frozenset()


class Notes:
    """Notes what is read, for the one who reads: a rule, or what several rules share."""

    def __init__(self) -> None:
        self._readers: list[set[Source]] = []

    def add(self, sources: Iterable[Source]) -> None:
        """Note that sources were read."""
        if self._readers:
            self._readers[-1].update(sources)

    @contextmanager
    def reading(self) -> Iterator[set[Source]]:
        """What is read meanwhile, which is noted for those who read outside as well."""
        self._readers.append(set())
        try:
            yield self._readers[-1]
        finally:
            # also what was read before something broke down
            self.add(self._readers.pop())


class TracedFrame(pl.DataFrame):
    """A frame that knows what each column and the choice and order of its rows was made of.

    Operations here give such a frame again and read nothing yet. Whatever else is done with one
    gets at the data through `_df`, and all its columns count as read.
    """

    def __init__(
        self, plain: pl.DataFrame, made_of: Mapping[str, Sources], rows: Sources, notes: Notes
    ) -> None:
        self._plain, self._made_of, self._rows, self._notes = plain, made_of, rows, notes

    @property
    def _df(self) -> Any:  # type: ignore[override]
        self._notes.add(self.sources)
        return self._plain._df

    @classmethod
    def _from_pydf(cls, py_df: Any) -> pl.DataFrame:
        return pl.DataFrame._from_pydf(py_df)

    @property
    def sources(self) -> Sources:
        """Everything that the frame was made of."""
        return self._rows.union(*self._made_of.values())

    # -- what is read at once ----------------------------------------------------------------------

    def __getitem__(self, key: Any) -> Any:
        if isinstance(key, str):
            return self.get_column(key)
        if isinstance(key, list) and all(isinstance(one, str) for one in key):
            return self.select(key)
        return super().__getitem__(key)

    def get_column(self, name: str, **options: Any) -> Any:
        """One column, which is read."""
        self._notes.add(self._rows | self._of(name))
        return self._plain.get_column(name, **options)

    @property
    def height(self) -> int:
        """How many rows there are."""
        self._notes.add(self._rows)
        return self._plain.height

    def is_empty(self) -> bool:
        """Whether there is no row."""
        return self.height == 0

    # -- what hangs on the schema, or on nothing at all --------------------------------------------

    @property  # type: ignore[misc]
    def columns(self) -> list[str]:
        """The names of the columns."""
        return self._plain.columns

    @property
    def schema(self) -> pl.Schema:
        """The names and types of the columns."""
        return self._plain.schema

    def clear(self, n: int = 0) -> pl.DataFrame:
        """The same columns without rows."""
        return self._plain.clear(n)

    # -- what gives such a frame again -------------------------------------------------------------

    def filter(self, *predicates: Any, **constraints: Any) -> TracedFrame:
        """The rows that fulfill something."""
        asked = _in_a_list(predicates)
        plain = self._plain.filter(*asked, **constraints)
        read = self._of(*asked, *constraints, *constraints.values())
        return self._with(plain, self._made_of, read)

    def select(self, *exprs: Any, **named: Any) -> TracedFrame:
        """Columns, computed or not."""
        asked = _in_a_list(exprs)
        plain = self._plain.select(*asked, **named)
        # a column as it is has as many rows as before, and others then have no more
        full = any(_is_column(one) for one in (*asked, *named.values()))
        read = _NOTHING if full else self._of(*asked, *named.values())
        return self._with(plain, self._computed(plain, asked, named), read)

    def with_columns(self, *exprs: Any, **named: Any) -> TracedFrame:
        """The frame with more columns or other ones."""
        asked = _in_a_list(exprs)
        plain = self._plain.with_columns(*asked, **named)
        computed = self._computed(plain, asked, named, self._made_of)
        return self._with(plain, computed, _NOTHING)

    def join(self, other: pl.DataFrame, on: Any = None, how: str = "inner", **options: Any) -> Any:
        """The frame with columns of another, or the rows that have some there, or none."""
        if how not in ("left", "inner", "semi", "anti"):
            return super().join(other, on, how, **options)  # type: ignore[arg-type]
        right = other if isinstance(other, TracedFrame) else self._beside(other)
        plain = self._plain.join(right._plain, on, how, **options)  # type: ignore[arg-type]
        keys = self._of(on, options.get("left_on")) | right._of(on, options.get("right_on"))
        suffix = options.get("suffix", "_right")
        theirs = {f"{name}{suffix}": made for name, made in right._made_of.items()}
        known = {**theirs, **right._made_of, **self._made_of}
        made_of = {name: known[name] for name in plain.columns}
        return self._with(plain, made_of, keys | right._rows)

    def drop_nulls(self, subset: Any = None) -> TracedFrame:
        """The rows that have something in some columns."""
        asked = list(self.columns) if subset is None else _in_a_list(subset)
        return self._with(self._plain.drop_nulls(asked), self._made_of, self._of(*asked))

    def unique(self, subset: Any = None, **options: Any) -> TracedFrame:
        """One row of those that are alike in some columns."""
        asked = list(self.columns) if subset is None else _in_a_list(subset)
        plain = self._plain.unique(asked, **options)
        return self._with(plain, self._made_of, self._of(*asked))

    def sort(self, by: Any, *more_by: Any, **options: Any) -> TracedFrame:
        """The rows in another order."""
        asked = _in_a_list((by, more_by))
        return self._with(self._plain.sort(*asked, **options), self._made_of, self._of(*asked))

    def rename(self, mapping: Any, **options: Any) -> Any:
        """The frame with columns under other names."""
        if not isinstance(mapping, Mapping):
            return super().rename(mapping, **options)
        plain = self._plain.rename(mapping, **options)
        names = zip(plain.columns, self._plain.columns, strict=True)
        return self._with(plain, {new: self._made_of[old] for new, old in names}, _NOTHING)

    def drop(self, *columns: Any, **options: Any) -> TracedFrame:
        """The frame without some columns."""
        plain = self._plain.drop(*columns, **options)
        return self._with(plain, {name: self._made_of[name] for name in plain.columns}, _NOTHING)

    def group_by(self, *by: Any, **options: Any) -> Any:
        """The rows in groups."""
        if any(not isinstance(one, str) for one in (*by, *options.values()) if one is not True):
            return super().group_by(*by, **options)
        return _Grouped(self, by, options)

    # ----------------------------------------------------------------------------------------------

    def _with(
        self, plain: pl.DataFrame, made_of: Mapping[str, Sources], read: Sources
    ) -> TracedFrame:
        return TracedFrame(plain, made_of, self._rows | read, self._notes)

    def _beside(self, other: pl.DataFrame) -> TracedFrame:
        return TracedFrame(other, dict.fromkeys(other.columns, _NOTHING), _NOTHING, self._notes)

    def _of(self, *asked: Any) -> Sources:
        """What expressions or names of columns read."""
        found: set[Source] = set()
        for one in asked:
            if isinstance(one, str):
                found |= self._made_of.get(one, _NOTHING)
            elif isinstance(one, list | tuple):
                found |= self._of(*one)
            elif isinstance(one, pl.Expr):
                # only the data say which columns a selector stands for
                several = one.meta.has_multiple_outputs()
                for name in self._made_of if several else one.meta.root_names():
                    # a name that polars gives to what is no column of ours
                    found |= self._made_of.get(name, self.sources)
        return frozenset(found)

    def _computed(
        self,
        plain: pl.DataFrame,
        asked: list[Any],
        named: Mapping[str, Any],
        before: Mapping[str, Sources] | None = None,
    ) -> dict[str, Sources]:
        """What each column of `plain` was made of, which was computed as `asked` and `named`."""
        known: dict[str, Sources] = dict(before or {})
        unknown = self.sources
        for one in asked:
            if isinstance(one, str):
                known[one] = self._of(one)
            elif isinstance(one, pl.Series):
                known[one.name] = _NOTHING
            elif isinstance(one, pl.Expr) and not one.meta.has_multiple_outputs():
                known[one.meta.output_name()] = self._of(one)
            elif isinstance(one, pl.Expr) and one.meta.is_column_selection():
                known = {**self._made_of, **known}
            else:
                return dict.fromkeys(plain.columns, unknown)
        known |= {
            name: self._of(one) if isinstance(one, str | pl.Expr) else _NOTHING
            for name, one in named.items()
        }
        return {name: known.get(name, unknown) for name in plain.columns}


class _Grouped:
    """The groups of a traced frame; iterated they are read."""

    def __init__(self, frame: TracedFrame, by: tuple[str, ...], options: Mapping[str, Any]) -> None:
        self._frame, self._by, self._options = frame, by, options

    def agg(self, *exprs: Any, **named: Any) -> TracedFrame:
        """One row a group."""
        asked = _in_a_list(exprs)
        frame = self._frame
        plain = frame._plain.group_by(*self._by, **self._options).agg(*asked, **named)
        keys = [*self._by, *(one for one in self._options.values() if isinstance(one, str))]
        made_of = frame._computed(plain, [*keys, *asked], named)
        return frame._with(plain, made_of, frame._of(*keys))

    def __getattr__(self, name: str) -> Any:
        return getattr(pl.DataFrame.group_by(self._frame, *self._by, **self._options), name)

    def __iter__(self) -> Iterator[Any]:
        return iter(pl.DataFrame.group_by(self._frame, *self._by, **self._options))


def _in_a_list(asked: Any) -> list[Any]:
    """What is given as one, several, or several in lists, as polars takes it, in one list."""
    if isinstance(asked, str | pl.Expr | pl.Series) or not isinstance(asked, Iterable):
        return [asked]
    return [one for each in asked for one in _in_a_list(each)]


def _is_column(one: Any) -> bool:
    """Whether something that is selected is a column as it is, under whatever name."""
    if not isinstance(one, pl.Expr):
        return isinstance(one, str)
    if one.meta.has_multiple_outputs():
        return one.meta.is_column_selection()
    return one.meta.undo_aliases().meta.is_column()


@dataclass(frozen=True)
class Kept:
    """What `once` computed, and what it hangs on."""

    value: Any
    sources: Sources


class TracedTables(Snapshot):
    """The tables of a snapshot; what is read of them is noted.

    `kept` holds what `once` computes, by name, and is for the caller to clear of what changed. A
    value there is a frame or holds none. `former` holds what `once_more` gave.
    """

    def __init__(
        self, tables: Snapshot, notes: Notes, kept: dict[str, Kept], former: dict[str, Any]
    ) -> None:
        for one in fields(tables):
            if one.name != "where":
                object.__setattr__(self, one.name, getattr(tables, one.name))
        object.__setattr__(self, "_tables", tables)
        object.__setattr__(self, "_notes", notes)
        object.__setattr__(self, "_kept", kept)
        object.__setattr__(self, "_former", former)

    _tables: Snapshot
    _notes: Notes
    _kept: dict[str, Kept]
    _former: dict[str, Any]

    @property
    def where(self) -> str:
        """The folder; whoever asks for it looks at what lies there beside the tables."""
        self._notes.add([DISK])
        return self._tables.where

    def written(self, name: str) -> TableText | None:
        """See Snapshot."""
        self._notes.add([(name, ROW)])
        text = self._tables.written(name)
        return text and replace(text, frame=self._traced(name, text.frame))

    def each(self) -> Iterator[tuple[str, TableText | None]]:
        """See Snapshot."""
        yield from ((name, self.written(name)) for name in self.model.tables)

    def __getitem__(self, name: str) -> pl.DataFrame:
        self._notes.add([(name, ROW)])
        return self._traced(name, self._tables[name])

    def once(self, name: str, compute: Callable[[Snapshot], View]) -> View:
        """See Snapshot."""
        if name not in self._kept:
            with self._notes.reading() as seen:
                value = compute(self)
            self._kept[name] = Kept(value, frozenset(seen))
        self._notes.add(self._kept[name].sources)
        found: View = self._kept[name].value
        return found

    def once_more(self, name: str, compute: Callable[[Snapshot, View | None], View]) -> View:
        """See Snapshot."""
        found = self._former[name] = compute(self, self._former.get(name))
        return found

    def _traced(self, name: str, plain: pl.DataFrame) -> TracedFrame:
        made_of = {column: frozenset([(name, column)]) for column in plain.columns}
        return TracedFrame(plain, made_of, frozenset([(name, ROW)]), self._notes)


def hangs_on(kept: Kept, changed: Sources | set[Source]) -> bool:
    """Whether anything that was kept was made of something that changed."""
    made_of = kept.value.sources if isinstance(kept.value, TracedFrame) else _NOTHING
    return not (kept.sources.isdisjoint(changed) and made_of.isdisjoint(changed))
