"""What a crew read comes back as they wrote it, and other values with the step of their column."""

from __future__ import annotations

from dataclasses import replace

import pytest
from click.testing import CliRunner

from provenance._cli import treenail
from provenance._history.deciding import correct, decide, rename, undo
from provenance._record.measured import reading_of, said, shown
from provenance._record.package import open_package
from provenance._record.snapshot import Snapshot
from tests.builders import a_package
from tests.intake.forms import a_line, bring_in, write_csv

READ = {
    # timber: length in feet and inches, diameter in inches, bit in inches
    "014": ("12' 6 1/2\"", "11 3/8", "5/8"),
    "015": ("9' 3/8\"", "11.5", "1/2 in"),
    "016": ("7'", "38.1 cm", "1/2"),
    "017": ("12-6", "8 5/8", "16 mm"),
}


def in_feet(tables: Snapshot) -> Snapshot:
    return replace(tables, model=replace(tables.model, units="feet_inches"), _views={})


@pytest.fixture
def package(tmp_path):
    package = a_package(tmp_path).package
    lines = [
        a_line(Timber_no=number, Length=length, Dia_A=size, Bit=bit, FS_no=f"2{number}")
        for number, (length, size, bit) in READ.items()
    ]
    bring_in(package, write_csv(tmp_path / "timbers.csv", lines))
    return open_package(package.folder)


def test_what_was_read_is_kept_with_its_unit_and_said_at_the_step_of_its_column(package) -> None:
    tables = in_feet(package.tables)

    def read(number: str, field: str) -> tuple[str, str]:
        (row,) = [r for r in tables.rows("element") if r["element_id"] == f"B1-{number}"]
        key = row["element_id"]
        return reading_of(tables, "element", key, field), said(tables, "element", field, row[field])

    assert read("014", "length_m") == ("12' 6 1/2\"", "12' 6 1/2\"")
    assert read("015", "length_m") == ("9' 3/8\"", "9' 3/8\"")
    assert read("016", "length_m") == ("7'", "7' 0\"")
    assert read("017", "length_m") == ("12' 6\"", "12' 6\"")
    assert read("014", "diameter_a1_cm") == ("11 3/8 in", "11 3/8 in")
    assert read("015", "diameter_a1_cm") == ("11.5 in", "11 1/2 in")
    # as it stands in the table: nobody wrote it otherwise
    assert read("016", "diameter_a1_cm") == ("38.1 cm", "15 in")
    assert reading_of(tables, "sample", "2015", "bore_mm") == "1/2 in"
    assert said(tables, "sample", "bore_mm", "15.875") == "5/8 in"
    # what nobody read is said at the finest step of the column too
    assert said(tables, "element", "length_m", "2.961") == "9' 8 5/8\""
    assert said(tables, "element", "diameter_b1_cm", "28.8925") == "11 3/8 in"
    assert reading_of(tables, "element", "B1-014", "diameter_b1_cm") == ""


def test_the_corners_of_a_place_are_said_in_feet_like_what_else_is_on_the_site_grid(
    package,
) -> None:
    corners = "0 0, 6.2 0, 6.2 4.8, -0.5 4.8"
    # a foot is 0.3048 m (international yard and pound agreement of 1959; cited from memory)
    feet = "0.00 0.00, 20.34 0.00, 20.34 15.75, -1.64 15.75 ft"
    assert shown(in_feet(package.tables), "place", "outline", corners) == feet
    assert shown(package.tables, "place", "outline", corners) == f"{corners} m"
    assert shown(in_feet(package.tables), "place", "outline", "by eye") == "by eye m"


def test_a_reading_goes_when_its_value_does_and_comes_back_with_it(package) -> None:
    def reading(key: str = "B1-014") -> str:
        now = open_package(package.folder)
        return reading_of(now.tables, "element", key, "length_m")

    def act(deciding) -> None:
        decide(open_package(package.folder), deciding, who="MB", why="taped again")

    act(correct("element", "B1-014", {"length_m": "3.8"}))
    assert reading() == ""
    act(undo("last"))
    assert reading() == "12' 6 1/2\""
    act(rename("element", "B1-014", "B1-114"))
    assert (reading(), reading("B1-114")) == ("", "12' 6 1/2\"")
    words = ["element", "B1-114", "length_m=9 ft", "--why", "taped again", "--by", "MB"]
    told = CliRunner().invoke(treenail, ["change", "correct", str(package.folder), *words])
    assert told.exit_code == 0, told.output
    assert reading("B1-114") == "9 ft"
    # a person changes the table by hand: the reading is not what it holds any more
    path = package.folder / "tables" / "element.csv"
    path.write_text(path.read_text("utf-8").replace("2.7432", "2.75"), "utf-8")
    assert reading("B1-114") == ""


def test_a_metric_column_is_said_as_finely_as_its_numbers_are_written(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    for number, (length, size, bore) in enumerate(
        [("3.8", "28", "15.875"), ("3.825", "31", "12.7")]
    ):
        builder.with_row("element", element_id=f"E{number}", length_m=length, diagonal_cm=size)
        builder.with_row("sample", sample_id=f"9{number}", bore_mm=bore, length_mm=210)
    tables = builder.package.tables
    assert said(tables, "element", "length_m", "3.8") == "3.800 m"
    assert said(tables, "element", "diagonal_cm", "28") == "28 cm"
    assert said(tables, "sample", "length_mm", "210") == "210 mm"
    # three decimals of a millimeter are a conversion, and say nothing of how it was read
    assert said(tables, "sample", "bore_mm", "15.875") == "15.9 mm"


def test_a_package_of_older_schemas_without_readings_says_its_sizes(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    (package.folder / "schemas" / "reading.json").unlink()
    (package.folder / "tables" / "reading.csv").unlink()
    older = open_package(package.folder)
    decide(older, correct("element", "B1-014", {"length_m": "3.8"}), who="MB", why="taped again")
    tables = open_package(package.folder).tables
    assert reading_of(tables, "element", "B1-014", "length_m") == ""
    assert said(in_feet(tables), "element", "length_m", "3.81") == "12' 6\""
