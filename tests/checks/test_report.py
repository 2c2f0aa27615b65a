"""The report says the same on a terminal, on a page, as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from provenance._base.findings import COLUMNS, Report
from provenance._base.spreadsheet import spreadsheet_csv
from provenance._checks.grouped import grouped
from provenance._checks.report import report_html, report_json
from provenance._checks.report_text import report_text
from provenance._cli.checking import check
from tests.builders import a_package

HOSTILE = "<script>alert(1)</script>\x1b[31m\u202e"


def _report(*findings: tuple[object, ...], package: str = "holl") -> Report:
    schema = {name: pl.Int64 if name == "row" else pl.String for name in COLUMNS}
    found = pl.DataFrame(list(findings), schema=schema, orient="row")
    return Report(package, found, {"element": 3, "plug": 1}, ("a.rule", "b.rule"))


def _finding(**changed: object) -> tuple[object, ...]:
    finding: dict[str, object] = {
        "severity": "error",
        "rule": "a.rule",
        "table": "element",
        "row": 3,
        "key": "B1-014",
        "field": "shape",
        "value": "rond",
        "message": "'rond' is no shape.",
        "remedy": "Write round.",
        "origin": "timbers.xlsx, sheet 'Timbers', row 14",
    }
    return tuple((finding | changed).values())


class _Tags(HTMLParser):
    """Counts tags, and gathers the texts between them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("href", "src", "action")]

    def handle_data(self, data: str) -> None:
        self.text += data


def test_errors_come_before_warnings_and_warnings_before_notes() -> None:
    report = _report(
        _finding(severity="note", rule="n"),
        _finding(severity="error", rule="e"),
        _finding(severity="warning", rule="w"),
        _finding(severity="note", rule="n"),
    )
    assert [(one.severity, one.count) for one in grouped(report)] == [
        ("error", 1),
        ("warning", 1),
        ("note", 2),
    ]


def test_findings_with_one_remedy_stand_together() -> None:
    report = _report(
        _finding(row=2, remedy="A."), _finding(row=3, remedy="B."), _finding(row=4, remedy="A.")
    )
    (group,) = grouped(report)
    assert [one.row for one in group.shown] == [2, 4, 3]
    assert group.remedy == ""


def test_the_text_names_place_fault_remedy_and_origin() -> None:
    text = report_text(_report(_finding()))
    for part in (
        "holl: 4 rows in 2 tables, 2 rules",
        "1 error",
        "element, row 3, B1-014, shape: 'rond' is no shape.",
        "To do: Write round.",
        "read from timbers.xlsx, sheet 'Timbers', row 14",
    ):
        assert part in text


def test_a_long_group_is_cut_with_a_loud_word() -> None:
    report = _report(*[_finding(row=row) for row in range(2, 502)])
    text = report_text(report, most=3, how_to_see_all="--most 0 names all")
    assert text.count("element, row") == 3
    assert "… and 497 more of this kind; --most 0 names all" in text
    assert report_text(report, most=0).count("element, row") == 500


def test_no_line_is_wider_than_the_terminal() -> None:
    report = _report(_finding(message="far too long " * 40, origin="a file " * 30))
    for width in (40, 72, 100):
        assert max(len(line) for line in report_text(report, width=width).splitlines()) <= width


def test_a_clean_record_is_said_to_be_clean() -> None:
    assert "nothing to do" in report_text(_report())
    assert "Nothing was found." in report_html(_report())
    assert json.loads(report_json(_report()))["findings"] == []


@pytest.mark.parametrize("field", ["table", "key", "field", "value", "message", "remedy", "origin"])
def test_hostile_text_stays_text(field: str) -> None:
    report = _report(_finding(**{field: HOSTILE}), package=HOSTILE)
    page = report_html(report)
    assert "script" not in _Tags(page).tags
    for shown in (page, report_text(report)):
        assert "\x1b" not in shown
        assert "\u202e" not in shown
    if field != "value":
        assert "alert(1)" in _Tags(page).text


