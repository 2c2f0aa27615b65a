"""Labels lie where the stock says, say what the package says, and can be read back."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._drawing.qr import CodeTooLarge
from provenance._identity.check_character import check_letters
from provenance._printing.labels.calibration import Calibration
from provenance._printing.labels.facts import (
    SampleFacts,
    blank_facts,
    gather_facts,
    literal_numbers,
    reserved_facts,
)
from provenance._printing.labels.labels import print_labels
from provenance._printing.labels.stock import UnusableStock, load_stock, shipped_stocks
from tests.builders import a_package
from tests.printing.reading import decoded, page_sizes_mm, page_texts, rendered

SINGLE = [name for name in shipped_stocks() if load_stock(name).draws != "content"]

HARD_NAMES = [
    "Ďáblův mlýn, 2. patro",
    "Стара хата за річкою",
    "Παλιό σπίτι",
    "<b>North</b> & <para> house",
    "\u202eesrever\u202c \x00\x1b[31m tabs\tand\nlines",
    "בית ישן",
    "Fir 🌲 古い家",
    "very " * 60,
    "x" * 300,
]


def some_facts(count: int) -> list[SampleFacts]:
    return [
        SampleFacts(
            "HOLL",
            str(201 + n),
            "Hollin Reach (invented)",
            "Core" if n % 2 else "Cross-section",
            "2024-06-04",
            "MB",
            f"B1-{n:03}",
            "Beam",
            HARD_NAMES[n % len(HARD_NAMES)],
        )
        for n in range(count)
    ]


@pytest.mark.parametrize("name", SINGLE)
def test_every_code_of_every_stock_is_read_back_at_200_dpi(name: str, tmp_path: Path) -> None:
    stock = load_stock(name)
    facts = some_facts(min(stock.labels_a_page, 12))
    print_labels(facts, stock, tmp_path / "labels.pdf")
    page = rendered(tmp_path / "labels.pdf", 200)
    # as a printer has it that knows black and white only
    for picture in (page, np.where(page < 128, 0, 255).astype(np.uint8)):
        texts = [f"TREENAIL HOLL-{f.number}-{check_letters(f.identifier)}" for f in facts]
        assert sorted(decoded(picture)) == sorted(texts)


@pytest.mark.parametrize("name", [name for name in SINGLE if load_stock(name).dpi])
def test_on_a_roll_all_squares_of_a_code_are_as_many_dots(name: str, tmp_path: Path) -> None:
    """By PDFium, as a printer has it that knows black and white only; 203 dots an inch."""
    import zxingcpp

    print_labels(some_facts(1), load_stock(name), tmp_path / "labels.pdf")
    page = rendered(tmp_path / "labels.pdf", 203) < 128
    (found,) = zxingcpp.read_barcodes(np.where(page, 0, 255).astype(np.uint8))
    at = found.position
    code = page[at.top_left.y - 2 : at.bottom_left.y + 3, at.top_left.x - 2 : at.top_right.x + 3]
    for axis in (0, 1):
        edges = np.nonzero(np.diff(code.astype(int), axis=axis).any(axis=1 - axis))[0]
        dots, rest = divmod(int(edges.max() - edges.min()), 29)
        assert (rest, dots >= 4) == (0, True)
        assert not ((edges - edges.min()) % dots).any()


@pytest.mark.parametrize("name", ["a4_48x25", "a4_disc", "letter_flag", "roll_50x25"])
def test_nothing_is_printed_outside_a_label(name: str, tmp_path: Path) -> None:
    """Every label is blotted out on the rendered page; what is then still dark is a fault."""
    stock = load_stock(name)
    facts = some_facts(stock.labels_a_page)
    print_labels(facts, stock, tmp_path / "labels.pdf")
    page = rendered(tmp_path / "labels.pdf", 150)
    assert (page < 128).any()
    height = page.shape[0]
    scale = 150 / 72
    for box in stock.boxes():
        top, foot = height - box.top * scale, height - box.y * scale
        left, right = box.x * scale, box.right * scale
        edge = page[round(top) : round(foot), round(left) : round(right)]
        inside = edge[2:-2, 2:-2]
        assert (inside < 128).any(), "an empty label"
        page[round(top) : round(foot), round(left) : round(right)] = 255
    assert not (page < 128).any()


def test_labels_lie_at_the_pitch_of_the_stock(tmp_path: Path) -> None:
    """Measured on the rendered page, from the first label's ink to every other label's."""
    stock = load_stock("letter_67x25")
    one = some_facts(1)
    print_labels(one, stock, tmp_path / "labels.pdf", copies=stock.labels_a_page)
    page = rendered(tmp_path / "labels.pdf", 300)
    to_pixels = 300 / 25.4
    for place in range(stock.labels_a_page):
        row, column = divmod(place, stock.columns)
        x_mm = stock.left_mm + column * stock.pitch_x_mm
        y_mm = stock.top_mm + row * stock.pitch_y_mm
        left, top = round(x_mm * to_pixels), round(y_mm * to_pixels)
        label = page[top : top + round(25.4 * to_pixels), left : left + round(66.6 * to_pixels)]
        rows, columns = np.nonzero(label < 128)
        ink = (float(columns.min()), float(rows.min()), float(columns.max()), float(rows.max()))
        if place == 0:
            first = ink
        assert ink == pytest.approx(first, abs=1.5), f"label {place + 1}"


def test_the_page_is_as_large_as_the_stock_says(tmp_path: Path) -> None:
    for name in ("a4_disc", "letter_flag", "roll_57x32"):
        stock = load_stock(name)
        print_labels(some_facts(2), stock, tmp_path / "labels.pdf")
        measured = page_sizes_mm(tmp_path / "labels.pdf")[0]
        assert measured == pytest.approx((stock.page_width_mm, stock.page_height_mm), abs=0.01)


def test_a_label_says_what_the_package_says(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    facts = gather_facts(package)
    print_labels(facts, load_stock("a4_99x38"), tmp_path / "labels.pdf")
    text = page_texts(tmp_path / "labels.pdf")[0]
    for word in ("231", "HOLL", "Site 7", "2024-06-04", "MB", "B1-014", "North house", "Core"):
        assert word in text
    assert decoded(rendered(tmp_path / "labels.pdf", 200)) == ["TREENAIL HOLL-231-JV"]


def test_the_name_that_is_kept_back_is_not_printed_where_there_is_a_public_one(
    tmp_path: Path,
) -> None:
    package = a_package(tmp_path).with_chain().package
    print_labels(gather_facts(package), load_stock("a4_99x38"), tmp_path / "labels.pdf")
    assert "Hollin Reach" not in page_texts(tmp_path / "labels.pdf")[0]


@pytest.mark.parametrize("name", SINGLE)
def test_the_check_letters_stand_on_the_label(name: str, tmp_path: Path) -> None:
    print_labels(blank_facts("HOLL", ["231"]), load_stock(name), tmp_path / "labels.pdf")
    assert "JV" in page_texts(tmp_path / "labels.pdf")[0].split()


def number_height_mm(stock_name: str, number: str, folder: Path) -> float:
    """How high the ink of the number's first digit stands, by PDFium."""
    import pypdfium2

    path = folder / "labels.pdf"
    print_labels(blank_facts("HOLL", [number]), load_stock(stock_name), path)
    document = pypdfium2.PdfDocument(path)
    page = document[0].get_textpage()
    text = page.get_text_range()
    assert number in text
    start = text.index(number)
    left, foot, right, top = page.get_charbox(start, loose=False)
    document.close()
    assert right > left
    return float(top - foot) / 72 * 25.4


