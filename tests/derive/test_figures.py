"""What the figures show, read back from the drawings, and that no text meets another."""

from __future__ import annotations

import io
import re
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._derive.axes import count_axis, year_axis
from provenance._derive.chart import Fill
from provenance._derive.dating import ClusterRule
from provenance._derive.figure_parts import LAST_RINGS, Places
from provenance._derive.figures import FIGURES, draw_figures, figures
from provenance._derive.summary import Derived
from provenance._derive.trees import StemRule
from provenance._drawing.document import printed_pages
from provenance._drawing.drawing import Disc, Line, Sheet, Text
from provenance._drawing.fonts import ASCENT, DESCENT, FACES, printable
from provenance._drawing.paper import MM
from provenance._drawing.pdf import draw_items
from provenance._drawing.png import png_of
from provenance._drawing.svg import svg_of
from tests.builders import a_package

SVG = "{http://www.w3.org/2000/svg}"
PLACES = Places(
    {"B1": "North house", "R1": "Kitchen", "B2": ""}, {"B1": "B1", "R1": "B1", "B2": "B2"}
)


def text_box(text: Text) -> tuple[float, float, float, float]:
    """Left, bottom, width and height of a level text, accents and tails included."""
    face = FACES[text.face]
    width = face.width(printable(text.text, face), text.size)
    left = text.at[0] - width * {"left": 0.0, "centre": 0.5, "right": 1.0}[text.align]
    return left, text.at[1] - DESCENT * text.size, width, (ASCENT + DESCENT) * text.size


def a_span(sample: int, outer: int, inner: int | None, **more: Any) -> dict[str, Any]:
    row = {
        "sample_id": str(sample),
        "element_id": f"E{sample}",
        "place_id": "R1",
        "building_id": "B1",
        "outer_year": outer,
        "inner_year": inner,
        "outer_symbol": "B",
        "cutting": "cutting",
        "candidate": "",
        "ring_count": None if inner is None else outer - inner + 1,
        "species": "PIPO",
    }
    return row | more


def a_size(number: int, volume: float | None, **more: Any) -> dict[str, Any]:
    row = {"element_id": f"E{number}", "place_id": "R1", "species": "PIPO", "newton_m3": volume}
    return row | more


def derived(spans: list[dict[str, Any]], sizes: list[dict[str, Any]] | None = None) -> Derived:
    """The derived tables with just these rows, numbers typed as the tables have them."""
    numbers = dict.fromkeys(("outer_year", "inner_year", "ring_count"), pl.Int64())
    span = pl.DataFrame(spans, dict.fromkeys(a_span(0, 0, 0), pl.String()) | numbers)
    volume = {"newton_m3": pl.Float64()}
    size = pl.DataFrame(sizes or [], dict.fromkeys(a_size(0, None), pl.String()) | volume)
    return Derived({"span": span, "size": size}, (), StemRule(), ClusterRule())


def sheet_of(name: str, *args: Any, places: Places = PLACES) -> Sheet:
    return next(one.sheet for one in figures(derived(*args), places) if one.name == name)


def texts(sheet: Sheet) -> list[Text]:
    return [one for one in sheet.items if isinstance(one, Text)]


def boxes(sheet: Sheet, low: float, high: float) -> list[tuple[float, float, float | None]]:
    """Left and right end and grey of the boxes whose middle lies between two heights."""
    found = []
    for one in sheet.items:
        if isinstance(one, Line) and one.closed and one.grey is not None:
            xs, ys = zip(*one.points, strict=True)
            if low < (min(ys) + max(ys)) / 2 < high:
                found.append((min(xs), max(xs), one.fill))
    return found


def scale(sheet: Sheet) -> Any:
    """From mm to years, by the words of two ticks as a reader would take it."""
    ticks = {int(one.text): one.at[0] for one in texts(sheet) if re.fullmatch(r"1\d\d0", one.text)}
    (low, at_low), *_, (high, at_high) = sorted(ticks.items())
    return lambda x: low + (x - at_low) / (at_high - at_low) * (high - low)


# -- what is shown -------------------------------------------------------------------------------


