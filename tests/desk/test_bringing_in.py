"""What crews hand in comes into a record by dropping and clicking, just as by the command."""

from __future__ import annotations

import csv
import json
import re
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from itertools import zip_longest
from pathlib import Path
from typing import Any

import lxml.html
import openpyxl
import pytest
import yaml
from click.testing import CliRunner

from provenance._cli.importing import import_
from provenance._history.deciding import correct, decide, remove, rename, undo
from provenance._intake.importing import import_exports
from provenance._intake.known_forms import known_form
from provenance._intake.mapping.document import blocks
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._merging.merge import merge_packages
from provenance._model.profile import shipped_profiles
from provenance._printing.filled import write_filled_workbook
from provenance._record.new import new_package
from provenance._record.package import Package, open_package
from tests.builders import a_package
from tests.desk.sitting import Sitting, text_of
from tests.phone import Turn, as_zip

PAPERS = Path(__file__).parents[2] / "demo_package"
IMPORT = "/record/hollin/import"
Form = dict[str, list[str]]


def a_form(path: Path, *rows: tuple[str, ...]) -> Path:
    """A text table with these rows, the headings first."""
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return path


@pytest.fixture
def sitting(tmp_path: Path) -> Sitting:
    new_package(tmp_path / "hollin", title="Hollin Reach (invented)")
    return Sitting(tmp_path)


def record(sitting: Sitting) -> Package:
    return open_package(sitting.desk.folder / "hollin")


def drop(sitting: Sitting, *paths: Path) -> str:
    """Drop files on the page; the page that follows."""
    return sitting.do(IMPORT, files=[("files", (one.name, one.read_bytes())) for one in paths])


def address(page: str) -> str:
    """Where the dropped file of a page stands."""
    found = re.search(rf'hx-post="({IMPORT}/[\w-]+)/away"', page)
    assert found, text_of(page)
    return found[1]


def form_of(page: str) -> Form:
    """The fields of the sheet as a browser would send them."""
    (form,) = lxml.html.fromstring(page).xpath('//div[@id="sheet"]/form[@hx-trigger]')
    sent: Form = {}
    for one in form.xpath(".//select | .//input"):
        if one.tag == "input" and one.get("type") == "checkbox" and one.get("checked") is None:
            continue
        if one.tag == "select":
            options = one.xpath(".//option")
            chosen = next((o for o in options if o.get("selected") is not None), options[0])
            value = chosen.get("value")
        else:
            value = one.get("value", "on")
        sent.setdefault(one.get("name"), []).append(value)
    return sent


def choose(sitting: Sitting, to: str, sheet: int, page: str, chosen: Mapping[str, Any]) -> str:
    """Choose in the form of a sheet, and let it be kept; the sheet as it is shown then."""
    form = form_of(page)
    form |= {
        name: said if isinstance(said, list) else [said]
        for name, said in chosen.items()
        if name in form
    }
    return str(sitting.act(f"{to}/sheet/{sheet}", form).text)


def clicks(
    document: Mapping[str, Any], source: Mapping[str, Any], places: Mapping[str, int]
) -> Iterator[dict[str, Any]]:
    """What a person chooses to get to a source of a mapping, round by round."""
    dates, units = document.get("dates", {}), document.get("units", "")
    becomes: dict[str, list[str]] = {f"becomes|{place}": ["left out"] for place in places.values()}
    more: dict[str, Any] = {}
    others: dict[str, list[str]] = {}
    for table, rows in blocks(source).items():
        more[f"when|{table}"] = rows.get("when", "")
        said = {**rows["fields"], **{k: {"constant": v} for k, v in rows.get("values", {}).items()}}
        for name, one in said.items():
            where = f"{table}.{name}"
            if "column" in one:
                name = f"becomes|{places[one['column']]}"
                becomes[name] = [w for w in becomes.get(name, []) if w != "left out"] + [where]
                more[f"unit|{where}"] = one.get("unit", units)
                for word, code in one.get("synonyms", {}).items():
                    more[f"word|{where}|{word}"] = code
                said_of_dates = {**dates, **one.get("dates", {}), **one}
                more[f"first|{where}"] = said_of_dates.get("formats", [" "])[0][0]
                more[f"century|{where}"] = said_of_dates.get("century_pivot", "")
            else:
                (how,) = one
                others.setdefault(f"more|{table}", []).append(where)
                more |= {f"from|{where}": f"{how}|", f"value|{where}": str(one[how])}
    for depth in "123":  # a second row of a table can be chosen when there is a first
        yield {
            name: [one for one in said if one.partition("#")[2][:1] <= depth] or ["left out"]
            for name, said in becomes.items()
        }
    for wave in zip_longest(*others.values()):  # one more of each table at a time
        yield {name: where for name, where in zip(others, wave, strict=True) if where}
    yield more
    yield more  # what is made up of columns may be asked only when its table is there


