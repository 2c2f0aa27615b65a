"""The address of a record: stable, safe on every disk, and its own."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._bag.names import unlistable_because, unsafe_because
from provenance._base.portable import folded, unportable_because
from provenance._bundle.finding_aid.addresses import page_name, page_path


def read_back(name: str) -> str:
    """The rule of the README, backwards."""
    parts = re.findall(r"~([0-9A-F]{2})|(.)", name)
    return b"".join(bytes.fromhex(code) or one.encode() for code, one in parts).decode()


@given(st.text(min_size=1, max_size=13))
def test_an_identifier_can_be_read_back_from_its_address(identifier: str) -> None:
    assert read_back(page_name(identifier)) == identifier


@given(st.text(min_size=1, max_size=300))
def test_an_address_is_safe_on_every_disk(identifier: str) -> None:
    path = page_path("sample", identifier)
    assert re.fullmatch(r"pages/sample/[0-9A-Z~_.-]+\.html", path)
    assert unsafe_because(path) is None
    assert unlistable_because(path) is None
    assert len(path) < 255


@pytest.mark.parametrize("name", ["CON", "NUL.1", "LPT9", "COM1.X"])
def test_names_that_windows_keeps_to_itself_are_written_out(name: str) -> None:
    """Microsoft, 'Naming Files, Paths, and Namespaces'."""
    assert page_name(name).startswith("~")
    assert read_back(page_name(name)) == name


@given(st.text(min_size=1, max_size=60), st.text(min_size=1, max_size=60))
def test_no_two_identifiers_share_an_address_whatever_the_case(one: str, other: str) -> None:
    assert (page_name(one).casefold() == page_name(other).casefold()) == (one == other)


TRICKY = st.one_of(
    st.text(min_size=1, max_size=20),
    # what folds alike, is reserved or ends badly comes up too seldom by chance
    st.text("aA\u00e9\u00c9e\u0301\u00df s.~1", min_size=1, max_size=6),
    st.sampled_from(
        ["con", "CON", "Con.x", "nul", "COM1", "COM\u00b9", "lpt9.TXT", "CONIN$", "A" * 130]
    ),
)


@given(st.sets(TRICKY, max_size=30), TRICKY)
def test_addresses_are_unique_on_every_disk_and_stay_when_another_code_comes(
    identifiers: set[str], another: str
) -> None:
    """An address is made of its own code alone, so nothing that comes later can change it."""
    before = {one: page_path("sample", one) for one in identifiers}
    after = {one: page_path("sample", one) for one in identifiers | {another}}
    assert before.items() <= after.items()
    assert len({folded(path) for path in after.values()}) == len(after)
    assert [path for path in after.values() if unportable_because(path)] == []


def test_long_identifiers_that_begin_alike_are_kept_apart() -> None:
    assert page_name("A" * 300) != page_name("A" * 301)
