"""Every code is read back by ZXing from what PDFium renders: neither has to do with the writer."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
import segno
import zxingcpp
from hypothesis import assume, given
from hypothesis import strategies as st
from PIL import Image, ImageFilter
from qrcode import constants, util

from provenance._drawing.document import printed_pages
from provenance._drawing.paper import MM
from provenance._drawing.qr import (
    MASK,
    QUIET_MODULES,
    SMALLEST_MODULE_MM,
    CodeTooLarge,
    _code_words,
    draw_code,
    encode_label,
    encode_text,
    encode_to_fit,
    needed_side_mm,
    whole_dots,
)
from provenance._identity.payload import compose_code
from tests.builders import code_of_before
from tests.printing.reading import decoded, rendered

PAYLOAD = code_of_before("HOLL", "231", "cross-section", "date 2024-06-04")
"""A text as long as those of sheets; labels of before said it."""


def a_page_of_codes(folder: Path, texts: list[str], side_mm: float) -> Path:
    """A page with the texts' codes in rows of five."""
    path = folder / "codes.pdf"
    pitch = (side_mm + 4) * MM
    with printed_pages(path, (210 * MM, 297 * MM), title="Codes") as pages:
        canvas = pages.begin_page()
        for place, text in enumerate(texts):
            row, column = divmod(place, 5)
            x, y = 20 + column * pitch, 780 - (row + 1) * pitch
            draw_code(canvas, encode_to_fit(text, side_mm), x, y, side_mm * MM)
    return path


def many_payloads(count: int) -> list[str]:
    return [
        code_of_before("HOLL", str(201 + n), "core", f"date 2024-06-{n % 28 + 1:02}")
        for n in range(count)
    ]


@pytest.mark.parametrize(("dpi", "side_mm"), [(150, 20), (200, 13.8), (300, 13.8)])
def test_every_code_of_a_page_is_read_back(tmp_path: Path, dpi: int, side_mm: float) -> None:
    """At 200 and 300 dpi the smallest module is read; at 150 dpi one of 0.39 mm."""
    texts = many_payloads(40)
    page = rendered(a_page_of_codes(tmp_path, texts, side_mm), dpi)
    assert sorted(decoded(page)) == sorted(texts)


def test_a_coarse_printer_that_knows_black_and_white_only_does_not_spoil_a_code(
    tmp_path: Path,
) -> None:
    texts = many_payloads(40)
    page = rendered(a_page_of_codes(tmp_path, texts, 13.8), 200)
    assert sorted(decoded(np.where(page < 128, 0, 255).astype(np.uint8))) == sorted(texts)


@pytest.mark.parametrize("degrees", [7, 90, 133, 180])
def test_a_turned_code_is_read(tmp_path: Path, degrees: int) -> None:
    page = Image.fromarray(rendered(a_page_of_codes(tmp_path, [PAYLOAD], 16), 300))
    turned = page.crop((0, 0, 600, 600)).rotate(degrees, expand=True, fillcolor=255)
    assert decoded(np.asarray(turned)) == [PAYLOAD]


def test_a_blurred_code_is_read(tmp_path: Path) -> None:
    """A Gaussian blur as wide at half its height as a module (standard deviation 0.42 of it)."""
    page = Image.fromarray(rendered(a_page_of_codes(tmp_path, [PAYLOAD], 16), 300))
    blurred = page.crop((0, 0, 600, 600)).filter(ImageFilter.GaussianBlur(1.5))
    assert decoded(np.asarray(blurred)) == [PAYLOAD]


def code_as_picture(code_rows: tuple[bytes, ...]) -> np.ndarray:
    """A code drawn by hand, 8 pixels a module, with its quiet zone."""
    cells = np.array([list(row) for row in code_rows], dtype=np.uint8)
    return np.kron(np.pad(1 - cells, 4, constant_values=1) * 255, np.ones((8, 8), np.uint8))