def test_every_dated_sample_has_a_bar_between_its_first_and_its_last_ring() -> None:
    spans = [
        a_span(number, 1700 + 17 * number, 1600 + 11 * number, cutting=cutting)
        for number, cutting in enumerate(LAST_RINGS)
    ]
    sheet = sheet_of("dated-samples", spans)
    year = scale(sheet)
    for row in spans:
        (code,) = (one for one in texts(sheet) if one.text == row["sample_id"])
        bar, end = boxes(sheet, code.at[1] - 1, code.at[1] + 2)
        assert (year(bar[0]), year(bar[1])) == pytest.approx(
            (row["inner_year"], row["outer_year"]), abs=0.1
        )
        # its end tells what the last ring says, and ends in the same year
        assert year(end[1]) == pytest.approx(row["outer_year"], abs=0.1)
        assert end[2] == LAST_RINGS[row["cutting"]][0].grey
        beside = {one.text for one in texts(sheet) if abs(one.at[1] - code.at[1]) < 0.01}
        assert beside == {row["sample_id"], row["element_id"], f"{row['outer_year']} B"}


def test_what_the_last_ring_says_is_told_apart_without_colour() -> None:
    """The greys lie a fifth of the way from black to white apart, or strokes differ."""
    looks = [fill for fill, _ in LAST_RINGS.values()]
    for one, other in combinations(looks, 2):
        assert abs(one.grey - other.grey) >= 0.2 or one.strokes != other.strokes


def test_a_sample_whose_first_ring_is_not_stated_has_no_bar() -> None:
    sheet = sheet_of("dated-samples", [a_span(7, 1781, None), a_span(8, 1781, 1700)])
    (code,) = (one for one in texts(sheet) if one.text == "7")
    assert len(boxes(sheet, code.at[1] - 1, code.at[1] + 2)) == 1
    assert "first ring not stated (1)" in sheet.description


def test_a_bar_that_is_shorter_than_its_mark_still_begins_in_its_year() -> None:
    sheet = sheet_of("dated-samples", [a_span(7, 1881, 1878), a_span(8, 1881, 1500)])
    year = scale(sheet)
    (code,) = (one for one in texts(sheet) if one.text == "7")
    (only,) = boxes(sheet, code.at[1] - 1, code.at[1] + 2)
    assert (year(only[0]), year(only[1])) == pytest.approx((1878, 1881), abs=0.1)


def test_samples_stand_under_their_building_and_place_with_n() -> None:
    spans = [
        a_span(1, 1781, 1700),
        a_span(2, 1782, 1700, place_id="B1"),
        a_span(3, 1783, 1700, place_id="B2"),
        a_span(4, 1784, 1700, place_id=None),
        a_span(5, 1785, 1700, place_id="gone"),
    ]
    shown = [one.text for one in texts(sheet_of("dated-samples", spans))]
    at = shown.index
    assert at("North house (B1)") < at("2") < at("Kitchen") < at("1") < at("B2") < at("3")
    assert at("3") < at("no place recorded") < at("4") < at("5")
    counts = [shown[at(name) + 1] for name in ("North house (B1)", "B2", "no place recorded")]
    assert counts == ["2 dated samples", "1 dated sample", "2 dated samples"]


def test_a_long_name_of_a_building_leaves_the_number_of_its_samples() -> None:
    places = Places({"B1": "Mill " * 60}, {"B1": "B1"})
    sheet = sheet_of("dated-samples", [a_span(1, 1781, 1700, place_id="B1")], places=places)
    assert "1 dated sample" in [one.text for one in texts(sheet)]
    assert_legible(sheet)


def test_candidates_and_signs_stand_beside_the_bar() -> None:
    spans = [a_span(1, 1655, 1500, outer_symbol="+;vv", candidate="reuse", cutting="non_cutting")]
    assert "1655 + vv reuse?" in {one.text for one in texts(sheet_of("dated-samples", spans))}


