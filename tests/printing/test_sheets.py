"""Record sheets ask everything that the schema asks, once, and print what the package holds."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pypdf
import pytest
import yaml

from provenance._model.measures import MM_PER
from provenance._model.profile import general_cautions, load_model, shipped_profiles
from provenance._printing.sheets.question import LONGEST_TICKED
from provenance._printing.sheets.record_sheets import SHEETS, SheetKind, write_sheets
from provenance._printing.sheets.rows import ChosenRows
from provenance._record.measured import said
from tests.builders import a_package
from tests.printing.reading import page_texts
from tests.printing.sheet_pages import draft_sheets, flat, print_blank, print_filled, two_logs

PROFILES = sorted(shipped_profiles())
FORMS = [kind for kind in SHEETS if kind.layout == "form"]


# -- every field, from schema and profile ----------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES)
def test_every_field_of_a_form_is_asked_exactly_once(profile: str) -> None:
    model = load_model(profile)
    for kind in FORMS:
        for paper in ("a4", "letter"):
            asked = Counter(
                field
                for sheet in draft_sheets(model, kind, paper=paper)
                for page in sheet.pages
                for field in page.fields
            )
            wanted = Counter(
                one.name for name in kind.tables for one in model.table(name).form_fields()
            )
            assert asked == wanted, (kind.name, paper)


@pytest.mark.parametrize("kind", FORMS, ids=lambda kind: kind.name)
def test_every_title_unit_and_meaning_can_be_read_on_the_page(
    tmp_path: Path, kind: SheetKind
) -> None:
    path = print_blank(tmp_path, "log_building", sheets=(kind.name, "meanings"))
    model = load_model("log_building")
    text = flat(" ".join(page_texts(path)))
    unbroken = re.sub(r"\s", "", text)
    for name in kind.tables:
        for one in model.table(name).form_fields():
            star = "*" if one.required else ""
            assert re.sub(r"\s", "", one.title + star) in unbroken
            assert re.sub(r"\s", "", one.description) in unbroken
            vocabulary = model.vocabulary_of(one)
            for term in vocabulary.terms if vocabulary else ():
                assert re.sub(r"\s", "", term.definition) in unbroken
                if len(vocabulary.terms) <= LONGEST_TICKED:
                    assert f"☐{re.sub(chr(32), '', term.label)}" in unbroken


def test_a_hidden_field_is_not_asked() -> None:
    model = load_model("log_building")
    hidden = [one for one in model.table("site").fields if one.hidden]
    assert hidden
    kind = next(kind for kind in SHEETS if kind.name == "site")
    asked = {f for s in draft_sheets(model, kind) for page in s.pages for f in page.fields}
    assert asked.isdisjoint(one.name for one in hidden)


def test_a_field_that_a_profile_adds_appears_with_its_unit(tmp_path: Path) -> None:
    profile = tmp_path / "with_soot.yaml"
    profile.write_text(
        yaml.safe_dump(
            {
                "name": "with_soot",
                "title": "Place with soot",
                "description": "An invented kind of place.",
                "add": {
                    "element": [
                        {
                            "name": "soot_mm",
                            "type": "number",
                            "title": "Thickness of soot",
                            "description": "Measured with a pin.",
                            "unit": "mm",
                            "section": "state",
                        }
                    ]
                },
            }
        ),
        encoding="utf-8",
    )
    path = tmp_path / "out.pdf"
    write_sheets(load_model(str(profile)), path, sheets=("element", "meanings"))
    texts = page_texts(path)
    assert sum("Thickness of soot" in flat(text) for text in texts) == 2
    assert any("Thickness of soot (mm)" in flat(text) for text in texts)


def test_required_and_several_and_code_list_are_marked(tmp_path: Path) -> None:
    text = flat(" ".join(page_texts(print_blank(tmp_path, sheets=("element",)))))
    assert "Timber number*" in text
    assert "Tool marks check all that apply" in text
    assert "Wood (field identification) from the code list" in text
    assert "PSME Pseudotsuga menziesii" in text  # on the page of code lists


# -- filled in -------------------------------------------------------------------------------------


@pytest.fixture
def hollin(tmp_path: Path) -> ChosenRows:
    return two_logs(tmp_path)


def test_a_filled_form_prints_the_row_and_crosses_its_codes(
    hollin: ChosenRows, tmp_path: Path
) -> None:
    texts = print_filled(hollin, tmp_path / "out.pdf", sheets=("element",))
    pages = [text for text in texts if text.startswith("Timber B1-015")]
    both = " ".join(pages)
    for crossed in ("Adze", "Pit saw", "In place", "Round", "Bark", "Yes"):
        assert f"☒ {crossed}" in both
    assert both.count("☒") == 6 + len(pages)  # and the legend of each page
    for value in ("B1-015", "HOLL", "4.2 m", "PIPO Pinus ponderosa", "2024-06-04", "Reused."):
        assert value in both


def test_every_value_of_the_package_can_be_read_back(hollin: ChosenRows, tmp_path: Path) -> None:
    text = " ".join(
        print_filled(hollin, tmp_path / "out.pdf", sheets=("site", "element", "sample"))
    )
    model = hollin.package.model
    for name in ("site", "element", "sample"):
        for _, row in hollin.of(name):
            for one in model.table(name).form_fields():
                value = row[one.name]
                if value and not one.vocabulary and one.type != "boolean":
                    shown = (
                        said(hollin.package.tables, name, one.name, value)
                        if one.unit in MM_PER
                        else value
                    )
                    assert shown in text, (name, one.name)


def test_pypdf_reads_the_same_words_as_pdfium(hollin: ChosenRows, tmp_path: Path) -> None:
    out = tmp_path / "out.pdf"
    texts = print_filled(hollin, out, sheets=("sample",))
    for page, text in zip(pypdf.PdfReader(out).pages, texts, strict=True):
        assert Counter(re.sub(r"\s", "", page.extract_text())) == Counter(re.sub(r"\s", "", text))


def test_a_code_that_is_on_no_list_is_printed_as_it_is(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("element", element_id="B9", shape="lumpy")
    texts = print_filled(ChosenRows(builder.package), tmp_path / "out.pdf", sheets=("element",))
    assert any("not on the list: lumpy" in text for text in texts)


def test_a_selection_prints_those_samples_and_their_plugs(
    hollin: ChosenRows, tmp_path: Path
) -> None:
    texts = print_filled(hollin, tmp_path / "o.pdf", sheets=("sample", "plug"), samples="232")
    assert any(text.startswith("Sample 232") for text in texts)
    assert not any(text.startswith("Sample 231") for text in texts)
    register = next(text for text in texts if text.startswith("Plug log"))
    assert register.count("232") == 2  # the sample and its stamp
    assert "231" not in register


def test_only_the_rows_of_one_site_are_printed(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("site", site_id="MARL", name="Marl Ford")
    builder.with_row("place", place_id="M1", site_id="MARL")
    builder.with_row("element", element_id="M1-001", site_id="MARL", place_id="M1")
    builder.with_row("datum").with_row("datum", datum_id="D9", site_id="MARL", place_id="M1")
    builder.with_row("tie").with_row("tie", tie_id="T9", from_datum_id="D9")
    rows = ChosenRows(builder.package, site="MARL")
    kept = {table: [key[1] for key in rows.of(table)] for table in ("element", "tie", "sample")}
    assert [row["element_id"] for row in kept["element"]] == ["M1-001"]
    assert [row["tie_id"] for row in kept["tie"]] == ["T9"]
    assert kept["sample"] == []
    assert len(rows.of("party")) == 4


def test_the_cover_checks_the_hazards_on_record(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("place", place_id="B2", hazards="lead_paint; dust")
    texts = print_filled(ChosenRows(builder.package), tmp_path / "out.pdf", sheets=("cover",))
    cover = " ".join(texts)
    assert "☒ Lead paint." in cover
    assert "☒ Dust." in cover
    assert "☐ Asbestos." in cover
    assert cover.count("☒") == 2


@pytest.mark.parametrize("profile", PROFILES)
def test_the_cover_has_every_caution_and_defers_to_codes_and_permits(
    tmp_path: Path, profile: str
) -> None:
    model = load_model(profile)
    texts = page_texts(print_blank(tmp_path, profile, sheets=("cover",)))
    cover = re.sub(r"\s", "", " ".join(texts))
    for caution in model.cautions:
        assert re.sub(r"\s", "", caution) in cover
    for term in model.vocabularies["hazard"].terms:
        assert re.sub(r"\s", "", str(term.attributes["caution"])) in cover
    for text in texts:
        assert all(one in flat(text) for one in general_cautions()[:2])


def test_the_equipment_of_several_kinds_of_place_is_a_list_to_check_off(tmp_path: Path) -> None:
    model = load_model("mine+church")
    out = tmp_path / "out.pdf"
    write_sheets(model, out, sheets=("equipment",), paper="letter")
    listed = " ".join(map(flat, page_texts(out)))
    for one in model.equipment:
        assert f"☐ {one.item}. {one.purpose}." in listed


# -- blanks ----------------------------------------------------------------------------------------


def test_an_empty_package_gives_one_blank_sheet_of_each_kind(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    out = tmp_path / "out.pdf"
    write_sheets(package.model, out, package=package, sheets=("all",))
    texts = page_texts(out)
    for kind in SHEETS:
        for name in kind.tables:
            title = "Core sheet" if kind.layout == "core" else kind.title
            title = title or package.model.table(name).title
            assert sum(flat(text).startswith(title) for text in texts) >= 1, kind.name
    assert all("holl" in text for text in texts)
    for one in general_cautions()[:2]:
        assert all(one in flat(text) for text in texts)


def test_blanks_take_the_site_from_a_package_of_one_site(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    out = tmp_path / "out.pdf"
    write_sheets(package.model, out, package=package, sheets=("element",), blanks=2)
    fronts = [text for text in page_texts(out) if "What it is" in text]
    assert len(fronts) == 2
    assert all(
        "HOLL" in text and "B1-014" not in text.replace("e.g. B1-014", "") for text in fronts
    )


def test_only_a_code_with_an_example_of_its_own_shows_one(tmp_path: Path) -> None:
    (text, *_) = [t for t in page_texts(print_blank(tmp_path, sheets=("sample",))) if "Bit" in t]
    assert "e.g. 231" in text
    assert "B1-014" not in "".join(page_texts(tmp_path / "blank.pdf")), "a bit is no timber"


def test_a_blank_form_fills_whole_sheets_of_paper() -> None:
    """Printed on both sides, no two records share a sheet of paper."""
    for kind in FORMS:
        for sheet in draft_sheets(load_model("blank"), kind, blanks=3):
            assert len(sheet.pages) % 2 == 0


def test_fields_that_do_not_fit_go_to_a_further_page(tmp_path: Path) -> None:
    model = load_model("blank")
    wide = {"add": {"sample": [field(number) for number in range(60)]}}
    profile = tmp_path / "wide.yaml"
    head = {"name": "wide", "title": "Wide", "description": "Invented."}
    profile.write_text(yaml.safe_dump(head | wide), encoding="utf-8")
    kind = next(kind for kind in SHEETS if kind.name == "sample")
    usual = draft_sheets(model, kind)[0].pages
    pages = draft_sheets(load_model(str(profile)), kind)[0].pages
    assert len(pages) > len(usual)
    assert sum(len(page.fields) for page in pages) == sum(len(page.fields) for page in usual) + 60


def field(number: int) -> dict[str, str]:
    return {
        "name": f"extra_{number}",
        "type": "string",
        "title": f"Extra {number}",
        "description": "Invented.",
    }