@pytest.mark.parametrize("name", [name for name in SINGLE if load_stock(name).draws == "sample"])
def test_the_number_stands_five_millimetres_high(name: str, tmp_path: Path) -> None:
    assert number_height_mm(name, "247", tmp_path) >= 4.9


def test_a_blank_label_has_lines_to_write_on_and_a_code(tmp_path: Path) -> None:
    print_labels(blank_facts("HOLL", ["231"]), load_stock("a4_99x38"), tmp_path / "labels.pdf")
    text = page_texts(tmp_path / "labels.pdf")[0]
    assert "wood" in text
    assert "date" in text
    assert decoded(rendered(tmp_path / "labels.pdf", 200)) == ["TREENAIL HOLL-231-JV"]


def test_a_begun_sheet_goes_on_where_it_was_left(tmp_path: Path) -> None:
    stock = load_stock("a4_48x25")
    printed = print_labels(some_facts(3), stock, tmp_path / "labels.pdf", start_at=43)
    assert printed.page_count == 2
    texts = page_texts(tmp_path / "labels.pdf")
    assert "201" in texts[0]
    assert "203" in texts[1]
    page = rendered(tmp_path / "labels.pdf", 100)
    last_row_top = (stock.top_mm + 10 * stock.pitch_y_mm) / 25.4 * 100
    assert not (page[: int(last_row_top)] < 128).any()


