"""Loans and requests are listed and printed at any time from the ledgers."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from provenance._base.errors import UnusableInput
from provenance._cli import treenail
from provenance._collection.kept import Chosen
from provenance._collection.letters import (
    FORM,
    REMINDER,
    RETURNED,
    Letter,
    decision_letter,
    loan_letter,
    print_letter,
)
from provenance._collection.loans import (
    loan_named,
    loans_in,
    request_named,
    requests_of,
    samples_under,
)
from provenance._drawing.paper import paper_named
from provenance._store.store import Store
from tests.collection.stores import FIRST, SECOND, TODAY, a_store, act

ALL: Chosen = {FIRST: ["231", "232"], SECOND: ["233"]}
LENT = {"to_party_id": "ALD", "loan_due_on": "2026-05-01", "notes": "ring widths (invented)"}
ASKED = {"to_party_id": "ALD", "notes": "radiocarbon (invented)"}


def text_of(letter: Letter, folder: Path, paper: str = "a4") -> list[str]:
    """What each printed page says, on one line."""
    print_letter(letter, paper_named(paper), folder / "letter.pdf")
    pages = PdfReader(folder / "letter.pdf").pages
    return [" ".join(page.extract_text().split()) for page in pages]


def lent_and_partly_back(folder: Path) -> Store:
    store = a_store(folder)
    act(store, "loaned", ALL, "2026-03-02", **LENT)
    back = {(FIRST, "231"): "broken"}
    act(store, "taken_back", {FIRST: ["231"]}, "2026-03-09", states=back, place_held="B7")
    act(store, "lost", {FIRST: ["232"]}, "2026-03-10")
    return store


def test_a_loan_is_open_until_its_last_sample_is_back(tmp_path: Path) -> None:
    store = lent_and_partly_back(tmp_path)
    (loan,) = loans_in(store)
    assert (loan.lender, loan.borrower, loan.borrower_name) == (
        *("REPO", "ALD"),
        "Alder Ring Laboratory (invented)",
    )
    assert [one.label for one in loan.items] == ["HOLL-231-JV", "HOLL-232-JW", "MILL-233-NE"]
    assert [(one.sample_id, one.lost_on) for one in loan.out] == [
        ("232", "2026-03-10"),
        ("233", ""),
    ]
    for today, days, status in (
        ("2026-05-01", 0, "open"),
        ("2026-05-02", 1, "overdue"),
        (TODAY, 31, "overdue"),
    ):
        assert (loan.days_over(today), loan.status(today)) == (days, status), today
    assert samples_under(store, "L2026.001") == {FIRST: ["232"], SECOND: ["233"]}
    act(store, "found", {FIRST: ["232"]}, "2026-03-11")
    act(store, "taken_back", {FIRST: ["232"]}, "2026-03-12")
    act(store, "destroyed", {SECOND: ["233"]}, "2026-03-12", notes="fire (invented)")
    ended = loan_named(store, "L2026.001")
    assert ended.status(TODAY) == "ended"
    assert [(one.ended_by, one.ended_on, one.state) for one in ended.items] == [
        ("taken_back", "2026-03-09", "broken"),
        ("taken_back", "2026-03-12", "present"),
        ("destroyed", "2026-03-12", ""),
    ]
    # more time is the same loan
    act(store, "loaned", {FIRST: ["233"]}, "2026-03-12", **LENT)
    longer = {"reference": "L2026.002", "loan_due_on": "2026-09-01"}
    act(store, "loaned", samples_under(store, "L2026.002"), "2026-03-13", **longer)
    second = loan_named(store, "L2026.002")
    assert (second.due_on, len(second.items), second.status(TODAY)) == ("2026-09-01", 1, "open")
    act(store, "taken_back", {FIRST: ["233"]}, "2026-03-13")
    # lent again, it is another loan; the first one stays ended
    act(store, "loaned", {FIRST: ["231"]}, "2026-03-13", **LENT)
    assert [one.status("2026-03-14") for one in loans_in(store)] == ["ended", "ended", "open"]
    with pytest.raises(UnusableInput, match="no loan L2026"):
        loan_named(store, "L2026.009")


def test_two_loans_that_copies_gave_one_number_stay_two(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    act(store, "loaned", {FIRST: ["231"]}, "2026-03-02", **LENT)
    other = {"event": "loaned", "happened_on": "2026-03-03", "sample_id": "232"}
    other |= {"to_party_id": "MB", "loan_due_on": "2026-05-01", "reference": "L2026.001"}
    with store.writing(on=date(2026, 3, 3), recorded_on="2026-03-03T09:00:00Z") as writing:
        writing.add_events(SECOND, [other], "L2026.001")
    assert [(one.borrower, len(one.out)) for one in loans_in(store)] == [("ALD", 1), ("MB", 1)]
    with pytest.raises(UnusableInput, match="the number of 2 loans"):
        loan_named(store, "L2026.001")


def test_a_request_is_open_until_all_of_it_is_decided(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    number = act(store, "requested", ALL, "2026-03-02", **ASKED).reference
    said = {"reference": number, "from_party_id": "REPO"}
    act(store, "decided", {FIRST: ["231"]}, "2026-03-03", decision="granted", notes="half", **said)
    (asked,) = requests_of(store)
    assert (asked.decision, asked.asked_by, asked.purpose) == ("", "ALD", "radiocarbon (invented)")
    assert samples_under(store, number) == {FIRST: ["232"], SECOND: ["233"]}
    act(store, "decided", samples_under(store, number), "2026-03-04", decision="refused", **said)
    asked = request_named(store, number)
    assert (asked.decision, asked.conditions, asked.decided_on) == (
        *("granted in part", "half"),
        "2026-03-04",
    )
    assert [one.sample_id for one in asked.granted] == ["231"]
    (page,) = text_of(decision_letter(store, asked), tmp_path)
    for words in (
        "R2026.001",
        "granted in part",
        "HOLL-231-JV",
        "half",
        "signature",
        "granted here",
    ):
        assert words in page, words
    act(store, "requested", {FIRST: ["233"]}, "2026-03-05", **ASKED)
    (page,) = text_of(decision_letter(store, request_named(store, "R2026.002")), tmp_path)
    assert "not decided yet" in page
    assert "accepts" not in page


def test_every_paper_of_a_loan_says_what_it_is_for(tmp_path: Path) -> None:
    store = lent_and_partly_back(tmp_path)
    loan = loan_named(store, "L2026.001")
    said = {
        FORM: ("Loan L2026.001", "HOLL-231-JV", "MILL-233-NE", "no ink", "for the borrower"),
        RETURNED: ("1 sample came back", "broken", "2 of its samples are still out"),
        REMINDER: ("due back on 2026-05-01, 31 days ago", "HOLL-232-JW", "Fenwick Moss"),
    }
    for kind, words in said.items():
        (page,) = text_of(loan_letter(store, loan, kind, TODAY), tmp_path)
        for one in words:
            assert one in page, (kind, one, page)
    assert "HOLL-231-JV" not in page  # it is back, so nobody is reminded of it
    (early,) = text_of(loan_letter(store, loan, REMINDER, "2026-04-01"), tmp_path)
    assert "are due back on 2026-05-01" in early


def test_a_long_list_goes_on_under_its_heading(tmp_path: Path) -> None:
    rows = tuple((str(n), f"HOLL-{n}", "B1-014") for n in range(1, 101))
    columns = (("no.", 0.1), ("sample", 0.5), ("timber", 0.4))
    letter = Letter("Loan (invented)", (), ("said",), columns, rows, (), (("for the store", ""),))
    for paper in ("a4", "letter"):
        pages = text_of(letter, tmp_path, paper)
        for number, page in enumerate(pages, start=1):
            assert f"page {number} of {len(pages)}" in page
            assert ("timber" in page) == ("B1-014" in page), number
        assert sum(page.count("B1-014") for page in pages) == 100


def test_the_command_lists_and_prints(tmp_path: Path) -> None:
    store = lent_and_partly_back(tmp_path)
    act(store, "requested", {FIRST: ["231"]}, "2026-03-12", **ASKED)

    def run(*words: object):
        return CliRunner().invoke(treenail, ["store", "loans", str(store.folder), *map(str, words)])

    listed = run()
    assert listed.exit_code == 1  # overdue since 2026-05-01
    for words in ("L2026.001", "OVERDUE by", "2 of 3 samples out", "reported lost", "R2026.001"):
        assert words in listed.output, words
    rows = json.loads(run("--format", "json").output)
    assert [row["status"] for row in rows] == ["overdue", "open"]
    assert "2026.0001: 232; 2026.0002: 233" in run("--format", "csv").output
    out = tmp_path / "form.pdf"
    assert run("--print", "L2026.001", "--paper", "letter", "--out", out).exit_code == 0
    assert "Loan L2026.001" in PdfReader(out).pages[0].extract_text()
    assert isinstance(run("--print", "L2026.007").exception, UnusableInput)
    assert run("--out", out).exit_code == 2
