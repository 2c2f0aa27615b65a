"""Reads what a person types into one cell: sizes in any unit, codes, dates, who is meant."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from difflib import get_close_matches
from functools import cache

from provenance._base.errors import UnreadableValue
from provenance._history.projection import links_of
from provenance._identity.naming import CellNames, table_named
from provenance._intake.lines.cells import CellReader
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._model.schema import Model, Table
from provenance._record.joined import keys_now
from provenance._record.snapshot import Snapshot


class TypedCells:
    """What typed texts mean in one record, as an import would read them.

    `is_key` says whether a row of a table bears a key or bore it before, `keys` are those of a
    table, and `names` says which sample or parcel a label means. A bare length is in the unit of
    its field, `as_shown` in that in which the record is measured.
    """

    def __init__(
        self,
        model: Model,
        is_key: Callable[[str, str], bool],
        keys: Callable[[str], Iterable[str]],
        names: Callable[[], CellNames],
        *,
        as_shown: bool = False,
    ) -> None:
        self._model = model
        self._as_shown = as_shown
        self._is_key = is_key
        self._keys = keys
        self._names = names
        self._readers: dict[tuple[str, str], CellReader] = {}

    @classmethod
    def of(cls, tables: Snapshot, *, as_shown: bool = False) -> TypedCells:
        """Those of a record as its tables stand."""

        @cache
        def keys(table: str) -> set[str]:
            own = tables.model.table(table).primary_key[0]
            return {*tables.column(table, own), *keys_now(tables, table)}

        return cls(
            tables.model,
            lambda table, key: key in keys(table),
            keys,
            lambda: CellNames(tables),
            as_shown=as_shown,
        )

    def read(self, table: str, field: str, text: str) -> str:
        """The text that the record holds: metric sizes, codes, dates in EDTF.

        Raises UnreadableValue for what the field cannot hold, and for the key of no row. A field
        that the table lacks is left to whoever records it.
        """
        if not text or table not in self._model.tables or field not in self._model.table(table):
            return text
        try:
            text.encode()
        except UnicodeEncodeError:
            raise UnreadableValue(
                ascii(text), "holds half of a character, which no file can; type it again"
            ) from None
        one = self._model.table(table)
        target = links_of(one).get(field)
        if target is None:
            return self._reader(one, field).read(text)
        if self._is_key(target, text):
            return text
        read = self._reader(one, field).read(text)
        if not self._is_key(target, read):
            folded = {key.casefold(): key for key in self._keys(target)}
            near = get_close_matches(read.casefold(), folded, n=1)
            hint = f"; did you mean {folded[near[0]]}?" if near else ""
            raise UnreadableValue(text, f"names no {target} of this record{hint}")
        return read

    def _reader(self, table: Table, field: str) -> CellReader:
        known = self._readers.get((table.name, field))
        if known is None:
            links = {name for key in table.foreign_keys for name in key.fields}
            unit = self._model.form_unit(table.field(field)) if self._as_shown else ""
            known = self._readers[table.name, field] = CellReader(
                table.field(field),
                ReadingHabits(unit=unit or None),
                self._model,
                names_row=field in links,
                named=self._named(table_named(table, field)),
            )
        return known

    def _named(self, table: str) -> Callable[[str], str] | None:
        """What reads a label; the labels of a large record are gathered only where one is meant."""
        if table not in ("sample", "consignment"):
            return None
        return self._names().reader_of_keys(table)
