"""A filled workbook that comes back is an edit of the record it left, and of nothing else."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from provenance._base.errors import UnusableInput
from provenance._cli import treenail
from provenance._history import deciding
from provenance._intake.claims import Sameness
from provenance._printing.filled import write_filled_workbook
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.intake.forms import bring_in, one_row

Rows = dict[str, dict[str, str]]
SHEETS = {"element": "Timbers", "sample": "Samples", "plug": "Plugs"}
KEYS = {"element": "Timber number *", "sample": "Field specimen number *", "plug": "Plug code *"}
ROW = "Row in the record (leave as it is)"


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A package, with cells that no form can show as they are, and its workbook beside it."""
    folder = tmp_path_factory.mktemp("base")
    made = a_package(folder).with_chain()
    for number in range(15, 20):
        made.with_row(
            "element",
            element_id=f"B1-0{number}",
            length_m=f"{number / 7:.4f}",
            diameter_a1_cm=f"{number}.50",
            notes=f"peg hole {number} cm from end a",
        )
    made.with_row(
        "element",
        element_id="B1-020",
        length_m="about 4",
        recorded_by="JT ",
        tool_marks="adze;broad_axe",
    )
    for number in range(232, 239):
        made.with_row(
            "sample",
            sample_id=number,
            element_id=f"B1-0{number - 218}",
            length_mm=number - 150,
            depth_mm=f"{number / 3:.3f}",
        )
        made.with_row("plug", plug_id=f"P-{number}", sample_id=number, stamp=number)
    package = made.package
    write_filled_workbook(package, folder / "left.xlsx")
    return folder


@pytest.fixture
def package(base: Path, tmp_path: Path) -> Package:
    shutil.copytree(base / "holl", tmp_path / "holl")
    shutil.copy(base / "left.xlsx", tmp_path / "left.xlsx")
    return open_package(tmp_path / "holl")


class Sheet:
    """The lines of one sheet by heading, to be edited as lists are, then written back."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.headings = [cell.value for cell in page[2]]
        self.lines = [
            dict(zip(self.headings, (cell.value for cell in row), strict=True))
            for row in page.iter_rows(min_row=3)
            if any(cell.value is not None for cell in row)
        ]

    def write(self) -> None:
        self.page.delete_rows(3, self.page.max_row)
        for line in self.lines:
            self.page.append([line.get(one) for one in self.headings])

    def line(self, key: str) -> dict[str, Any]:
        return next(one for one in self.lines if one[self.headings[0]] == key)

    def take_out(self, key: str) -> None:
        self.lines.remove(self.line(key))


Change = Callable[[dict[str, Sheet]], None]


def edit(package: Package, name: str, change: Change, start: str = "left.xlsx") -> Path:
    """The workbook that left, as a person edited it in another program."""
    folder = package.folder.parent
    book = openpyxl.load_workbook(folder / start)
    sheets = {table: Sheet(book[sheet]) for table, sheet in SHEETS.items()}
    change(sheets)
    for one in sheets.values():
        one.write()
    book.save(folder / name)
    return folder / name


def tables(package: Package) -> dict[str, Rows]:
    found = {}
    for name in SHEETS:
        key = package.model.table(name).primary_key[0]
        found[name] = {str(row[key]): row for row in package.table(name).to_dict("records")}
    return found


def rules(result: Any, *severities: str) -> list[str]:
    return [one.rule for one in result.findings if one.severity in (severities or ("warning",))]


# -- exactly what was changed ----------------------------------------------------------------------


def edits(sheets: dict[str, Sheet], expected: dict[str, Rows], chance: random.Random) -> None:
    """A day's work at a spreadsheet; `expected` is what the record should then say."""
    element, sample, plug = sheets["element"], sheets["sample"], sheets["plug"]
    keys = list(expected["element"])
    for key in chance.sample(keys, 3):  # sizes as they are on the tape
        feet, inches = chance.randrange(1, 15), chance.randrange(12)
        element.line(key)["Length (m)"] = f"{feet}' {inches}\""
        metres = (feet * 12 + inches) * 0.0254  # the inch is exactly 25.4 mm (NIST SP 811)
        expected["element"][key]["length_m"] = f"{metres:.4f}"
    for key in chance.sample(keys, 2):
        element.line(key)["Diameter 1 at end A (cm)"] = "5 5/8 in"
        expected["element"][key]["diameter_a1_cm"] = "14.2875"
    for key in chance.sample(keys, 2):
        element.line(key)["Notes"] = None
        expected["element"][key]["notes"] = ""
    (old,) = chance.sample(keys, 1)
    element.line(old)[KEYS["element"]] = "B2-001"
    expected["element"]["B2-001"] = expected["element"].pop(old) | {"element_id": "B2-001"}
    for row in expected["sample"].values():
        if row["element_id"] == old:
            row["element_id"] = "B2-001"
    samples = list(expected["sample"])
    out, moved, other, called = chance.sample(samples, 4)
    sample.take_out(out)
    del expected["sample"][out]
    for line in [one for one in plug.lines if one["Sample *"] == out]:
        plug.lines.remove(line)
        del expected["plug"][line[KEYS["plug"]]]
    sample.line(moved)["Timber *"] = "B2-001"
    expected["sample"][moved]["element_id"] = "B2-001"
    sample.line(other)["Wood (field identification)"] = None
    expected["sample"][other]["species_field"] = ""
    sample.line(called)[KEYS["sample"]] = "501"
    expected["sample"]["501"] = expected["sample"].pop(called) | {"sample_id": "501"}
    for row in expected["plug"].values():
        if row["sample_id"] == called:
            row["sample_id"] = "501"
    new = dict.fromkeys(sample.headings)
    new |= {KEYS["sample"]: "502", "Kind of sample *": "Core", "Site *": "HOLL"}
    new |= {"Timber *": "B2-001", "Bit size (hole diameter) (mm)": "1/2 in"}
    sample.lines.insert(chance.randrange(len(sample.lines)), new)
    blank = dict.fromkeys(next(iter(expected["sample"].values())), "")
    values = {"sample_id": "502", "kind": "core", "site_id": "HOLL", "element_id": "B2-001"}
    expected["sample"]["502"] = blank | values | {"bore_mm": "12.7"}
    for sheet in sheets.values():
        chance.shuffle(sheet.lines)


