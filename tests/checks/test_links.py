"""Links between rows, and chains that never end."""

from __future__ import annotations

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from provenance._checks.language.links import look_up, looping, starts_of_chains
from tests.checks.rules.record import a_sound_record


def chain(pointers: dict[int, int | None]) -> pl.DataFrame:
    rows = [(str(one), None if to is None else str(to)) for one, to in pointers.items()]
    return pl.DataFrame(rows, schema={"key": pl.String, "next": pl.String}, orient="row")


def in_a_loop(pointers: dict[int, int | None], start: int) -> bool:
    """The plain way: walk until the chain ends or has had time to pass every row."""
    here: int | None = start
    for _ in range(len(pointers)):
        here = pointers.get(here) if here is not None else None
        if here == start:
            return True
    return False


@given(st.dictionaries(st.integers(0, 12), st.none() | st.integers(0, 12)))
def test_loops_are_found_as_by_walking(pointers: dict[int, int | None]) -> None:
    found = looping(chain(pointers), "key", "next")["key"].to_list()
    assert found == [str(one) for one in pointers if in_a_loop(pointers, one)]


def test_a_chain_of_many_thousand_links_ends() -> None:
    many: dict[int, int | None] = {one: one + 1 for one in range(50_000)}
    assert len(looping(chain(many), "key", "next")) == 0
    assert len(looping(chain(many | {50_000: 0}), "key", "next")) == 50_001


@given(st.dictionaries(st.integers(0, 12), st.integers(13, 16) | st.integers(0, 12)))
def test_a_chain_starts_where_walking_ends(pointers: dict[int, int]) -> None:
    found = dict(starts_of_chains(chain(pointers), "key", "next").iter_rows())
    assert set(found) == {str(one) for one in pointers}
    for one in pointers:
        here = one
        for _ in range(len(pointers)):
            here = pointers.get(here, here)
        ends = here not in pointers
        assert not ends or found[str(one)] == str(here)


def test_of_rows_with_one_key_the_first_is_looked_up() -> None:
    tables = a_sound_record().with_row("element", outer_surface="worn").tables
    surfaces = {"surface": "outer_surface"}
    found = look_up(tables["sample"], "element_id", tables, "element", surfaces)
    assert found["surface"].to_list() == ["bark"]