@pytest.mark.parametrize("grey", [0, 255], ids=["soiled", "rubbed off"])
def test_a_code_of_which_a_tenth_is_lost_is_still_read(grey: int) -> None:
    """A patch of a tenth of the area, wherever it does not hit a corner mark; at level Q.

    The three corner marks are how a reader finds a code at all; nothing mends one that is gone.
    """
    code = encode_text(PAYLOAD, "Q")
    n = code.modules
    patch = round(n * 0.1**0.5)
    assert patch**2 >= 0.095 * n**2
    read, tried = 0, 0
    for row in range(0, n - patch + 1, 2):
        for column in range(0, n - patch + 1, 2):
            near_top, near_left = row < 9, column < 9
            if (near_top and near_left) or (near_top and column + patch > n - 9):
                continue
            if near_left and row + patch > n - 9:
                continue
            picture = code_as_picture(code.rows)
            top, left = (row + QUIET_MODULES) * 8, (column + QUIET_MODULES) * 8
            picture[top : top + patch * 8, left : left + patch * 8] = grey
            tried += 1
            read += decoded(picture) == [PAYLOAD]
    assert tried > 40
    assert read == tried


def test_a_scratch_across_the_code_does_not_lose_it() -> None:
    """A white band a tenth of the height, through the middle."""
    code = encode_text(PAYLOAD, "Q")
    picture = code_as_picture(code.rows)
    middle = picture.shape[0] // 2
    half = round(code.modules * 8 * 0.05)
    picture[middle - half : middle + half] = 255
    assert decoded(picture) == [PAYLOAD]


def test_names_in_other_scripts_come_back_letter_by_letter(tmp_path: Path) -> None:
    names = ["Hůlín č. 7", "Стара хата", "Παλιό σπίτι", "古い家", "בית ישן", "Ænes 🌲"]
    texts = [code_of_before("HOLL", str(1 + n), site_name=name) for n, name in enumerate(names)]
    page = rendered(a_page_of_codes(tmp_path, texts, 20), 300)
    assert sorted(decoded(page)) == sorted(texts)


@given(text=st.text(st.characters(codec="utf-8"), min_size=1, max_size=120))
def test_any_text_comes_back_letter_by_letter(text: str) -> None:
    """Whatever a site is called, in any script, and whatever stands in a note."""
    (found,) = zxingcpp.read_barcodes(
        code_as_picture(encode_text(text).rows),
        formats=zxingcpp.BarcodeFormat.QRCode,
        text_mode=zxingcpp.TextMode.Plain,
    )
    assert found.text == text


@given(
    text=st.text(st.characters(codec="utf-8"), min_size=1, max_size=400)
    | st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:", min_size=1, max_size=200),
    level=st.sampled_from("LMQH"),
)
def test_another_encoder_makes_the_same_symbol(text: str, level: str) -> None:
    """segno, with version, level, mask and ECI given.

    Where the bits end on a code word (texts in ASCII) it puts a word of zeros before the pad words,
    which ISO/IEC 18004 does not have; its version must be the same all the same.
    """
    code = encode_text(text, level)
    short = set(text) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
    other = segno.make_qr(
        text,
        error=level,
        mode="alphanumeric" if short else "byte",
        mask=MASK,
        encoding=None if short else "utf-8",
        eci=not text.isascii(),
        boost_error=False,
    )
    assert other.version == code.version
    if not text.isascii():
        assert tuple(bytes(row) for row in other.matrix) == code.rows


@given(text=st.text(st.characters(codec="ascii"), min_size=1), level=st.sampled_from("LMQH"))
def test_the_bits_of_a_text_in_ascii_are_those_of_the_library(text: str, level: str) -> None:
    version = encode_text(text, level).version
    assume(not re.fullmatch("[0-9A-Z $%*+./:-]+", text))
    data = util.QRData(text, mode=util.MODE_8BIT_BYTE, check_data=False)
    data.data = text.encode()
    number = getattr(constants, f"ERROR_CORRECT_{level}")
    assert _code_words(text, version, level) == util.create_data(version, number, [data])


def test_the_quiet_zone_is_four_modules_wide(tmp_path: Path) -> None:
    """ISO/IEC 18004: four modules light on every side."""
    from tests.printing.reading import ink_box_mm

    side_mm = 20.0
    page = rendered(a_page_of_codes(tmp_path, [PAYLOAD], side_mm), 600)
    code = encode_to_fit(PAYLOAD, side_mm)
    left, top, right, bottom = ink_box_mm(page, 600)
    module = side_mm / (code.modules + 8)
    assert right - left == pytest.approx(code.modules * module, abs=0.09)
    assert bottom - top == pytest.approx(code.modules * module, abs=0.09)
    assert left == pytest.approx(20 / MM + 4 * module, abs=0.09)


