"""Logs and core sheets ask what a crew can say, in its units, on few pages."""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from itertools import product
from pathlib import Path

import pypdf
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._base.errors import UnusableSchema
from provenance._drawing.fonts import PLAIN
from provenance._drawing.paper import MM, PAPERS
from provenance._model.measures import FEET_INCHES
from provenance._model.profile import load_model, shipped_profiles
from provenance._model.schema import Model, Table
from provenance._model.spoken import in_language
from provenance._printing.sheets.asked import MOST_COLUMNS, log_columns, sheet_words
from provenance._printing.sheets.frame import EDGE_MM, TIGHT_MM
from provenance._printing.sheets.listing import _set_entry, code_lists, shortest_beginning
from provenance._printing.sheets.log import (
    FOOT_MM,
    HEAD_MM,
    NARROWEST_MM,
    PAD,
    ROWS,
    TITLES_MM,
    column_widths,
)
from provenance._printing.sheets.record_sheets import SHEETS, lay_out_sheets, write_sheets
from provenance._printing.sheets.rows import ChosenRows
from provenance._record.package import Package, open_package, write_model
from tests.builders import SOUND, a_package
from tests.printing.reading import page_texts
from tests.printing.sheet_pages import flat, overlapping_texts, print_blank, print_filled, two_logs

LOGS = sorted({name for kind in SHEETS if kind.layout == "log" for name in kind.tables})


def in_feet(package: Package) -> Package:
    write_model(replace(package.model, units=FEET_INCHES), package.folder)
    return open_package(package.folder)


def test_four_hundred_timbers_and_sixty_cores_fit_in_sixty_pages(tmp_path: Path) -> None:
    package = a_package(tmp_path, "earthen_village").with_chain().package
    keys = {"element": "element_id", "sample": "sample_id", "plug": "plug_id"}
    for table, count in (("element", 400), ("sample", 60), ("plug", 60)):
        with open(package.table_path(table), "w", encoding="utf-8", newline="") as stream:
            writer = csv.DictWriter(stream, package.model.table(table).names, lineterminator="\n")
            writer.writeheader()
            for number in range(1, count + 1):
                key = f"V-{number:03}" if table != "sample" else str(number)
                row = SOUND[table] | {keys[table]: key}
                if table == "sample":
                    row["element_id"] = f"V-{number:03}"
                if table == "plug":
                    row |= {"sample_id": str(number), "stamp": str(number)}
                writer.writerow(row)
    for paper in ("a4", "letter"):
        laid_out = lay_out_sheets(package.model, package=open_package(package.folder), paper=paper)
        counts = dict(laid_out.counts)
        assert counts["Timber log"] == 20
        assert counts["Core sheets"] == 30
        assert counts["Code lists"] == 1
        assert laid_out.page_count == sum(counts.values()) <= 60


@pytest.mark.parametrize("profile", sorted(shipped_profiles()))
def test_every_log_is_one_page_wide_with_room_to_write(profile: str) -> None:
    model = load_model(profile)
    for paper in PAPERS:
        page = paper.turned()
        height = (page.height_mm - 2 * TIGHT_MM - HEAD_MM - TITLES_MM - FOOT_MM) / ROWS
        # 8.5 to 8.8 mm; common practice for a pencil, no source
        assert 8.5 <= height < 8.8
        width = page.width - 2 * EDGE_MM * MM
        for table in LOGS:
            widths = column_widths(model, log_columns(model, table), width)
            assert sum(widths) == pytest.approx(width), table
            assert min(widths) >= NARROWEST_MM * MM - 1e-6, table


@pytest.mark.parametrize("profile", sorted(shipped_profiles()))
def test_no_word_of_a_log_is_parted_or_cut(profile: str, tmp_path: Path) -> None:
    model, out = load_model(profile), tmp_path / "out.pdf"
    paper = min(PAPERS, key=lambda one: one.height)
    write_sheets(model, out, sheets=("log", "plug"), paper=paper.name, blanks=1)
    shown = " ".join(page_texts(out)[:2]).split()
    for table in ("element", "plug"):
        columns = log_columns(model, table)
        widths = column_widths(model, columns, paper.turned().width - 2 * EDGE_MM * MM)
        for column, width in zip(columns, widths, strict=True):
            left_out = set(f"{column.heading} {column.below}".split()) - {*shown}
            # the unit stands in the cells too, where a long heading takes its room
            assert left_out <= {model.unit_of(one) for _, one in column.fields}, column.heading
            for _, one in column.fields:
                vocabulary = model.vocabulary_of(one)
                for term in vocabulary.terms if vocabulary and one.vocabulary != "species" else ():
                    for word in term.label.split():
                        assert PLAIN.width(word, 7) < width - 2 * PAD, (column.heading, word)


