"""Numbers for the season: none that can be read for another, none given out twice."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._identity.rotation import turned
from provenance._identity.stamps import NoNumbersLeft, free_numbers, reserve_stamps
from provenance._record.package import open_package
from tests.builders import a_package
from tests.forked import forking


def season(package, count, crew="north", **options):
    return [
        one.sample_id
        for one in reserve_stamps(package, count, crew=crew, reserved_on="2024-06-01", **options)
    ]


@given(st.sets(st.integers(1, 2000).map(str), max_size=60), st.integers(1, 900))
def test_no_two_numbers_of_a_site_are_each_other_upside_down(taken, first) -> None:
    chosen = list(free_numbers(taken, first=first, last=first + 200))
    for number in chosen:
        upside_down = turned(number)
        assert upside_down in (None, number) or upside_down not in taken | set(chosen)
    assert not set(chosen) & taken
    assert chosen == sorted(chosen, key=int)


def test_only_digits_of_the_die_set_are_used() -> None:
    assert list(free_numbers((), first=1, last=30, dies="12")) == ["1", "2", "11", "12", "21", "22"]


def test_with_a_mark_plain_counting_is_kept() -> None:
    assert list(free_numbers({"66"}, first=98, last=100, marked=True)) == ["98", "99", "100"]


def test_a_crew_goes_on_behind_its_last_number(tmp_path) -> None:
    package = a_package(tmp_path).with_row("site").package
    assert season(package, 3) == ["101", "102", "103"]
    assert season(package, 2, crew="south", first=300, last=399) == ["300", "301"]
    assert season(package, 2) == ["104", "105"]


def test_a_number_once_given_out_is_never_given_out_again(tmp_path) -> None:
    package = a_package(tmp_path).with_chain(sample_id="102").package
    first = season(package, 5, first=101)
    assert "102" not in first
    assert not set(first) & set(season(package, 5, crew="south", first=101))


def test_a_number_that_reads_like_a_plug_in_the_wall_is_left_out(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().with_row("plug", plug_id="P-2", stamp="689").package
    assert "689" not in season(package, 1, first=689, last=700)
    assert turned("689") == "689"
    package = a_package(tmp_path / "b").with_chain().with_row("plug", plug_id="P-2", stamp="891")
    assert season(package.package, 1, first=168, last=170) == ["169"]


def test_a_mark_is_asked_for_only_where_it_is_needed(tmp_path) -> None:
    package = a_package(tmp_path).with_row("site").package
    reserved = reserve_stamps(
        package, 4, crew="north", reserved_on="2024", first=66, last=99, orientation_mark="bar"
    )
    assert {r.sample_id: r.orientation_mark for r in reserved} == {
        "66": "bar",
        "67": "none",
        "68": "bar",
        "69": "none",
    }


def test_a_range_that_is_too_small_is_refused_and_nothing_is_reserved(tmp_path) -> None:
    package = a_package(tmp_path).with_row("site").package
    with pytest.raises(NoNumbersLeft, match="only 10 of 11"):
        season(package, 11, first=200, last=209)
    assert package.table("reservation").empty


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"count": 0}, "at least 1"),
        ({"crew": " "}, "which crew"),
        ({"dies": "12x"}, "digits"),
        ({"orientation_mark": "arrow"}, "is not one of none, bar, dot"),
        ({"site_id": "NOWHERE"}, "no site 'NOWHERE'"),
        ({"first": 400, "last": 390}, "runs backwards"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, options, says) -> None:
    package = a_package(tmp_path).with_row("site").package
    count = options.pop("count", 1)
    with pytest.raises(TreenailError, match=says):
        season(package, count, **options)


def test_a_package_without_a_site_says_where_to_enter_one(tmp_path) -> None:
    with pytest.raises(TreenailError, match="sheet 'Site' of the workbook"):
        season(a_package(tmp_path).package, 1)


def _reserve_in_a_process(folder) -> list[str]:
    return season(open_package(folder), 10, crew="north", first=500)


def test_two_people_who_reserve_at_once_get_different_numbers(tmp_path) -> None:
    package = a_package(tmp_path).with_row("site").package
    with ProcessPoolExecutor(2, mp_context=forking()) as pool:
        got = list(pool.map(_reserve_in_a_process, [package.folder] * 4))
    numbers = [number for one in got for number in one]
    assert len(numbers) == len(set(numbers)) == 40
    assert sorted(package.table("reservation")["sample_id"]) == sorted(numbers)
