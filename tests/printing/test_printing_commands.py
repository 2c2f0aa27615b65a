"""`treenail print labels`, `tags` and `cards` write what they say, or say why not."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from provenance._base.errors import TreenailError
from provenance._cli import treenail
from tests.builders import a_package
from tests.printing.reading import page_texts


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


@pytest.fixture
def in_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty working folder and configuration of its own."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    return work


def test_labels_tags_and_cards_of_a_package(in_folder: Path) -> None:
    package = a_package(in_folder).with_chain().package
    for command, name in (
        (["print", "labels", package.folder], "labels-holl.pdf"),
        (["print", "labels", package.folder, "--stock", "a4_box", "--out", "box.pdf"], "box.pdf"),
        (["print", "tags", package.folder, "--paper", "letter"], "tags-holl.pdf"),
        (["print", "cards", package.folder, "--samples", "231"], "cards-holl.pdf"),
    ):
        result = run(*command)
        assert result.exit_code == 0, result.output
        assert name in result.output
        assert "231" in page_texts(in_folder / name)[0]


def test_blanks_for_a_site_need_no_package(in_folder: Path) -> None:
    result = run(
        "print", "labels", "--site", "HOLL", "--numbers", "60-68,89", "--out", "blanks.pdf"
    )
    assert result.exit_code == 0, result.output
    assert "wrote 10 labels on 1 page" in result.output
    assert "68/89" in result.output, "the two that are one another upside down"


def test_numbers_without_a_site_are_refused(in_folder: Path) -> None:
    assert run("print", "labels", "--numbers", "60-68").exit_code == 2


def test_a_printer_is_calibrated_and_then_corrected_for(in_folder: Path) -> None:
    package = a_package(in_folder).with_chain().package
    page = run("print", "labels", "--calibrate", "--stock", "a4_48x25")
    assert page.exit_code == 0
    assert (in_folder / "calibration-a4_48x25.pdf").exists()
    stored = run(
        "print", "labels", "--calibrate", "--printer", "van", "--measured", 21.5, 19.2, 191.0, 276.1
    )
    assert stored.exit_code == 0, stored.output
    assert "+1.56 mm to the right" in stored.output
    run("print", "labels", package.folder, "--out", "plain.pdf")
    result = run("print", "labels", package.folder, "--printer", "van", "--out", "corrected.pdf")
    assert result.exit_code == 0, result.output
    assert Path("plain.pdf").read_bytes() != Path("corrected.pdf").read_bytes()


def test_a_printer_nobody_measured_is_refused(in_folder: Path) -> None:
    package = a_package(in_folder).with_chain().package
    result = run("print", "labels", package.folder, "--printer", "attic")
    assert isinstance(result.exception, TreenailError)
    assert "not calibrated" in str(result.exception)


def test_the_stocks_are_listed_by_their_measures(in_folder: Path) -> None:
    result = run("print", "labels", "--stocks")
    assert "a4_70x37         A4 sheet, 24 labels of 70 × 37 mm" in result.output


def test_a_character_without_a_shape_is_named(in_folder: Path) -> None:
    builder = a_package(in_folder).with_chain()
    package = builder.with_row("place", place_id="B2", name="Fir 🌲").package
    elements = package.table("element")
    elements["place_id"] = "B2"
    package.write_table("element", elements)
    result = run("print", "labels", package.folder)
    assert result.exit_code == 0
    assert "U+1F332" in result.output


@pytest.mark.parametrize(
    "options",
    [
        ["print", "labels", "--samples", "231", "--numbers", "1-3"],
        ["print", "labels", "--measured", "1", "2", "3", "4"],
        ["print", "labels", "--calibrate", "--measured", "1", "2", "3", "4"],
        ["print", "tags", "--each-sample"],
        ["print", "tags", "--consignment", "C-1", "--samples", "231"],
    ],
)
def test_options_that_do_not_go_together_are_refused(options: list[str], in_folder: Path) -> None:
    package = a_package(in_folder).with_chain().package
    result = run(options[0], package.folder, *options[1:])
    assert result.exit_code == 2
    assert not list(in_folder.glob("*.pdf"))
