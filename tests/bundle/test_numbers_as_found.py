"""A record of an older collection goes the whole way with numbers and names as they were found."""

from __future__ import annotations

import csv
import shutil
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusableInput
from provenance._base.portable import unportable_because
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.verify import verify_bundle
from provenance._catalogue.plugs import gather_plugs, index_plugs, stored_plugs
from provenance._checks.check import check_package
from provenance._cli import treenail
from provenance._identity.locate import locate_plug
from provenance._identity.payload import read_scan
from provenance._identity.stamps import reserve_stamps
from provenance._intake.importing import import_exports
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._ledger.handover import record_events
from provenance._merging.merge import merge_packages
from provenance._model.profile import load_model
from provenance._model.schema import AS_FOUND, STRICT
from provenance._printing.labels.facts import gather_facts
from provenance._printing.labels.labels import print_labels
from provenance._printing.labels.stock import load_stock
from provenance._printing.labels.store_numbers import with_store_numbers
from provenance._record.package import Package, open_package
from provenance._record.settings import Settings, change_settings
from tests.builders import PARTIES, PackageBuilder, a_package, pack_bundle
from tests.printing.reading import decoded, page_texts, rendered

SITE = "Alder Ford"
NUMBERS = ("AF-1", "AF-11", "af 11", "12,3", "NUL", "Ä/3;b <x>")


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A record with numbers as found, each of a hole with a plug, and with a ledger."""
    builder = a_package(tmp_path_factory.mktemp("found"))
    assert builder.package.model.numbering == STRICT
    for party in PARTIES:
        builder.with_bare_row("party", **party)
    builder.with_row("site", site_id=SITE, name="Alder Ford (invented)")
    builder.with_row("place", site_id=SITE)
    for number in NUMBERS:
        element = f"joist {number}"
        builder.with_row("element", element_id=element, site_id=SITE)
        builder.with_row("sample", sample_id=number, site_id=SITE, element_id=element)
        builder.with_row("plug", plug_id=f"P {number}", sample_id=number, stamp=number)
    before = findings(builder.package)
    assert {("site", "site_id"), ("element", "element_id"), ("sample", "sample_id"),
            ("plug", "plug_id"), ("plug", "stamp")} == before["structure.wrong_form"]  # fmt: skip
    package = change_settings(builder.package, Settings(numbering="as-found"))
    days = {"happened_on": "2024-06-04", "recorded_on": "2024-06-04"}
    record_events(package, "collected", NUMBERS, to_party_id="MB", **days)
    return open_package(package.folder)


def findings(package: Package) -> dict[str, set[tuple[str, str]]]:
    told: dict[str, set[tuple[str, str]]] = {}
    for one in check_package(package):
        told.setdefault(one.rule, set()).add((one.table, one.field))
    return told


def test_the_check_takes_them_and_warns_of_twins(found: Package) -> None:
    told = findings(found)
    assert "structure.wrong_form" not in told
    # the twins AF-11 and af 11, of timbers, samples, plugs and stamps
    assert told["numbering.alike"] == {
        ("element", "element_id"), ("sample", "sample_id"), ("plug", "plug_id"), ("plug", "stamp"),
    }  # fmt: skip
    assert not any(one.severity == "error" for one in check_package(found))


def test_what_cannot_be_seen_and_what_is_too_long_is_an_error(found: Package, tmp_path) -> None:
    builder = PackageBuilder(change_settings(a_package(tmp_path).package, as_found()))
    builder.with_row("site", site_id=SITE).with_row("element", site_id=SITE)
    strange = {
        "A\u0308-1": "numbering.hidden_character",
        "AF\u200b-1": "numbering.hidden_character",
        "x" * 48: "",
        "x" * 49: "structure.wrong_form",
        " AF-1": "structure.wrong_form",
        "AF\t1": "structure.wrong_form",
        "AF\u00a01": "structure.wrong_form",
    }
    for number in strange:
        builder.with_row("sample", sample_id=number, site_id=SITE)
    rows = {number: place for place, number in enumerate(strange, start=2)}
    told = {
        one.row: one.rule
        for one in check_package(builder.package)
        if one.field == "sample_id" and one.rule in strange.values()
    }
    assert told == {rows[number]: rule for number, rule in strange.items() if rule}


def as_found() -> Settings:
    return Settings(numbering=AS_FOUND.replace("_", "-"))


def test_bundle_pages_catalogue_and_search_hold_them(found: Package, tmp_path: Path) -> None:
    bundle = pack_bundle(found, tmp_path / "found.zip", zipped=True)
    verdict = verify_bundle(bundle)
    assert verdict.sound, verdict
    with zipfile.ZipFile(bundle) as zipped:
        names = [one.partition("/data/")[2] for one in zipped.namelist()]
    pages = [one for one in names if one.startswith("pages/sample/")]
    assert len(pages) == len(NUMBERS)
    assert [one for one in names if one and unportable_because(one)] == []
    index = tmp_path / "catalogue.sqlite"
    assert index_plugs(tmp_path, index) == {}
    for plugs in (gather_plugs(bundle), stored_plugs(index)):
        for number in NUMBERS:
            best = locate_plug(plugs, number).candidates[0]
            assert (best.plug.sample_id, best.plug.site_id) == (number, SITE)


def test_the_public_edition_shows_none_that_tells_the_place(found: Package, tmp_path: Path) -> None:
    bundle = pack_bundle(found, tmp_path / "public", edition=PUBLIC)
    assert verify_bundle(bundle).sound
    assert open_package(bundle / "data").model.numbering == AS_FOUND
    for path in bundle.rglob("*"):
        text = path.as_posix().encode() + (path.read_bytes() if path.is_file() else b"")
        for told in (SITE, "AF-1", "af 11", "Ä/3", "Alder%20Ford", "~C3~84"):
            assert told.encode() not in text, f"{told} in {path}"


def test_labels_say_them_and_the_number_of_a_store_beside(found: Package, tmp_path: Path) -> None:
    facts, stock = gather_facts(found), load_stock("a4_99x38")
    print_labels(facts, stock, tmp_path / "own.pdf")
    said = [read_scan(one) for one in decoded(rendered(tmp_path / "own.pdf", 300))]
    assert sorted((one.site_id, one.sample_id) for one in said) == sorted(
        (SITE, number) for number in NUMBERS
    )
    [text] = page_texts(tmp_path / "own.pdf")
    assert all(number in text for number in NUMBERS)

    numbers = tmp_path / "numbers.csv"
    rows = [("sample_id", "store_number"), ("AF-1", "2026.0003/17"), ("12,3", "2026.0003/18")]
    write(numbers, rows)
    beside = with_store_numbers(facts, found.tables, numbers)
    print_labels(beside, stock, tmp_path / "store.pdf")
    said = [read_scan(one) for one in decoded(rendered(tmp_path / "store.pdf", 300))]
    assert {one.store_number for one in said} == {"", "2026.0003/17", "2026.0003/18"}
    [text] = page_texts(tmp_path / "store.pdf")
    assert "Store 2026.0003/17 WD" in " ".join(text.split())
    assert "AF-1" in text

    write(numbers, [*rows, ("AF-1", "17"), ("AF-99", "2026.0003/18")])
    with pytest.raises(UnusableInput) as caught:
        with_store_numbers(facts, found.tables, numbers)
    for told in ("row 4, column 'sample_id': 'AF-1' is also in row 2", '"17" is not a store number',
                 "row 5, column 'sample_id': the record has no sample 'AF-99'",
                 "row 5, column 'store_number': '2026.0003/18' is also in row 3"):  # fmt: skip
        assert told in str(caught.value)


def write(path: Path, rows: list[tuple[str, ...]]) -> None:
    with open(path, "w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)


def test_forms_bring_them_in_as_they_are_written(tmp_path: Path) -> None:
    """A mapping says so; without, the import says of a strict record what can be done."""
    form = tmp_path / "old.csv"
    write(form, [("Site", "No."), (SITE, "AF-1"), (SITE, "AF-2?"), (SITE, "A\u0308 3")])
    text = (
        "title: Old list\nsources:\n  - files: old.csv\n    rows:\n      - table: sample\n"
        "        fields: {sample_id: {column: No.}, site_id: {column: Site}}\n"
    )
    mapping = tmp_path / "old.yaml"
    mapping.write_text(text.replace("AF-2?", "AF-2"), "utf-8")
    package = a_package(tmp_path / "strict").package
    told = import_exports(package, [form], read_mapping(mapping, package.model), trial=True)
    [hint] = [one for one in told.findings if one.rule == "intake.old_numbers"]
    assert "AF-1" in hint.message
    assert "--numbering as-found" in hint.remedy
    mapping.write_text(f"numbering: as_found\n{text}", "utf-8")
    rules = read_mapping(mapping, package.model)
    assert import_exports(package, [form], rules, trial=True).added == {"sample": 3}
    assert open_package(package.folder).model.numbering == STRICT
    import_exports(package, [form], rules)
    package = open_package(package.folder)
    assert package.model.numbering == AS_FOUND
    assert package.tables.column("sample", "sample_id") == ["AF-1", "AF-2?", "Ä 3"]


def test_a_record_says_its_numbering_and_no_other_record_changes(tmp_path: Path) -> None:
    run = CliRunner().invoke
    record, plain = tmp_path / "holl", a_package(tmp_path / "plain").package
    assert run(treenail, ["new", str(record), "--numbering", "as-found"]).exit_code == 0
    assert "numbering as-found" in run(treenail, ["settings", str(record)]).output
    assert run(treenail, ["new", str(record), "--update"]).exit_code == 0
    assert open_package(record).model.numbering == AS_FOUND
    assert run(treenail, ["settings", str(record), "--numbering", "strict"]).exit_code == 0
    # what strict records hold says nothing of it
    for path in (plain.folder / "schemas").iterdir():
        assert path.read_bytes() == (record / "schemas" / path.name).read_bytes()
        assert AS_FOUND not in path.read_text("utf-8")
    with pytest.raises(UnusableInput, match="write strict or as-found"):
        Settings(numbering="other")
    profile = tmp_path / "own.yaml"
    profile.write_text("name: own\ntitle: Own\ndescription: Own.\nnumbering: as_found\n", "utf-8")
    assert load_model(str(profile)).numbering == AS_FOUND


def test_new_numbers_are_strict_and_no_twins_of_old_ones(tmp_path: Path) -> None:
    builder = PackageBuilder(change_settings(a_package(tmp_path).package, as_found()))
    builder.with_row("site", site_id=SITE).with_row("element", site_id=SITE)
    builder.with_row("sample", sample_id="10-2", site_id=SITE)
    given = reserve_stamps(builder.package, 3, crew="north", reserved_on="2024-06-03")
    assert [one.sample_id for one in given] == ["103", "104", "105"]


def test_a_merged_record_keeps_numbers_as_found_if_either_copy_does(found, tmp_path) -> None:
    copies = [tmp_path / name for name in ("one", "other")]
    for folder in copies:
        shutil.copytree(found.folder, folder)
    strict = change_settings(open_package(copies[0]), Settings(numbering=STRICT))
    merged = merge_packages(strict, open_package(copies[1]))
    assert any("numbers as found" in one for one in merged.notes)
    assert open_package(copies[0]).model.numbering == AS_FOUND