def test_logs_and_core_sheets_name_fields_that_there_are() -> None:
    """A name that is spelled wrong would be left out without a word, as one of a later version."""
    model = load_model("blank")
    names = [(table, name) for table in LOGS for kind in ("columns", "more")
             for column in sheet_words("logs")[table].get(kind, ())
             for name in column.get("fields", ())]  # fmt: skip
    words = sheet_words("core")
    for box in [*words["first"], *(box for row in words["rows"] for box in row)]:
        names += [tuple(name.split(".")) for name in box["fields"]]
    for ticks in [*words["ticks"], words["remarks"]]:
        table, name = ticks["field"].split(".")
        names.append((table, name))
        vocabulary = model.vocabulary_of(model.table(table).field(name))
        for code in ticks.get("codes", ()):
            assert vocabulary is not None
            assert vocabulary.term(code), (name, code)
    for table, name in names:
        shown = [one.name for one in model.table(table).form_fields()]
        assert name in shown, (table, name)


def test_nothing_overlaps_in_feet_and_inches_and_no_type_is_small(tmp_path: Path) -> None:
    rows, out = ChosenRows(in_feet(two_logs(tmp_path).package)), tmp_path / "out.pdf"
    print_filled(rows, out, paper="letter")
    assert overlapping_texts(out) == []
    sizes: set[float] = set()

    def note(text: str, _cm: object, _tm: object, _font: object, size: float) -> None:
        if text.strip():
            sizes.add(size)

    for page in pypdf.PdfReader(out).pages:
        page.extract_text(visitor_text=note)
    assert min(sizes) >= 7


