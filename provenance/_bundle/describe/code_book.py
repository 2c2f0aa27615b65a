"""Writes the code book of a model: every table, column, code and written form, with sources."""

from __future__ import annotations

from typing import Any

from markupsafe import Markup

from provenance._base.page_templates import page_templates
from provenance._bundle.describe.plain_text import text_template
from provenance._model.schema import Field, Model, Table, Vocabulary


def code_book_html(model: Model, record_title: str) -> str:
    """The code book as one page that needs nothing else."""
    page = page_templates("bundle").get_template("codebook.html")
    tables = model.once("code book as HTML", _tables_html)
    return page.render(
        title=f"Code book: {record_title}", record_title=record_title, model=model, tables=tables
    )


def code_book_markdown(model: Model, record_title: str) -> str:
    """The code book as Markdown, which reads well in a plain text editor too."""
    tables = model.once("code book as Markdown", _tables_markdown)
    return text_template("bundle/codebook.md").render(
        record_title=record_title, model=model, tables=tables
    )


def _tables_html(model: Model) -> Markup:
    page = page_templates("bundle").get_template("codebook_tables.html")
    return Markup(page.render(_facts(model)))


def _tables_markdown(model: Model) -> str:
    return text_template("bundle/codebook_tables.md").render(_facts(model))


def _facts(model: Model) -> dict[str, Any]:
    return {
        "tables": [_table(model, table) for table in model.tables.values()],
        "vocabularies": [_vocabulary(one) for one in model.vocabularies.values()],
        "notations": list(model.notations.values()),
    }


def _row(one: Field) -> dict[str, str]:
    """One column of a table as the code book tells it."""
    return {
        "name": one.name,
        "title": one.title,
        "description": one.description,
        "kind": f"{one.type}, {one.unit}" if one.unit else one.type,
        "vocabulary": one.vocabulary or "",
        "holds": _holds(one),
        "obtained": one.obtained,
        "sensitivity": one.sensitivity,
        "terms": _terms(one),
    }


def _holds(one: Field) -> str:
    says = []
    if one.required:
        says.append("never blank")
    if one.constraints.get("unique"):
        says.append("no two alike")
    for name, word in (
        ("minimum", "at least"),
        ("exclusiveMinimum", "more than"),
        ("maximum", "at most"),
        ("exclusiveMaximum", "less than"),
        ("minLength", "characters, at least"),
        ("maxLength", "characters, at most"),
    ):
        if name in one.constraints:
            says.append(f"{word} {one.constraints[name]}")
    if one.notation:
        says.append(f"form '{one.notation}'")
    elif "pattern" in one.constraints and not one.vocabulary:
        says.append(f"pattern {one.constraints['pattern']}")
    if one.separator:
        says.append(f"several separated by '{one.separator}'")
    if one.example:
        says.append(f"for example {one.example}")
    if one.hidden:
        says.append("not asked for by this profile")
    return "; ".join(says)


def _terms(one: Field) -> str:
    terms = [one.rdf_type] if one.rdf_type else []
    terms += [f"{link['term']} ({link.get('match', 'related')})" for link in one.crosswalk]
    return " ".join(terms)


def _links(model: Model, table: Table) -> list[dict[str, str]]:
    return [
        {
            "fields": ", ".join(key.fields),
            "table": key.table,
            "title": model.tables[key.table].title if key.table in model.tables else key.table,
        }
        for key in table.foreign_keys
    ]


def _table(model: Model, table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "title": table.title,
        "description": table.description,
        "key": table.primary_key,
        "links": _links(model, table),
        "rows": [_row(one) for one in table.fields],
    }


def _attributes(attributes: Any) -> str:
    return "".join(f" ({name}: {value})" for name, value in attributes.items())


def _vocabulary(one: Vocabulary) -> dict[str, Any]:
    terms = [
        {**vars(term), "more": _attributes(term.attributes), "match": term.match or ""}
        for term in one.terms
    ]
    return {**vars(one), "source": one.source.rstrip("."), "terms": terms}