def test_the_papers_of_the_crews_come_in_as_by_the_command(
    tmp_path: Path, sitting: Sitting
) -> None:
    """Every mapping of the demonstration is reached by choosing, and reads the same tables."""
    by_command = new_package(tmp_path / "by-command", title="Hollin Reach (invented)")
    papers = ("timbers_log_house_and_barn.xlsx", "datums_and_ties.csv", "photo_log.csv")
    for paper in papers:
        path = PAPERS / "field" / paper
        wanted = PAPERS / "mappings" / f"{path.stem}.yaml"
        import_exports(by_command, [path], read_mapping(wanted, by_command.model))
        document = yaml.safe_load(wanted.read_text("utf-8"))
        page = drop(sitting, path)
        to = address(page)
        sheets = re.findall(rf'href="{to}\?sheet=\d+"[^>]*>([^<]*)', page) or [""]
        for source in document["sources"]:
            number = sheets.index(source.get("sheet", ""))
            part = sitting.page(f"{to}?sheet={number}")
            if f'{to}/sheet/{number}/read"' in part:
                part = sitting.do(f"{to}/sheet/{number}/read")
            if form_of(part)["header"] != [str(source["header_row"])]:
                part = choose(sitting, to, number, part, {"header": source["header_row"]})
            headings = lxml.html.fromstring(part).xpath('//tr[@class="headings"]/th[@scope="col"]')
            choices = lxml.html.fromstring(part).xpath('//tr[@class="becomes"]/td/select[1]')
            places = {
                heading.text: int(one.get("name").partition("|")[2])
                for heading, one in zip(headings, choices, strict=True)
            }
            for chosen in clicks(document, source, places):
                part = choose(sitting, to, number, part, chosen)
        page = sitting.do(f"{to}/try")
        assert "Nothing is written yet" in text_of(page)
        sitting.do(f"{to}/take")
    ours = record(sitting)
    for table in by_command.model.of_role("record"):
        for mine, theirs in zip(
            ours.tables.rows(table.name), by_command.tables.rows(table.name), strict=True
        ):
            assert mine == theirs, table.name


FOREIGN = (
    ("Balken", "L", "gemessen", "von wem", "Art", "Zeichen"),
    ("LH-001", "120", "4/6/24", "MB", "big beam", "I"),
    ("LH-002", "60 1/2", "5/6/24", "MB", "joist", "II"),
)
"""A form that no one has seen, in inches; its dates can be read in two ways."""


def answered(sitting: Sitting, page: str) -> tuple[str, str]:
    """Answer all that is asked of that form; its address and what is shown at last."""
    to = address(page)
    fields = ("element.element_id", "element.length_m", "element.recorded_on",
              "element.recorded_by", "element.function", "left out")  # fmt: skip
    becomes = {f"becomes|{place}": where for place, where in enumerate(fields[1:], start=1)}
    page = choose(sitting, to, 0, sitting.page(to), becomes | {"becomes|0": "?"})
    assert "Timber number: where does it come from?" in text_of(page)
    page = choose(sitting, to, 0, page, {"becomes|0": fields[0]})
    chosen = {
        "value|element.site_id": "HOLL",
        "unit|element.length_m": "in",
        "first|element.recorded_on": "D",
        "century|element.recorded_on": "2000",
        "word|element.function|big beam": "main_beam",
        "from|element.sampled": "filled|Zeichen",
        "from|element.in_place": "constant|",
        "value|element.in_place": "in_place",
    }
    return to, choose(sitting, to, 0, page, chosen)


