"""The JSON-LD of a bundle, against the whole vocabulary of schema.org."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import rdflib
import schema_org
from pydantic import ValidationError
from rdflib.namespace import RDF, SDO

from provenance._bundle.deposit.schema_org import dataset_json_ld, years_covered
from provenance._bundle.describe.editions import FULL, PUBLIC
from provenance._record.package import Package
from tests.builders import a_package
from tests.bundle.deposit.conftest import a_description


def model(value: Any, name: str = "") -> Any:
    """The value as the generated classes of schema_org-py, which check properties and ranges."""
    if isinstance(value, list):
        return [model(one, name) for one in value]
    if isinstance(value, dict):
        properties = {key: model(one, key) for key, one in value.items() if key[0] != "@"}
        return getattr(schema_org, value["@type"])(**properties)
    return date.fromisoformat(value) if name.startswith("date") else value


@pytest.fixture
def described(coarse: Package) -> dict[str, Any]:
    return dataset_json_ld(a_description(coarse, PUBLIC))


def test_every_property_is_one_of_its_type_and_holds_what_it_expects(
    described: dict[str, Any], package: Package
) -> None:
    """By the vocabulary itself: what a type has, and what may stand in it."""
    for one in (described, dataset_json_ld(a_description(package, FULL))):
        assert isinstance(model(one), schema_org.Dataset)
    for broken in ({"maker": "x"}, {"spatialCoverage": 5}, {"creator": "x"}, {"geo": "x"}):
        with pytest.raises(ValidationError):
            model({**described, **broken})


@pytest.mark.filterwarnings("ignore:ConjunctiveGraph:DeprecationWarning")  # rdflib's own use of it
def test_every_term_is_known_when_the_json_ld_is_read_as_rdf(described: dict[str, Any]) -> None:
    """rdflib, with the context's one statement in place of its address: terms are schema.org's."""
    local = {**described, "@context": {"@vocab": "https://schema.org/"}}
    graph = rdflib.Graph().parse(
        data=json.dumps(local), format="json-ld", publicID="https://example.org/index.html"
    )
    assert len(graph) > 50
    for _, predicate, value in graph:
        if predicate != RDF.type:
            assert predicate in SDO
        else:
            assert value in SDO


def test_the_public_edition_says_where_the_place_lies_no_closer_than_it_may(
    described: dict[str, Any], coarse: Package
) -> None:
    (place,) = described["spatialCoverage"]
    south, west, north, east = map(float, place["geo"]["box"].split())
    assert south < -48.05 < north
    assert west < -123.05 < east
    # 8 km on the meridian; 1852 m a minute of arc (the nautical mile)
    assert (north - south) * 60 * 1852 == pytest.approx(16_000, rel=0.01)
    assert "geo" not in dataset_json_ld(a_description(coarse, FULL))["spatialCoverage"][0]


def test_who_may_see_it_is_said(described: dict[str, Any], package: Package) -> None:
    assert described["isAccessibleForFree"] is True
    full = dataset_json_ld(a_description(package, FULL))
    assert "isAccessibleForFree" not in full
    assert "Full edition" in full["conditionsOfAccess"]


def test_the_years_are_those_of_dated_rings_that_no_later_report_replaces(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("lab_result")
    assert years_covered(builder.package) == "1702/1781"
    builder.with_row(
        "lab_result", result_id="R-2", inner_year="-10", outer_year="950", revision="2",
        supersedes_result_id="R-1",
    )  # fmt: skip
    builder.with_row("lab_result", result_id="R-3", outcome="tentative", inner_year="-900")
    assert years_covered(builder.package) == "-0010/0950"
    assert years_covered(a_package(tmp_path / "2").package) == ""


def test_tables_are_named_by_addresses_that_hold_beside_the_page(bundle: Path) -> None:
    described = json.loads((bundle / "data" / "schema-org.jsonld").read_text("utf-8"))
    for one in described["distribution"]:
        assert (bundle / "data" / one["contentUrl"]).is_file()


def test_what_was_measured_is_named_with_its_unit(described: dict[str, Any]) -> None:
    title = "Bit size (hole diameter)"
    bore = next(one for one in described["variableMeasured"] if one["name"] == title)
    assert (bore["unitText"], bore["alternateName"]) == ("mm", "sample.bore_mm")