def test_a_filled_log_says_what_is_recorded_as_the_crew_measures(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("element", element_id="B1-015", sampled="false", length_m="",
                     not_sampled_reason="not_permitted", diameter_b2_cm="")  # fmt: skip
    rows = ChosenRows(in_feet(builder.package))
    log, codes = print_filled(rows, tmp_path / "out.pdf", sheets=("log",))
    # 4.2 m are 165.35 in, 22 cm 8.66 in (an inch is 25.4 mm, international yard and pound
    # agreement of 1959; cited from memory)
    for words in (
        "B1-014",
        "13' 9 1/4\"",
        "8 5/8 in ×",
        "8 1/4 in",
        "231",
        "Not permitted",
        "PIPO",
    ):
        assert words in log, words
    assert "4.2" not in log
    assert log.count("'") - log.count("''") > ROWS  # feet are marked in the empty cells
    assert "What is asked" not in codes
    assert "PIPO Pinus ponderosa" in codes


def test_core_sheets_stand_two_to_a_page_with_wood_hole_and_plug(tmp_path: Path) -> None:
    rows = two_logs(tmp_path)
    rows = ChosenRows(in_feet(rows.package))
    pages = print_filled(rows, tmp_path / "out.pdf", sheets=("core",))
    assert len(pages) == 2  # and the code lists
    for words in ("231", "232", "B1-014", "B1-015", "1/2 in", "4' 1 1/4\"", "9.5 o'clock",
                  "4 1/8 in", "STAMP exactly as punched", "This way up", "Could a photo of the end",
                  "Loose wood looked for?", "Old cores asked about?", "Why this timber",
                  "Photo nos.", "Failed, why", "Section at the hole", "Side view",
                  "All cautions: see the cover. Local codes, permits and licensed"):  # fmt: skip
        assert words in pages[0], words
    assert pages[0].count("☒ Bark") == pages[0].count("☒ Toward the center") == 2


def test_what_an_older_record_has_no_field_for_is_not_asked(tmp_path: Path) -> None:
    model = load_model("blank")
    later = {"height_a_m", "photo_numbers", "not_sampled_reason", "why_here", "bit_id", "seat",
             "before_end_grain", "before_loose_wood", "before_old_core", "attempt"}  # fmt: skip

    def older(table: Table) -> Table:
        return replace(table, fields=tuple(one for one in table.fields if one.name not in later))

    before: Model = replace(
        model, tables={name: older(table) for name, table in model.tables.items()}
    )
    out = tmp_path / "out.pdf"
    write_sheets(before, out, sheets=("log", "core", "plug"))
    text = flat(" ".join(page_texts(out)))
    assert "Bit size" in text
    for words in ("Off floor", "Photos", "Could a photo", "Why this timber", "Sits", "Came out"):
        assert words not in text


def test_a_profile_chooses_the_columns_of_a_log(tmp_path: Path) -> None:
    head = {"name": "mine", "title": "Mine", "description": "Invented."}
    path = tmp_path / "mine.yaml"

    def profile(*fields: str) -> str:
        path.write_text(yaml.safe_dump(head | {"log": {"element": list(fields)}}), encoding="utf-8")
        return str(path)

    model = load_model(profile("element_id", "nominal_size", "stem_base", "diameter_a1_cm"))
    columns = log_columns(model, "element")
    assert [one.heading for one in columns] == ["Timber", "Nominal", "Base of the stem", "End A"]
    assert columns[-1].names == ("diameter_a1_cm", "diameter_a2_cm")
    package = a_package(tmp_path).package
    write_model(model, package.folder)
    assert open_package(package.folder).model.logs == model.logs
    with pytest.raises(UnusableSchema, match="log/element names fields that are not there: sut"):
        load_model(profile("element_id", "sut"))
    every = [one.name for one in model.table("element").form_fields()]
    with pytest.raises(UnusableSchema, match=f"at most {MOST_COLUMNS} fit on a page; shorten log"):
        lay_out_sheets(load_model(profile(*every)))


def test_code_lists_come_once_whatever_is_printed_and_have_every_code(tmp_path: Path) -> None:
    model = load_model("blank")
    pages = [
        dict(lay_out_sheets(model, blanks=blanks).counts)["Code lists"] for blanks in (None, 1, 9)
    ]
    assert pages == [1, 1, 1]
    text = flat(" ".join(page_texts(print_blank(tmp_path, sheets=("codes",)))))
    unbroken = re.sub(r"\s", "", text)
    asked = {one.vocabulary for kind in SHEETS if kind.usual and kind.layout == "log"
             for table in kind.tables for column in log_columns(model, table)
             for _, one in column.fields if one.vocabulary}  # fmt: skip
    assert "element_function" in asked
    for name in sorted(asked):
        for term in model.vocabularies[name].terms:
            assert re.sub(r"\s", "", term.label) in unbroken, (name, term.code)


@settings(max_examples=60)
@given(st.lists(st.text("abc ", min_size=1, max_size=6).map(str.strip).filter(bool), unique=True))
def test_the_bold_letters_tell_a_word_from_all_others_of_its_list(labels: list[str]) -> None:
    for label in labels:
        told = shortest_beginning(label, labels)
        assert label.startswith(told)
        others = [one for one in labels if one != label]
        assert told == label or not any(one.startswith(told) for one in others)


def test_no_word_of_a_code_list_is_broken_behind_its_bold_letters() -> None:
    model = in_language(load_model("blank"), "es")
    entries = code_lists(model, [(one, one) for one in ("felling_season", "element_function")])
    joined = [one for one in entries if one.joined]
    for one, width in product(joined, range(60, 120, 5)):
        label, ends = f"{one.term}{one.meaning}", set()
        for word in label.split():
            ends.add(max(ends, default=0) + len(word))
        reached = 0
        for line in _set_entry(one, width, 7.0, 0.0).lines:
            reached += sum(len(text.replace(" ", "")) for _, text, _ in line.words)
            assert reached in ends, (label, width)
        assert reached == max(ends), label


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_code_lists_say_that_their_translation_is_not_reviewed(paper: str, tmp_path: Path) -> None:
    model = replace(load_model("blank"), language="es")
    write_sheets(model, tmp_path / "codes.pdf", sheets=["codes"], paper=paper)
    text = flat(" ".join(page_texts(tmp_path / "codes.pdf")))
    assert "Traducción no revisada por hablante nativo" in text