def test_an_unknown_form_is_asked_about_and_its_answers_are_kept(
    tmp_path: Path, sitting: Sitting
) -> None:
    first = a_form(tmp_path / "Balken Nord.csv", *FOREIGN)
    page = drop(sitting, first)
    refused = sitting.refused(f"{address(page)}/try")
    assert "Answer these first" in refused
    assert "Zeichen" in refused
    to, page = answered(sitting, page)
    assert "To answer" not in text_of(page), text_of(page)
    page = text_of(sitting.do(f"{to}/try"))
    assert "2 rows of the file were read" in page
    assert "cannot be read" not in page
    assert not record(sitting).tables.rows("element"), "nothing is written by a trial"
    sitting.do(f"{to}/take")
    rows = {row["element_id"]: row for row in record(sitting).tables.rows("element")}
    # 1 in is 25.4 mm by definition (international yard and pound agreement of 1959)
    assert rows["LH-001"]["length_m"] == "3.048"
    assert rows["LH-002"]["length_m"] == "1.5367"
    assert [rows["LH-001"][name] for name in ("recorded_on", "function", "site_id")] == [
        "2024-06-04", "main_beam", "HOLL"]  # fmt: skip
    assert not (record(sitting).folder / "mappings").exists() or not [
        *(record(sitting).folder / "mappings").iterdir()
    ]

    # the mapping is one that the command reads, and reads the same with
    (original,) = record(sitting).tables.rows("original")
    kept = record(sitting).folder / original["mapping_path"]
    by_command = new_package(tmp_path / "by-command")
    import_exports(by_command, [first], read_mapping(kept, by_command.model))
    assert by_command.tables.rows("element") == record(sitting).tables.rows("element")

    # the next file of that form asks nothing
    second = a_form(
        tmp_path / "Balken Süd.csv",
        FOREIGN[0],
        ("BN-001", "96", "7/6/24", "TQ", "big beam", ""),
    )
    said = CliRunner().invoke(import_, [str(record(sitting).folder), str(second), "--draft"])
    assert "the mapping that read Balken Nord.csv" in said.stderr
    page = drop(sitting, second)
    drafted = record(sitting).folder / "mappings" / "Balken_S_d.yaml"
    assert drafted.read_text("utf-8") == said.stdout, "the command proposes the same"
    assert "Balken Nord.csv, which was brought in before" in text_of(page)
    sitting.do(f"{address(page)}/try")
    sitting.do(f"{address(page)}/take")
    rows = {row["element_id"]: row for row in record(sitting).tables.rows("element")}
    assert rows["BN-001"]["length_m"] == "2.4384"


def test_a_copy_that_may_be_newer_is_asked_about(tmp_path: Path, sitting: Sitting) -> None:
    headings = ("Timber number", "Site", "Use of the timber", "Notes")
    some = [(f"LH-{n:03}", "HOLL", "beam", f"note {n}") for n in range(10)]
    others = [(f"BN-{n:03}", "HOLL", "lintel", f"other {n}") for n in range(7)]
    sheets = {
        "old": some,
        "new": [*some[:4], *others[:6]],
    }
    for name, lines in sheets.items():
        path = a_form(tmp_path / name / "beams.csv", headings, *lines)
        page = drop(sitting, path)
        to = address(page)
        fields = ("element.element_id", "element.site_id", "element.function", "element.notes")
        choose(sitting, to, 0, page, {f"becomes|{n}": one for n, one in enumerate(fields)})
        page = sitting.do(f"{to}/try")
        if name == "new":
            assert "Is this a newer copy of beams.csv" in text_of(page)
            (original,) = record(sitting).tables.rows("original")
            page = sitting.do(f"{to}/try", {"same": original["original_id"]})
            assert "Taken for a newer copy" in text_of(page)
            assert "LH-004 is no longer" in text_of(page)
            assert "It brings nothing" not in text_of(sitting.do(f"{to}/try", {"same": "new"}))
            sitting.do(f"{to}/try", {"same": original["original_id"]})
        sitting.do(f"{to}/take")
    kept = [row["element_id"] for row in record(sitting).tables.rows("element")]
    assert sorted(kept) == sorted(one[0] for one in sheets["new"])


