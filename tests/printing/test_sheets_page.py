"""Each page of the record sheets: size, margins, ink, count and code, whatever stands on it."""

from __future__ import annotations

import re
from pathlib import Path

import pypdf
import pytest

from provenance._base.errors import TreenailError
from provenance._drawing.document import printed_pages
from provenance._drawing.fitting import draw_line
from provenance._drawing.fonts import PLAIN
from provenance._identity.sheet_code import read_sheet_code
from provenance._model.profile import load_model
from provenance._model.schema import Model
from provenance._printing.sheets.record_sheets import SHEETS, write_sheets
from provenance._printing.sheets.rows import ChosenRows
from tests.builders import a_package
from tests.printing.reading import decoded, page_sizes_mm, page_texts, rendered
from tests.printing.sheet_pages import (
    in_colour,
    margins_white,
    overlapping_texts,
    page_count,
    print_blank,
    print_filled,
    two_logs,
)


@pytest.fixture
def hollin(tmp_path: Path) -> ChosenRows:
    return two_logs(tmp_path)


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("sheets")
    paths = {}
    for paper in ("a4", "letter"):
        (folder / paper).mkdir()
        paths[paper] = print_blank(folder / paper, "timber_frame", paper=paper, sheets=("all",))
    return paths


# ISO 216:2007 (A4); ANSI/ASME Y14.1 (size A, 8.5 in by 11 in)
@pytest.mark.parametrize(("paper", "size"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_pages_have_the_size_of_the_standard(
    everything: dict[str, Path], paper: str, size: tuple[float, float]
) -> None:
    sizes = page_sizes_mm(everything[paper])
    assert {tuple(round(side, 1) for side in sorted(one)) for one in sizes} == {size}


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_edge_that_printers_cannot_reach_is_white(
    everything: dict[str, Path], paper: str
) -> None:
    assert margins_white(everything[paper], 6.5) == []


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_text_lies_on_another(everything: dict[str, Path], paper: str) -> None:
    assert overlapping_texts(everything[paper]) == []


def test_text_on_text_would_be_seen(tmp_path: Path) -> None:
    with printed_pages(tmp_path / "one.pdf", (200, 200), title="Overlap") as run:
        canvas = run.begin_page()
        for place in (20, 40):
            draw_line(canvas, "Hollin Reach", PLAIN, 12, place, 100)
    assert overlapping_texts(tmp_path / "one.pdf")


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_everything_is_black(everything: dict[str, Path], paper: str) -> None:
    for page in range(page_count(everything[paper])):
        colours = in_colour(everything[paper], 40, page).astype(int)
        assert (colours.max(axis=2) - colours.min(axis=2)).max() == 0


def test_no_text_is_smaller_than_seven_points(everything: dict[str, Path]) -> None:
    """Common practice for forms that are photocopied, no source."""
    sizes: set[float] = set()

    def note(text: str, _cm: object, _tm: object, _font: object, size: float) -> None:
        if text.strip():
            sizes.add(size)

    for page in pypdf.PdfReader(everything["a4"]).pages:
        page.extract_text(visitor_text=note)
    assert sizes
    assert min(sizes) >= 7


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_pages_are_counted_within_each_sheet(everything: dict[str, Path], paper: str) -> None:
    counts = []
    for text in page_texts(everything[paper]):
        found = re.findall(r"Page (\d+) of (\d+)", text)
        if text.startswith("Core sheet"):
            # cut apart, each core is a sheet of its own
            found = [("1", "1")]
        assert len(found) == 1
        counts.append((int(found[0][0]), int(found[0][1])))
        if not text.startswith("Code lists"):
            assert "Date" in text
    place = 0
    while place < len(counts):
        whole = counts[place][1]
        assert counts[place : place + whole] == [(n, whole) for n in range(1, whole + 1)]
        place += whole


def test_the_code_of_a_filled_sheet_names_its_row(hollin: ChosenRows, tmp_path: Path) -> None:
    out = tmp_path / "out.pdf"
    texts = print_filled(hollin, out, sheets=("all",))
    rows = set()
    for page, text in enumerate(texts):
        codes = decoded(rendered(out, 150, page))
        halves = text.startswith("Core sheet")
        assert len(codes) == (0 if text.startswith("Code lists") else 2 if halves else 1), text[:40]
        for code in map(read_sheet_code, codes):
            assert code.package == "holl"
            if code.key:
                rows.add((code.table, code.key))
                assert f" {code.key} " in text
                assert not halves or (code.table, code.key) in {
                    ("sample", "231"),
                    ("sample", "232"),
                }
    assert rows == {
        ("site", "HOLL"),
        ("element", "B1-014"),
        ("element", "B1-015"),
        ("sample", "231"),
        ("sample", "232"),
    }


def test_the_code_of_a_blank_says_its_table(everything: dict[str, Path]) -> None:
    tables = set()
    for page in range(page_count(everything["letter"])):
        for text in decoded(rendered(everything["letter"], 150, page)):
            code = read_sheet_code(text)
            assert not code.key
            tables.add(code.table)
    assert tables == {name for kind in SHEETS for name in kind.tables}


def test_the_same_package_gives_the_same_bytes(hollin: ChosenRows, tmp_path: Path) -> None:
    print_filled(hollin, tmp_path / "one.pdf")
    print_filled(hollin, tmp_path / "two.pdf")
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


# -- hostile input ---------------------------------------------------------------------------------

HOSTILE = {
    "markup": "<b>Wall</b> & <para/> </script> (oak) \\ %PDF",
    "turned": "left \u202eright\u202c \u200fדלת ישנה שלום\u200f",
    "emoji": "beam 🪵👩‍🔧 of the \U0001f3da",
    "control": "one\x07two\x1bthree",
    "long": "Überlänge" * 34,
    "lines": "first\u2028second\u0085third",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_text_is_laid_out_inside_the_page(tmp_path: Path, text: str) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("element", element_id=f"B1 {text}", position_note=text, notes=text * 6)
    builder.with_row("sample", sample_id="9", element_id=f"B1 {text}", why_here=text, notes=text)
    builder.with_row("party", party_id="X", name=text).with_row("place", place_id="P", name=text)
    out = tmp_path / "out.pdf"
    texts = print_filled(
        ChosenRows(builder.package), out, sheets=("element", "log", "core", "party", "place")
    )
    assert margins_white(out, 6.5, dpi=40) == []
    if text == HOSTILE["markup"]:
        assert any(text in page for page in texts)
    assert overlapping_texts(out) == []
    core = next(number for number, page in enumerate(texts) if page.startswith("Core sheet"))
    codes = [read_sheet_code(code) for code in decoded(rendered(out, 150, core))]
    assert [(code.table, code.package) for code in codes] == [("sample", "holl")] * 2


def test_a_key_that_no_code_can_say_is_told_by_its_row_number(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("element", element_id="B" * 300)
    out = tmp_path / "out.pdf"
    print_filled(ChosenRows(builder.package), out, sheets=("element",))
    page = next(page for page in range(page_count(out)) if "BBB" in page_texts(out)[page])
    code = read_sheet_code(decoded(rendered(out, 150, page))[0])
    assert (code.table, code.key, code.row) == ("element", "", "3")


def test_a_very_long_text_is_cut_with_a_word_in_a_log(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("plug", plug_id="P9", notes="dowel " * 900)
    out = tmp_path / "out.pdf"
    texts = print_filled(ChosenRows(builder.package), out, sheets=("plug",))
    assert any("Where a text ends in …, the record has the rest" in text for text in texts)
    assert margins_white(out, 6.5) == []


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"sheets": ("elephant",)}, "no sheet is named 'elephant'.*cover"),
        ({"paper": "a3"}, "no paper 'a3'"),
        ({"scale": "1:33"}, "no scale '1:33'"),
        ({"blanks": 0}, "0 blank copies"),
        ({"samples": "231"}, "needs a package"),
    ],
)
def test_unusable_wishes_are_refused_and_nothing_is_written(
    tmp_path: Path, options: dict[str, object], message: str
) -> None:
    model: Model = load_model("blank")
    with pytest.raises(TreenailError, match=message):
        write_sheets(model, tmp_path / "out.pdf", **options)  # type: ignore[arg-type]
    assert list(tmp_path.iterdir()) == []


def test_unknown_rows_are_refused_with_what_there_is(hollin: ChosenRows, tmp_path: Path) -> None:
    package, out = hollin.package, tmp_path / "out.pdf"
    for options, message in (
        ({"site": "NOPE"}, "no site 'NOPE'; there are HOLL"),
        ({"samples": "999"}, '"999" is no sample of this record'),
        ({"elements": "Q1"}, "no timber 'Q1'"),
    ):
        with pytest.raises(TreenailError, match=message):
            write_sheets(package.model, out, package=package, **options)  # type: ignore[arg-type]
    assert not out.exists()