def same_value(one: str, other: str) -> bool:
    try:
        return abs(float(one) - float(other)) < 1e-9
    except ValueError:
        return one == other


@pytest.mark.parametrize("seed", range(5))
def test_random_edits_come_back_as_these_edits_and_can_be_taken_back(
    package: Package, seed: int
) -> None:
    before, expected = tables(package), tables(package)
    chance = random.Random(seed)
    path = edit(package, "crew.xlsx", lambda sheets: edits(sheets, expected, chance))
    result = bring_in(package, path, mapping=None, who="MB")
    assert (result.unread, result.conflicts, rules(result, "warning", "error")) == (0, (), [])
    after = tables(package)
    for name, rows in expected.items():
        assert after[name].keys() == rows.keys()
        for key, row in rows.items():
            differing = {
                field: (text, after[name][key][field])
                for field, text in row.items()
                if not same_value(text, after[name][key][field])
            }
            assert not differing, (name, key)
    assert bring_in(package, path, mapping=None, who="MB").written == ()
    deciding.decide(package, deciding.undo(result.acts["crew.xlsx"]), who="MB")
    assert tables(package) == before


@pytest.mark.heavy
@pytest.mark.parametrize("kind", ["ods", "xlsx"])
def test_what_another_program_saves_anew_is_no_change(
    package: Package, kind: str, saved_by_libreoffice
) -> None:
    """LibreOffice, headless: workbook → its own format or XLSX → import."""
    folder = package.folder.parent
    note = "typed before it was saved in another program"
    edit(package, "crew.xlsx", lambda s: s["sample"].line("231").update(Notes=note))
    saved = saved_by_libreoffice(folder / "crew.xlsx", kind, folder / "saved")
    result = bring_in(package, saved, mapping=None)
    assert [(one.key, one.field, one.after) for one in result.changes] == [("231", "notes", note)]
    assert (result.added, result.removed, result.unread) == ({}, {}, 0)


def test_a_workbook_that_nobody_edited_changes_nothing(package: Package) -> None:
    before = tables(package)
    result = bring_in(package, package.folder.parent / "left.xlsx", mapping=None)
    assert (result.acts, result.unread, rules(result, "warning", "error")) == ({}, 0, [])
    assert tables(package) == before


# -- several people --------------------------------------------------------------------------------