@given(st.lists(st.tuples(st.integers(-900, 2000), st.sampled_from([*LAST_RINGS])), min_size=1))
@settings(max_examples=30, deadline=None)
def test_columns_are_as_high_as_their_numbers_and_add_up(dates: list[tuple[int, str]]) -> None:
    spans = [
        a_span(number, year, year - 50, cutting=cutting)
        for number, (year, cutting) in enumerate(dates)
    ]
    sheet = sheet_of("outside-dates", spans)
    parts = [
        one
        for one in sheet.items
        if isinstance(one, Line) and one.closed and one.points[0][1] < min(key_heights(sheet))
    ]
    columns: dict[float, list[Line]] = {}
    for one in parts:
        columns.setdefault(round(one.points[0][0], 3), []).append(one)
    heights = {
        left: max(y for one in column for _, y in one.points)
        - min(y for one in column for _, y in one.points)
        for left, column in columns.items()
    }
    numbers = {}
    for left, column in columns.items():
        middle = (column[0].points[0][0] + column[0].points[1][0]) / 2
        top = max(y for one in column for _, y in one.points)
        (number,) = (
            int(one.text)
            for one in texts(sheet)
            if abs(one.at[0] - middle) < 1e-6 and abs(one.at[1] - top - 0.7) < 1e-6
        )
        numbers[left] = number
    assert sum(numbers.values()) == len(dates)
    unit = max(heights.values()) / max(numbers.values())
    for left, number in numbers.items():
        assert heights[left] == pytest.approx(number * unit)


def key_heights(sheet: Sheet) -> list[float]:
    """The heights of what explains the fills."""
    words = [f"{words} (" for _, words in LAST_RINGS.values()]
    return [one.at[1] - 1 for one in texts(sheet) if one.text.startswith(tuple(words))]


def test_a_column_holds_the_years_between_its_sides() -> None:
    sheet = sheet_of("outside-dates", [a_span(1, 1654, 1600), a_span(2, 1655, 1600)])
    year = scale(sheet)
    low = min(key_heights(sheet))
    ends = [(year(left), year(right)) for left, right, _ in boxes(sheet, 0, low)]
    assert [round(one) for pair in sorted(ends) for one in pair] == [1650, 1655, 1655, 1660]


def test_volumes_are_as_long_as_they_say_and_count_their_pieces() -> None:
    sizes = [
        a_size(1, 2.0),
        a_size(2, 1.0, species="PSME"),
        a_size(3, 4.0, place_id="B2", species=None),
        a_size(4, None),
    ]
    sheet = sheet_of("volume", [], sizes)
    shown = [one.text for one in texts(sheet)]
    assert {"3.0 m³ (2)", "4.0 m³ (1)", "North house (B1)", "B2"} <= set(shown)
    assert {"PIPO 2.0 m³ (1)", "PSME 1.0 m³ (1)", "not known 4.0 m³ (1)"} <= set(shown)
    (level,) = (one.at[1] for one in texts(sheet) if one.text == "3.0 m³ (2)")
    lengths = [right - left for left, right, _ in boxes(sheet, level - 1, level + 3)]
    assert lengths[0] == pytest.approx(2 * lengths[1])
    assert "n = 3 pieces with both ends and the length measured, of 4" in sheet.description


# -- legible whatever is in the record -----------------------------------------------------------

NAMES = st.one_of(
    st.text(min_size=1, max_size=8),
    st.text("Wim", min_size=60, max_size=90),
    st.sampled_from(["木の家", "בית", "Barn \u202e$x$", "\x1b", "a b  c"]),
)
SPANS = st.lists(
    st.builds(
        a_span,
        st.integers(1, 10**9),
        st.one_of(st.integers(1500, 1900), st.integers(-3000, 2020)),
        st.one_of(st.none(), st.integers(-3300, 1990)),
        element_id=NAMES,
        place_id=st.sampled_from(["B1", "R1", "B2", None]),
        outer_symbol=st.sampled_from(["B", "+;vv", None, ";".join(["comp"] * 40)]),
        cutting=st.sampled_from([*LAST_RINGS, ""]),
        candidate=st.sampled_from(["", "reuse", "stockpiling", "repair"]),
        ring_count=st.one_of(st.none(), st.integers(1, 2500)),
        species=NAMES,
    ),
    min_size=1,
    max_size=25,
)
SIZES = st.lists(
    st.builds(
        a_size,
        st.integers(1, 999),
        st.one_of(st.floats(0, 1e-5), st.floats(0, 40), st.floats(0, 1e6)),
        species=NAMES,
        place_id=st.sampled_from(["B1", "R1", "B2", None]),
    ),
    min_size=1,
    max_size=25,
)