def test_conflicts_and_unread_cells_are_settled_in_place(tmp_path: Path, sitting: Sitting) -> None:
    lines = {
        "one": ("LH-001", "HOLL", "beam", "about 4 m"),
        "two": ("LH-001", "HOLL", "lintel", ""),
    }
    for name, line in lines.items():
        path = a_form(tmp_path / f"{name}.csv", ("Timber number", "Site", "Use", "Length"), line)
        page = drop(sitting, path)
        to = address(page)
        fields = ("element.element_id", "element.site_id", "element.function", "element.length_m")
        choose(sitting, to, 0, page, {f"becomes|{n}": one for n, one in enumerate(fields)})
        sitting.do(f"{to}/try", {"same": "new"})
        page = sitting.do(f"{to}/take")
    text = text_of(page)
    assert "about 4 m" in text
    assert "one.csv, row 2" in text
    assert "two.csv, row 2" in text
    conflict = {"kind": "differs", "table": "element", "key": "LH-001", "field": "function",
                "side": "1", "value|1": "lintel"}  # fmt: skip
    cell = {"unread": record(sitting).tables.rows("unread")[0]["unread_id"]}
    assert "Reason is blank" in sitting.refused("/record/hollin/settle/conflict", conflict)
    assert "say why" in sitting.refused("/record/hollin/settle/cell", cell)
    assert "4 cubits" in sitting.refused(
        "/record/hollin/settle/cell", {**cell, "value": "4 cubits"}
    )
    sitting.do("/record/hollin/settle/conflict", {**conflict, "why": "seen again"})
    page = sitting.do("/record/hollin/settle/cell", {**cell, "value": "13 ft 6 in"})
    assert "Nothing is open" in text_of(page)
    (row,) = record(sitting).tables.rows("element")
    # 13 ft 6 in: 162 in of 25.4 mm
    assert (row["function"], row["length_m"]) == ("lintel", "4.1148")
    (reading,) = record(sitting).tables.rows("reading")
    assert reading["as_written"] == "13 ft 6 in"
    (cell,) = record(sitting).tables.rows("unread")
    assert cell["settled"] == 'Entered "13 ft 6 in" by MB.'
    again = sitting.refused("/record/hollin/settle/cell", {"unread": cell["unread_id"], "why": "x"})
    assert "no such cell to settle" in again


def test_hostile_names_and_files_do_no_harm(tmp_path: Path, sitting: Sitting) -> None:
    files = {
        "../../escaped.csv": b"Timber number,Site\nLH-001,HOLL\n",
        "CON.csv": b'<script>alert(1)</script>,Site\nLH-001,"<img src=x onerror=alert(1)>"\n',
        "paper.pdf": b"%PDF-1.7 nothing",
        "page.xlsx": b"<html><table><tr><td>1</td></tr></table></html>",
        "cut.xlsx": b"PK\x03\x04 cut off",
        "empty.csv": b"",
    }
    page = sitting.do(IMPORT, files=[("files", (name, body)) for name, body in files.items()])
    text = text_of(page)
    for name in (
        "paper.pdf is a PDF",
        "page.xlsx is a web page",
        "cut.xlsx is damaged",
        "empty.csv",
    ):
        assert name in text
    assert "escaped.csv" in text
    assert "_CON.csv" in text
    assert not list(tmp_path.rglob("escaped.csv")) or all(
        "treenail-desk-" in str(one) for one in tmp_path.rglob("escaped.csv")
    )
    (to,) = re.findall(rf'href="({IMPORT}/[\w-]+)">_CON', page)
    page = sitting.page(to)
    assert "<script>alert" not in page
    assert "<img" not in page
    for form, said in (
        ({"from|element.site_id": "column|no such"}, "no column 'no such'"),
        ({"from|element.site_id": "template|", "value|element.site_id": "x"}, "in braces"),
        ({"becomes|0": "no_such.field"}, "no field 'no_such.field'"),
        ({"becomes|0": "sample#99.notes"}, "no field 'sample#99.notes'"),
        ({"when|no_such": "Site", "unit|no.such": "m", "word|no.such|x": "y"}, ""),
        ({"from|no_such.field": "constant|", "value|no_such.field": "x"}, "no field"),
        ({"header": "99999999999999999999"}, "no row 99999999999999999999"),
    ):
        answer = sitting.client.post(
            f"{to}/sheet/0",
            data=form,
            headers={"Origin": str(sitting.client.base_url), "X-Desk-Act": sitting.access.act},
        )
        assert answer.status_code in (200, 422), form
        assert said in text_of(answer.text)
    sitting.page(f"{to}?sheet=7", 404)
    sitting.page(f"{IMPORT}/unknown", 404)
    # a record that came from elsewhere may name a mapping that lies outside of it
    package = record(sitting)
    secret = tmp_path / "secret.yaml"
    secret.write_text("title: x\n", "utf-8")
    header = package.table_path("original").read_text("utf-8").strip()
    row = ",".join({"mapping_path": "../secret.yaml", "original_id": "IN-X"}.get(n, "x") for n in header.split(","))  # fmt: skip  # noqa: E501
    package.table_path("original").write_text(f"{header}\n{row}\n", "utf-8")
    assert known_form(record(sitting), a_form(tmp_path / "a.csv", ("x",), ("1",))) is None


