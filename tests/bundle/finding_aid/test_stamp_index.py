"""The index of stamps, for a reader without scripts."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from provenance._bundle.finding_aid import stamp_index
from provenance._bundle.finding_aid.cells import Cells
from provenance._bundle.finding_aid.record import Record
from provenance._bundle.finding_aid.writing import Writer
from provenance._record.package import Package
from tests.builders import a_package

_LINE = re.compile(r'<li><b class="stamped">(.*?)</b> (.*)</li>')


def lines_of(page: Path) -> list[tuple[str, str]]:
    return _LINE.findall(page.read_text("utf-8"))


def test_every_stamp_stands_in_order_with_what_it_reads_upside_down(data: Path) -> None:
    lines = lines_of(data / "pages" / "stamps.html")
    assert " ".join(dict(lines)) == "18 23 69 81 96 132 201 231 237 281 322 1027 A9"
    said = dict(lines)
    assert said["81"] == 'upside down: <a href="../pages/sample/18.html#plug.P-18">18</a>'
    assert 'href="../pages/sample/231.html#plug.P-231">sample 231<' in said["231"]
    assert 'href="../pages/element/B1-014.html">beam B1-014</a>, North house' in said["231"]
    assert said["237"].endswith("lost")
    assert "dot" in said["96"]
    assert re.search(
        r"reserved number</a>, given to the north crew, no plug recorded$", said["322"]
    )
    assert 'href="pages/stamps.html">18 to A9<' in (data / "index.html").read_text("utf-8")


def test_a_long_index_goes_on_on_further_pages(
    record: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stamp_index, "PAGE_ROWS", 10)
    cells = Cells(Record(record), frozenset())
    assert stamp_index.write_stamp_index(cells, Writer(tmp_path, record.title)) == [
        ("pages/stamps.html", "18 to 281"),
        ("pages/stamps-2.html", "322 to A9"),
    ]
    assert len(lines_of(tmp_path / "pages" / "stamps-2.html")) == 3
    assert '<a href="stamps-2.html">322 to A9</a>' in (
        (tmp_path / "pages" / "stamps.html").read_text("utf-8")
    )


def test_a_record_without_stamps_has_no_index(tmp_path: Path) -> None:
    package = a_package(tmp_path / "empty").package
    cells = Cells(Record(package), frozenset())
    assert stamp_index.write_stamp_index(cells, Writer(tmp_path, "")) == []
    assert not (tmp_path / "pages").exists()