def assert_legible(sheet: Sheet) -> None:
    placed = [(text_box(one), one.text) for one in texts(sheet)]
    for (left, bottom, width, height), text in placed:
        assert left >= 0, text
        assert bottom >= 0, text
        assert left + width <= sheet.width, text
        assert bottom + height <= sheet.height, text
    for (one, text), (other, other_text) in combinations(placed, 2):
        apart = (
            one[0] + one[2] <= other[0] + 1e-6
            or other[0] + other[2] <= one[0] + 1e-6
            or one[1] + one[3] <= other[1] + 1e-6
            or other[1] + other[3] <= one[1] + 1e-6
        )
        assert apart, (text, other_text)


@settings(max_examples=25, deadline=None)
@given(SPANS, SIZES, NAMES, NAMES)
def test_no_text_covers_another_or_is_cut_off(
    spans: list[dict[str, Any]], sizes: list[dict[str, Any]], name: str, other: str
) -> None:
    places = Places({"B1": name, "R1": other, "B2": ""}, PLACES.buildings)
    for one in figures(derived(spans, sizes), places):
        assert_legible(one.sheet)
        ElementTree.fromstring(svg_of(one.sheet))


def test_many_samples_of_one_year_keep_their_numbers_apart() -> None:
    for count in (1, 9, 99, 1200):
        spans = [a_span(number, 1650 + 5 * (number % 60), 1600) for number in range(count)]
        assert_legible(sheet_of("outside-dates", spans))


def test_a_text_that_is_too_long_is_cut_where_it_says_so() -> None:
    sheet = sheet_of("dated-samples", [a_span(1, 1781, 1700, element_id="W" * 90)])
    (code,) = (one.text for one in texts(sheet) if one.text.startswith("WW"))
    assert code.endswith("…")


# -- axes ----------------------------------------------------------------------------------------


def test_years_are_counted_as_people_count_them() -> None:
    """There is no year 0 between 1 BC and AD 1 (astronomical years: ISO 8601-1, 4.3.2)."""
    axis = year_axis(-260, 130, 0, 90, lambda text: len(text) * 1.5)
    assert axis.ticks == ((-199, "200 BC"), (-99, "100 BC"), (1, "AD 1"), (100, "AD 100"))
    assert axis(-260) == 0
    assert axis(130) == 90


@given(st.integers(-9000, 9000), st.integers(1, 9000), st.floats(20, 300))
def test_ticks_stand_at_round_years_and_their_words_apart(
    low: int, span: int, length: float
) -> None:
    axis = year_axis(low, low + span, 0, length, lambda text: len(text) * 1.5)
    years = [year for year, _ in axis.ticks]
    assert all(low <= year <= low + span for year in years)
    said = [int(re.sub(r"\D", "", words)) for _, words in axis.ticks if words != "AD 1"]
    assert all(a < b for a, b in pairwise(years))
    if len(said) > 1:
        # every one is a multiple of the step: 1, 2 or 5 times a power of ten
        steps = [k * 10**n for n in range(5) for k in (1, 2, 5)]
        step = max(s for s in steps if all(year % s == 0 for year in said))
        assert any(b - a <= 2 * step for a, b in pairwise(years))
    for (year, words), (later, other) in pairwise(axis.ticks):
        assert axis(later) - axis(year) > (len(words) + len(other)) * 0.75


@given(st.floats(1e-6, 1e7))
def test_an_axis_of_measures_has_at_least_its_zero_and_no_more_than_fits(high: float) -> None:
    step = 10.0**-8
    axis = count_axis(high, 0, 150, lambda text: len(text) * 1.5, first_step=step)
    assert axis.ticks[0] == (0, "0")
    assert 2 <= len(axis.ticks) <= 50
    assert axis.ticks[-1][0] <= high


# -- files ---------------------------------------------------------------------------------------


def everything() -> list[tuple[str, Sheet]]:
    spans = [
        a_span(number, 1700 + 3 * number, 1600, cutting=[*LAST_RINGS][number % 4])
        for number in range(9)
    ]
    sizes = [a_size(number, 1.0, species=f"S{number}") for number in range(12)]
    return [(one.name, one.sheet) for one in figures(derived(spans, sizes), PLACES)]