def test_a_record_is_begun_and_a_bundle_brought_in(tmp_path: Path) -> None:
    folder = tmp_path / "work"
    folder.mkdir()
    sitting = Sitting(folder)
    page = sitting.page("/new")
    for name in shipped_profiles():
        assert f'value="{name}"' in page
    assert page.count("<svg") == len(shipped_profiles())
    assert "Title is blank" in sitting.refused("/new", {"title": " "})
    said = {"title": "Hollin Reach, été", "kind": ["mine", "barn", "blank"], "units": "feet_inches",
            "language": "es", "numbers": "keep"}  # fmt: skip
    for name in ("hollin-reach-ete", "hollin-reach-ete-2"):
        sitting.do("/new", said)
        begun = open_package(folder / name)
        assert (begun.title, begun.model.title) == ("Hollin Reach, été", "Barn, Mine")
        assert (begun.model.units, begun.model.language) == ("feet_inches", "es")
        assert begun.model.numbering == "as_found"

    bundle = tmp_path / "2026.zip"
    with zipfile.ZipFile(bundle, "w") as archive:
        archive.writestr("hollin/bagit.txt", "BagIt-Version: 1.0\n")
    other = tmp_path / "answers.zip"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("answers.csv", "KEY\n1\n")
    broken = tmp_path / "broken.zip"
    broken.write_bytes(bundle.read_bytes()[:-9])
    for path, why in ((other, "no bundle"), (broken, "is damaged"), (Path(__file__), ".zip")):
        sent = [("bundle", (one.name, one.read_bytes())) for one in (bundle, path)]
        assert why in sitting.refused("/bundle-in", files=sent)
    assert not list(folder.glob("*.zip")), "all of a drop or nothing"
    for name in ("2026.zip", "2026-2.zip"):
        sitting.do("/bundle-in", files=[("bundle", ("../2026.zip", bundle.read_bytes()))])
        assert (folder / name).read_bytes() == bundle.read_bytes()
    alone = Sitting(folder / "hollin-reach-ete")
    assert "one record" in alone.refused("/new", said)


