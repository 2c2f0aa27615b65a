"""Writes the code book of a model: every table, column, code and written form, with sources."""

from __future__ import annotations

from typing import Any

from provenance._base.page_templates import page_templates
from provenance._base.visible import visible
from provenance._model.schema import Field, Model, Table, Vocabulary


def code_book_html(model: Model, record_title: str) -> str:
    """The code book as one page that needs nothing else."""
    return (
        page_templates("bundle")
        .get_template("codebook.html")
        .render(
            title=f"Code book: {record_title}",
            record_title=record_title,
            model=model,
            tables=[_table(model, table) for table in model.tables.values()],
            vocabularies=[_vocabulary(one) for one in model.vocabularies.values()],
            notations=list(model.notations.values()),
        )
    )


def code_book_markdown(model: Model, record_title: str) -> str:
    """The code book as Markdown, which reads well in a plain text editor too."""
    lines = [
        f"# Code book: {_plain(record_title)}",
        "",
        _plain(model.description),
        "",
        f"Profile: {_plain(model.title)} ({model.profile}). Tables version {model.version}.",
        "",
        "Every table is a text file in `tables/`: UTF-8, one row a line, cells parted by commas,",
        "the first line names the columns. A blank cell means: not recorded.",
    ]
    for table in model.tables.values():
        lines += _table_lines(model, table)
    lines += ["", "# Lists of codes"]
    for vocabulary in model.vocabularies.values():
        lines += _vocabulary_lines(vocabulary)
    lines += [
        "",
        "# Written forms",
        "",
        "| form | meaning | example | source |",
        "|---|---|---|---|",
    ]
    lines += [
        _line(f"`{one.name}`", one.title, f"`{one.example}`", one.source)
        for one in model.notations.values()
    ]
    return "\n".join(lines) + "\n"


# -- the same facts for both ---------------------------------------------------------------------


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
        says.append(f"several parted by '{one.separator}'")
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


# -- Markdown ------------------------------------------------------------------------------------


def _plain(text: str) -> str:
    """A text on one line in which Markdown and HTML have no power."""
    flat = " ".join(visible(text).split())
    for mark in ("\\", "|", "<", ">", "[", "]", "*", "_", "#", "&"):
        flat = flat.replace(mark, f"\\{mark}")
    return flat


def _line(*cells: str) -> str:
    shown = (c.replace("|", "\\|") if c.startswith("`") else _plain(c) for c in cells)
    return f"| {' | '.join(shown)} |"


def _table_lines(model: Model, table: Table) -> list[str]:
    keys = ", ".join(f"`{name}`" for name in table.primary_key)
    lines = [
        "",
        f"## {_plain(table.title)} (`tables/{table.name}.csv`)",
        "",
        _plain(table.description),
        "",
        f"Key: {keys}.",
    ]
    lines += [
        f"`{link['fields']}` names a row of `tables/{link['table']}.csv`."
        for link in _links(model, table)
    ]
    lines += [
        "",
        "| column | meaning | kind, unit | may hold | how obtained | sensitivity | open terms |",
        "|---|---|---|---|---|---|---|",
    ]
    for one in table.fields:
        row = _row(one)
        codes = f"codes of '{one.vocabulary}'" if one.vocabulary else ""
        held = "; ".join(part for part in (codes, row["holds"]) if part)
        said = f"{one.title}: {one.description}"
        how = (one.obtained, one.sensitivity, row["terms"])
        lines.append(_line(f"`{one.name}`", said, row["kind"], held, *how))
    return lines


def _vocabulary_lines(vocabulary: Vocabulary) -> list[str]:
    lines = [
        "",
        f"## {_plain(vocabulary.title)} (`{vocabulary.name}`)",
        "",
        f"{_plain(vocabulary.description)} Source: {_plain(vocabulary.source.rstrip('.'))}.",
        "",
        "| code | label | definition | source | same as |",
        "|---|---|---|---|---|",
    ]
    lines += [
        _line(
            f"`{term.code}`",
            term.label,
            term.definition + _attributes(term.attributes),
            term.source,
            term.match or "",
        )
        for term in vocabulary.terms
    ]
    return lines