@pytest.mark.parametrize("start_at", [0, 45, -1])
def test_a_place_that_the_sheet_lacks_is_refused(start_at: int, tmp_path: Path) -> None:
    with pytest.raises(TreenailError, match="1 to 44"):
        print_labels(some_facts(1), load_stock("a4_48x25"), tmp_path / "l.pdf", start_at=start_at)
    assert not (tmp_path / "l.pdf").exists()


def test_each_label_is_printed_as_often_as_was_asked(tmp_path: Path) -> None:
    printed = print_labels(some_facts(2), load_stock("a4_48x25"), tmp_path / "labels.pdf", copies=3)
    assert printed.label_count == 6
    assert page_texts(tmp_path / "labels.pdf")[0].split().count("202") == 3


def test_crop_marks_stay_off_the_labels(tmp_path: Path) -> None:
    stock = load_stock("letter_102x51")
    facts = some_facts(10)
    print_labels(facts, stock, tmp_path / "plain.pdf")
    print_labels(facts, stock, tmp_path / "marked.pdf", crop_marks=True)
    plain, marked = rendered(tmp_path / "plain.pdf", 150), rendered(tmp_path / "marked.pdf", 150)
    assert (marked < 128).sum() > (plain < 128).sum()
    for box in stock.boxes():
        scale = 150 / 72
        rows = slice(round(plain.shape[0] - box.top * scale), round(plain.shape[0] - box.y * scale))
        columns = slice(round(box.x * scale), round(box.right * scale))
        assert (plain[rows, columns] == marked[rows, columns]).all()


def test_a_calibrated_print_is_moved_against_the_printers_fault(tmp_path: Path) -> None:
    """A printer that shifts by (2, -1) mm and stretches by 1 % puts the code where it belongs."""
    stock = load_stock("a4_99x38")
    fault = Calibration(offset_x_mm=2.0, offset_y_mm=-1.0, scale_x=1.01, scale_y=0.99)
    facts = some_facts(14)
    print_labels(facts, stock, tmp_path / "true.pdf")
    print_labels(facts, stock, tmp_path / "moved.pdf", calibration=fault)
    places = []
    for name in ("true.pdf", "moved.pdf"):
        page = rendered(tmp_path / name, 300)
        import zxingcpp

        found = zxingcpp.read_barcodes(page)
        places.append(
            {
                one.text: (
                    one.position.top_left.x / 300 * 25.4,
                    one.position.top_left.y / 300 * 25.4,
                )
                for one in found
            }
        )
    true, moved = places
    assert len(true) == 14
    for text, (x, y) in moved.items():
        printed = (
            fault.offset_x_mm + fault.scale_x * x,
            fault.offset_y_mm + fault.scale_y * y,
        )
        assert printed == pytest.approx(true[text], abs=0.25)