def test_only_what_two_people_contradict_each_other_in_is_a_conflict(package: Package) -> None:
    def first(sheets: dict[str, Sheet]) -> None:
        sheets["sample"].line("232").update(
            {"Notes": "end grain", "Bit size (hole diameter) (mm)": 12}
        )
        sheets["sample"].line("234").update({"Notes": "by both alike"})
        sheets["sample"].take_out("235")

    def second(sheets: dict[str, Sheet]) -> None:
        sheets["sample"].line("232").update({"Notes": "split", "Pieces": 2})
        sheets["sample"].line("234").update({"Notes": "by both alike"})
        sheets["element"].line("B1-016").update({KEYS["element"]: "B1-116"})

    bring_in(package, edit(package, "one.xlsx", first), mapping=None, who="MB")
    result = bring_in(package, edit(package, "two.xlsx", second), mapping=None, who="JT")
    (conflict,) = result.conflicts
    assert (conflict.key, conflict.field) == ("232", "notes")
    assert {claim.value for claim in conflict.claims} == {"end grain", "split"}
    row = one_row(package, "sample", "232")
    assert (row["bore_mm"], row["pieces"]) == ("12", "2")
    assert "235" not in tables(package)["sample"]
    assert one_row(package, "sample", "234")["element_id"] == "B1-116"

    def settle(sheets: dict[str, Sheet]) -> None:
        sheets["sample"].line("232").update({"Notes": "end grain, split"})

    write_filled_workbook(package, package.folder.parent / "again.xlsx")
    bring_in(package, edit(package, "three.xlsx", settle, start="again.xlsx"), mapping=None)
    assert package.table("conflict").empty
    assert one_row(package, "sample", "232")["notes"] == "end grain, split"


def test_what_came_into_the_record_meanwhile_stays(package: Package) -> None:
    for key, cells in (
        ("232", {"length_mm": "70"}),
        ("233", {"length_mm": "71"}),
        ("236", {"notes": "kept by a correction"}),
    ):
        deciding.decide(package, deciding.correct("sample", key, cells), who="JT")

    def change(sheets: dict[str, Sheet]) -> None:
        sheets["sample"].line("232").update({"Core length / slice thickness (mm)": 99})
        sheets["sample"].line("233").update({"Notes": "seen"})
        sheets["sample"].take_out("236")

    result = bring_in(package, edit(package, "crew.xlsx", change), mapping=None)
    found = {
        (one.key, one.field): {claim.value for claim in one.claims} for one in result.conflicts
    }
    assert found == {("232", "length_mm"): {"70", "99"}, ("236", ""): {"here", "gone"}}
    assert one_row(package, "sample", "233")["length_mm"] == "71"
    assert one_row(package, "sample", "233")["notes"] == "seen"


def test_a_workbook_that_is_edited_on_takes_the_place_of_its_earlier_copy(
    package: Package,
) -> None:
    def monday(sheets: dict[str, Sheet]) -> None:
        for key in ("231", "232", "233"):
            sheets["sample"].line(key).update({"Notes": f"seen {key}"})
        sheets["sample"].take_out("238")
        new = dict.fromkeys(sheets["sample"].headings) | {KEYS["sample"]: "601", "Site *": "HOLL"}
        sheets["sample"].lines.append(new)

    def tuesday(sheets: dict[str, Sheet]) -> None:
        sheets["sample"].line("231").update({"Notes": "seen twice"})
        sheets["sample"].line("601").update({"Notes": "a core"})
        back = dict.fromkeys(sheets["sample"].headings) | {KEYS["sample"]: "238", ROW: "238"}
        sheets["sample"].lines.append(back | {"Notes": "found again"})

    before = tables(package)
    first = bring_in(package, edit(package, "monday.xlsx", monday), mapping=None)
    path = edit(package, "tuesday.xlsx", tuesday, start="monday.xlsx")
    second = bring_in(package, path, mapping=None)
    assert second.conflicts == ()
    assert "intake.newer_copy" in rules(second, "note")
    assert one_row(package, "sample", "231")["notes"] == "seen twice"
    assert one_row(package, "sample", "601")["notes"] == "a core"
    assert one_row(package, "sample", "238")["notes"] == "found again"
    with pytest.raises(deciding.Refused, match="changed since"):
        deciding.decide(package, deciding.undo(first.acts["monday.xlsx"]), who="MB")
    for result in (second, first):
        deciding.decide(package, deciding.undo(*result.acts.values()), who="MB")
    assert tables(package) == before


def test_where_it_may_be_either_somebody_is_asked(package: Package) -> None:
    def say(*notes: str) -> Change:
        def change(sheets: dict[str, Sheet]) -> None:
            for key, text in zip(("231", "232"), notes, strict=True):
                sheets["sample"].line(key).update({"Notes": text})

        return change

    bring_in(package, edit(package, "one.xlsx", say("alike", "x")), mapping=None)
    path = edit(package, "two.xlsx", say("alike", "y"))
    with pytest.raises(UnusableInput, match=r"--replaces IN-.*--new"):
        bring_in(package, path, mapping=None)
    as_new = bring_in(package, path, mapping=None, trial=True, same_as=Sameness(new=True))
    assert len(as_new.conflicts) == 1
    source = package.table("original").iloc[0]["original_id"]
    newer = bring_in(package, path, mapping=None, same_as=Sameness(replaces=source))
    assert newer.conflicts == ()