def test_an_svg_says_in_words_what_it_shows() -> None:
    drawn = everything()
    # those of the forest have their own tests
    assert [name for name, _ in drawn] == [
        one for one in FIGURES if one not in ("age-at-felling", "ring-growth")
    ]
    for name, sheet in drawn:
        root = ElementTree.fromstring(svg_of(sheet))
        assert root.get("role") == "img"
        assert root.findtext(f"{SVG}title") == FIGURES[name][0]
        assert "n = " in (root.findtext(f"{SVG}desc") or "")


def test_only_black_white_and_greys_are_used() -> None:
    for _, sheet in everything():
        colours = set(re.findall(r"#([0-9a-f]{6})", svg_of(sheet)))
        assert all(len({one[i : i + 2] for i in (0, 2, 4)}) == 1 for one in colours)


def test_the_png_shows_what_the_pdf_shows(tmp_path: Path) -> None:
    """pdfium draws the same sheet from its PDF; the two pictures differ at edges alone."""
    import numpy as np
    import pypdfium2
    from PIL import Image, ImageFilter

    for name, sheet in everything():
        path = tmp_path / f"{name}.pdf"
        with printed_pages(path, (sheet.width * MM, sheet.height * MM), title=name) as pages:
            draw_items(pages.begin_page(), sheet.items)
        with pypdfium2.PdfDocument(path) as document:
            theirs = document[0].render(scale=150 / 72).to_pil().convert("L")
        ours = Image.open(io.BytesIO(png_of(sheet)))
        assert ours.info["Title"] == sheet.title
        assert np.abs(np.subtract(ours.size, theirs.size)).max() <= 1
        blurred = [
            np.asarray(one.crop((0, 0, *ours.size)).filter(ImageFilter.GaussianBlur(4)), float)
            for one in (ours, theirs)
        ]
        difference = np.abs(blurred[0] - blurred[1])[:-8, :-8]
        assert difference.mean() < 2.0, name
        assert difference.max() < 60, name
        # and neither is empty
        assert blurred[0].min() < 150


def test_a_png_of_what_it_does_not_draw_is_refused() -> None:
    for one in (
        Disc((1, 1), 1),
        Text((1, 1), "x", 2, turn_deg=30),
        Line(((0, 0), (1, 1)), dash=(1,)),
    ):
        with pytest.raises(TypeError, match="level text alone"):
            png_of(Sheet(9, 9, (one,), "t", "d"))


def test_a_very_tall_png_gets_coarser_instead_of_too_large() -> None:
    from PIL import Image

    tall = Sheet(190, 20_000, (Line(((1, 1), (9, 9))),), "t", "d")
    width, height = Image.open(io.BytesIO(png_of(tall))).size
    assert width * height <= 60_100_000
    assert height / width == pytest.approx(20_000 / 190, rel=0.01)


def test_an_svg_keeps_the_letters_and_the_order_of_any_script(tmp_path: Path) -> None:
    """A viewer brings its own letters and turns scripts itself (UAX #9), so nothing is put in
    visual order for it."""
    spans = [a_span(1, 1781, 1700, element_id="בית 木", place_id="B1")]
    svg = svg_of(sheet_of("dated-samples", spans))
    assert ">בית 木</text>" in svg


def test_strokes_end_at_the_sides_of_their_box() -> None:
    for kind in ("rising", "falling", "crossed", "upright", "level"):
        for box in ((3, 4, 0.8, 2.5), (3, 4, 40, 7)):
            lines = Fill(strokes=kind, pitch=1.1).lines(box)  # type: ignore[arg-type]  # a kind
            assert len(lines) > 1
            for x, y in (point for one in lines for point in one.points):
                assert 3 - 1e-9 <= x <= 3 + box[2] + 1e-9
                assert 4 - 1e-9 <= y <= 4 + box[3] + 1e-9


def test_without_data_nothing_is_written(tmp_path: Path) -> None:
    package = a_package(tmp_path / "holl").package
    assert draw_figures(package, derived([]), tmp_path / "out") == []
    assert not (tmp_path / "out").exists()
