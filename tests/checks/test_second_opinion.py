"""The reference library is asked about a package as it lies there, without a network."""

from __future__ import annotations

import json
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from provenance._base.findings import SecondOpinion
from provenance._base.opinion_words import opinion_words
from provenance._checks import second_opinion
from provenance._checks.check import check_package
from provenance._checks.second_opinion import Answers, ask_library, with_second_opinion
from provenance._checks.structure import patterns
from provenance._cli.bundling import verify
from provenance._cli.checking import check
from provenance._record.package import Package, open_package
from provenance._record.reference_library import without_fetching
from tests.builders import PackageBuilder, a_package, left_alone

CHAIN = ("site", "party", "place", "element", "sample", "plug")
ANSWERS: dict[str, Answers] = {}


@pytest.fixture(autouse=True)
def no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever reaches for the network fails the test, also where the error would be swallowed."""

    def refuse(*_: object, **__: object) -> None:
        pytest.fail("something reached for the network")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)


@pytest.fixture(autouse=True)
def asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The library takes its time, so of the same tables it is asked once."""

    def ask(folder: Path, descriptor: dict[str, Any], *, most: int, **more: Any) -> Answers:
        tables = {path.name: path.read_bytes() for path in (folder / "tables").iterdir()}
        asked = repr((sorted(tables.items()), json.dumps(descriptor, sort_keys=True), most))
        if asked not in ANSWERS:
            ANSWERS[asked] = ask_library(folder, descriptor, most=most, **more)
        return ANSWERS[asked]

    monkeypatch.setattr(second_opinion, "ask_library", ask)


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("sound")
    package = a_package(folder).with_chain().package
    with left_alone(folder):
        yield package.folder


@pytest.fixture
def whole(sound: Path, tmp_path: Path) -> Package:
    """A package whose descriptor lists every table."""
    return open_package(shutil.copytree(sound, tmp_path / "holl"))


@pytest.fixture
def package(whole: Package) -> Package:
    """One whose descriptor lists only the tables with rows, which takes a third of the time."""

    def without_empty_tables(descriptor: dict[str, Any]) -> None:
        listed = [one for one in descriptor["resources"] if one["name"] in CHAIN]
        for one in listed:
            schema = json.loads((whole.folder / one["schema"]).read_text("utf-8"))
            links = schema.pop("foreignKeys", [])
            links = [link for link in links if link["reference"]["resource"] in ("", *CHAIN)]
            one["schema"] = schema | ({"foreignKeys": links} if links else {})
        descriptor["resources"] = listed

    return described_anew(whole, without_empty_tables)


def opinion_on(package: Package) -> SecondOpinion:
    report = with_second_opinion(package, check_package(package))
    assert report.second_opinion is not None
    return report.second_opinion


def described_anew(package: Package, change: Any) -> Package:
    """The package with its datapackage.json changed by `change`."""
    path = package.folder / "datapackage.json"
    descriptor = json.loads(path.read_text("utf-8"))
    change(descriptor)
    path.write_text(json.dumps(descriptor), encoding="utf-8")
    return open_package(package.folder)


def add_line(package: Package, table: str, line: str) -> None:
    with open(package.table_path(table), "a", encoding="utf-8") as stream:
        stream.write(line + "\n")


def a_table_that_only_the_descriptor_knows(descriptor: dict[str, Any]) -> None:
    schema = {
        "fields": [{"name": "ladder", "type": "string"}, {"name": "rungs", "type": "integer"}]
    }
    descriptor["resources"].append(
        {"name": "ladders", "path": "tables/ladders.csv", "type": "table", "schema": schema}
    )


def with_ladders(package: Package) -> Package:
    (package.folder / "tables" / "ladders.csv").write_text("ladder,rungs\nlong,9\nshort,few\n")
    return described_anew(package, a_table_that_only_the_descriptor_knows)


def test_of_a_sound_package_the_library_says_the_same(whole: Package) -> None:
    opinion = opinion_on(whole)
    assert opinion.agrees
    assert (opinion.both, opinion.tables) == (0, len(whole.model.tables))
    (said,) = opinion_words(opinion)
    assert said.endswith("agrees, nothing is wrong.")


