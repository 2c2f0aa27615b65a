"""A number that is typed beside a unit is in that unit, in every field of every table."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._base.errors import UnreadableValue
from provenance._desk.inputs import MEASURE, inputs_of
from provenance._desk.record.shown import shown_row
from provenance._intake.typed import TypedCells
from provenance._record.new import new_package
from provenance._record.settings import Settings

MM_PER = {"m": 1000.0, "cm": 10.0, "mm": 1.0, "in": 25.4, "ft": 304.8, "ft-in": 304.8}
"""The international inch and foot (NIST Special Publication 811, B.8)."""


@pytest.mark.parametrize("units", ["metric", "feet-inches"])
def test_a_bare_number_is_in_the_unit_that_the_page_shows(tmp_path: Path, units: str) -> None:
    package = new_package(tmp_path / "r", "blank", settings=Settings(units, None, None))
    tables, model = package.tables, package.model
    typed = TypedCells.of(tables, as_shown=True)
    seen = 0
    for table in model.of_role("record"):
        for one in inputs_of(model, table):
            if one.kind != MEASURE or one.readonly:
                continue
            seen += 1
            unit = table.field(one.name).unit
            assert unit is not None
            if by_feet := one.unit == "ft-in":
                with pytest.raises(UnreadableValue, match="whether it is feet or inches"):
                    typed.read(table.name, one.name, "2")
            for text in ("2", "0.5"):
                held = typed.read(table.name, one.name, f"{text}'" if by_feet else text)
                mm = float(text) * MM_PER[one.unit]
                assert float(held) * MM_PER[unit] == pytest.approx(mm), (table.name, one.name)
                # what is shown of it says the same when it is typed back
                row = dict.fromkeys(table.names, "") | {one.name: held}
                back = shown_row(model, table, row, lambda *_: "")[one.name]
                again = typed.read(table.name, one.name, back)
                assert float(again) == float(held), (table.name, one.name, back)
    assert seen > 30
