"""Ledgers of copies are joined by one event, and nothing that was sealed is sealed anew."""

from __future__ import annotations

import random

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._compare.compare import _compare_ledger
from provenance._ledger.branches import covered_by, heads_of
from provenance._ledger.custody import sealed, verify_events
from provenance._ledger.joining import joined_ledgers
from provenance._ledger.seals import BEFORE, BODY, FILLED_IN, KEY_ID, body_hash, event_hash
from provenance._model.profile import load_model
from provenance._record.reading import FIRST_ROW

COLUMNS = load_model("blank").table("custody").names
OLD_COLUMNS = tuple(name for name in COLUMNS if name not in (BODY, KEY_ID))
"""Those of records of an earlier version, whose events are sealed as it did."""
Ledger = list[dict[str, str]]


def went_on(
    ledger: Ledger, name: str, many: int, chance: random.Random, columns: tuple[str, ...] = ()
) -> Ledger:
    """A ledger with so many events more, some of them corrections.

    `columns` are those that the record was brought forward to, if it was.
    """
    columns = columns or tuple(ledger[0] if ledger else COLUMNS)
    ledger = [dict.fromkeys(columns, "") | event for event in ledger]
    for _ in range(many):
        event = dict.fromkeys(columns, "") | {
            "event": "stored",
            "happened_on": f"2024-06-{chance.randint(1, 28):02d}",
            "sample_id": str(chance.randint(1, 3)),
            "notes": name,
        }
        if ledger and chance.random() < 0.3:
            event["corrects_custody_id"] = str(chance.randint(1, len(ledger)))
        ledger = sealed([*ledger, event])
    return ledger


def what_was_sealed(ledger: Ledger) -> dict[str, tuple[object, ...]]:
    """Seal → what the event says, what it corrects by its seal."""
    seals = {one["custody_id"]: one["event_sha256"] for one in ledger}
    numbers = {*FILLED_IN, "custody_id", "corrects_custody_id"} - {*BEFORE}
    return {
        one["event_sha256"]: (
            {name: text for name, text in one.items() if text and name not in numbers},
            seals.get(one["corrects_custody_id"], ""),
            "" if one.get(BODY) else one["sealed_custody_id"] or one["custody_id"],
        )
        for one in ledger
    }


def three_copies(seed: int) -> tuple[Ledger, Ledger, Ledger]:
    chance = random.Random(seed)
    began = chance.choice([OLD_COLUMNS, COLUMNS])
    common = went_on([], "before", chance.randint(0, 5), chance, began)
    first, second, third = (
        went_on(common, name, chance.randint(0, 4), chance, chance.choice([began, COLUMNS]))
        for name in "ABC"
    )
    if chance.random() < 0.5:
        # a copy that had merged another before, and went on
        third = went_on(joined_ledgers(third, second), "C", chance.randint(0, 3), chance)
    return first, second, third


@settings(max_examples=60)
@given(st.integers(0, 2**32))
def test_merged_ledgers_hold_everything_and_verify(seed: int) -> None:
    copies = three_copies(seed)
    one, two, three = copies
    whole = joined_ledgers(joined_ledgers(one, two), three)
    assert verify_events(whole) == []
    assert joined_ledgers(one, two) == joined_ledgers(two, one)
    assert joined_ledgers(three, joined_ledgers(two, one)) == whole
    assert joined_ledgers(whole, two) == whole == joined_ledgers(one, whole)
    after = what_was_sealed(whole)
    for copy in copies:
        assert what_was_sealed(copy).items() <= after.items()
    for copy in copies:
        for head in heads_of(copy):
            # whoever kept an end of a copy finds all of it in the whole
            assert covered_by(whole, head.seal) == set(what_was_sealed(copy))
            assert head.count == len(copy)
    own = {seal for copy in copies for seal in what_was_sealed(copy)}
    assert {one["event"] for one in whole if one["event_sha256"] not in own} <= {"joined"}
    assert verify_events(went_on(whole, "later", 3, random.Random(seed))) == []
    other_order = joined_ledgers(one, joined_ledgers(two, three))
    assert set(what_was_sealed(other_order)) >= own
    assert verify_events(joined_ledgers(whole, other_order)) == []