def test_every_fault_that_both_name_is_counted_once(package: Package) -> None:
    """A row that ends early, a blank row, a broken link, a number that is none, a key twice."""
    first = package.table_path("element").read_text("utf-8").splitlines()[1]
    add_line(package, "element", first)
    add_line(package, "element", "B9-001,HOLL")
    add_line(package, "plug", "P-9,999" + "," * (len(package.model.table("plug").fields) - 2))
    path = package.table_path("sample")
    path.write_text(path.read_text("utf-8") + "\n", encoding="utf-8")
    opinion = opinion_on(package)
    assert opinion.agrees, (opinion.library_alone, opinion.ours_alone)
    assert opinion.both >= 4
    assert "named by both" in next(opinion_words(opinion))


def test_a_table_that_is_gone_does_not_take_away_the_opinion_on_those_that_link_to_it(
    package: Package,
) -> None:
    package.table_path("party").unlink()
    add_line(package, "element", "B9-001,HOLL")
    opinion = opinion_on(package)
    assert opinion.stopped == ("party",)
    assert opinion.agrees
    assert opinion.both == 1 + 1  # the file and the short row


def test_what_the_library_alone_names_is_a_finding_and_makes_the_exit_code_1(
    package: Package,
) -> None:
    package = with_ladders(package)
    (alone,) = opinion_on(package).library_alone
    assert (alone.table, alone.row, alone.field, alone.rule) == (
        "ladders",
        3,
        "rungs",
        "type-error",
    )
    folder = str(package.folder)
    assert "second_opinion" not in CliRunner().invoke(check, [folder]).output
    asked = CliRunner().invoke(check, [folder, "--second-opinion", "--format", "json"])
    assert asked.exit_code == 1
    report = json.loads(asked.stdout)
    (found,) = [one for one in report["findings"] if one["rule"].startswith("second_opinion")]
    assert (found["rule"], found["table"], found["row"], found["value"]) == (
        "second_opinion.type_error",
        "ladders",
        3,
        "few",
    )
    assert report["secondOpinion"]["agrees"] is False


@pytest.mark.parametrize("shape", ["text", "html", "csv"])
def test_every_form_of_the_report_says_where_the_two_differ(package: Package, shape: str) -> None:
    folder = str(with_ladders(package).folder)
    asked = CliRunner().invoke(check, [folder, "--second-opinion", "--format", shape])
    flat = " ".join(asked.output.split())
    assert "DIFFERS: both name 0 faults; the library names 1 that this check does not." in flat
    assert "ladders" in asked.stdout


def test_what_our_check_alone_names_has_the_reason_beside_it(package: Package) -> None:
    add_line(package, "element", '"')
    opinion = opinion_on(package)
    (alone,) = opinion.ours_alone
    assert alone.rule == "structure.quote_open"
    assert "silent about a quote" in list(opinion_words(opinion))[1]


def test_a_library_that_was_stopped_is_said_loudly(package: Package) -> None:
    for number in range(40):
        add_line(package, "element", f"B9-{number:03},NOWHERE")
    report = with_second_opinion(package, check_package(package), most=10)
    opinion = report.second_opinion
    assert opinion is not None
    assert list(opinion.cut_short) == ["element"]
    assert opinion.not_compared > 0
    assert any(said.startswith("CUT SHORT: element") for said in opinion_words(opinion))
    assert opinion_on(package).cut_short == {}


def test_nothing_that_a_descriptor_points_at_is_fetched(package: Package) -> None:
    def point_elsewhere(descriptor: dict[str, Any]) -> None:
        descriptor["$schema"] = "https://example.org/profile.json"
        descriptor["profile"] = "https://example.org/old-profile.json"
        first, second = descriptor["resources"][:2]
        first["path"] = "https://example.org/site.csv"
        second["schema"] = "https://example.org/party.json"
        descriptor["resources"][2]["$schema"] = "http://example.org/resource.json"
        descriptor["resources"][3]["scheme"] = "http"

    opinion = opinion_on(described_anew(package, point_elsewhere))
    told = " ".join(opinion.not_asked)
    for address in ("profile.json", "old-profile.json", "resource.json"):
        assert f'{address}" was not fetched' in told
    assert "'site' lies outside the package" in told
    assert "'party' lies outside the package" in told
    assert "does not list the table 'site'" in told


