"""A printed file is the same for the same input, whole or not there, and says what it is."""

from __future__ import annotations

from pathlib import Path

import pypdf
import pytest

from provenance._base.errors import TreenailError
from provenance._drawing import document
from provenance._drawing.document import Pages, printed_pages
from provenance._drawing.fitting import draw_line
from provenance._drawing.fonts import PLAIN
from provenance._drawing.paper import PAPERS, paper_named
from tests.printing.reading import page_sizes_mm, page_texts


def print_some(path: Path, pages: int, text: str = "Page") -> Pages:
    with printed_pages(path, (200, 300), title="Some pages (invented)") as run:
        for number in range(1, pages + 1):
            draw_line(run.begin_page(), f"{text} {number}", PLAIN, 12, 20, 150)
    return run


def test_the_same_pages_give_the_same_bytes(tmp_path: Path) -> None:
    print_some(tmp_path / "one.pdf", 3)
    print_some(tmp_path / "two.pdf", 3)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_the_file_says_its_title_author_and_language(tmp_path: Path) -> None:
    print_some(tmp_path / "one.pdf", 1)
    reader = pypdf.PdfReader(tmp_path / "one.pdf")
    assert reader.metadata is not None
    assert reader.metadata.title == "Some pages (invented)"
    assert reader.metadata.author == "treenail"
    assert reader.trailer["/Root"]["/Lang"] == "en"


def test_every_font_is_embedded(tmp_path: Path) -> None:
    print_some(tmp_path / "one.pdf", 1, "Ďáblík Двір Σπίτι")
    page = pypdf.PdfReader(tmp_path / "one.pdf").pages[0]
    embedded = [
        font["/FontDescriptor"]["/FontFile2"]
        for font in (one.get_object() for one in page["/Resources"]["/Font"].values())
        if "/FontDescriptor" in font
    ]
    assert embedded
    assert "Ďáblík Двір Σπίτι 1" in page_texts(tmp_path / "one.pdf")[0]


def test_a_long_run_is_cut_into_several_files_with_every_page_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(document, "PAGES_PER_FILE", 4)
    run = print_some(tmp_path / "some.pdf", 10)
    assert [path.name for path in run.paths] == ["some.pdf", "some-2.pdf", "some-3.pdf"]
    texts = [text.strip() for path in run.paths for text in page_texts(path)]
    assert texts == [f"Page {number}" for number in range(1, 11)]


def test_a_full_last_file_is_not_followed_by_an_empty_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(document, "PAGES_PER_FILE", 4)
    assert len(print_some(tmp_path / "some.pdf", 8).paths) == 2


def test_a_run_that_fails_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(document, "PAGES_PER_FILE", 2)

    def print_until_the_power_fails() -> None:
        with printed_pages(tmp_path / "some.pdf", (200, 300), title="Some") as run:
            for _ in range(5):
                run.begin_page()
            raise RuntimeError("the power failed")

    with pytest.raises(RuntimeError):
        print_until_the_power_fails()
    assert list(tmp_path.iterdir()) == []


def test_a_run_without_pages_is_refused(tmp_path: Path) -> None:
    with (
        pytest.raises(TreenailError, match="nothing to print"),
        printed_pages(tmp_path / "some.pdf", (200, 300), title="Some"),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_the_papers_have_the_measures_of_their_standards(tmp_path: Path) -> None:
    """ISO 216: A4 is 210 mm by 297 mm. ANSI/ASME Y14.1: size A is 8.5 in by 11 in."""
    for paper, measure in zip(PAPERS, ((210, 297), (8.5 * 25.4, 11 * 25.4)), strict=True):
        path = tmp_path / f"{paper.name}.pdf"
        with printed_pages(path, (paper.width, paper.height), title="Blank") as run:
            run.begin_page()
        assert page_sizes_mm(path)[0] == pytest.approx(measure, abs=0.01)


def test_a_paper_that_is_not_known_is_refused_with_those_that_are() -> None:
    with pytest.raises(TreenailError, match="a4, letter"):
        paper_named("foolscap")
