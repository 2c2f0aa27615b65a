"""A store records moves, loans and requests by the rules of every custody ledger."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from provenance._collection.kept import (
    Chosen,
    kept_record,
    kept_records,
    records_scanned,
    scanned_in_store,
    select_in_store,
)
from provenance._collection.recording import place_in
from provenance._identity.check_character import check_character, check_letters
from provenance._identity.payload import compose_code, compose_inside
from provenance._ledger.custody import verify_events
from provenance._ledger.holdings import Holding
from provenance._store.acts import first_fault
from provenance._store.store import Store, open_store
from tests.collection.stores import FIRST, SAMPLES, SECOND, a_store, act

ONE: Chosen = {FIRST: ["231"]}
LENT = {"to_party_id": "ALD", "loan_due_on": "2026-05-01"}


def holding(store: Store, sample: str, record: str = FIRST) -> Holding:
    return kept_record(store, record).holdings[sample]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


def test_one_act_of_many_records_is_one_act(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    both: Chosen = {FIRST: ["231", "232"], SECOND: ["233"]}
    act(store, "stored", both, "2026-03-02", place_held="B7")
    done = act(store, "loaned", both, "2026-03-03", **LENT)
    assert done.reference == "L2026.001"
    again = open_store(store.folder)
    assert first_fault(again.acts) == ""
    for record, samples in both.items():
        assert not verify_events(again.ledger(record))
        for one in samples:
            now = holding(again, one, record)
            assert (now.holder, now.lender, now.due_on, now.loan, now.place_held) == (
                *("ALD", "REPO", "2026-05-01", "L2026.001"),
                "",
            ), one
    # 231 was collected under another number, which the card knows
    assert [row["sample_id"] for row in again.ledger(FIRST)][:1] == ["213"]
    before = {record: again.ledger(record) for record in both}
    with pytest.raises(TreenailError, match=r"2026\.0001, sample 231 is on loan to ALD"):
        act(store, "loaned", {SECOND: ["232"], FIRST: ["231"]}, "2026-03-04", **LENT)
    assert {record: open_store(store.folder).ledger(record) for record in both} == before
    assert act(store, "loaned", {SECOND: ["232"]}, "2026-03-04", **LENT).reference == "L2026.002"


def ready(store: Store) -> None:
    """Sample 231 lies in B7, 232 is on loan, 233 is lost; R2026.001 asks for 231 and 233."""
    act(store, "stored", ONE, "2026-03-02", place_held="B7")
    asked = {"to_party_id": "ALD", "notes": "radiocarbon (invented)"}
    act(store, "requested", {FIRST: ["231", "233"]}, "2026-03-03", **asked)
    act(store, "loaned", {FIRST: ["232"]}, "2026-03-03", **LENT)
    act(store, "lost", {FIRST: ["233"]}, "2026-03-03")


WOULD_BE: dict[str, tuple[str, str, str, dict[str, Any], str]] = {
    # name: (event, sample, day, what else is said, the refusal)
    "after today": ("seen", "231", "2026-06-03", {}, "2026-06-03 is still to come"),
    "before the last": ("seen", "231", "2026-03-01", {}, "is before its last event"),
    "no date": ("seen", "231", "soon", {}, "'soon' is not a date"),
    "no event": ("eaten", "231", "2026-04-01", {}, "'eaten' is not one of"),
    "no sample": ("seen", "999", "2026-04-01", {}, "the record 2026.0001 has no 999"),
    "no place": ("stored", "231", "2026-04-01", {}, "say where it is put"),
    "place of a loan": ("stored", "232", "2026-04-01", {"place_held": "B7"}, "on loan to ALD"),
    "strange party": ("loaned", "231", "2026-04-01", LENT | {"to_party_id": "XX"}, "has no XX"),
    "no due day": ("loaned", "231", "2026-04-01", {"to_party_id": "ALD"}, "until when it is lent"),
    "due before": (
        *("loaned", "231", "2026-05-02", LENT),
        "would be due back on 2026-05-01, before it is lent",
    ),
    "own number": ("loaned", "231", "2026-04-01", LENT | {"reference": "L1"}, "the store gives"),
    "lent on": ("handed_over", "232", "2026-04-01", {"to_party_id": "MB2"}, "has no MB2"),
    "lent away": ("handed_over", "232", "2026-04-01", {"to_party_id": "KIN"}, "is on loan to ALD"),
    "not lent": ("taken_back", "231", "2026-04-01", {}, "is not on loan"),
    "other loan": (
        *("taken_back", "232", "2026-04-01", {"reference": "L2026.009"}),
        "is out on loan L2026.001, not L2026.009",
    ),
    "lost": ("stored", "233", "2026-04-01", {"place_held": "B7"}, "is lost since 2026-03-03"),
    "not lost": ("found", "231", "2026-04-01", {}, "is not recorded as lost"),
    "known here": (
        *("found_in_collection", "231", "2026-04-01", {"to_party_id": "REPO"}),
        "is with REPO already",
    ),
    "no purpose": ("requested", "231", "2026-04-01", {"to_party_id": "ALD"}, "what for with"),
    "not asked": (
        *("decided", "231", "2026-04-01", {"reference": "R2026.009", "decision": "granted"}),
        "is not in a request R2026.009",
    ),
    "no decision": ("decided", "231", "2026-04-01", {"reference": "R2026.001"}, "granted or ref"),
    "strange decision": (
        *("decided", "231", "2026-04-01", {"reference": "R2026.001", "decision": "perhaps"}),
        "'perhaps' is not one of granted, refused",
    ),
    "not granted": (
        *("destroyed", "231", "2026-04-01", {"reference": "R2026.001"}),
        "is not decided yet",
    ),
    "other sample": (
        *("destroyed", "231", "2026-04-01", {"reference": "R2026.009"}),
        "not about this sample",
    ),
    "no reason": ("destroyed", "231", "2026-04-01", {}, "say why with --reason"),
    "deaccessioned": ("deaccessioned", "231", "2026-04-01", {}, "say why with --reason"),
    "two names": (
        *("loaned", "231", "2026-04-01", LENT | {"to_party_id": "MB"}),
        "'Morris Bell (invented)' in the store and 'Mara Birkwood (invented)' in the record",
    ),
    "no parcel": (
        *("packed", "231", "2026-04-01", {"consignment_id": "C-9"}),
        "has no consignment 'C-9'",
    ),
    "taken number": (
        *("sub_sampled", "231", "2026-04-01", {"parts": {(FIRST, "231"): "240"}}),
        "240 stood for something",
    ),
    "unpunchable": (
        *("sub_sampled", "231", "2026-04-01", {"parts": {(FIRST, "231"): "231-b"}}),
        "at most 8 capitals and digits",
    ),
    "nothing to correct": ("seen", "231", "2026-04-01", {"corrects": "99"}, "no event 99"),
}


def test_what_cannot_be_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    kin = {"party_id": "KIN", "kind": "person", "name": "Kin Alder (invented)"}
    store = a_store(tmp_path)
    with_kin = [*store.rows("party"), kin]
    with store.writing(on=date(2026, 3, 1), recorded_on="2026-03-01T09:00:00Z") as writing:
        writing.put_rows("party", with_kin)
    ready(store)
    before = (store.folder / "register.csv").read_bytes()
    for name, (event, sample, day, said, why) in WOULD_BE.items():
        with pytest.raises(TreenailError) as refused:
            act(store, event, {FIRST: [sample]}, day, **said)
        assert why in str(refused.value), (name, str(refused.value))
    for nothing in ({}, {FIRST: []}):
        with pytest.raises(TreenailError, match="at least one sample"):
            act(store, "requested", nothing, "2026-04-01", to_party_id="ALD", notes="x")
    assert (store.folder / "register.csv").read_bytes() == before


def test_the_store_has_what_it_lends_or_says_that_it_does_not(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    away = {"to_party_id": "ALD"}
    act(store, "handed_over", ONE, "2026-03-02", **away)
    act(store, "received", ONE, "2026-03-03")
    with pytest.raises(TreenailError, match="is with ALD by its ledger, not with REPO"):
        act(store, "stored", ONE, "2026-03-04", place_held="B7")


def test_what_a_borrower_lost_and_found_is_still_on_loan(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    act(store, "loaned", ONE, "2026-03-02", **LENT)
    act(store, "lost", ONE, "2026-03-03")
    assert (holding(store, "231").gone, holding(store, "231").loan) == ("lost", "L2026.001")
    act(store, "found", ONE, "2026-03-04")
    now = holding(store, "231")
    assert (now.holder, now.lender, now.due_on) == ("ALD", "REPO", "2026-05-01")
    act(store, "taken_back", ONE, "2026-03-05", states={(FIRST, "231"): "broken"}, place_held="B7")
    now = holding(store, "231")
    assert (now.holder, now.lender, now.place_held, now.state) == ("REPO", "", "B7", "broken")
    assert store.ledger(FIRST)[-1]["reference"] == "L2026.001"


def test_a_part_has_a_number_that_nothing_had(tmp_path: Path) -> None:
    """Neither another sample's, nor one that reads as its sample's with a check letter."""
    store = a_store(tmp_path)
    act(store, "stored", ONE, "2026-03-02", place_held="B7")
    given = []
    for _ in range(9):
        done = act(store, "sub_sampled", ONE, "2026-03-03")
        given += [one.sample_id for one in done.events[FIRST] if one.parent_sample_id]
    assert given[0] == "231A"
    assert f"231{check_character('HOLL-231')}" in {"231H"} - set(given)
    kept = kept_record(store, FIRST)
    assert len(set(given)) == 9
    assert not set(given) & {*SAMPLES, "213", "240", f"231{check_letters('HOLL-231')}"}
    assert {kept.names.sample(one).sample_id for one in given} == set(given)
    now = kept.holdings["231A"]
    assert (now.holder, now.place_held) == ("REPO", "B7")
    # a part of a part is one too
    done = act(store, "sub_sampled", {FIRST: ["231A"]}, "2026-03-04")
    assert done.events[FIRST][1].parent_sample_id == "231A"


def test_a_request_is_decided_before_a_sample_is_used_up(tmp_path: Path) -> None:
    store = a_store(tmp_path)
    asked = {"to_party_id": "ALD", "notes": "radiocarbon (invented)"}
    two: Chosen = {FIRST: ["231", "232"]}
    number = act(store, "requested", two, "2026-03-03", **asked).reference
    said = {"reference": number, "from_party_id": "REPO"}
    act(store, "decided", ONE, "2026-03-04", decision="granted", notes="keep half", **said)
    act(store, "decided", {FIRST: ["232"]}, "2026-03-04", decision="refused", **said)
    act(store, "destroyed", ONE, "2026-03-05", reference=number)
    with pytest.raises(TreenailError, match=rf"request {number} is refused"):
        act(store, "destroyed", {FIRST: ["232"]}, "2026-03-05", reference=number)
    act(store, "destroyed", {FIRST: ["232"]}, "2026-03-05", notes="beetles (invented)")
    assert {holding(store, one).gone for one in ("231", "232")} == {"destroyed"}


def test_samples_of_several_records_are_named_as_on_their_labels(tmp_path: Path) -> None:
    places = [{"place_id": "BOX-7", "kind": "box", "within": "", "name": ""}]
    store = a_store(tmp_path, place=places)
    act(store, "stored", {FIRST: ["232", "233"]}, "2026-03-02", place_held="box 7")
    assert holding(store, "232").place_held == "BOX-7"
    assert place_in(store, compose_inside("HOLL", "BOX-7")) == "BOX-7"
    with pytest.raises(TreenailError, match=r"no place 'BOX-8'; did you mean 'BOX-7'\?"):
        place_in(store, "BOX-8")
    every = kept_records(store, ["2026.0001", "2026.0002"])
    cases: dict[str, Chosen] = {
        compose_code("HOLL", "231"): ONE,
        "HOLL-213-" + check_letters("HOLL-213"): ONE,
        f"{compose_code('MILL', '232')}\n{compose_code('HOLL', '232')}": {
            SECOND: ["232"],
            FIRST: ["232"],
        },
        compose_inside("HOLL", "BOX-7"): {FIRST: ["232", "233"]},
    }
    for lines, meant in cases.items():
        assert scanned_in_store(every, lines) == meant, lines
    for lines, why in {
        "231": r"could be of 2026\.0001 or 2026\.0002",
        "HOLL-231-XX": "does not fit its check",
        "FENN-231-AA": r"names no sample of 2026\.0001, 2026\.0002",
    }.items():
        with pytest.raises(TreenailError, match=why):
            scanned_in_store(every, lines)
    two = ["2026.0001", "2026.0002"]
    for line, meant in {compose_code("MILL", "231"): two[1:], "231": two}.items():
        found = records_scanned(store, [], line)
        assert [one.accession.number for one in found] == meant, line
    assert select_in_store(store, [], "2026.0001:231,232-233;2026.0002:all") == {
        FIRST: ["231", "232", "233"],
        SECOND: ["231", "232", "233"],
    }
    assert select_in_store(store, two, "all") == {FIRST: [*SAMPLES], SECOND: [*SAMPLES]}
    for named, text, why in (
        ([], "231", "does not say of which record"),
        (two, "231", "could be samples of 2 records"),
        (["2026.0009"], "231", "no accession"),
    ):
        with pytest.raises(TreenailError, match=why):
            select_in_store(store, named, text)


def test_the_command_takes_a_store(tmp_path: Path) -> None:
    store = a_store(tmp_path).folder
    more = ("--on", "2026-03-02")
    done = run(
        "custody", "handover", store, "stored", "--samples", "2026.0001:231", "--place", "B7", *more
    )
    assert done.exit_code == 0, done.output
    done = run(
        *("custody", "handover", store, "on loan", "--record", "2026.0001", "--samples", "all"),
        *("--to", "ALD", "--due", "2026-05-01", *more),
    )
    assert "L2026.001" in done.output
    back = run(
        "custody", "handover", store, "taken_back", "--reference=L2026.001", "--state=232=broken"
    )
    assert "Back from loan: 231, 232 (broken), 233" in back.output
    part = run(
        "custody", "handover", store, "sub_sampled", "--record", "2026.0001", "--samples", "231"
    )
    assert "part of 231: 231A" in part.output
    assert run("custody", "handover", store, "seen").exit_code != 0


# -- against a plain model -----------------------------------------------------------------------

_EVENTS = ("stored", "loaned", "taken_back", "lost", "found", "destroyed", "seen", "deaccessioned")
_ACTS = st.lists(
    st.tuples(
        st.sampled_from(_EVENTS),
        st.sets(st.sampled_from(SAMPLES), min_size=1),
        st.sampled_from(("ALD", "REPO")),
        st.sampled_from(("B7", "B8")),
    ),
    max_size=10,
)


class Model:
    """Where one sample is, said again in few words: (holder, place, lent, gone)."""

    def __init__(self) -> None:
        self.holder, self.place, self.lent, self.gone = "REPO", "", False, ""

    def may(self, event: str, to: str) -> bool:
        if self.gone:
            return event == "found" and self.gone == "lost"
        if event == "stored":
            return not self.lent and self.holder == "REPO"
        if event == "loaned":
            return not self.lent and self.holder == "REPO" and to != self.holder
        if event == "taken_back":
            return self.lent
        if event in ("seen", "deaccessioned"):
            return self.lent or self.holder == "REPO"
        return event != "found"

    def do(self, event: str, to: str, place: str) -> None:
        if event == "stored":
            self.place = place
        elif event == "loaned":
            self.holder, self.place, self.lent = to, "", True
        elif event == "taken_back":
            self.holder, self.place, self.lent = "REPO", place, False
        elif event == "found":
            self.gone, self.place = "", place
        elif event in ("lost", "destroyed", "deaccessioned"):
            self.gone, self.place = event, ""
            self.lent = self.lent and event == "lost"
        elif event == "seen":
            self.place = place


@settings(max_examples=20)
@given(_ACTS)
def test_holder_place_and_loan_are_those_of_a_plain_model(
    tmp_path_factory: pytest.TempPathFactory, acts: list[tuple[str, set[str], str, str]]
) -> None:
    store = a_store(tmp_path_factory.mktemp("model"))
    model = {one: Model() for one in SAMPLES}
    for event, samples, to, place in acts:
        said: dict[str, Any] = {"notes": "a reason (invented)"}
        if event == "loaned":
            said |= {"to_party_id": to, "loan_due_on": "2026-05-01"}
        elif event in ("stored", "taken_back", "found", "seen"):
            said |= {"place_held": place}
        before = [row["event_sha256"] for row in store.ledger(FIRST)]
        may = all(model[one].may(event, to) for one in samples)
        try:
            act(store, event, {FIRST: sorted(samples)}, "2026-04-01", **said)
        except TreenailError:
            assert not may, (event, samples)
            assert [row["event_sha256"] for row in store.ledger(FIRST)] == before
            continue
        assert may, (event, samples)
        for one in samples:
            model[one].do(event, to, place)
        for one, mine in model.items():
            now = holding(store, one)
            here = (now.holder if not now.gone else "", now.place_held, bool(now.lender), now.gone)
            assert here == (
                mine.holder if not mine.gone else "",
                *(mine.place, mine.lent, mine.gone),
            ), one
