"""Puts numbers that a store gave beside the samples' own, from the table of the store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from provenance._base.errors import UnreadableValue, UnusableInput
from provenance._identity.payload import check_store_number
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import shown
from provenance._printing.labels.facts import SampleFacts
from provenance._record.snapshot import Snapshot

COLUMNS = ("sample_id", "store_number")
"""Headings of the table; it may have others."""
_MOST_FAULTS = 20


def with_store_numbers(
    facts: Sequence[SampleFacts], tables: Snapshot, path: Path
) -> list[SampleFacts]:
    """The facts with the store numbers that a table (CSV, TSV, XLSX or ODS) has for them.

    A sample that the table lacks stays without. Raises UnusableInput that names row, column and
    value of everything that cannot be used, such as a sample that is not in the record.
    """
    known = set(tables.column("sample", "sample_id"))
    numbers: dict[str, str] = {}
    places: dict[tuple[str, str], int] = {}
    faults: list[str] = []
    for row, *cells in _rows(path):
        sample_id, number = cells
        for name, text in zip(COLUMNS, cells, strict=True):
            before = places.setdefault((name, text), row)
            if text and before != row:
                faults.append(f"row {row}, column '{name}': '{text}' is also in row {before}")
        if sample_id not in known:
            faults.append(f"row {row}, column 'sample_id': the record has no sample '{sample_id}'")
        try:
            check_store_number(number)
        except UnreadableValue as error:
            faults.append(f"row {row}, column 'store_number': {error}")
        numbers[sample_id] = number
    if faults:
        told = faults[:_MOST_FAULTS]
        told += [f"and {len(faults) - len(told)} more"] * (len(faults) > len(told))
        raise UnusableInput("\n  ".join([f"{path}: nothing was printed; correct these:", *told]))
    return [replace(one, store_number=numbers.get(one.sample_id, "")) for one in facts]


def _rows(path: Path) -> Iterator[tuple[int, str, str]]:
    """Row in the file, sample and store number of each line below the headings."""
    received = open_received(path)
    found = False
    try:
        for name in received.sheet_names:
            columns: list[int] = []
            for row, cells in received.sheet(name).rows():
                texts = [shown(cell).strip() for cell in cells]
                if not columns:
                    if not set(COLUMNS) <= set(texts):
                        break
                    columns, found = [texts.index(one) for one in COLUMNS], True
                    continue
                sample_id, number = (texts[at] if at < len(texts) else "" for at in columns)
                if sample_id or number:
                    yield row, sample_id, number
    finally:
        received.close()
    if not found:
        raise UnusableInput(
            f"{path} does not begin with the headings {' and '.join(COLUMNS)}; hand in the table "
            "of numbers that the store wrote"
        )