def test_the_same_labels_give_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one.pdf", "two.pdf"):
        print_labels(some_facts(30), load_stock("a4_70x37"), tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_markup_in_a_name_is_printed_as_it_is_written(tmp_path: Path) -> None:
    facts = [SampleFacts("HOLL", "1", place="<b>North</b> & <i>house</i> (x) Tj")]
    print_labels(facts, load_stock("letter_102x51"), tmp_path / "labels.pdf")
    text = " ".join(page_texts(tmp_path / "labels.pdf")[0].split())
    assert "<b>North</b> & <i>house</i> (x) Tj" in text


def test_characters_without_a_shape_are_named(tmp_path: Path) -> None:
    facts = [SampleFacts("HOLL", "1", place="Fir 🌲 row")]
    printed = print_labels(facts, load_stock("a4_99x38"), tmp_path / "labels.pdf")
    assert printed.unprintable == ("🌲",)


def test_a_web_address_too_long_for_the_label_is_refused_and_nothing_written(
    tmp_path: Path,
) -> None:
    resolver = "https://example.org/" + "very-long/" * 12 + "{identifier}"
    with pytest.raises(CodeTooLarge, match="HOLL-201 needs"):
        print_labels(
            some_facts(1), load_stock("a4_flag"), tmp_path / "labels.pdf", resolver=resolver
        )
    with pytest.raises(UnusableStock, match="HOLL-201 needs a disc"):
        print_labels(
            some_facts(1), load_stock("a4_disc"), tmp_path / "labels.pdf", resolver=resolver
        )
    assert list(tmp_path.iterdir()) == []


def test_a_short_web_address_is_in_the_code(tmp_path: Path) -> None:
    print_labels(
        some_facts(1),
        load_stock("a4_99x38"),
        tmp_path / "labels.pdf",
        resolver="https://example.org/{identifier}",
    )
    (text,) = decoded(rendered(tmp_path / "labels.pdf", 200))
    assert text == "TREENAIL HOLL-201-AY see https://example.org/HOLL-201"


def test_a_number_that_could_not_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnusableStock, match="mm high and could not be read"):
        print_labels(blank_facts("HOLL", ["1" * 24]), load_stock("a4_48x25"), tmp_path / "l.pdf")


def test_memory_does_not_grow_with_the_pages(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three times the pages do not take noticeably more, since files are closed in between."""
    from provenance._drawing import document

    monkeypatch.setattr(document, "PAGES_PER_FILE", 5)
    stock, facts = load_stock("roll_57x32"), some_facts(10)

    def peak(copies: int) -> int:
        tracemalloc.start()
        print_labels(facts, stock, tmp_path / "labels.pdf", copies=copies)
        highest = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return highest

    peak(1)
    assert peak(6) < 1.25 * peak(2)


def test_an_empty_package_is_refused_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(TreenailError, match="--numbers"):
        gather_facts(a_package(tmp_path).package)


def test_a_number_that_cannot_be_an_identifier_is_named(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain(sample_id="Ž 12").package
    with pytest.raises(TreenailError, match="sample 'Ž 12' of site 'HOLL'"):
        gather_facts(package)


def test_only_samples_of_the_site_are_taken(tmp_path: Path) -> None:
    package = (
        a_package(tmp_path)
        .with_chain()
        .with_row("site", site_id="MILL")
        .with_row("sample", sample_id="12", site_id="MILL")
        .package
    )
    assert [one.sample_id for one in gather_facts(package, site="MILL")] == ["12"]
    with pytest.raises(TreenailError, match="HOLL, MILL"):
        gather_facts(package, site="BARN")


def test_reserved_numbers_become_blanks_until_they_are_used(tmp_path: Path) -> None:
    from provenance._identity.stamps import reserve_stamps

    package = a_package(tmp_path).with_chain(sample_id="301").package
    reserve_stamps(package, 3, crew="north", reserved_on="2024-06-01", first=302)
    assert [one.number for one in reserved_facts(package, "all")] == ["302", "303", "304"]
    assert all(one.blank for one in reserved_facts(package, "301-303"))
    with pytest.raises(TreenailError):
        reserved_facts(package, "400-410")


def test_numbers_are_spelt_out_from_a_list() -> None:
    assert literal_numbers("5,3-4, 3") == ["5", "3", "4"]
    for wrong in ("", "a", "7-3", "1-9999999"):
        with pytest.raises(UnreadableValue):
            literal_numbers(wrong)
