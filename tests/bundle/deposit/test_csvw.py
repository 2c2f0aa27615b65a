"""The tables as CSV on the Web, read through the csvw library."""

from __future__ import annotations

import json
import shutil
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from provenance._bundle.deposit.csvw import csvw_metadata
from provenance._record.package import Package, as_json, open_package
from tests.builders import a_package, left_alone, pack_bundle
from tests.bundle.conftest import a_full_package

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own libraries warn
    import csvw


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A bundle whose cells hold commas, quotes, line breaks and lists; never to be changed."""
    folder = tmp_path_factory.mktemp("packed")
    package = a_full_package(folder)
    frame = package.table("element")
    frame["notes"] = 'one "quoted", two\nlines'
    frame["tool_marks"] = "metal_axe; adze"
    frame["recorded_on"] = "2024-06~"
    frame["added_by_crew"] = "column without schema"
    package.write_table("element", frame)
    with left_alone(pack_bundle(open_package(package.folder), folder / "bundle")) as bundle:
        yield bundle


@pytest.fixture
def data(packed: Path, tmp_path: Path) -> Path:
    """The payload of the bundle, to be broken."""
    return Path(shutil.copytree(packed / "data", tmp_path / "data"))


def group(data: Path) -> Any:
    return csvw.TableGroup.from_file(data / "csv-metadata.json")


def test_an_independent_reader_takes_the_metadata_without_a_word(data: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        read = csvw.CSVW(str(data / "csv-metadata.json"), validate=True, strict=True)
    # strict: the tests of the W3C (csvw test suite) want the referenced row for every row
    assert (read.is_valid, [str(one.message) for one in read.warnings]) == (True, [])
    assert read.tablegroup.validate_schema()


def test_every_row_is_read_as_it_stands_in_the_package(data: Path) -> None:
    package = open_package(data)
    read = group(data).read()
    assert set(read) == {f"tables/{name}.csv" for name in package.model.tables}
    for name in package.model.tables:
        typed = package.typed(name)
        rows = [dict(row) for row in read[f"tables/{name}.csv"]]
        assert len(rows) == len(typed)
        for row, (_, ours) in zip(rows, typed.iterrows(), strict=True):
            assert list(row) == list(typed.columns)
            for column, value in row.items():
                if value is None or value == []:
                    assert ours.isna()[column] or ours[column] == ""
                elif isinstance(value, list):
                    assert "; ".join(value) == ours[column]
                else:
                    assert value == ours[column]


def test_keys_lead_from_row_to_row(data: Path) -> None:
    assert group(data).check_referential_integrity(strict=True) is True
    path = data / "tables" / "plug.csv"
    path.write_text(path.read_text("utf-8").replace(",231,", ",999,", 1), "utf-8")
    with pytest.raises(ValueError, match="999"):
        group(data).check_referential_integrity(strict=True)


@pytest.mark.parametrize(
    ("table", "sound", "broken", "column"),
    [
        ("element", "round", "roundish", "shape"),
        ("element", "4.2", "four", "length_m"),
        ("element", "2024-06~", "about June", "recorded_on"),
        ("sample", "98", "-98", "length_mm"),
    ],
)
def test_a_cell_that_breaks_its_schema_is_refused(
    data: Path, table: str, sound: str, broken: str, column: str
) -> None:
    path = data / "tables" / f"{table}.csv"
    text = path.read_text("utf-8")
    assert f",{sound}," in text
    path.write_text(text.replace(f",{sound},", f",{broken},", 1), "utf-8")
    with pytest.raises(ValueError, match=rf"{table}\.csv:\d+:\d+ {column}: "):
        group(data).read()


def test_an_uncertain_date_is_text_in_a_form_that_the_metadata_name(package: Package) -> None:
    (element,) = [
        one for one in csvw_metadata(package)["tables"] if one["url"] == "tables/element.csv"
    ]
    (column,) = [one for one in element["tableSchema"]["columns"] if one["name"] == "recorded_on"]
    assert column["datatype"]["base"] == "string"
    assert "EDTF" in column["datatype"]["dc:title"]
    assert "ISO 8601-2" in column["datatype"]["dc:source"]


def test_keys_terms_and_addresses_come_from_the_schemas(package: Package) -> None:
    tables = {one["url"]: one for one in csvw_metadata(package)["tables"]}
    sample = tables["tables/sample.csv"]["tableSchema"]
    assert sample["primaryKey"] == ["sample_id"]
    assert sample["aboutUrl"] == "#{sample_id}"
    columns = {one["name"]: one for one in sample["columns"]}
    assert columns["sample_id"]["propertyUrl"] == "http://rs.tdwg.org/dwc/terms/materialSampleID"
    assert columns["element_id"]["valueUrl"] == "element.csv#{element_id}"
    assert columns["element_id"]["required"] is True
    assert {
        "columnReference": ["element_id"],
        "reference": {"resource": "tables/element.csv", "columnReference": ["element_id"]},
    } in sample["foreignKeys"]
    party = tables["tables/party.csv"]["tableSchema"]
    (belongs_to,) = [one for one in party["columns"] if one["name"] == "organisation_id"]
    assert "foreignKeys" not in party, "nobody has to belong to an organization"
    assert belongs_to["valueUrl"] == "party.csv#{organisation_id}"


def test_the_first_title_of_a_column_is_what_stands_in_the_header(tmp_path: Path) -> None:
    """Model for Tabular Data, section 6.6: titles are compared with the header line."""
    package = a_package(tmp_path).with_chain().package
    for table in csvw_metadata(package)["tables"]:
        header = (package.folder / table["url"]).read_text("utf-8").splitlines()[0].split(",")
        assert [one["titles"][0] for one in table["tableSchema"]["columns"]] == header


def test_the_metadata_are_json(package: Package) -> None:
    assert json.loads(as_json(csvw_metadata(package)))["@context"][0] == "http://www.w3.org/ns/csvw"
