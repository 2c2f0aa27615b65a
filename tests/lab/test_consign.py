"""A parcel for the laboratory: refused whole or made up whole, with its list and its form."""

from __future__ import annotations

import openpyxl
import pytest
from click.testing import CliRunner

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from provenance._lab.consign import consign_samples, parcel_list, write_results_form
from provenance._ledger.handover import Refused, record_events
from provenance._ledger.holdings import holdings_frame
from tests.builders import a_package

WHEN = {"packed_on": "2024-06-15", "recorded_on": "2024-07-15"}


@pytest.fixture
def package(tmp_path):
    builder = a_package(tmp_path).with_chain()
    for number in ("232", "233", "234"):
        builder.with_row("sample", sample_id=number)
    package = builder.package
    for sample, holder in (("231", "MB"), ("232", "MB"), ("233", "OWN")):
        record_events(
            package,
            "collected",
            [sample],
            happened_on="2024-06-04",
            recorded_on="2024-06-04",
            to_party_id=holder,
        )
    return package


def test_a_parcel_has_its_row_its_events_and_its_count(package) -> None:
    parcel = consign_samples(package, ["232", "231"], to_party_id="LAB", **WHEN)
    assert parcel.consignment_id == "C-2024-1"
    row = package.table("consignment").iloc[0]
    assert (row["from_party_id"], row["to_party_id"], row["sample_count"]) == ("MB", "LAB", "2")
    frame = holdings_frame(package).set_index("sample_id")
    assert frame.loc["232", "consignment_id"] == "C-2024-1"
    assert frame.loc["232", "holder"] == "MB"


def test_the_next_parcel_has_the_next_number(package) -> None:
    consign_samples(package, ["231"], to_party_id="LAB", **WHEN)
    assert consign_samples(package, ["232"], to_party_id="LAB", **WHEN).consignment_id == "C-2024-2"


@pytest.mark.parametrize(
    ("samples", "options", "says"),
    [
        (["231", "233"], {}, "with MB, OWN; a parcel has one sender"),
        (["234"], {}, "with no one"),
        (["231"], {"to_party_id": "NOBODY"}, "has no NOBODY"),
        (["231"], {"purpose": "lunch"}, "'lunch' is not a purpose"),
        (["231", "999"], {"from_party_id": "MB"}, "has no 999"),
    ],
)
def test_what_cannot_be_leaves_no_parcel_behind(package, samples, options, says) -> None:
    with pytest.raises(TreenailError, match=says):
        consign_samples(package, samples, **({"to_party_id": "LAB"} | WHEN | options))
    assert package.table("consignment").empty


def test_a_refusal_of_the_ledger_leaves_no_parcel_behind(package) -> None:
    with pytest.raises(Refused, match="before its last event"):
        consign_samples(
            package, ["231"], to_party_id="LAB", packed_on="2024-01-01", recorded_on="2024-01-01"
        )
    assert package.table("consignment").empty


def test_the_list_tells_the_laboratory_of_the_wood_and_not_of_the_place(package) -> None:
    consign_samples(package, ["232", "231"], to_party_id="LAB", **WHEN)
    listed = parcel_list(package, "C-2024-1")
    assert list(listed["sample_id"]) == ["232", "231"]
    assert list(listed["function"]) == ["beam", "beam"]
    sensitive = {
        one.name
        for table in ("sample", "element")
        for one in package.model.table(table).fields
        if one.sensitivity != "open"
    }
    assert not sensitive & set(listed.columns)


def test_the_form_is_filled_in_as_far_as_the_crew_knows(package, tmp_path) -> None:
    consign_samples(package, ["231", "232"], to_party_id="LAB", **WHEN)
    path = write_results_form(package, "C-2024-1", tmp_path / "form.xlsx")
    book = openpyxl.load_workbook(path)
    sheet = book["Laboratory results"]
    names = [one.name for one in package.model.table("lab_result").form_fields()]
    lines = [
        dict(zip(names, (c.value for c in row), strict=False)) for row in sheet.iter_rows(3, 4)
    ]
    assert [line["sample_id"] for line in lines] == ["231", "232"]
    assert {line["laboratory_id"] for line in lines} == {"LAB"}
    assert "Samples" not in book.sheetnames


def test_the_form_speaks_to_a_laboratory_not_to_a_crew(package, tmp_path) -> None:
    consign_samples(package, ["231"], to_party_id="LAB", **WHEN)
    book = openpyxl.load_workbook(
        write_results_form(package, "C-2024-1", tmp_path / "results.xlsx")
    )
    told = "\n".join(str(cell.value) for row in book.worksheets[0] for cell in row if cell.value)
    assert told.startswith("How to fill this in: Results for C-2024-1")
    assert "treenail results import" in told
    assert "Send it back" in told
    assert "treenail import" not in told
    assert "Safety and care" not in told


