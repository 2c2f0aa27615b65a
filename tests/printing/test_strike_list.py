"""The strike list, read back from the PDF by a second library (pypdf)."""

from __future__ import annotations

import pytest
from pypdf import PdfReader

from provenance._base.errors import TreenailError
from provenance._drawing.paper import paper_named
from provenance._identity.stamps import Reservation, free_numbers
from provenance._printing.papers.strike_list import print_strike_list


def reserved(count, mark="none"):
    numbers = free_numbers((), first=101, last=9999)
    return [
        Reservation(next(numbers), "HOLL", "north <b>crew</b>", mark, "2024-06-01")
        for _ in range(count)
    ]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_every_number_stands_on_the_list_once(tmp_path, paper) -> None:
    ones = reserved(75)
    printed = print_strike_list(ones, paper_named(paper), tmp_path / "strike.pdf")
    reader = PdfReader(printed.paths[0])
    words = " ".join(page.extract_text() for page in reader.pages).split()
    for one in ones:
        # the heading of every page names the first number once more
        expected = 1 + (one is ones[0]) * len(reader.pages)
        assert words.count(one.sample_id) == expected, one.sample_id
    assert f"page {len(reader.pages)} of {len(reader.pages)}" in reader.pages[-1].extract_text()


def test_a_crew_with_markup_in_its_name_is_shown_as_it_is(tmp_path) -> None:
    printed = print_strike_list(reserved(3), paper_named("a4"), tmp_path / "strike.pdf")
    assert "north <b>crew</b>" in PdfReader(printed.paths[0]).pages[0].extract_text()


def test_the_same_numbers_give_the_same_bytes(tmp_path) -> None:
    paths = [tmp_path / "1.pdf", tmp_path / "2.pdf"]
    for path in paths:
        print_strike_list(reserved(5, "bar"), paper_named("a4"), path)
    assert paths[0].read_bytes() == paths[1].read_bytes()


def test_an_empty_list_is_refused(tmp_path) -> None:
    with pytest.raises(TreenailError, match="nothing to print"):
        print_strike_list([], paper_named("a4"), tmp_path / "strike.pdf")
    assert not (tmp_path / "strike.pdf").exists()
