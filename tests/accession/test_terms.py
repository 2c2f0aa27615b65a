"""Terms, old numbers, restrictions, lists of bundles, and bags of others in a store."""

from __future__ import annotations

import csv
import shutil
import zipfile
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from provenance._catalogue.audit.audit import audit_place
from provenance._catalogue.build import update_catalogue
from provenance._catalogue.query import Wanted, find_in_catalogue
from provenance._cli import treenail
from provenance._identity.payload import compose_store_code
from provenance._store.acts import first_fault
from provenance._store.store import Store, open_store
from provenance._store.terms import reminders
from tests.bundle.test_any_bag import a_bag
from tests.bundle.test_bag import valid_by_the_library
from tests.bundle.test_pack import bytes_of

pytestmark = pytest.mark.usefixtures("judged_once")

DEPOSITOR = "Mara Birkwood (invented)"
DONOR = "Aunt Elspeth of Fenwick Moss (invented)"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def take_in(store: Path, *arguments: object) -> Result:
    pattern = () if (store / "repository.yaml").exists() else ("--pattern", "{year}.{serial:04}")
    return run("accession", "--store", store, *pattern, *arguments)


def refused(result: Result) -> str:
    """What a person reads of an error, on one line."""
    return " ".join(f"{result.output} {result.exception or ''}".split())


