"""The samples as a Darwin Core archive, read by an independent library."""

from __future__ import annotations

import csv
import zipfile
from pathlib import Path

import pytest
from dwca.read import DwCAReader
from lxml import etree

from provenance._bundle.deposit.darwin_core import core, extensions
from provenance._bundle.describe.editions import FULL
from provenance._model.schema import read_core
from tests.builders import a_package
from tests.bundle.deposit.conftest import PUBLISHED, described

DWC = "http://rs.tdwg.org/dwc/terms/"
CHRONO = "http://rs.tdwg.org/chrono/terms/"


def rows(folder: Path) -> list[tuple[dict[str, str], list[tuple[str, dict[str, str]]]]]:
    """Core rows with their extension rows, by python-dwca-reader."""
    with DwCAReader(str(folder / "darwin-core.zip")) as archive:
        return [
            (dict(row.data), [(one.rowtype, dict(one.data)) for one in row.extensions])
            for row in archive
        ]


def test_an_independent_reader_finds_the_samples_with_what_hangs_on_them(public: Path) -> None:
    ((sample, extensions),) = rows(public)
    assert sample[f"{DWC}materialSampleID"] == "231"
    assert sample[f"{DWC}basisOfRecord"] == "MaterialSample"
    assert sample[f"{DWC}eventDate"] == "2024-06-04"
    by_type = {row_type.rsplit("/", 1)[-1] for row_type, _ in extensions}
    assert by_type == {
        "Identification",
        "MeasurementOrFact",
        "ChronometricAge",
        "ResourceRelationship",
    }
    (age,) = [row for row_type, row in extensions if row_type.endswith("ChronometricAge")]
    assert age[f"{CHRONO}verbatimChronometricAge"] == "1702p - 1781B"
    assert age[f"{CHRONO}earliestChronometricAge"] == "1702"
    assert age[f"{CHRONO}latestChronometricAge"] == "1781"
    (wood,) = [row for row_type, row in extensions if row_type.endswith("ResourceRelationship")]
    assert wood[f"{DWC}relatedResourceID"] == "B1-014"
    bore = next(row for _, row in extensions if row.get(f"{DWC}measurementType") == "Bit size (hole diameter)")
    assert (bore[f"{DWC}measurementValue"], bore[f"{DWC}measurementUnit"]) == ("12.7", "mm")


def test_the_core_is_what_a_row_truly_is(public: Path) -> None:
    with DwCAReader(str(public / "darwin-core.zip")) as archive:
        assert archive.descriptor.core.type == f"{DWC}MaterialSample"
        assert archive.metadata.tag == "{http://www.openarchives.org/OAI/2.0/oai_dc/}dc"


@pytest.fixture(scope="module")
def published() -> set[str]:
    """The addresses of Darwin Core, its chronometric ages and DCMI Terms."""
    with open(PUBLISHED / "darwin-core-terms.csv", encoding="utf-8", newline="") as stream:
        return {row["term"] for row in csv.DictReader(stream)}


def test_the_schemas_name_no_term_that_darwin_core_does_not_have(published: set[str]) -> None:
    used = {
        term
        for _, one in read_core().every_field()
        for term in (one.rdf_type, *(link["term"] for link in one.crosswalk))
        if term and term.startswith(("http://rs.tdwg.org/", "http://purl.org/dc/terms/"))
    }
    assert len(used) > 20
    assert used <= published


def test_every_term_and_row_type_is_in_the_published_list(full: Path, published: set[str]) -> None:
    with zipfile.ZipFile(full / "darwin-core.zip") as archive:
        meta = etree.fromstring(archive.read("meta.xml"))
    used = {one.get("term") for one in meta.iter("{*}field")}
    used |= {one.get("rowType") for one in meta if one.get("rowType")}
    assert len(used) > 30
    assert used <= published


def test_the_public_edition_says_that_the_place_is_made_coarse(public: Path) -> None:
    ((sample, _),) = rows(public)
    assert sample[f"{DWC}decimalLatitude"] == "-48.05"
    assert sample[f"{DWC}coordinateUncertaintyInMeters"] == "8000"
    assert sample[f"{DWC}geodeticDatum"] == "EPSG:4326"
    assert "cell of 0.1 degree" in sample[f"{DWC}dataGeneralizations"]
    assert "Permit number" in sample[f"{DWC}informationWithheld"]
    assert sample[f"{DWC}locality"] == "Site 7"


def test_the_full_edition_says_that_it_is_not_for_everybody(full: Path) -> None:
    ((sample, _),) = rows(full)
    assert sample["http://purl.org/dc/terms/accessRights"].startswith("Full edition")


def test_a_person_is_named_only_if_they_agreed(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    position = core(builder.package, FULL).terms.index(f"{DWC}recordedBy")
    assert [row[position] for row in core(builder.package, FULL).rows] == [""]
    frame = builder.package.table("party")
    frame["may_be_named"] = "true"
    builder.package.write_table("party", frame)
    names = [row[position] for row in core(builder.package, FULL).rows]
    assert names == ["Mara Birkwood (invented)"]


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("2024-06-04", "2024-06-04"),
        ("2024-06", "2024-06"),
        ("2024-06-04/2024-06-05", "2024-06-04/2024-06-05"),
        ("2024~", ""),
        ("198X", ""),
        ("2024-21", ""),
        ("2024-02-31", ""),
        ("2024/..", ""),
    ],
)
def test_only_dates_without_doubt_are_event_dates(tmp_path: Path, written: str, plain: str) -> None:
    """Darwin Core, eventDate: ISO 8601-1:2019; what was written stands in verbatimEventDate."""
    part = core(a_package(tmp_path).with_chain(collected_on=written).package, FULL)
    (row,) = part.rows
    assert row[part.terms.index(f"{DWC}eventDate")] == plain
    assert row[part.terms.index(f"{DWC}verbatimEventDate")] == written


def test_a_species_code_has_its_botanical_name_beside_it(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("lab_result").package
    part = extensions(package)[0]
    code, name = (
        part.terms.index(f"{DWC}{one}") for one in ("verbatimIdentification", "scientificName")
    )
    assert [(row[1], row[code], row[name]) for row in part.rows] == [
        ("231 (field)", "PIPO", "Pinus ponderosa"),
        ("R-1", "PIPO", "Pinus ponderosa"),
    ]


def test_a_place_without_samples_makes_an_archive_without_rows(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_row("site").package
    assert rows(described(package, tmp_path / "out")) == []


def test_text_with_line_ends_quotes_and_controls_stays_in_its_cell(tmp_path: Path) -> None:
    builder = a_package(tmp_path)
    builder.with_bare_row(
        "party", party_id="MB", kind="person", may_be_named="true",
        name='Mara "M"\nBirkwood,\x0b\u202e (invented)',
    )  # fmt: skip
    builder.with_row("site").with_row("place").with_row("element").with_row("sample")
    ((sample, _),) = rows(described(builder.package, tmp_path / "out"))
    assert sample[f"{DWC}recordedBy"] == 'Mara "M" Birkwood,⟨U+000B⟩⟨U+202E⟩ (invented)'
