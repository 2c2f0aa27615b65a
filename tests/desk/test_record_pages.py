"""What the pages of a record show is what its tables hold and the check finds, sooner or later."""

from __future__ import annotations

import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from provenance._checks.check import check_package
from provenance._desk.record import open_record, rows
from provenance._history.entering import enter_hand_edits
from provenance._intake.working import Working
from provenance._model.measures import FEET_INCHES
from provenance._record.package import Package, open_package, write_model
from tests.builders import a_package
from tests.desk.sitting import Sitting, text_of


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Package:
    builder = a_package(tmp_path_factory.mktemp("pages")).with_chain()
    package = builder.with_row("element", element_id="B1-015", length_m="900").package
    with package.locked():
        enter_hand_edits(package)
    return open_package(package.folder)


@pytest.fixture
def sitting(record: Package) -> Sitting:
    return Sitting(record.folder.parent)


def test_a_page_is_shown_before_the_check_has_run_and_says_its_findings_after(
    record: Package, sitting: Sitting, monkeypatch: pytest.MonkeyPatch
) -> None:
    report = check_package(record)
    [about] = [one for one in report if one.key == "B1-015" and one.field == "length_m"]
    at = f"/record/{record.folder.name}"
    monkeypatch.setattr(rows, "QUICKLY_CHECKED", 0)
    for path, part in (
        ("", "open"),
        ("/timbers/B1-015", "checked"),
        ("/tables/element/row?key=B1-015", "checked"),
    ):
        sitting.desk.open_record(record.folder).last_report = None
        page = sitting.page(at + path)
        assert f'hx-get="{at}/{part}"' in page
        assert "The check is running" in page
        assert about.message not in text_of(page)
        told = text_of(sitting.page(f"{at}/{part}"))
        if part == "open":
            assert f"{report.count('error')} error" in told
            assert f"{report.count('warning')} warning" in told
            assert text_of(sitting.page(at)).count(told) == 1
        else:
            assert about.message in text_of(sitting.page(at + path))


def test_the_sheet_of_every_table_holds_its_rows_and_the_findings_about_them(
    record: Package, sitting: Sitting
) -> None:
    at = f"/record/{record.folder.name}/tables"
    found = list(check_package(record))
    for table in record.model.tables.values():
        answer = sitting.client.get(f"{at}/{table.name}/rows").json()
        names = [one["name"] for one in answer["columns"]]
        stand = record.tables.rows(table.name)
        wanted = [[table.key_of(row) if n == "#" else row[n] for n in names] for row in stand]
        assert answer["rows"] == wanted, table.name
        keys = [table.key_of(row) for row in stand]
        for key, row in zip(keys, wanted, strict=True):
            one = sitting.client.get(f"{at}/{table.name}/rows", params={"key": key}).json()
            assert one["rows"] == [row], (table.name, key)
        told = sitting.client.get(f"{at}/{table.name}/findings").json()
        fields = ("key", "field", "rule", "severity", "message", "remedy")
        assert told == [
            {name: getattr(one, name) for name in fields}
            for one in found
            if one.table == table.name
        ]


def test_a_list_that_is_too_long_for_a_page_comes_when_its_field_is_entered(
    record: Package, sitting: Sitting, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = f"/record/{record.folder.name}"
    keys = record.tables.column("element", "element_id")
    sample = record.tables.column("sample", "sample_id")[0]
    page = f"{at}/tables/sample/row?key={sample}"
    options = [f'<option value="{key}">' for key in keys]
    assert all(one in sitting.page(page) for one in options)
    monkeypatch.setattr(rows, "MOST", len(keys) - 1)
    few = sitting.page(page)
    assert f'hx-get="{at}/tables/element/keys"' in few
    assert not any(one in few for one in options)
    assert sitting.page(f"{at}/tables/element/keys").split("\n")[: len(keys)] == options


def test_lengths_stand_in_sheet_and_answer_as_the_crew_wrote_them(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    for number in range(20, 26):
        # 3.81 m are 12 ft 6 in (0.3048 m a foot, exact since 1959); 3.8 m are no length of a rule
        builder.with_row(
            "element", element_id=f"B1-0{number}", length_m=("3.81", "3.8")[number % 2]
        )
    package = builder.package
    write_model(replace(package.model, units=FEET_INCHES), package.folder)
    with package.locked():
        enter_hand_edits(open_package(package.folder))
    sitting = Sitting(tmp_path)
    at = f"/record/{package.folder.name}/tables/element"

    def stands() -> dict[str, dict[str, str]]:
        answer = sitting.client.get(f"{at}/rows").json()
        names = [one["name"] for one in answer["columns"]]
        return {row[0]: dict(zip(names, row, strict=True)) for row in answer["rows"]}

    before = stands()
    assert before["B1-020"]["length_m"] == "12' 6\""
    assert before["B1-021"]["length_m"] == "3.8 m"
    for text in ("13 ft 6 1/2 in", "4.2 m", "13'", "150 in"):
        for key in ("B1-020", "B1-021"):
            cell = {"key": key, "field": "length_m", "after": text}
            cell["before"] = stands()[key]["length_m"]
            answer = sitting.act(f"{at}/cells", json=[cell]).json()
            after = stands()
            assert answer["rows"] == [[*after[key].values()]]
            assert after[key]["length_m"] == text
            # once the tables are written it is said from these
            sitting.desk.open_record(package.folder).package  # noqa: B018
            assert stands() == after
            assert Sitting(tmp_path).client.get(f"{at}/rows").json()["rows"] == [
                [*row.values()] for row in after.values()
            ]


def test_pages_are_shown_while_the_history_is_read_and_an_edit_waits_for_it(
    record: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = Path(shutil.copytree(record.folder, tmp_path / "copy"))
    begun, go_on = threading.Event(), threading.Event()

    class Reading(Working):
        def __init__(self, package: Package) -> None:
            begun.set()
            assert go_on.wait(60)
            super().__init__(package)

    monkeypatch.setattr(open_record, "Working", Reading)
    sitting = Sitting(tmp_path)
    at = "/record/copy/tables/element"
    cell = {"key": "B1-015", "field": "notes", "before": "", "after": "seen"}
    with ThreadPoolExecutor() as others:
        try:
            sitting.page(at)
            assert begun.wait(60)
            saved = others.submit(sitting.act, f"{at}/cells", json=[cell])
            for path in (f"{at}/rows", "/record/copy", "/record/copy/timbers/B1-015"):
                assert others.submit(sitting.page, path).result(60)
            assert not saved.done()
        finally:
            go_on.set()
        assert "seen" in saved.result(60).json()["rows"][0]
    sitting.desk.close()
    notes = open_package(folder).tables.rows_with("element", "element_id", "B1-015")
    assert [one["notes"] for one in notes] == ["seen"]