def test_a_workbook_of_a_copy_that_knows_more_is_refused(package: Package, tmp_path: Path) -> None:
    shutil.copytree(package.folder, tmp_path / "other")
    other = open_package(tmp_path / "other")
    deciding.decide(other, deciding.correct("sample", "231", {"notes": "x"}), who="JT")
    path = write_filled_workbook(other, tmp_path / "other.xlsx")
    with pytest.raises(UnusableInput, match="merge the two copies"):
        bring_in(package, path, mapping=None)


# -- what a sheet may have gone through ------------------------------------------------------------


def test_sheets_that_lost_their_names_or_their_place(package: Package) -> None:
    folder = package.folder.parent

    def change(sheets: dict[str, Sheet]) -> None:
        sheets["element"].lines.sort(key=lambda line: str(line["Length (m)"]))
        for line in sheets["element"].lines:
            line[ROW] = None
        sheets["element"].line("B1-017").update({KEYS["element"]: "B1-117"})

    path = edit(package, "crew.xlsx", change)
    book = openpyxl.load_workbook(path)
    wood = book["Timbers"]
    wood.delete_cols(len(list(wood[2])))
    wood.title = "Holz"
    del book["Plugs"]
    samples = book["Samples"]
    samples.delete_cols([cell.value for cell in samples[2]].index("Notes") + 1)
    book.save(folder / "crew.xlsx")
    result = bring_in(package, path, mapping=None)
    renamed = [(one.before, one.after) for one in result.changes if one.table == "element"]
    assert renamed == [("B1-017", "B1-117")]
    assert (result.added, result.removed) == ({}, {})
    assert {
        "intake.sheet_renamed",
        "intake.names_gone",
        "intake.sheet_taken_out",
        "intake.columns_taken_out",
        "intake.told_by_content",
    } <= set(rules(result, "note"))


def test_lines_that_cannot_be_taken_leave_their_rows_as_they_are(package: Package) -> None:
    before = tables(package)

    def change(sheets: dict[str, Sheet]) -> None:
        sample = sheets["sample"]
        sample.lines.append(dict(sample.line("231")))
        sample.line("232").update({KEYS["sample"]: "233", "Notes": "not taken"})
        sample.line("234").update({KEYS["sample"]: None})
        sample.line("235").update(
            {"Clock position, seen from end A (h)": "14:30", "Notes": "taken"}
        )
        sample.line("236").update({one: one for one in sample.headings if one != ROW})

    result = bring_in(package, edit(package, "crew.xlsx", change), mapping=None)
    assert result.exit_code == 1
    waiting = package.table("unread")[["row_key", "field", "cell_text"]].to_numpy().tolist()
    assert sorted(waiting) == [
        ["231", "sample_id", "231"],
        ["232", "sample_id", "233"],
        ["235", "clock", "14:30"],
    ]
    assert [one.key for one in result.findings if one.rule == "intake.no_key"] == ["234", "236"]
    before["sample"]["235"]["notes"] = "taken"
    assert tables(package) == before


def test_a_sheet_that_was_cut_off_is_pointed_out(package: Package) -> None:
    def change(sheets: dict[str, Sheet]) -> None:
        del sheets["sample"].lines[4:]

    result = bring_in(package, edit(package, "crew.xlsx", change), mapping=None, trial=True)
    assert rules(result) == ["intake.many_taken_out"]
    assert result.removed == {"sample": 4}


# -- the command -----------------------------------------------------------------------------------


def run(package: Package, *options: str) -> Any:
    path = str(package.folder.parent / "crew.xlsx")
    return CliRunner().invoke(treenail, ["import", str(package.folder), path, *options])


def test_the_command_lists_and_asks(package: Package) -> None:
    before = tables(package)

    def change(sheets: dict[str, Sheet]) -> None:
        sheets["element"].line("B1-016").update({KEYS["element"]: "B1-116", "Length (m)": "9 ft"})
        sheets["sample"].take_out("238")

    edit(package, "crew.xlsx", change)
    listed = (
        "  change (2)",
        '    element B1-116, length_m: "2.2857" → "2.7432"',
        "  rename (1)",
        "    element B1-016 is called B1-116",
        "  take out (1)",
        "    sample 238 goes out",
    )
    for options, code in (((), 1), (("--dry-run",), 0)):
        shown = run(package, *options)
        assert shown.exit_code == code
        for line in listed:
            assert line in shown.output.splitlines()
        assert tables(package) == before
    assert run(package, "--yes").exit_code == 0
    assert tables(package)["element"]["B1-116"]["length_m"] == "2.7432"
    again = run(package)
    assert (again.exit_code, "change nothing" in again.output) == (0, True)
