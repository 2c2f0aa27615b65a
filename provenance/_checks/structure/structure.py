"""Checks that the tables of a package are what their schemas say.

The verdicts are those of Table Schema as its reference library (frictionless) gives them: the same
rows, the same fields, the same kinds of fault. Where this differs on purpose:

- A table's columns are matched by their headings. The standard's default matches them by position,
  so that one column too few makes every cell behind it wrong; here the column is missing, and the
  other cells are checked as what they are. Columns in another order are one finding.
- The same thing is said once. A blank row is not also a row without a key; a row that ends early is
  one finding, not one a cell, and its missing cells are not also required; the cells beyond the
  header are one finding a row; a blank key that is required, and a repeated key that must also be
  unique, are one finding.
- A pattern holds for the whole value, also where it has branches ('a|b') or the value ends with a
  line end.
- A cell that is no UTF-8 is named, and the rest of the table is checked all the same.
- A quote that is never closed and a first line that is blank are errors; the library is silent.
- Links into a table whose file is missing are not named one by one.
- There is no limit to the number of findings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import polars as pl

from provenance._base.findings import Report
from provenance._checks.language.kinds import structure_kinds
from provenance._checks.language.wording import FOUND, found_in_rows
from provenance._checks.structure.constraints import find_in_cells
from provenance._checks.structure.gathering import ORIGIN_TABLES, gather
from provenance._checks.structure.headers import find_in_header, find_in_shape
from provenance._checks.structure.keys import FORMER_KEY, find_in_keys, find_in_links
from provenance._checks.structure.patterns import Patience
from provenance._model.schema import Model, Table
from provenance._record.package import Package
from provenance._record.reading import TableText
from provenance._record.snapshot import snapshot_of_folder
from provenance._record.tables import ROW


def check_structure(package: Package) -> Report:
    """Check a package's tables against the schemas that lie in it, and nothing else.

    Raises UnusablePackage when a schema asks for what Table Schema does not know.
    """
    model, parts = package.model, [FOUND.to_frame()]
    texts: dict[str, TableText] = {}
    patience = Patience()
    for name, text in snapshot_of_folder(package.folder, model).with_faults().each():
        table = model.table(name)
        parts += find_in_table(model, table, text, patience)
        if text is not None:
            texts[name] = without_cells(model, table, text)
    for name in texts:
        parts += find_in_links(model, model.table(name), texts)
    return gather(package, texts, pl.concat(parts), [one.id for one in structure_kinds()])


def without_cells(model: Model, table: Table, text: TableText) -> TableText:
    """A table with the columns alone that keys, links and origins are looked up in.

    What no key needs may leave the memory before the next table comes.
    """
    if table.name in (*ORIGIN_TABLES, FORMER_KEY):
        return text
    wanted = {ROW, *table.primary_key, *(name for key in table.foreign_keys for name in key.fields)}
    for other in model.tables.values():
        for key in other.foreign_keys:
            if key.table == table.name:
                wanted.update(key.reference_fields)
    kept = [name for name in text.frame.columns if name in wanted]
    return replace(text, frame=text.frame[kept])


def find_in_structure(
    model: Model, texts: Mapping[str, TableText], step: Callable[[], None] = lambda: None
) -> Iterator[pl.DataFrame]:
    """Findings of the structure layer, with the columns FOUND; `step` is called for each table."""
    patience = Patience()
    for name, table in model.tables.items():
        yield from find_in_table(model, table, texts.get(name), patience)
        if name in texts:
            yield from find_in_links(model, table, texts)
        step()


def find_in_table(
    model: Model, table: Table, text: TableText | None, patience: Patience
) -> Iterator[pl.DataFrame]:
    """Findings about one table but for its links, with the columns FOUND; None: no file."""
    if text is None:
        yield found_in_rows("file_missing", table, pl.DataFrame({ROW: [0], "value": [""]}))
        return
    about = model, table, text
    key = tuple(map(id, about))
    if (kept := _kept.get(key)) is not None:
        yield from kept[1]
        return
    left = patience.left
    found = tuple(_find_in_table(model, table, text, patience))
    # what a pattern says that runs out of time hangs on what was tried before it
    if patience.left == left > 0 and text.frame.estimated_size() <= _SMALL_BYTES:
        if len(_kept) >= _MOST_KEPT:
            _kept.clear()
        _kept[key] = about, found
    yield from found


_SMALL_BYTES, _MOST_KEPT = 65_536, 512
_kept: dict[tuple[int, ...], tuple[tuple[Model, Table, TableText], tuple[pl.DataFrame, ...]]] = {}
"""What was found in the last small tables, by what it was found in, none of which ever changes.

A package is checked, packed and verified, and most of its tables are the same each time.
"""


def _find_in_table(
    model: Model, table: Table, text: TableText, patience: Patience
) -> Iterator[pl.DataFrame]:
    yield from find_in_header(table, text)
    if text.labels:
        yield from find_in_shape(table, text)
        yield from find_in_cells(model, table, text, patience)
        yield from find_in_keys(table, text)