def list_of(folder: Path, *rows: dict[str, str]) -> Path:
    path = folder / "list.csv"
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(dict.fromkeys(k for row in rows for k in row)))
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_terms_stand_on_the_receipt_and_in_the_store_and_nowhere_else(
    shelf: Path, tmp_path: Path
) -> None:
    store = tmp_path / "store"
    done = take_in(
        store, shelf / "bundle", "--depositor", DEPOSITOR, "--as", "loan", "--donor", DONOR,
        "--title-holder", "Parish of Hollin Reach (invented)", "--until", "2031-01-01",
        "--previous-number", "AF-11", "--previous-number", "Card 7", "--restriction",
        "sampling: no further drilling", "--embargo-until", "2026-05-01",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    (act,) = Store(store).accessions
    receipt = " ".join(PdfReader(store / act.receipt).pages[0].extract_text().split())
    for words in (
        "loan, until 2031-01-01, title with Parish of Hollin Reach (invented)",
        DONOR,
        "AF-11; Card 7",
        "embargo until 2026-05-01; sampling: no further drilling",
    ):
        assert words in receipt, words
    assert not any(DONOR.encode() in one for one in map(_content, files(store / act.kept_at)))
    kept = bytes_of(store)
    for table in ("acquisition", "previous_number", "restriction"):
        assert kept[f"{table}.csv"], table
    assert first_fault(Store(store).acts) == ""
    rows = Store(store).rows("restriction")
    assert [(row["restriction_id"], row["kind"]) for row in rows] == [
        ("2026.0001-R1", "embargo"),
        ("2026.0001-R2", "sampling"),
    ]

    # an embargo is over when a person says so, and its day alone ends nothing
    assert reminders(Store(store), date(2026, 4, 30)) == []
    (due,) = reminders(Store(store), date(2026, 5, 1))
    assert "2026.0001-R1" in due
    assert len(reminders(Store(store), date(2031, 1, 2))) == 2
    index = tmp_path / "catalogue.sqlite"

    def restriction() -> Any:
        update_catalogue(store, index)
        (row,) = find_in_catalogue(index, "bundles", Wanted(accession="af-11")).to_dicts()
        return row["restriction"]

    both = "embargo until 2026-05-01 (2026.0001-R1); sampling, no further drilling (2026.0001-R2)"
    assert restriction() == both
    assert set(find_in_catalogue(index, "holdings", Wanted())["restriction"]) == {both}
    assert len(find_in_catalogue(index, "bundles", Wanted(accession="AF-1"))) == 0
    assert len(find_in_catalogue(index, "bundles", Wanted(accession="AF*"))) == 1
    assert "line" not in restriction()
    lift = ("store", "lift", store, "2026.0001-R1")
    assert "say why" in refused(run(*lift))
    assert run(*lift, "--reason", "the report is out").exit_code == 0
    assert run(*lift, "--reason", "again").exit_code != 0
    assert restriction() == "sampling, no further drilling (2026.0001-R2)"
    (lifted, _) = Store(store).rows("restriction")
    assert (bool(lifted["lifted_on"]), lifted["lifted_because"]) == (True, "the report is out")
    audited = audit_place(store, index)
    assert audited.clean
    assert audited.store is not None
    assert audited.store.open == ()


def files(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


def _content(path: Path) -> bytes:
    return path.read_bytes()


def test_old_numbers_and_restrictions_are_entered_from_a_spreadsheet(
    shelf: Path, tmp_path: Path
) -> None:
    store, path = tmp_path / "store", tmp_path / "rows.csv"
    take_in(store, shelf / "bundle.zip", "--depositor", DEPOSITOR)
    cases = (
        ("previous_number", "accession,previous_number\n2026.0001,A1\n2026.0001,A2\n", ""),
        ("previous_number", "accession,previous_number\n2026.0001,A1\n2026.0001,A1\n", "line 3"),
        ("previous_number", "accession,previous_number\n2026.0009,A1\n", "no such accession"),
        ("previous_number", "accession\n2026.0001\n", "needs the column previous_number"),
        ("acquisition", "accession,kind,until\n2026.0001,loan,1 May\n", "column 'until', '1 May'"),
        ("restriction", "restriction_id,accession,kind\nR1,2026.0001,embargo\n", "which day"),
    )
    for table, text, fault in cases:
        path.write_text(text, encoding="utf-8")
        result = run("store", "enter", store, table, path)
        assert (result.exit_code == 0) == (fault == ""), text
        assert fault in refused(result), text
    assert [row["previous_number"] for row in Store(store).rows("previous_number")] == ["A1", "A2"]


def test_a_list_takes_in_what_it_can_and_can_be_run_again(shelf: Path, tmp_path: Path) -> None:
    store = tmp_path / "store"
    damaged = tmp_path / "damaged.zip"
    with zipfile.ZipFile(shelf / "later.zip") as before, zipfile.ZipFile(damaged, "w") as after:
        for name in before.namelist():
            content = before.read(name)
            after.writestr(name, content + b"x" if name.endswith("site.csv") else content)
    a_bag(tmp_path / "bag")
    rows = [
        {"bundle": str(shelf / "bundle.zip"), "as": "gift", "donor": DONOR, "on": "2026-03-01"},
        {"bundle": "damaged.zip", "depositor": "Wen Tolliver (invented)", "bag_only": "no"},
        {"bundle": "bag", "bag_only": "yes", "previous_number": "B 1; B 2"},
        {"bundle": str(shelf / "later.zip")},
    ]
    path = list_of(tmp_path, *rows)
    options = ("--list", path, "--depositor", DEPOSITOR)

    preview = take_in(store, *options, "--check-only")
    assert preview.exit_code == 1
    assert "3 can be taken in, 1 refused" in preview.output
    assert not store.exists()

    done = take_in(store, *options, "--out", tmp_path / "report.csv")
    assert done.exit_code == 1, done.output
    assert "3 taken in, 1 refused" in done.output
    with open(tmp_path / "report.csv", newline="", encoding="utf-8") as stream:
        report = list(csv.DictReader(stream))
    assert [(one["line"], one["outcome"], one["accession"]) for one in report] == [
        ("2", "taken in", "2026.0001"),
        ("3", "refused", ""),
        ("4", "taken in", "2026.0002"),
        ("5", "taken in", "2026.0003"),
    ]
    assert "Wen Tolliver" in report[1]["letter"]
    assert "data/tables/site.csv" in report[1]["said"] or "site.csv" in report[1]["said"]
    assert Store(store).accession("2026.0003").follows == Store(store).accessions[0].act_id

    before = bytes_of(store)
    again = take_in(store, *options)
    assert "4 there already" in again.output
    assert bytes_of(store) == before

    for row, fault in (
        ({"bundle": "none.zip"}, "line 2, column 'bundle', 'none.zip'"),
        ({"bundle": "bag", "as": "present"}, "line 2, column 'as', 'present'"),
        ({"bundle": "bag", "colour": "red"}, "cannot have colour"),
        ({"bundle": "bag", "on": "1 May"}, "line 2, column 'on', '1 May'"),
        ({"bundle": "bag", "bag_only": "perhaps"}, "write yes or no"),
    ):
        result = take_in(store, "--list", list_of(tmp_path, row), "--depositor", DEPOSITOR)
        assert fault in refused(result)
        assert bytes_of(store) == before


def test_a_bag_of_others_is_kept_as_it_is_and_is_no_record(shelf: Path, tmp_path: Path) -> None:
    store, index = tmp_path / "store", tmp_path / "catalogue.sqlite"
    good, warned = a_bag(tmp_path / "good"), a_bag(tmp_path / "warned", algorithms=("md5",))
    holey, wrong = a_bag(tmp_path / "holey"), a_bag(tmp_path / "wrong")
    (holey / "data" / "plan.tif").unlink()
    (holey / "fetch.txt").write_text("https://example.org/plan.tif 4 data/plan.tif\n")
    (wrong / "data" / "plan.tif").write_bytes(b"PLAN")
    no_bag = tmp_path / "no_bag"
    no_bag.mkdir()
    for bag, word in (
        (holey, "incomplete"),
        (wrong, "not valid"),
        (no_bag, "not a bag"),
        (shelf / "bundle", "leave out --bag-only"),
    ):
        result = take_in(store, bag, "--bag-only", "--depositor", DEPOSITOR)
        assert result.exit_code, bag
        assert word in refused(result)
        assert "damaged" not in refused(result)
    assert not store.exists() or not Store(store).acts
    for bag in (good, warned):
        result = take_in(store, bag, "--bag-only", "--depositor", DEPOSITOR, "--donor", DONOR)
        assert result.exit_code == 0, result.output
        assert "it holds no treenail record" in result.output
    assert take_in(store, good, "--bag-only", "--depositor", DEPOSITOR).exit_code == 1
    first, second = Store(store).accessions
    assert bytes_of(store / first.kept_at) == bytes_of(good)
    assert valid_by_the_library(store / first.kept_at)
    assert (first.edition, first.record_id, first.payload != "") == ("", "", True)
    receipt = " ".join(PdfReader(store / second.receipt).pages[0].extract_text().split())
    assert "no treenail record" in receipt
    assert "MD5" in receipt

    audited = audit_place(store, index)
    assert audited.clean
    assert {one["verdict"] for one in audited.standing} == {"no record"}
    rows = find_in_catalogue(index, "bundles", Wanted(every=True)).to_dicts()
    assert {(row["accession"], row["edition"]) for row in rows} == {
        ("2026.0001", ""),
        ("2026.0002", ""),
    }
    split = run(
        "store", "split", store, tmp_path / "part", "--number", "2026.0002", "--reason", "a loan"
    )
    assert split.exit_code == 0, refused(split)
    assert set(Store(store).withdrawn) == {"2026.0002"}
    shutil.rmtree(store / second.kept_at)
    (store / first.kept_at / "data" / "plan.tif").write_bytes(b"lost")
    audited = audit_place(store, index, anew=True)
    assert audited.store is not None
    assert [(one.kind, one.number) for one in audited.store.open] == [("damaged", "2026.0001")]


def test_a_copy_gives_no_number_and_events_and_store_numbers_are_written(
    shelf: Path, tmp_path: Path
) -> None:
    store = tmp_path / "store"
    take_in(store, shelf / "bundle.zip", "--depositor", DEPOSITOR)
    shutil.copytree(store, tmp_path / "copy")
    result = take_in(tmp_path / "copy", shelf / "later.zip", "--depositor", DEPOSITOR)
    assert "is a copy of the store" in refused(result)
    assert len(Store(tmp_path / "copy").accessions) == 1
    assert "nothing to take over" in refused(run("store", "take-over", store))

    out = tmp_path / "numbers.csv"
    assert run("store", "numbers", store, "2026.0001", out).exit_code == 0
    with open(out, newline="", encoding="utf-8") as stream:
        numbers = {row["sample_id"]: row["store_number"] for row in csv.DictReader(stream)}
    (act,) = open_store(store).accessions
    assert numbers.keys() == open_store(store).card(act)["sample"].keys()
    assert sorted(numbers.values()) == [f"2026.0001/{n}" for n in range(1, len(numbers) + 1)]
    sample, number = next(iter(numbers.items()))
    labels = tmp_path / "labels.txt"
    labels.write_text(f"{compose_store_code(number)}\n", encoding="utf-8")
    said = ("custody", "handover", store, "seen", f"--scanned={labels}", "--place=Box 4", "--by=MB")
    result = run(*said)
    assert result.exit_code == 0, refused(result)
    assert [row["sample_id"] for row in open_store(store).ledger(act.record_id)][-1] == sample
    result = run(
        "catalogue", store, "--index", tmp_path / "c.sqlite", "--sample", compose_store_code(number)
    )
    assert result.exit_code == 0, result.output
    assert f"\n{sample} " in result.output

    assert run("store", "events", store, tmp_path / "events.csv").exit_code == 0
    with open(tmp_path / "events.csv", newline="", encoding="utf-8") as stream:
        (event,) = csv.DictReader(stream)
    assert (event["event_id"], event["object_id"]) == (act.act_id, "2026.0001")


def test_an_old_card_index_goes_all_the_way_into_a_store(tmp_path: Path) -> None:
    """Old numbers and site names stay as they are; what is of the store stays out of the record."""
    package, draft = tmp_path / "old", tmp_path / "draft.yaml"
    cards = Path(__file__).parent.parent / "intake" / "card_index.csv"
    assert run("new", package, "--title", "Old cards").exit_code == 0
    assert run("import", package, cards, "--draft", "--out", draft).exit_code == 0
    # what the cards do not say, a person answers
    answers = {
        "party_id": "OLD",
        "name": "not known",
        "collected_on": "1985~",
        "collected_by": "OLD",
        "laboratory_id": "OLD",
        "reported_on": "1990~",
        "happened_on": "2026-03-01",
    }
    lines = []
    for line in draft.read_text(encoding="utf-8").splitlines():
        field = line.split(":")[0].strip()
        is_open = '{constant: "?"}' in line
        lines.append(line.replace('"?"', f'"{answers[field]}"') if is_open else line)
    draft.write_text("\n".join(lines), encoding="utf-8")
    assert run("import", package, cards, "--mapping", draft).exit_code == 0
    bundle = tmp_path / "old-bundle.zip"
    assert "0 errors" in run("pack", package, "--zip", "--out", bundle).output

    store = tmp_path / "store"
    done = take_in(
        store, bundle, "--depositor", DEPOSITOR, "--as", "gift", "--donor", DONOR,
        "--previous-number", "AF-11", "--previous-number", "AF-12",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "Aunt Elspeth" not in "".join(
        path.read_text(encoding="utf-8") for path in (package / "tables").glob("*.csv")
    )
    index = tmp_path / "catalogue.sqlite"
    update_catalogue(store, index)
    found = find_in_catalogue(index, "holdings", Wanted(accession="AF-12")).to_dicts()
    assert [(row["sample_id"], row["site_id"], row["place"]) for row in found] == [
        ("FM.1", "Fenwick Moss (invented)", "Box B8, Shelf 3"),
        ("HR/1", "Hollin Reach (invented)", "Box B7, Shelf 3"),
        ("HR/2", "Hollin Reach (invented)", "Box B7, Shelf 3"),
    ]
    dated = find_in_catalogue(index, "samples", Wanted(from_year=1642, to_year=1642))
    assert list(dated["sample_id"]) == ["HR/1"]
