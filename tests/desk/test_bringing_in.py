"""What crews hand in comes into a record by dropping and clicking, just as by the command."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import lxml.html
import pytest
import yaml

from provenance._intake.importing import import_exports
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._record.new import new_package
from provenance._record.package import Package, open_package
from tests.desk.sitting import Sitting, text_of
from tests.intake.forms import HEADINGS, a_line, write_csv, write_xlsx

PAPERS = Path(__file__).parents[2] / "demo_package"
IMPORT = "/record/hollin/import"
Form = dict[str, list[str]]


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
    for rows in source["rows"]:
        table = rows["table"]
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
                more |= {f"from|{where}": f"{how}|", f"value|{where}": str(one[how])}
    yield becomes
    yield more
    yield more  # what is made up of columns may be asked only when its table is there


def test_the_papers_of_the_crews_come_in_as_by_the_command(tmp_path: Path, sitting: Sitting) -> None:
    """Every mapping of the demonstration is reached by choosing, and reads the same tables."""
    by_command = new_package(tmp_path / "by-command", title="Hollin Reach (invented)")
    papers = ("site_people_places.xlsx", "timbers_log_house_and_barn.xlsx", "photo_log.csv")
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
            names = [re.search(r"\d+", s.get("name"))[0] for s in lxml.html.fromstring(part).xpath('//tr[@class="becomes"]/td/select[1]')]  # fmt: skip  # noqa: E501
            places = dict(zip([one.text for one in headings], map(int, names), strict=True))
            for chosen in clicks(document, source, places):
                part = choose(sitting, to, number, part, chosen)
        page = sitting.do(f"{to}/try")
        assert "Nothing is written yet" in text_of(page)
        sitting.do(f"{to}/take")
    ours = record(sitting)
    for table in by_command.model.of_role("record"):
        for mine, theirs in zip(ours.tables.rows(table.name), by_command.tables.rows(table.name), strict=True):
            assert mine == theirs, table.name

