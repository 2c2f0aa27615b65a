"""Whatever has to go on a page, nothing overlaps, nothing leaves it, nothing is left out."""

from __future__ import annotations

from itertools import combinations, pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._drawing.paper import Box
from provenance._printing.sheets.cells import LINE_MM, measure_cell
from provenance._printing.sheets.flow import Piece, Placed, PlacedTitle, Section, flow_pages
from provenance._printing.sheets.question import Choice, Question

PAGE = Box(40, 60, 500, 640)

pieces = st.builds(
    Piece,
    content=st.integers(),
    span=st.integers(1, 5),
    height=st.floats(1, 900),
    stretch=st.booleans(),
)
sections = st.lists(
    st.builds(Section, title=st.text(max_size=5), pieces=st.lists(pieces, max_size=12).map(tuple)),
    max_size=6,
)


def apart(one: Box, other: Box) -> bool:
    slack = 1e-6
    return (
        one.right <= other.x + slack
        or other.right <= one.x + slack
        or one.top <= other.y + slack
        or other.top <= one.y + slack
    )


@settings(max_examples=150)
@given(sections)
def test_pieces_stay_on_the_page_and_off_each_other(some: list[Section[int]]) -> None:
    for page in flow_pages(some, PAGE):
        for one in page:
            assert one.box.x >= PAGE.x - 1e-6
            assert one.box.right <= PAGE.right + 1e-6
            assert one.box.y >= PAGE.y - 1e-6
            assert one.box.top <= PAGE.top + 1e-6
        assert all(apart(a.box, b.box) for a, b in combinations(page, 2))


@settings(max_examples=150)
@given(sections)
def test_every_piece_is_placed_once_and_in_order(some: list[Section[int]]) -> None:
    placed = [
        one.content for page in flow_pages(some, PAGE) for one in page if isinstance(one, Placed)
    ]
    assert placed == [piece.content for section in some for piece in section.pieces]


@settings(max_examples=100)
@given(sections)
def test_no_title_stands_alone_at_the_foot_of_a_page(some: list[Section[int]]) -> None:
    for page in flow_pages(some, PAGE):
        assert not page or isinstance(page[-1], Placed)
        for one, after in pairwise(page):
            assert not (isinstance(one, PlacedTitle) and isinstance(after, PlacedTitle))


def test_a_line_to_write_on_leaves_room_for_a_hand_in_a_glove() -> None:
    """At least 7 mm; common practice, no source."""
    assert LINE_MM >= 7


@given(st.lists(st.text(max_size=60), min_size=1, max_size=24), st.text(max_size=400))
def test_a_question_of_any_words_has_a_size(labels: list[str], answer: str) -> None:
    question = Question("one", "Title " * 8, "ticks", True, "mm", "cross all that apply",
                        tuple(Choice(label) for label in labels), answer)  # fmt: skip
    span, height = measure_cell(question, 500)
    assert 1 <= span <= 5
    assert height > 0