@settings(max_examples=60)
@given(st.integers(0, 2**32), st.data())
def test_what_is_changed_in_a_merged_ledger_shows(seed: int, data: st.DataObject) -> None:
    one, two, three = three_copies(seed)
    whole = joined_ledgers(joined_ledgers(one, two), three)
    if len(whole) < 2:
        return
    place = data.draw(st.integers(0, len(whole) - 1))
    # an earlier version put signatures on top of the seal
    on_top = () if all(one.get(BODY) for one in whole) else ("signer_key", "signature")
    name = data.draw(st.sampled_from([n for n in whole[0] if n not in on_top]))
    changed = [dict(event) for event in whole]
    changed[place][name] = data.draw(st.sampled_from(["", "1", "2", "2024-06-29", "f" * 64]))
    assert changed == whole or verify_events(changed)
    # an event in the middle is taken out, and the numbers are made to fit
    place = data.draw(st.integers(0, len(whole) - 2))
    fewer = [dict(event) for n, event in enumerate(whole) if n != place]
    for number, event in enumerate(fewer, start=1):
        if not event.get(BODY):
            event["sealed_custody_id"] = event["sealed_custody_id"] or event["custody_id"]
        event["custody_id"] = str(number)
    assert verify_events(fewer)


def test_an_event_sealed_as_before_does_not_follow_a_newer_one() -> None:
    """Else whoever cannot sign anew could go back to signatures that can be taken off."""
    newer = went_on([], "new", 2, random.Random(1), COLUMNS)
    older = {**newer[1], "custody_id": "3", BODY: "", "previous_sha256": newer[1]["event_sha256"]}
    older["event_sha256"] = event_hash(older)
    assert "an earlier version" in verify_events([*newer, older])[0].message
    joined = joined_ledgers(newer, went_on(newer[:1], "south", 1, random.Random(2)))
    older |= {"custody_id": "5", "previous_sha256": joined[-1]["event_sha256"]}
    older["event_sha256"] = event_hash(older)
    assert "an earlier version" in verify_events([*joined, older])[0].message


def test_seals_in_a_merged_ledger_can_be_computed_by_hand() -> None:
    """As the instructions of provenance/_ledger/seals.py say, of both versions."""
    for columns in (OLD_COLUMNS, COLUMNS):
        common = went_on([], "before", 2, random.Random(1), columns)
        blank = dict.fromkeys(columns, "")
        wrong = {**blank, "event": "stored", "happened_on": "2024-06-09", "sample_id": "1"}
        north = sealed([*common, wrong, {**wrong, "corrects_custody_id": "3"}])
        south = went_on(common, "south", 2, random.Random(3))
        whole = joined_ledgers(north, south)
        moved = next(one for one in whole if one["event_sha256"] == north[3]["event_sha256"])
        assert (whole[-1]["event"], whole[-1]["custody_id"]) == ("joined", str(len(whole)))
        corrected = whole[int(moved["corrects_custody_id"]) - 1]
        assert corrected["event_sha256"] == north[2]["event_sha256"]
        if columns == COLUMNS:
            assert {one["sealed_custody_id"] for one in whole} == {""}
            assert moved["custody_id"] not in ("4", "")
            bare = {**moved, "custody_id": "", "corrects_custody_id": ""}
            assert body_hash(bare) == moved[BODY]
            continue
        assert {one["sealed_custody_id"] for one in whole} == {"", "3", "4"}
        by_hand = {**moved, "custody_id": "4", "corrects_custody_id": "3", "sealed_custody_id": ""}
        assert event_hash(by_hand) == moved["event_sha256"]


def test_a_comparison_sees_the_older_ledger_in_the_merged_one() -> None:
    for columns in (OLD_COLUMNS, COLUMNS):
        common = went_on([], "before", 3, random.Random(1), columns)
        one, two = (went_on(common, name, 2, random.Random(2)) for name in "AB")
        whole = joined_ledgers(one, two)
        for copy in (one, two):
            older, newer = pl.DataFrame(copy), pl.DataFrame(whole)
            assert _compare_ledger(older, newer).state == "appended"
            changed = [{**copy[-1], "notes": "another"}]
            assert _compare_ledger(pl.DataFrame(copy[:-1] + changed), newer).state == "rewritten"


@pytest.mark.parametrize("begun_together", [True, False])
def test_two_ends_without_the_joining_event_are_named(begun_together: bool) -> None:
    chance = random.Random(2)
    common = went_on([], "before", 3 if begun_together else 0, chance)
    whole = joined_ledgers(went_on(common, "A", 2, chance), went_on(common, "B", 2, chance))
    (finding,) = verify_events(whole[:-1])
    assert finding.rule == "custody.chain_broken"
    assert finding.row == len(whole) - 2 + FIRST_ROW
    assert "two ends" in finding.message