def test_a_parcel_that_is_not_there_has_no_form(package, tmp_path) -> None:
    with pytest.raises(TreenailError, match="no consignment 'C-9'"):
        write_results_form(package, "C-9", tmp_path / "form.xlsx")


def test_what_lies_packed_is_not_packed_into_a_second_parcel(package) -> None:
    """Made up twice by mistake, a parcel would be missed for ever."""
    consign_samples(package, ["231", "232"], to_party_id="LAB", **WHEN)
    with pytest.raises(TreenailError, match="already packed: 231 in C-2024-1"):
        consign_samples(package, ["231"], to_party_id="LAB", **WHEN)
    assert len(package.table("consignment")) == 1
    record_events(package, "stored", ["231"], happened_on="2024-06-16", recorded_on="2024-06-16")
    again = {**WHEN, "packed_on": "2024-06-17"}
    assert consign_samples(package, ["231"], to_party_id="LAB", **again).consignment_id


@pytest.mark.parametrize("due_on", ["soon", "2024-06-01"])
def test_an_answer_is_asked_for_by_a_day_after_the_packing(package, due_on) -> None:
    with pytest.raises(TreenailError, match=due_on):
        consign_samples(package, ["231"], to_party_id="LAB", due_on=due_on, **WHEN)
    assert package.table("consignment").empty


def test_a_parcel_whose_papers_cannot_be_written_is_not_made_up(package, tmp_path) -> None:
    (tmp_path / "taken").write_text("a file, not a folder")
    line = ["custody", "consign", str(package.folder), "--samples", "231", "--to", "LAB", "--out"]
    for out, trouble in (("taken", SystemExit), ("taken/inside", OSError)):
        told = CliRunner().invoke(treenail, [*line, str(tmp_path / out)])
        assert isinstance(told.exception, trouble)
        assert told.exit_code != 0
    assert package.table("consignment").empty
    assert "packed" not in set(package.table("custody")["event"])


def test_the_papers_of_a_parcel_are_written_again_and_nothing_is_recorded(
    package, tmp_path
) -> None:
    line = ["custody", "consign", str(package.folder)]
    made = [*line, "--samples", "231,232", "--to", "LAB", "--on", "2024-06-15"]
    assert CliRunner().invoke(treenail, [*made, "--out", str(tmp_path / "1")]).exit_code == 0
    ledger = package.table("custody")
    again = [*line, "--again", "C-2024-1", "--out", str(tmp_path / "2")]
    assert CliRunner().invoke(treenail, again).exit_code == 0
    for name in ("C-2024-1-list.csv", "C-2024-1-results.xlsx"):
        assert (tmp_path / "1" / name).read_bytes() == (tmp_path / "2" / name).read_bytes()
    assert package.table("custody").equals(ledger)
    assert len(package.table("consignment")) == 1


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--again", "C-2024-9"], "there is no consignment 'C-2024-9'; there are none"),
        (["--again", "C-2024-1", "--to", "LAB"], "leave --samples, --to out"),
        (["--samples", "231"], "--samples and --to"),
    ],
)
def test_a_parcel_is_made_up_or_written_again_not_both(package, options, says) -> None:
    told = CliRunner().invoke(treenail, ["custody", "consign", str(package.folder), *options])
    assert told.exit_code != 0
    assert says in (told.output + str(told.exception))


def test_what_was_taken_out_before_the_parcel_left_is_not_in_it(package, tmp_path) -> None:
    """The tube turns out to be cracked: it goes back to the shelf, and with the next parcel."""
    consign_samples(package, ["231", "232"], to_party_id="LAB", **WHEN)
    on = {"happened_on": "2024-06-16", "recorded_on": "2024-07-16"}
    record_events(package, "stored", ["231"], place_held="Shelf 2", **on)
    consign_samples(package, ["231"], to_party_id="LAB", **(WHEN | {"packed_on": "2024-06-17"}))
    assert list(parcel_list(package, "C-2024-1")["sample_id"]) == ["232"]
    assert list(parcel_list(package, "C-2024-2")["sample_id"]) == ["231"]

    sent = on | {"happened_on": "2024-06-18"}
    parcel = {"consignment_id": "C-2024-1", "to_party_id": "LAB"}
    record_events(package, "handed_over", ["232"], **parcel, **sent)
    record_events(package, "received", ["232"], **parcel, **sent)
    record_events(package, "stored", ["232"], place_held="Drawer 1", **sent)
    assert list(parcel_list(package, "C-2024-1")["sample_id"]) == ["232"]