def test_a_code_that_could_not_be_read_is_refused_with_a_word() -> None:
    with pytest.raises(CodeTooLarge, match=r"label 231 needs 1\d\.\d mm .* has 8\.0 mm"):
        encode_to_fit(PAYLOAD, 8, "label 231")


def test_the_smallest_space_that_is_promised_is_enough() -> None:
    side = needed_side_mm(PAYLOAD)
    code = encode_to_fit(PAYLOAD, side)
    assert side / (code.modules + 8) == pytest.approx(SMALLEST_MODULE_MM)
    with pytest.raises(CodeTooLarge):
        encode_to_fit(PAYLOAD, side - 0.01)


def test_where_there_is_room_the_code_is_made_safer() -> None:
    assert encode_to_fit(PAYLOAD, 15).level == "Q"
    assert encode_to_fit(PAYLOAD, 30).level == "H"


def test_a_text_too_long_for_any_code_is_refused() -> None:
    with pytest.raises(CodeTooLarge, match="too long"):
        needed_side_mm("x" * 5000)


@pytest.mark.parametrize(
    ("version", "level", "capacity"), [(1, "Q", 11), (6, "Q", 74), (10, "H", 119), (40, "L", 2953)]
)
def test_a_version_holds_as_many_bytes_as_the_standard_says(
    version: int, level: str, capacity: int
) -> None:
    """ISO/IEC 18004, table of data capacity, byte mode (values from memory)."""
    assert encode_text("x" * capacity, level).version == version
    if version < 40:
        assert encode_text("x" * (capacity + 1), level).version == version + 1


@pytest.mark.parametrize(("version", "capacity"), [(1, 10), (2, 20), (3, 35), (10, 174)])
def test_capitals_and_digits_take_less_room(version: int, capacity: int) -> None:
    """ISO/IEC 18004, table of data capacity, alphanumeric mode at level H (from memory)."""
    assert encode_text("A" * capacity, "H").version == version
    assert encode_text("A" * (capacity + 1), "H").version == version + 1


def test_a_labels_code_is_chosen_by_its_space() -> None:
    short, long = (
        compose_code("HOLL", "201"),
        compose_code("HOLL", "201", "https://e.org/" + "x" * 40),
    )
    for text, side_mm, scarce, expected in (
        (short, 20.0, False, (3, "H")),
        (short, 13.9, True, (2, "H")),
        (short, 11.8, False, (3, "Q")),
        (long, 30.0, False, (8, "H")),
        (long, 15.0, False, (7, "Q")),
    ):
        code = encode_label(text, side_mm, "label 201", scarce=scarce)
        assert (code.version, code.level, code.width) == (*expected, code.modules + 4), text
    with pytest.raises(CodeTooLarge, match=r"label 201 needs 13\.7 mm and has 12\.0 mm"):
        encode_label(long, 12.0, "label 201")


@given(
    st.floats(0, 300), st.floats(0, 300), st.floats(14.5, 200), st.sampled_from([0.2, 0.3548, 1.0])
)
def test_on_a_printer_of_black_and_white_every_module_is_as_many_whole_dots(
    x: float, top: float, side: float, dot: float
) -> None:
    code = encode_label(compose_code("HOLL", "201"), 14.0, "")
    dot = min(dot, side / code.width)
    left, head, whole = whole_dots(code, x, top, side, dot)
    for length in (left, head, whole / code.width):
        assert length / dot == pytest.approx(round(length / dot), abs=1e-6)
    assert side - code.width * dot <= whole + 1e-6 <= side + 2e-6
    assert abs(left + whole / 2 - x - side / 2) <= dot / 2 + 1e-6
    assert abs(head + whole / 2 - top - side / 2) <= dot / 2 + 1e-6


def test_a_code_is_drawn_as_one_path() -> None:
    """One fill operator a code, however many modules it has."""
    import io

    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(io.BytesIO(), pageCompression=0)
    before = len(canvas._code)
    draw_code(canvas, encode_text(PAYLOAD), 0, 0, 100)
    drawn = " ".join(canvas._code[before:]).split()
    assert drawn.count("f") == 1
    assert drawn.count("re") > 300
