"""Yearly figures, against a count that goes through every day of the years."""

import json
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._collection.year import count_years, years_text
from provenance._store.store import Store
from tests.collection.conftest import OWN, event, take_in, write_on

LAB = "MBD"


def test_what_came_went_and_was_asked_is_counted_by_the_year(store, csv_file):
    take_in(
        store,
        "2026.0001",
        "2026-04-02",
        "a" * 24,
        "HOLL",
        [
            event("collected", "2025-06-03", "1", to_party_id="CREW"),
            event("collected", "2025-06-03", "2", to_party_id="CREW"),
            event("deposited", "2026-04-02", "1", to_party_id=OWN),
            event("deposited", "2026-04-02", "2", to_party_id=OWN),
            event("loaned", "2026-09-01", "1", to_party_id=LAB, loan_due_on="2026-12-01"),
            event("taken_back", "2027-02-01", "1"),
            event("requested", "2027-03-01", "2"),
            event("destroyed", "2027-05-01", "2"),
        ],
    )
    with write_on(store, "2027-03-01") as writing:
        asked = {"enquiry_id": "1", "asked_on": "2027-02-01", "about": "where 203 is"}
        writing.put_rows("enquiry", [asked | {"answered_on": "2027-02-03"}])
    years = {row["year"]: row for row in count_years(store, 2027).rows()}
    assert list(years) == [2026, 2027]
    named = ("samples_in", "samples_out", "samples_held", "loaned", "taken_back", "on_loan")
    assert [years[2026][name] for name in named] == [2, 0, 2, 1, 0, 1]
    assert [years[2027][name] for name in named] == [0, 1, 1, 0, 1, 0]
    assert [(y["overdue"], y["requests"], y["answered"]) for y in years.values()] == [
        (1, 0, 0),
        (0, 1, 1),
    ]
    assert [y["records_held"] for y in years.values()] == [1, 1]
    page = years_text(count_years(store, 2027), "store", date(2027, 6, 1), "html")
    assert "samples on loan at the end of the year" in page
    assert json.loads(years_text(count_years(store, 2027), "", date(2027, 6, 1), "json"))


_DAYS = st.integers(0, 1400)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(_DAYS, st.sampled_from("abc"), st.sampled_from("DLBG")), max_size=12))
def test_figures_agree_with_a_count_day_by_day(tmp_path_factory, acts):
    """D deposited, L loaned, B taken back, G gone: only what can follow is recorded."""
    folder = tmp_path_factory.mktemp("years") / "store"
    folder.mkdir()
    (folder / "repository.yaml").write_text(
        f"name: Invented store\nparty_id: {OWN}\nnumber_pattern: '{{year}}.{{serial}}'\n"
    )
    where: dict[str, str] = {}
    events, states = [], []
    for day, sample, act in sorted(acts):
        now = where.get(sample, "")
        then = {("D", ""): "in", ("L", "in"): "out", ("B", "out"): "in", ("G", "in"): "gone"}
        if (act, now) not in then:
            continue
        where[sample] = then[act, now]
        on = (date(2026, 1, 1) + timedelta(days=day)).isoformat()
        kind = {"D": "deposited", "L": "loaned", "B": "taken_back", "G": "lost"}[act]
        to = {"D": OWN, "L": LAB}.get(act, "")
        events.append(event(kind, on, sample, to_party_id=to, loan_due_on=on if act == "L" else ""))
        states.append((on, dict(where)))
    store = Store(folder)
    take_in(store, "2026.1", "2026-01-01", "b" * 24, "HOLL", events)
    for row in count_years(store, 2029).rows():
        at_end = [state for on, state in states if on <= f"{row['year']}-12-31"] or [{}]
        standing = list(at_end[-1].values())
        assert row["samples_held"] == sum(one in ("in", "out") for one in standing)
        assert row["on_loan"] == standing.count("out")