def test_a_pattern_that_would_never_end_is_not_given_to_the_library(
    package: Package, monkeypatch: pytest.MonkeyPatch
) -> None:
    """CWE-1333: the columnar engine takes linear time for it, Python's an exponential one."""
    monkeypatch.setattr(patterns.tried_in_python, "__kwdefaults__", {"seconds": 1.0})

    def ask_for_it(schema: dict[str, Any]) -> None:
        (notes,) = [one for one in schema["fields"] if one["name"] == "notes"]
        notes["constraints"] = {"pattern": "(a+)+b"}

    def describe_it(descriptor: dict[str, Any]) -> None:
        (element,) = [one for one in descriptor["resources"] if one["name"] == "element"]
        ask_for_it(element["schema"])

    path = package.folder / "schemas" / "element.json"
    schema = json.loads(path.read_text("utf-8"))
    ask_for_it(schema)
    path.write_text(json.dumps(schema), encoding="utf-8")
    builder = PackageBuilder(described_anew(package, describe_it))
    opinion = opinion_on(builder.with_row("element", element_id="B1-099", notes="a" * 60).package)
    (told,) = [one for one in opinion.not_asked if "list the table" not in one]
    assert told == "the pattern of element.notes: it took more than 1 s over the values"
    (alone,) = opinion.ours_alone
    assert (alone.table, alone.field, alone.rule) == ("element", "notes", "structure.wrong_form")


def test_a_json_schema_inside_a_field_is_not_followed() -> None:
    field = {"name": "a", "constraints": {"jsonSchema": {"$ref": "https://example.org/x"}}}
    kept, places = without_fetching({"fields": [field]})
    assert kept == {"fields": [{"name": "a", "constraints": {}}]}
    assert places == ["fields[0].constraints.jsonSchema"]


def test_a_descriptor_that_the_library_refuses_is_a_difference(package: Package) -> None:
    def spoil(descriptor: dict[str, Any]) -> None:
        descriptor["resources"][0]["title"] = 7

    opinion = opinion_on(described_anew(package, spoil))
    assert {one.table for one in opinion.library_alone} == {"datapackage.json"}


def test_verify_asks_about_a_bundle_too(tmp_path: Path, whole: Package) -> None:
    from tests.builders import pack_bundle

    bundle = pack_bundle(whole, tmp_path / "holl.zip", zipped=True)
    asked = CliRunner().invoke(verify, [str(bundle), "--second-opinion"])
    assert asked.exit_code == 0, asked.output
    assert "agrees, nothing is wrong." in asked.output
    said = CliRunner().invoke(verify, [str(bundle), "--second-opinion", "--format", "json"])
    assert json.loads(said.stdout)["secondOpinion"]["agrees"] is True
    assert "secondOpinion" not in CliRunner().invoke(verify, [str(bundle)]).output


def test_a_bundle_that_the_library_alone_finds_wrong_is_not_sound(
    tmp_path: Path, whole: Package
) -> None:
    """The descriptor says that cells are parted by semicolons, which our check does not ask."""
    from tests.builders import pack_bundle

    def part_by_semicolon(descriptor: dict[str, Any]) -> None:
        descriptor["resources"][0]["dialect"]["delimiter"] = ";"

    bundle = pack_bundle(described_anew(whole, part_by_semicolon), tmp_path / "bundle")
    assert CliRunner().invoke(verify, [str(bundle)]).exit_code == 0
    asked = CliRunner().invoke(verify, [str(bundle), "--second-opinion"])
    assert asked.exit_code == 1
    assert "NOT SOUND" in asked.output
    assert "DIFFERS" in asked.output
    assert "tables/site.csv" in asked.output


@pytest.mark.parametrize("other", ["--fast", "--against=full.zip"])
def test_a_second_opinion_wants_the_rows(tmp_path: Path, other: str) -> None:
    refused = CliRunner().invoke(verify, [str(tmp_path), "--second-opinion", other])
    assert refused.exit_code == 2
    assert "does not go with" in refused.output
