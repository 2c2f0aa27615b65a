"""The survey reads the record as the check does, and on the way to a plan without pandas."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from frictionless import fields
from hypothesis import example, given
from hypothesis import strategies as st

from provenance._record.package import Package, open_package
from provenance._record.tables import ROW
from provenance._survey.adjust.adjustment import adjust_survey, survey_package
from provenance._survey.hole.hole import hole_position
from provenance._survey.hole.known_points import known_points
from provenance._survey.maps.map_features import map_layers
from provenance._survey.parts.field_record import FieldRecord
from tests.survey.scenes import a_room, taped

A, B = (1.2, 1.0, 2.4), (4.9, 3.6, 2.5)

_FULL_WIDTH = str.maketrans("0123456789", "０１２３４５６７８９")
SPELLINGS: dict[str, Callable[[str], str]] = {
    "blanks round it": lambda text: f" {text} ",
    "digits of full width": lambda text: text.translate(_FULL_WIDTH),
    "digits in groups": lambda text: text.replace("-", "-0_") if "-" in text else f"0_{text}",
    "an exponent": lambda text: f"{text}e0",
}
"""Ways to write a number that Table Schema's reference library reads as the same number."""

numbers = st.floats(allow_nan=False).map(repr) | st.integers().map(str)
texts = (
    st.text("0123456789０１٣_ \t+-.,eEinfatsNaNIyx", max_size=8)
    | numbers
    | st.builds(lambda text, spell: spell(text), numbers, st.sampled_from(list(SPELLINGS.values())))
)


@given(texts)
@example("1_0")
@example(" 7 ")
@example("７")
@example("sNaN")
@example("1e400")
def test_what_counts_as_a_number_is_read_as_that_number(text: str) -> None:
    """Reference: the number field of frictionless 5; its NaN is no measurement."""
    exact = fields.NumberField(name="x_m").read_cell(text)[0]
    is_number = exact is not None and not exact.is_nan()
    frame = pl.DataFrame({ROW: [2, 3], "datum_id": ["D1", "D2"], "x_m": [text, "1.5"]})
    read = FieldRecord({"datum": frame}).numbers("datum", "x_m")
    assert read[1] == 1.5
    assert read[0] == float(exact) if is_number else np.isnan(read[0])


def a_taped_room(folder: Path) -> Package:
    building = a_room(folder).with_row("element", length_m=None)
    building = building.with_row("sample").with_row("plug")
    return taped(taped(building, A), B, end="b").package


@pytest.mark.parametrize("spelling", list(SPELLINGS))
def test_a_number_places_the_same_however_it_is_written(tmp_path: Path, spelling: str) -> None:
    package = a_taped_room(tmp_path)
    before = adjust_survey(package), hole_position(package, "231")
    layers = map_layers(package, known_points(package))
    for table in package.model.tables.values():
        written = package.tables.texts(table.name)
        columns = [one.name for one in table.fields if one.type == "number"]
        for name in columns:
            cells = [SPELLINGS[spelling](text) if text else "" for text in written[name]]
            written = written.with_columns(pl.Series(name, cells, dtype=pl.String))
        package.write_table(table.name, written)
    after = adjust_survey(package), hole_position(package, "231")
    assert after[0].position_table.equals(before[0].position_table)
    assert after[0].residual_table.equals(before[0].residual_table)
    assert after[1] == before[1]
    assert map_layers(package, known_points(package)) == layers


@pytest.mark.parametrize("held", ["true", "True", "TRUE", "1"])
def test_a_datum_is_held_however_yes_is_written(tmp_path: Path, held: str) -> None:
    """The spellings of Table Schema v2's boolean, which the check accepts."""
    package = a_room(tmp_path).package
    package.write_table("datum", package.tables.texts("datum").with_columns(held=pl.lit(held)))
    assert set(adjust_survey(package).position_table["found_by"]) == {"held"}


def test_a_blank_key_stands_for_no_row(tmp_path: Path) -> None:
    frame = pl.DataFrame({ROW: [2, 3, 4, 5], "site_id": ["", "HOLL", "MILL", "HOLL"]})
    record = FieldRecord({"site": frame})
    keys = pl.Series(["HOLL", "", "MILL", "NOPE"])
    assert record.number_of("site", keys).tolist() == [1, -1, 2, -1]
    assert [record.find("site", key) for key in keys] == [1, -1, 2, -1]
    assert record.site("") is None


def test_a_column_of_a_newer_version_is_blank(tmp_path: Path) -> None:
    record = FieldRecord({"site": pl.DataFrame({ROW: [2], "site_id": ["HOLL"]})})
    assert record.row("site", 0)["protection"] == record.cell("site", "protection", 0) == ""
    assert np.isnan(record.numbers("site", "grid_north_deg")).all()
    assert record.grid_north_deg("HOLL") is None


def test_a_column_that_a_newer_survey_fills_stays_blank(tmp_path: Path) -> None:
    package = a_taped_room(tmp_path)
    path = package.folder / "schemas" / "position.json"
    schema = json.loads(path.read_text("utf-8"))
    schema["fields"].append(schema["fields"][-1] | {"name": "seen_from"})
    path.write_text(json.dumps(schema), "utf-8")
    newer = open_package(package.folder)
    survey_package(newer)
    assert len(newer.tables.column("position", "x_m")) == 7
    assert set(newer.tables.column("position", "seen_from")) == {""}


_WITHOUT_PANDAS = """
import sys
from pathlib import Path
sys.modules["pandas"] = None
from provenance._drawing.paper import paper_named
from provenance._record.package import open_package
from provenance._survey.adjust.adjustment import survey_package
from provenance._survey.hole.known_points import known_points
from provenance._survey.maps.geopackage import write_geopackage
from provenance._survey.plan.plan_content import plan_content
from provenance._survey.plan.plan_sheet import plan_sheet
from provenance._survey.relocation import write_relocation_sheets

folder, out = sys.argv[1:]
package = open_package(folder)
for again in range(2):
    known = known_points(package)
    content = plan_content(package, known, "B1")
    sheet = plan_sheet(content, paper_named("a4"), record=package.title)
    print(len(content.woods), len(content.holes), len(content.datums), bool(sheet.items))
    survey_package(package, site=("HOLL", None)[again])
write_geopackage(package, Path(out, "room.gpkg"))
write_relocation_sheets(package, ["231"], Path(out))
"""


def test_points_plans_and_maps_need_no_pandas(tmp_path: Path) -> None:
    """It takes as long to import as a small package takes to pack."""
    package = a_taped_room(tmp_path)
    line = [sys.executable, "-c", _WITHOUT_PANDAS, str(package.folder), str(tmp_path)]
    told = subprocess.run(line, capture_output=True, text=True, check=False)
    assert told.returncode == 0, told.stderr
    # computed on the way, then read from the table
    assert told.stdout.splitlines() == ["1 1 4 True"] * 2
    written = package.table_path("position").read_bytes()
    survey_package(package)
    assert package.table_path("position").read_bytes() == written
