"""Keeps account of what a public edition withholds, field by field and file by file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from provenance._bundle.redaction.candidates import Inference


@dataclass(frozen=True)
class LeftOutFile:
    """A file of the package that is not in the public edition, and why.

    `table` and `key` are the row that describes it, as the public edition has it ('' for none);
    `commitment` is the keyed hash of its bytes, '' where it was not there.
    """

    table: str
    key: str
    reason: str
    commitment: str


@dataclass
class Account:
    """What was withheld, made coarse or replaced, counted while it is done.

    `inference` says how coarse it was made, and how many places it could be about. `cells` counts
    (table, field, form); `words` has the keys of the rows of (table, field) in whose open text
    something was replaced; `rows_left_out` counts the rows of tables that stay empty;
    `columns_left_out` counts columns that no schema describes, `fields_closed` those that a profile
    added and does not declare. `not_released` counts blank cells of (table, field) that nobody
    released, `waiting` the different things of (kind, where) that nobody decided about. A package
    of an `older` version has no place for decisions.
    """

    inference: Inference
    cells: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    words: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    rows_left_out: dict[str, int] = field(default_factory=dict)
    columns_left_out: dict[str, int] = field(default_factory=dict)
    fields_closed: dict[str, int] = field(default_factory=dict)
    tables_left_out: int = 0
    not_released: Counter[tuple[str, str]] = field(default_factory=Counter)
    waiting: Counter[tuple[str, str]] = field(default_factory=Counter)
    waiting_with_hits: int = 0
    decisions: int = 0
    older: bool = False
    renamed: Counter[str] = field(default_factory=Counter)
    files: list[LeftOutFile] = field(default_factory=list)
    pictures: int = 0
    texts: int = 0
    properties_left_out: int = 0

    @property
    def grid(self) -> Decimal | None:
        """The size in degrees of the cells of coordinates, None for no coordinates."""
        return self.inference.cell

    @property
    def withheld_cells(self) -> int:
        """How many cells were left blank."""
        return self.not_released.total() + sum(
            count for (_, _, form), count in self.cells.items() if form in ("withheld", "if_agreed")
        )

    @property
    def texts_touched(self) -> int:
        """In how many cells of open text something was replaced."""
        return sum(len(keys) for keys in self.words.values())

    def as_dict(self) -> Mapping[str, Any]:
        """The account for bundle.json."""
        return {
            "coordinateCellDegrees": str(self.grid) if self.grid is not None else None,
            "inference": dict(self.inference.as_dict()),
            "cells": [
                {"table": table, "field": name, "form": form, "count": count}
                for (table, name, form), count in sorted(self.cells.items())
            ],
            "openTexts": [
                {"table": table, "field": name, "count": len(keys)}
                for (table, name), keys in sorted(self.words.items())
            ],
            "rows": dict(sorted(self.rows_left_out.items())),
            "columnsWithoutSchema": dict(sorted(self.columns_left_out.items())),
            "closedFields": dict(sorted(self.fields_closed.items())),
            "notReleased": [
                {"table": table, "field": name, "count": count}
                for (table, name), count in sorted(self.not_released.items())
                if count
            ],
            "neverReviewed": self.waiting.total(),
            "codesReplaced": dict(sorted(self.renamed.items())),
            "picturesRedrawn": self.pictures,
        }
