"""The register, the ledgers and the tables of a store, as files that are written together."""

import dataclasses
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._ledger.branches import heads_of
from provenance._ledger.custody import verify_events
from provenance._store.acts import Act, ends_of, first_fault, joined_acts, sealed_act
from provenance._store.store import Store, is_store, open_store
from provenance._store.tables import store_table

DAY = {"on": date(2026, 3, 1), "recorded_on": "2026-03-01T09:00:00Z", "by": "Wen Tolliver"}
RECORD = "ab" * 12


def test_an_act_has_the_columns_of_the_register():
    assert sorted(one.name for one in dataclasses.fields(Act)) == sorted(
        store_table("register").columns
    )


def test_what_is_written_together_is_read_again(tmp_path):
    store = Store(tmp_path / "store")
    with store.writing(**DAY) as writing:
        writing.add("accession", number="2026.0001", record_id=RECORD, kept_at="2026.0001/a.zip")
        collected = {"event": "collected", "happened_on": "2025-06-03", "sample_id": "1"}
        writing.add_events(RECORD, [collected, collected | {"sample_id": "2"}])
        writing.put_rows("place", [{"place_id": "B7", "kind": "box", "name": "=1+1"}])
    again = open_store(tmp_path / "store")
    assert [act.kind for act in again.acts] == ["opened", "accession", "ledger", "wrote"]
    assert first_fault(again.acts) == ""
    assert len(ends_of(again.acts)) == 1
    ledger = again.ledger(RECORD)
    assert not verify_events(ledger)
    assert [(head.seal, head.count) for head in heads_of(ledger)] == [(again.acts[2].heads, 2)]
    assert again.rows("place")[0]["name"] == "'=1+1"
    with pytest.raises(UnusableInput, match=r"no accession 2026\.0002"):
        again.accession("2026.0002")


def test_a_card_gives_back_the_numbers_that_it_was_written_of(tmp_path):
    numbers = {"sample": {"-A1": "=E1", "201": "E1"}, "element": {"=E1": "HOLL", "E1": "@FEN"}}
    store = Store(tmp_path / "store")
    with store.writing(**DAY) as writing:
        act = writing.add("accession", number="2026.0001", kept_at="2026.0001/a.zip")
        writing.put_card(act, numbers)
    assert store.card(act) == numbers


def test_nothing_is_written_when_the_block_fails(tmp_path):
    store = Store(tmp_path / "store")
    broken = {"event": "stored", "event_sha256": "0"}

    def write() -> None:
        with store.writing(**DAY) as writing:
            writing.put_rows("place", [{"place_id": "B7", "kind": "box"}])
            writing.put_ledger(RECORD, [broken | {"custody_id": "1", "previous_sha256": ""}])

    with pytest.raises(UnusableInput, match="cannot be kept"):
        write()
    assert not is_store(tmp_path / "store")
    assert not (tmp_path / "store" / "place.csv").exists()


def test_a_table_with_a_word_that_is_none_is_refused_by_line_and_column(tmp_path):
    (tmp_path / "store.json").write_text('{"store_id": "x"}')
    (tmp_path / "place.csv").write_text("place_id,within,kind,name,notes\nB7,,boxx,,\n")
    with pytest.raises(UnusableInput, match=r"place.csv, line 2, column 'kind': 'boxx'"):
        open_store(tmp_path).rows("place")


_TEXTS = st.text(max_size=12)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(_TEXTS, _TEXTS), min_size=1, max_size=8), st.data())
def test_no_line_of_a_register_can_be_changed_dropped_or_moved_unnoticed(said, data):
    acts: list[Act] = []
    for by, reason in said:
        plain = Act(kind="settled", happened_on="2026-03-01", recorded_on="", by=by, reason=reason)
        acts.append(sealed_act(ends_of(acts), plain))
    assert first_fault(acts) == ""
    place = data.draw(st.integers(0, len(acts) - 1))
    changed = dataclasses.replace(acts[place], reason=acts[place].reason + "x")
    assert "changed" in first_fault([*acts[:place], changed, *acts[place + 1 :]])
    if place < len(acts) - 1:
        assert first_fault([*acts[:place], *acts[place + 1 :]])
        assert first_fault([*acts[:place], acts[place + 1], acts[place], *acts[place + 2 :]])
    assert joined_acts(acts[: place + 1], acts) == acts