def test_a_line_end_in_a_value_is_no_new_line_of_the_report() -> None:
    text = report_text(_report(_finding(message="one\nERROR  forged")))
    assert "one ERROR  forged" in text or "one ERROR forged" in text


def test_the_page_needs_nothing_from_elsewhere() -> None:
    tags = _Tags(report_html(_report(_finding(), _finding(severity="note", rule="b.rule"))))
    assert not {"script", "link", "img", "iframe", "form"} & set(tags.tags)
    assert all(link.startswith("#") for link in tags.links)


def test_the_page_is_cut_with_a_loud_word() -> None:
    page = report_html(_report(*[_finding(row=row) for row in range(2, 32)]), most=10)
    assert "Only the first 10 of 30 are listed here." in page


def test_json_has_the_documented_shape() -> None:
    raw = json.loads(report_json(_report(_finding(key="Ä\u2028\"'"), _finding(severity="note"))))
    assert list(raw) == [
        "package",
        "writtenBy",
        "clean",
        "counts",
        "rowsChecked",
        "rulesRun",
        "findings",
    ]
    assert raw["clean"] is False
    assert raw["counts"] == {"error": 1, "warning": 0, "note": 1}
    assert raw["rowsChecked"] == {"element": 3, "plug": 1}
    assert list(raw["findings"][0]) == list(COLUMNS)
    assert raw["findings"][0]["row"] == 3
    assert raw["findings"][0]["key"] == "Ä\u2028\"'"


@pytest.mark.parametrize(
    ("value", "shown"),
    [(one, "'" + one) for one in ("=1+1", "+1+1", "-A1", "@x", "\t=1", "\n=1", "＝1")]
    # a number is none, and what moves a terminal is written out
    + [("-1.5", "-1.5"), ("\r=1", "⟨U+000D⟩=1"), ("\x1b[2J", "⟨U+001B⟩[2J")],
)
def test_csv_holds_no_formula_and_no_escape_code(value: str, shown: str) -> None:
    text = spreadsheet_csv(_report(_finding(value=value)).found)
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert rows[0]["value"] == shown
    assert rows[0]["row"] == "3"


def test_csv_has_every_finding_and_reads_back() -> None:
    report = _report(*[_finding(row=row, message=f'a, "b"\n{row}') for row in range(2, 202)])
    rows = list(csv.DictReader(io.StringIO(spreadsheet_csv(report.found), newline="")))
    assert [int(row["row"]) for row in rows] == list(range(2, 202))
    assert rows[0]["message"] == 'a, "b"\n2'
    assert tuple(rows[0]) == COLUMNS


# -- the command ---------------------------------------------------------------------------------


def test_the_command_ends_with_one_when_there_is_an_error(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", shape="rond").package
    done = CliRunner().invoke(check, [str(package.folder)])
    assert done.exit_code == 1
    assert "did you mean 'round'?" in " ".join(done.output.split())
    assert "\x1b" not in done.output


def test_the_command_ends_with_nought_when_there_are_only_notes(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    done = CliRunner().invoke(check, [str(package.folder), "--format", "json"])
    assert json.loads(done.output)["clean"] is True
    assert done.exit_code == 0


@pytest.mark.parametrize("shape", ["text", "json", "html", "csv"])
def test_out_gets_the_report_and_the_terminal_the_counts(tmp_path: Path, shape: str) -> None:
    package = a_package(tmp_path).with_chain().with_row("element", shape="rond").package
    out = tmp_path / "reports" / "report"
    arguments = [str(package.folder), "--format", shape, "--out", str(out)]
    done = CliRunner().invoke(check, arguments)
    assert done.exit_code == 1
    assert done.stdout == ""
    assert "written to" in done.stderr
    assert "rond" in out.read_text(encoding="utf-8")


def test_a_folder_that_is_no_package_is_refused_in_one_sentence(tmp_path: Path) -> None:
    from provenance._base.errors import UnusablePackage

    done = CliRunner().invoke(check, [str(tmp_path)])
    assert isinstance(done.exception, UnusablePackage)
