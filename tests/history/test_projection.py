"""What a set of acts comes to: order never decides, nothing said is lost, undoing is exact."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._history import deciding
from provenance._history.acts import BEGUN, HERE, IMPORT, ROW_FIELD, Act, Line, heads, live
from provenance._history.deciding import Refused
from provenance._history.history import History, _former_key_rows
from provenance._history.projection import State, project, rows_in_order
from provenance._model.profile import load_model
from provenance._record.package import Package

KEYS = ("201", "202", "203")
VALUES = {"element_id": ("A", "B"), "depth_mm": ("88", "88.0", "140"), "notes": ("x", "y")}
Rows = dict[str, dict[str, str]]
SHORT = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@cache
def an_empty_history() -> History:
    package = Package(Path("nowhere"), MappingProxyType({"name": "holl"}), load_model("blank"))
    history = History(package, {}, b"key")
    return history.adding(Act(BEGUN, why="holl"))[0]


def take(
    history: History, source: str, version: str, rows: Rows, replaces: tuple[str, ...] = ()
) -> tuple[History, str]:
    """Read a sheet with rows of the table 'sample', and a plug for each."""
    lines = [Line("sample", "", ROW_FIELD, after="read"), Line("plug", "", ROW_FIELD, after="read")]
    for key, cells in rows.items():
        lines.append(Line("sample", key, ROW_FIELD, after=HERE, line="2"))
        lines += [Line("sample", key, name, after=value) for name, value in cells.items()]
        plug = f"{source[3]}-{key}"
        lines.append(Line("plug", plug, ROW_FIELD, after=HERE))
        lines.append(Line("plug", plug, "sample_id", after=key))
    return history.adding(
        Act(IMPORT, source=source, version=version, replaces=replaces, lines=tuple(lines))
    )


def seen(state: State) -> object:
    """Tables and conflicts as a person sees them, without the names of acts."""
    tables = {name: rows_in_order(state, name) for name in ("sample", "plug")}
    conflicts = {
        (one.kind, one.table, one.key, one.field, frozenset(claim.value for claim in one.claims))
        for one in state.conflicts
    }
    return tables, conflicts


rows_of_a_sheet = st.dictionaries(
    st.sampled_from(KEYS),
    st.fixed_dictionaries({}, optional={n: st.sampled_from(v) for n, v in VALUES.items()}),
    min_size=1,
)


@SHORT
@given(st.lists(rows_of_a_sheet, min_size=1, max_size=4), st.randoms())
def test_the_order_of_imports_never_decides_and_no_value_is_lost(
    sheets: list[Rows], chance: random.Random
) -> None:
    found = []
    for _ in range(2):
        order = list(enumerate(sheets))
        chance.shuffle(order)
        history = an_empty_history()
        for number, rows in order:
            history, _ = take(history, f"IN-{number}", "v1", rows)
        state = history.state
        found.append(seen(state))
        for rows in sheets:
            for key, cells in rows.items():
                for name, value in cells.items():
                    shown = state.rows["sample"][key][name]
                    said = [
                        claim.value
                        for one in state.conflicts
                        if (one.key, one.field) == (key, name)
                        for claim in one.claims
                    ]
                    assert float_or(shown) == float_or(value) or value in said
    assert found[0] == found[1]


def float_or(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text


STEPS = (
    *("take", "newer", "correct", "blank", "settle", "rename"),
    *("remove", "restore", "split", "join", "undo"),
)
steps = st.lists(st.tuples(st.sampled_from(STEPS), st.integers(0, 10**6)), max_size=9)


def go(history: History, step: str, number: int, side: str = "") -> History:
    """One step that a crew might take; a refused one changes nothing."""
    chance = random.Random(number)
    keys = [history.state.keys["sample", row] for row in history.state.rows["sample"]] or ["201"]
    key, other = chance.choice(keys), chance.choice(keys)
    name = chance.choice(sorted(VALUES))
    row = {chance.choice(KEYS): {name: chance.choice(VALUES[name])}}
    reading = [(n, act) for n, act in history.live.items() if act.kind == IMPORT]
    if step == "take":
        return take(history, f"IN-{side}{number % 5}", str(number), row)[0]
    if not reading and step in ("newer", "split"):
        return history
    if step == "newer":
        older = chance.choice(reading)[0]
        return take(history, f"IN-{side}N{number}", str(number), row, (older,))[0]
    makers = {
        "correct": lambda: deciding.correct("sample", key, {name: chance.choice(VALUES[name])}),
        "blank": lambda: deciding.correct("sample", key, {name: ""}),
        "settle": lambda: deciding.settle("sample", key, name, chance.choice(VALUES[name])),
        "rename": lambda: deciding.rename("sample", key, f"3{number % 100:02}"),
        "remove": lambda: deciding.remove("sample", key),
        "restore": lambda: deciding.restore("sample", chance.choice(KEYS)),
        "split": lambda: deciding.split(
            "sample", key, [chance.choice(reading)[1].source], f"4{number % 100:02}"
        ),
        "join": lambda: deciding.join("sample", key, other),
        "undo": lambda: deciding.undo(chance.choice(list(history.acts))),
    }
    try:
        return history.adding(replace(makers[step]()(history), why=side))[0]
    except Refused:
        return history


@SHORT
@given(steps)
def test_what_follows_from_one_act_more_is_what_all_acts_come_to(
    walk: list[tuple[str, int]],
) -> None:
    history = begun()
    for step, number in walk:
        history = go(history, step, number)
        followed, whole = history.state, project(history.package.model, history.acts)
        assert_same(followed, whole)
        assert history.live == live(history.acts)
        assert history.heads == heads(history.acts)
        anew = replace(history)
        assert list(history.former_keys.items()) == list(anew.former_keys.items())


def assert_same(one: State, other: State) -> None:
    for name in other.rows:
        assert list(one.rows[name].items()) == list(other.rows[name].items())
    assert (one.keys, one.claims) == (other.keys, other.claims)
    assert one.refusals.keys() == other.refusals.keys()
    for cell, refused in other.refusals.items():
        assert sorted(one.refusals[cell]) == sorted(refused)
    assert sorted(one.conflicts) == sorted(other.conflicts)
    assert sorted(one.accepted) == sorted(other.accepted)
    for (table, _), key in other.keys.items():
        assert one.names_of(table, key) == other.names_of(table, key)


def begun(number: int = 2) -> History:
    history = an_empty_history()
    for one in range(1, number + 1):
        history = go(history, "take", one)
    return history


@SHORT
@given(steps, steps)
def test_acts_undone_backwards_give_the_same_tables(
    before: list[tuple[str, int]], then: list[tuple[str, int]]
) -> None:
    history = begun()
    for step in before:
        history = go(history, *step)
    was, known = seen(history.state), set(history.acts)
    for step in then:
        history = go(history, *step)
    for name in reversed([one for one in history.acts if one not in known]):
        history = history.adding(deciding.undo(name)(history))[0]
    assert seen(history.state) == was


@SHORT
@given(steps, steps, steps)
def test_the_union_of_two_copies_is_the_same_whichever_comes_first_and_loses_no_act(
    base: list[tuple[str, int]], left: list[tuple[str, int]], right: list[tuple[str, int]]
) -> None:
    history = begun()
    for step in base:
        history = go(history, *step)
    one = other = history
    for step in left:
        one = go(one, *step, side="L")
    for step in right:
        other = go(other, *step, side="R")
    there = replace(history, acts={**one.acts, **other.acts}).state
    back = replace(history, acts={**other.acts, **one.acts}).state
    assert seen(there) == seen(back)
    assert (there.claims, there.lineage) == (back.claims, back.lineage)


def test_two_crews_that_number_one_core_alike_are_told_apart_with_what_refers_to_it() -> None:
    history, _ = take(an_empty_history(), "IN-A", "1", {"201": {"element_id": "A", "notes": "n"}})
    history, _ = take(history, "IN-B", "1", {"201": {"element_id": "B", "notes": "m"}})
    assert {one.field for one in history.state.conflicts} == {"element_id", "notes"}

    history = history.adding(deciding.split("sample", "201", ["IN-B"], "301")(history))[0]
    assert not history.state.conflicts
    samples = {
        row["sample_id"]: row["element_id"] for row in rows_in_order(history.state, "sample")
    }
    assert samples == {"201": "A", "301": "B"}

    history = history.adding(deciding.rename("sample", "201", "211")(history))[0]
    plugs = {row["plug_id"]: row["sample_id"] for row in rows_in_order(history.state, "plug")}
    assert plugs == {"A-201": "211", "B-201": "301"}


@pytest.mark.parametrize("into", ["201", "211", "301"])
def test_rows_that_are_joined_are_called_as_was_said(into: str) -> None:
    history, _ = take(an_empty_history(), "IN-A", "1", {"201": {}, "202": {}})
    history, _ = take(history, "IN-B", "1", {"201": {}})
    history = history.adding(deciding.split("sample", "201", ["IN-B"], "301")(history))[0]
    history = history.adding(deciding.rename("sample", "201", "211")(history))[0]
    history = history.adding(deciding.rename("sample", "202", "201")(history))[0]
    for one in {"201", "211", "301"} - {into}:
        history = history.adding(deciding.join("sample", one, into)(history))[0]
    assert [row["sample_id"] for row in rows_in_order(history.state, "sample")] == [into]
    assert not history.state.conflicts


def test_a_correction_outlives_newer_copies_and_a_new_witness_is_named() -> None:
    history, first = take(an_empty_history(), "IN-A", "1", {"201": {"depth_mm": "88"}})
    history = history.adding(deciding.correct("sample", "201", {"depth_mm": "89"})(history))[0]
    history, second = take(history, "IN-B", "2", {"201": {"depth_mm": "88"}}, (first,))
    assert history.state.rows["sample"]["201"]["depth_mm"] == "89"
    assert not history.state.conflicts
    history, _ = take(history, "IN-C", "1", {"201": {"depth_mm": "88.0"}})
    assert [one.kind for one in history.state.conflicts] == ["said_again"]
    history, _ = take(history, "IN-D", "3", {"201": {"depth_mm": "90"}}, (second,))
    assert "differs" in [one.kind for one in history.state.conflicts]


def test_what_a_newer_copy_drops_goes_unless_somebody_else_says_it() -> None:
    history, first = take(an_empty_history(), "IN-A", "1", {"201": {"notes": "x"}, "202": {}})
    history, _ = take(history, "IN-Z", "1", {"202": {"notes": "y"}})
    history, _ = take(history, "IN-B", "2", {"203": {}}, (first,))
    assert list(history.state.rows["sample"]) == ["202", "203"]


def test_a_rename_onto_a_taken_key_a_circle_of_joins_and_strange_names_are_refused() -> None:
    history, _ = take(an_empty_history(), "IN-A", "1", {"201": {}, "202": {}})
    for decision in (
        deciding.rename("sample", "201", "202"),
        deciding.rename("sample", "999", "300"),
        deciding.correct("sample", "201", {"no_such_field": "1"}),
        deciding.correct("sample", "201", {"sample_id": "9"}),
        deciding.correct("custody", "1", {"notes": "1"}),
        deciding.correct("no_such_table", "1", {"notes": "1"}),
        deciding.settle("sample", "201", "notes", "x"),
        deciding.split("sample", "201", ["IN-A"], "301"),
        deciding.join("sample", "201", "201"),
        deciding.undo("zzz"),
    ):
        with pytest.raises(Refused):
            decision(history)
    gone = history.adding(deciding.remove("sample", "201")(history))[0]
    with pytest.raises(Refused, match="removed from the record"):
        deciding.correct("sample", "201", {"notes": "x"})(gone)
    renamed = history.adding(deciding.rename("sample", "201", "301")(history))[0]
    corrected = renamed.adding(deciding.rename("sample", "301", "302")(renamed))[0]
    with pytest.raises(Refused, match="changed since by"):
        deciding.undo(list(renamed.acts)[-1])(corrected)


def test_a_renamed_sample_is_still_known_by_the_number_that_its_events_were_sealed_with() -> None:
    history, _ = take(an_empty_history(), "IN-A", "1", {"201": {}, "202": {}})
    history = history.adding(deciding.rename("sample", "201", "301")(history))[0]
    history = history.adding(deciding.rename("sample", "301", "302")(history))[0]
    former = [tuple(row.values()) for row in _former_key_rows(history)]
    assert former == [("sample", "201", "302"), ("sample", "301", "302")]