def test_conflicts_about_whole_rows_are_settled_too(tmp_path: Path) -> None:
    """Two copies of a record rename, remove and add at odds; each is settled by a choice."""
    builder = a_package(tmp_path / "work").with_row("site")
    for number in range(1, 6):
        builder.with_row("element", element_id=f"LH-{number}", place_id=None)
    here = tmp_path / "work" / "holl"
    there = shutil.copytree(here, tmp_path / "there")
    said = {
        here: (rename("element", "LH-1", "LH-11"), rename("element", "LH-2", "LH-40"),
               remove("element", "LH-4")),
        there: (rename("element", "LH-1", "LH-12"), rename("element", "LH-3", "LH-40"),
                correct("element", "LH-4", {"notes": "burnt"})),
    }  # fmt: skip
    for folder, decisions in said.items():
        for one in decisions:
            decide(open_package(folder), one, who="MB", why="as seen")
    merge_packages(open_package(here), open_package(there), who="MB")
    sitting = Sitting(tmp_path / "work")
    where = "/record/holl/settle"
    page = text_of(sitting.page(where))
    for kind in ("renamed twice", "one key for several rows", "removed and stated"):
        assert kind in page
    twice = {"kind": "renamed_twice", "table": "element", "key": "LH-11", "why": "as on the tag"}
    sitting.do(f"{where}/conflict", twice | {"side": "1", "value|1": "LH-12"})
    one_key = {"kind": "one_key_several_rows", "table": "element", "key": "LH-40", "why": "two"}
    sitting.do(f"{where}/conflict", one_key | {"side": "own", "row": "LH-3", "own": "LH-41"})
    gone = {"kind": "removed_and_stated", "table": "element", "key": "LH-4", "why": "stands"}
    assert "Nothing is open" in text_of(sitting.do(f"{where}/conflict", gone | {"side": "keep"}))
    keys = open_package(here).tables.column("element", "element_id")
    assert sorted(keys) == ["LH-12", "LH-4", "LH-40", "LH-41", "LH-5"]


def test_what_the_program_made_needs_no_choosing(tmp_path: Path) -> None:
    """A workbook that comes back is asked about; answers from phones and Data Packages come in."""
    package = a_package(tmp_path / "work").with_chain().package
    sitting, where = Sitting(tmp_path / "work"), "/record/holl/import"
    filled = tmp_path / "left.xlsx"
    write_filled_workbook(package, filled)
    book = openpyxl.load_workbook(filled)
    for row in book["Timbers"].iter_rows():
        for cell in row:
            cell.value = "B1-099" if cell.value == "B1-014" and cell.column == 1 else cell.value
    book.save(filled)
    page = sitting.do(where, files=[("files", (filled.name, filled.read_bytes()))])
    to = re.findall(rf'hx-post="({where}/[\w-]+)/away"', page)[0]
    assert "its columns are known" in text_of(page)
    assert "only" not in sitting.refused(f"{to}/take"), "nothing is taken before it is tried"
    page = text_of(sitting.do(f"{to}/try"))
    assert "element B1-014 is called B1-099" in page
    assert "Yes, take these changes" in page
    # changed by another hand since it was shown
    decide(open_package(package.folder), rename("element", "B1-014", "B1-015"), who="ZF", why="x")
    posted = sitting.act(f"{to}/take").headers["HX-Redirect"]
    running = sitting.desk.jobs[posted.removeprefix("/work/")]
    running.thread.join(60)
    assert "changed since you looked" in running.problem
    assert open_package(package.folder).tables.column("element", "element_id") == ["B1-015"]
    decide(open_package(package.folder), undo("last"), who="ZF")
    sitting.do(f"{to}/try")
    sitting.do(f"{to}/take")
    assert open_package(package.folder).tables.column("element", "element_id") == ["B1-099"]

    answers = tmp_path / "answers.zip"
    turn = Turn({"element/element__element_id": "B1-101", "element/element__function": "beam"})
    top = Turn({"place": "B1", "day": "2031-05-04", "crew": "MB"}, {"element": [turn]})
    as_zip(answers, {"uuid:1": top}, {})
    descriptor = {"resources": [{"name": "beams", "path": "beams.csv"}]}
    with zipfile.ZipFile(tmp_path / "package.zip", "w") as archive:
        archive.writestr("datapackage.json", json.dumps(descriptor))
        archive.writestr("beams.csv", "Timber number,Site,Use\nB1-102,HOLL,beam\n")
    for name, key in (("answers.zip", "B1-101"), ("package.zip", "B1-102")):
        page = sitting.do(where, files=[("files", (name, (tmp_path / name).read_bytes()))])
        to = re.findall(rf'hx-post="({where}/[\w-]+)/away"', page)[0]
        sitting.do(f"{to}/try", {"same": "new"})
        sitting.do(f"{to}/take")
        assert key in open_package(package.folder).tables.column("element", "element_id"), name
