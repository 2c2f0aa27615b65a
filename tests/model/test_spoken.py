"""A record's forms speak its language, and nothing else of it changes."""

from __future__ import annotations

import re
from dataclasses import replace

import openpyxl
import pytest

from provenance._base.errors import UnknownName
from provenance._base.languages import _, available_languages, ngettext, speaking
from provenance._intake.lines.cells import _words_of
from provenance._intake.mapping.mapping import ReadingHabits
from provenance._model.profile import load_model, shipped_profiles
from provenance._model.schema import Field, Model, Table, Term
from provenance._model.spoken import in_language
from provenance._printing.sheets.record_sheets import write_sheets
from provenance._printing.workbook import write_workbook
from provenance._record.settings import Settings, change_settings
from tests import catalogues
from tests.builders import a_package
from tests.intake.forms import bring_in
from tests.printing.reading import page_texts

OTHERS = available_languages()[1:]
PLACE = re.compile(r"\{\w*\}|%\(\w+\)s")


def test_there_is_spanish() -> None:
    assert available_languages() == ("en", "es")


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_has_the_texts_of_now(language) -> None:
    """`make catalogues` brings it up to date."""
    catalog, sources = catalogues.read(language), catalogues.collected()
    here = {(one.context, one.id) for one in catalog if one.id}
    assert here == {(one.context, one.id) for one in sources if one.id}
    compiled = catalogues.LANGUAGES / f"{language}.mo"
    assert compiled.read_bytes() == catalogues.as_mo(catalog)


@pytest.mark.parametrize("language", OTHERS)
def test_a_translation_keeps_what_is_filled_in_and_the_blanks_at_its_ends(language) -> None:
    for one in catalogues.read(language):
        originals = [one.id] if isinstance(one.id, str) else list(one.id)
        said = [one.string] if isinstance(one.string, str) else list(one.string)
        if not one.id or one.fuzzy or not any(said):
            continue
        assert all(said), one.id
        places = sorted(PLACE.findall(originals[-1]))
        assert [sorted(PLACE.findall(text)) for text in said] == [places] * len(said), one.id
        blanks = [(text[:1] == " ", text[-1:] == " ") for text in (originals[0], said[0])]
        assert blanks[0] == blanks[1], one.id


@pytest.mark.parametrize("language", OTHERS)
def test_every_plural_form_is_said(language) -> None:
    """Some tools give Spanish a form of its own for a million; each number needs its text."""
    several = [one for one in catalogues.read(language) if isinstance(one.id, tuple)]
    assert several
    with speaking(language):
        for one in several:
            for number in (0, 1, 2, 5, 1_000_000):
                assert ngettext(*one.id, number) in one.string, (one.id, number)


def test_no_text_is_marked_inside_an_f_string() -> None:
    """Where the tools that collect texts do not look before Python 3.12."""
    inside = re.compile(r"""\{_\(['"]""")
    sources = (catalogues.ROOT / "provenance").rglob("*.py")
    assert [path.name for path in sources if inside.search(path.read_text("utf-8"))] == []


def test_the_language_ends_with_its_block() -> None:
    with speaking("es"):
        assert _("Tape from") == "Cinta desde"
        with speaking("en"):
            assert _("Tape from") == "Tape from"
        assert _("") == ""
    assert _("Tape from") == "Tape from"


def test_a_language_without_a_catalogue_is_refused_with_those_that_there_are() -> None:
    with pytest.raises(UnknownName, match=r"'xx'.*en, es"), speaking("xx"):
        pass


def plain(model: Model) -> Model:
    """The model without the texts that are said in another language."""

    def field(one: Field) -> Field:
        return replace(one, title="", description="")

    def table(one: Table) -> Table:
        fields = tuple(map(field, one.fields))
        sections = dict.fromkeys(one.sections, "")
        return replace(one, title="", description="", sections=sections, fields=fields)

    def term(one: Term) -> Term:
        attributes = {key: value for key, value in one.attributes.items() if key != "caution"}
        return replace(one, label="", definition="", synonyms=(), attributes=attributes)

    lists = {
        name: replace(one, title="", description="", terms=tuple(map(term, one.terms)))
        for name, one in model.vocabularies.items()
    }
    tables = {name: table(one) for name, one in model.tables.items()}
    return replace(
        model,
        title="",
        description="",
        cautions=(),
        equipment=(),
        tables=tables,
        vocabularies=lists,
    )


@pytest.mark.parametrize("language", OTHERS)
def test_names_codes_units_and_limits_stay(language) -> None:
    english = load_model("timber_frame")
    said = in_language(english, language)
    assert said.table("sample").field("sample_id").title == "Número de espécimen de campo"
    assert said.vocabularies["sample_kind"].label("core") == "Testigo"
    assert said.vocabularies["species"].label("PIPO") == "Pinus ponderosa"
    assert (
        said.cautions[0]
        == "Primero van los códigos locales, los permisos y la práctica autorizada."
    )
    assert plain(said) == plain(english)
    assert in_language(english, "en") is english


@pytest.mark.parametrize("language", OTHERS)
def test_each_word_of_a_list_means_one_code_in_either_language(language) -> None:
    for profile in shipped_profiles():
        english = load_model(profile)
        for name, one in in_language(english, language).vocabularies.items():
            words = _words_of(one, ReadingHabits())
            for term in one.terms:
                for word in (term.label, english.vocabularies[name].label(term.code)):
                    read = words[" ".join(word.replace("-", " ").split()).casefold()]
                    assert read == term.code, (name, word)


@pytest.mark.parametrize("language", OTHERS)
def test_a_workbook_comes_back_from_its_language(language, tmp_path) -> None:
    package = a_package(tmp_path).with_chain(direction="radial").package
    package = change_settings(package, Settings(language=language))
    rows = {one.name: package.table(one.name) for one in package.model.of_role("record")}
    path = write_workbook(package.model, tmp_path / "crew.xlsx", rows=rows)
    book = openpyxl.load_workbook(path)
    assert "Maderos" in book.sheetnames
    shown = {cell.value for row in book["Muestras"].iter_rows() for cell in row}
    assert {"Número de espécimen de campo *", "Testigo", "Hacia el centro"} <= shown
    empty = change_settings(a_package(tmp_path / "two").package, Settings(language=language))
    result = bring_in(empty, path, mapping=None)
    assert (result.unread, [one for one in result.findings if one.severity != "note"]) == (0, [])
    assert empty.table("sample").to_dict("records") == rows["sample"].to_dict("records")


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("profile", ["mine", "timber_frame"])
def test_forms_can_be_written(profile, language, tmp_path) -> None:
    """The writer of workbooks warns of what a program would refuse, and a warning fails."""
    model = replace(load_model(profile), language=language)
    names = openpyxl.load_workbook(write_workbook(model, tmp_path / "book.xlsx")).sheetnames
    assert len(names) == len(set(names))
    write_sheets(model, tmp_path / "sheets.pdf", sheets=["cover", "core"], paper="letter")
    text = " ".join(" ".join(page_texts(tmp_path / "sheets.pdf")).split())
    assert "Antes de empezar" in text
    assert "Sección: contorno, corteza, trayecto" in text
    assert "Traducción no revisada por hablante nativo" in text
