"""`treenail print sheets` is thin: it names what it wrote and replaces nothing."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from provenance._base.errors import AlreadyThere, TreenailError
from provenance._cli.forms import sheets
from tests.builders import a_package
from tests.printing.reading import page_sizes_mm, page_texts


def run(*words: str) -> Result:
    return CliRunner().invoke(sheets, words, catch_exceptions=True)


def test_a_profile_gives_blanks(tmp_path: Path) -> None:
    out = tmp_path / "out.pdf"
    result = run("--profile", "log_building", "--sheet", "plug", "--blanks", "2", "--out", str(out))
    assert result.exit_code == 0
    assert f"wrote {out}" in result.output
    # of a grid only where one is printed
    assert "true scale" not in result.output
    with_grid = run(
        "--profile", "log_building", "--sheet", "grid", "--out", str(out.with_name("g"))
    )
    assert "true scale" in with_grid.output
    logs = [text for text in page_texts(out) if text.startswith("Plug log")]
    assert len(logs) == 2
    # the pages are told before anything is written
    assert re.search(
        r"2  Plug log\n +1  Code lists\n +3  pages in all\n.*wrote", result.output, re.S
    )


def test_a_package_gives_filled_sheets_on_letter_paper(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    out = tmp_path / "out.pdf"
    result = run(str(package.folder), "--sheet", "sample", "--samples", "231", "--paper", "letter",
                 "--out", str(out))  # fmt: skip
    assert result.exit_code == 0
    assert page_texts(out)[0].startswith("Sample 231")
    assert page_sizes_mm(out)[0] == pytest.approx((215.9, 279.4))


def test_a_file_that_is_there_is_not_replaced(tmp_path: Path) -> None:
    for taken in ("out.pdf", "out-2.pdf"):
        path = tmp_path / taken
        path.write_text("filled in by hand")
        result = run("--profile", "blank", "--sheet", "grid", "--out", str(tmp_path / "out.pdf"))
        assert isinstance(result.exception, AlreadyThere)
        assert path.read_text() == "filled in by hand"
        path.unlink()


def test_package_or_profile_must_be_named() -> None:
    assert run("--sheet", "grid").exit_code == 2


def test_an_unknown_sheet_is_a_sentence(tmp_path: Path) -> None:
    result = run("--profile", "blank", "--sheet", "sheep", "--out", str(tmp_path / "x.pdf"))
    assert isinstance(result.exception, TreenailError)
    assert "no sheet is named 'sheep'" in str(result.exception)
    assert not (tmp_path / "x.pdf").exists()
