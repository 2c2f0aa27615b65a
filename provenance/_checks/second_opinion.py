"""Asks the reference library of Table Schema (frictionless) about a package, beside our own check.

The library reads the package's own datapackage.json, schemas and tables, with nothing of this
program in between. What it says is put in the terms of our findings, in the ways that
checks/structure.py lists: columns are matched by their headings, and the same thing is said once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import polars as pl

from provenance._base.errors import UnusablePackage
from provenance._base.findings import Difference, Finding, Report, SecondOpinion
from provenance._checks.language.kinds import structure_kinds
from provenance._checks.language.wording import FOUND, shortened
from provenance._checks.structure.gathering import gather, in_order
from provenance._checks.structure.patterns import UnusablePattern, tried_in_python
from provenance._gate.documents import read_json
from provenance._gate.folders import refuse_way_out
from provenance._gate.refusal import RefusedInput
from provenance._model.profile import load_model
from provenance._model.schema import Model
from provenance._record.joined import SEALED, former_keys_in
from provenance._record.package import DESCRIPTOR, Package
from provenance._record.reading import FIRST_ROW, TableText
from provenance._record.reference_library import (
    V2_PROFILE,
    is_address,
    offline_library,
    without_fetching,
)

MOST_ERRORS = 100_000
"""Errors of one table after which the library is stopped; each takes about 2 kB of memory."""

_STOPPED = (
    "error",
    "scheme-error",
    "source-error",
    "encoding-error",
    "format-error",
    "compression-error",
)
"""What the library says when it cannot go on with a table."""
_REMEDY = (
    "The check above has nothing against it, so one of the two programs is wrong: look at the row "
    "and its schema, and report it."
)


class Said(NamedTuple):
    """One fault: table, row, field, the library's name for it, and the constraint it breaks.

    Row and field are those of a finding: 1 is the header, 0 the table as a whole.
    """

    table: str
    row: int
    field: str
    kind: str
    constraint: str = ""


@dataclass(frozen=True)
class Answers:
    """What the library said: each fault with the library's own sentence and the value.

    `stopped` are tables that it could not read to their end, `cut_short` maps those with too many
    errors to the last row that was reached, and `not_asked` says what was kept from it.
    """

    program: str
    said: Mapping[Said, tuple[str, str]]
    tables: tuple[str, ...]
    stopped: frozenset[str]
    cut_short: Mapping[str, int]
    not_asked: tuple[str, ...]


def with_second_opinion(
    package: Package,
    report: Report,
    *,
    most: int = MOST_ERRORS,
    step: Callable[[int, int], None] | None = None,
) -> Report:
    """The report with the library's verdict, and a finding for each fault that it alone named.

    `most` errors of a table are listened to; `step` is told (tables done, of how many). Raises
    UnusablePackage when datapackage.json cannot be given to the library.
    """
    descriptor, dropped = _with_patterns_that_end(package, _descriptor(package))
    answers = ask_library(package.folder, descriptor, most=most, step=step)
    answers = replace(answers, not_asked=(*dropped, *answers.not_asked))
    opinion = _compared(package, report, answers)
    alone = pl.DataFrame(
        [
            {
                "severity": "error",
                "rule": f"second_opinion.{one.rule.replace('-', '_')}",
                "table": one.table,
                "row": one.row,
                "field": one.field,
                "value": shortened(one.value),
                "message": one.message,
                "remedy": _REMEDY,
            }
            for one in opinion.library_alone
            if not one.why
        ],
        schema=FOUND,
    )
    found = report.found
    if len(alone):
        more = gather(package, package.tables.there(), alone, ()).found
        found = in_order(package.model, pl.concat([found, more])).select(found.columns)
    return replace(report, found=found, second_opinion=opinion)


# -- what is asked ---------------------------------------------------------------------------------


def _descriptor(package: Package) -> dict[str, Any]:
    """The package's descriptor with its schemas in it, as they lie on the disk."""
    descriptor = dict(package.descriptor)
    resources = descriptor.get("resources")
    if not isinstance(resources, list) or not all(isinstance(one, dict) for one in resources):
        raise UnusablePackage(
            f"{package.folder / DESCRIPTOR} has no list of resources, so there is nothing to ask "
            "about; 'treenail new --update' writes it again"
        )
    descriptor["resources"] = [
        one | {"schema": _schema(package.folder, one["schema"])}
        if isinstance(one.get("schema"), str) and not _leads_away(one["schema"])
        else one
        for one in resources
    ]
    return descriptor


def _schema(folder: Path, path: str) -> Any:
    try:
        refuse_way_out(folder, path)
        return read_json(folder / path)
    except (OSError, ValueError, RefusedInput) as error:
        raise UnusablePackage(
            f"{folder / path} cannot be read as JSON ({error}); put it back from a copy"
        ) from error


def _with_patterns_that_end(
    package: Package, descriptor: dict[str, Any]
) -> tuple[dict[str, Any], list[str]]:
    """The descriptor without patterns that would keep the library busy for ever, each named.

    The library gives a pattern to Python's own engine, whose time has no bound. Those of our own
    schemas are known to be harmless; any other is first tried over the column's values in a process
    of its own (see checks/patterns.py).
    """
    known = {one.constraints.get("pattern") for _, one in load_model("blank").every_field()}
    texts: dict[str, TableText] | None = None
    resources, dropped = [], []
    for resource in descriptor["resources"]:
        schema = resource.get("schema")
        fields = schema.get("fields") if isinstance(schema, dict) else None
        kept: list[Any] = []
        table = str(resource.get("name"))
        for one in fields if isinstance(fields, list) else ():
            constraints = one.get("constraints") if isinstance(one, dict) else None
            if not isinstance(constraints, dict):
                constraints = {}
            pattern = constraints.get("pattern")
            if isinstance(pattern, str) and pattern not in known:
                texts = package.tables.there() if texts is None else texts
                if why := _no_pattern_to_try(pattern, texts.get(table), one):
                    dropped.append(f"the pattern of {table}.{one.get('name')}: {why}")
                    rest = {key: value for key, value in constraints.items() if key != "pattern"}
                    one = {**one, "constraints": rest}
            kept.append(one)
        resources.append({**resource, "schema": {**schema, "fields": kept}} if kept else resource)
    return {**descriptor, "resources": resources}, dropped


def _no_pattern_to_try(pattern: str, text: TableText | None, one: Mapping[str, Any]) -> str:
    """Why the library is not to try a pattern, '' when it may."""
    if text is None or one.get("name") not in text.frame.columns:
        return "the values that it is for are not known here"
    try:
        tried_in_python(f"^{pattern}$", text.frame[one["name"]])
    except UnusablePattern as error:
        return str(error)
    return ""


def _leads_away(path: object) -> bool:
    """Whether a path is none that stays in the package."""
    if not isinstance(path, str) or not path:
        return True
    return is_address(path) or path.startswith(("/", "~")) or bool(re.search(r"\.\.|\\|\$|%", path))


def ask_library(
    folder: Path,
    descriptor: Mapping[str, Any],
    *,
    most: int = MOST_ERRORS,
    step: Callable[[int, int], None] | None = None,
) -> Answers:
    """What the library says about the tables that a descriptor lists, columns matched by name.

    Three runs, because the library has one way of matching at a time: the headings in the order of
    the schema, the headings in any order, and the rows.
    """
    cleaned, not_fetched = without_fetching(dict(descriptor))
    not_asked = [f"{DESCRIPTOR}: {place} was not fetched" for place in not_fetched]
    resources = []
    for one in cleaned["resources"]:
        paths = one.get("path")
        leading = [p for p in (paths if isinstance(paths, list) else [paths]) if _leads_away(p)]
        if ("data" not in one and leading) or isinstance(one.get("schema"), str):
            not_asked.append(
                f"{DESCRIPTOR}: '{one.get('name')}' lies outside the package and was not read"
            )
        else:
            resources.append(one)
    said: dict[Said, tuple[str, str]] = {}
    cut_short: dict[str, int] = {}
    names = tuple(str(one.get("name")) for one in resources)
    with offline_library() as library:
        program = f"frictionless {library.__version__}"
        asked = {**cleaned, "$schema": V2_PROFILE, "resources": resources}

        def package(how: str, lost: Collection[str] = ()) -> Any:
            matching = _matching(asked, how, names if how != "partial" else lost)
            return library.Package.from_descriptor(matching, basepath=str(folder))

        try:
            by_order, by_name, rows = package("exact"), package("equal"), package("partial")
        except library.FrictionlessException as error:
            for fault in error.to_errors():
                refused = Said(DESCRIPTOR, 0, "", fault.type, shortened(fault.note))
                said[refused] = (fault.message, "")
            return Answers(program, said, (), frozenset(names), {}, tuple(not_asked))
        errors = {}
        for done, name in enumerate(names, start=1):
            in_order = _errors(by_order, name, 1)
            # where nothing is said of the headings in their order, nothing is of their names
            if not all(hasattr(error, "row_number") for error in in_order):
                said |= _headings(name, _errors(by_name, name, 1), in_order)
            errors[name] = _errors(rows, name, None, most)
            if step:
                step(done, len(names))
        if stopped := _unread(errors):
            # the library also stops at a table that links into one that it cannot read
            unlinked = package("partial", names)
            unread = _unread({name: _errors(unlinked, name, None, most) for name in stopped})
            rows = package("partial", unread)
            errors |= {name: _errors(rows, name, None, most) for name in stopped - unread}
            stopped = unread
        for name in names:
            if name not in stopped and len(errors[name]) >= most:
                cut_short[name] = max(getattr(one, "row_number", 0) for one in errors[name])
            said |= _said_once(name, rows.get_resource(name).schema, errors[name])
    return Answers(program, said, names, frozenset(stopped), cut_short, tuple(not_asked))


def _unread(errors: Mapping[str, Sequence[Any]]) -> set[str]:
    """The tables that the library could not read to their end."""
    return {name for name, of in errors.items() if any(one.type in _STOPPED for one in of)}


def _matching(descriptor: Mapping[str, Any], how: str, lost: Collection[str]) -> dict[str, Any]:
    """The descriptor with its columns matched so, and without links into the tables `lost`."""
    resources = []
    for one in descriptor["resources"]:
        schema = one.get("schema")
        if isinstance(schema, dict):
            schema = {**schema, "fieldsMatch": how}
            links = schema.pop("foreignKeys", None)
            if isinstance(links, list):
                links = [link for link in links if _target(link, one.get("name")) not in lost]
            if links:
                schema["foreignKeys"] = links
            one = {**one, "schema": schema}
        resources.append(one)
    return {**descriptor, "resources": resources}


def _target(link: Any, own: Any) -> Any:
    reference = link.get("reference") if isinstance(link, dict) else None
    return (reference.get("resource") or own) if isinstance(reference, dict) else None


def _errors(package: Any, name: str, rows: int | None, most: int = MOST_ERRORS) -> list[Any]:
    """The library's errors about one table; a schema that makes it break down is one of them."""
    try:
        report = package.get_resource(name).validate(limit_rows=rows, limit_errors=most)
    except Exception as error:  # what a stranger's schema leads to in the library is not known
        note = f"the library broke down: {type(error).__name__} {error}"
        return [SimpleNamespace(type="error", note=note, message=note)]
    return [*report.errors, *(error for task in report.tasks for error in task.errors)]


# -- what it says, in our terms --------------------------------------------------------------------


def _headings(
    table: str, by_name: Sequence[Any], by_order: Sequence[Any]
) -> dict[Said, tuple[str, str]]:
    said = {}
    for error in by_name:
        if error.type == "missing-label":
            said[Said(table, 1, error.field_name, error.type)] = (error.message, "")
        elif error.type in ("extra-label", "duplicate-label", "blank-label"):
            # a column without a heading has a finding of its own
            kind = error.type if error.label else "blank-label"
            said[Said(table, 1, error.label, kind)] = (error.message, error.label)
    out_of_place = [one for one in by_order if one.type == "incorrect-label"]
    if out_of_place and not said:
        said[Said(table, 1, "", "incorrect-label")] = (out_of_place[0].message, "")
    return said


def _said_once(table: str, schema: Any, errors: Iterable[Any]) -> dict[Said, tuple[str, str]]:
    """The faults of rows and cells, each said once."""
    errors = [
        one for one in errors if not one.type.endswith("-label") and one.type != "unmatched-header"
    ]
    of_kind: dict[str, set[int]] = {}
    missing: dict[int, list[str]] = {}
    for error in errors:
        row = getattr(error, "row_number", 0)
        of_kind.setdefault(error.type, set()).add(row)
        if error.type == "missing-cell":
            missing.setdefault(row, []).append(error.field_name)
    key = tuple(schema.primary_key)
    required = {one.name for one in schema.fields if one.required}
    said: dict[Said, tuple[str, str]] = {}
    for error in errors:
        row, kind = getattr(error, "row_number", 0), error.type
        field = getattr(error, "field_name", "") or ""
        constraint = ""
        if kind == "constraint-error":
            match = re.match(r'constraint "(\w+)"', error.note)
            constraint = match[1] if match else error.note
            if constraint == "required" and field in missing.get(row, []):
                continue  # a cell that is not there is named once
        elif kind == "missing-cell":
            field = missing[row][0]  # the first cell that is not there stands for all of them
        elif kind == "extra-cell":
            field = ""
        elif kind == "primary-key":
            blank = error.note.startswith("cells composing")
            if row in of_kind.get("blank-row", set()):
                continue  # a blank row has no key either
            if blank and required.issuperset(key):
                continue  # each field of the key has been named as required
            constraint = "blank" if blank else "repeated"
        elif kind == "unique-error" and key == (field,):
            continue  # the key is repeated, which has been said
        elif kind == "foreign-key":
            field = error.field_names[0]
        said.setdefault(
            Said(table, row, field, kind, constraint),
            (error.message, str(getattr(error, "cell", "") or "")),
        )
    return said


# -- what our check says, in the same terms --------------------------------------------------------

_CONSTRAINTS = {
    "structure.required": "required",
    "structure.too_small": "minimum",
    "structure.too_large": "maximum",
    "structure.not_above": "exclusiveMinimum",
    "structure.not_below": "exclusiveMaximum",
    "structure.too_few_characters": "minLength",
    "structure.too_many_characters": "maxLength",
    "structure.wrong_form": "pattern",
    "structure.key_blank": "blank",
    "structure.key_repeated": "repeated",
}
_WHY_ALONE = {
    "structure.quote_open": "the library is silent about a quote that is never closed",
    "structure.header_blank": "the library passes over a blank first line",
    "structure.pattern_unusable": "the library does not say when a pattern cannot be tested",
    "structure.label_order": "beside other faults of the header the library names no order",
}
_WHY_LINE_END = "in the library a pattern passes over a line end at the end of a value"


def our_verdicts(report: Iterable[Finding], model: Model) -> dict[Said, Finding]:
    """The structure findings of a report in the library's terms; its kind '' where it has none."""
    reference = {one.id: one.reference for one in structure_kinds()}
    del reference["structure.rules_skipped"]  # says what was not asked, not what is wrong
    said: dict[Said, Finding] = {}
    for one in report:
        if one.rule not in reference:
            continue
        kind = reference[one.rule]
        row, field = one.row, one.field
        constraint = _CONSTRAINTS.get(one.rule, "")
        if one.rule == "structure.not_in_list":
            constraints = model.table(one.table).field(one.field).constraints
            constraint = "enum" if "enum" in constraints else "pattern"
        if kind in ("primary-key", "incorrect-label"):
            field = ""
        elif kind in ("extra-label", "duplicate-label"):
            field = one.value
        elif kind == "encoding-error":
            row, field = 0, ""  # the library names the table
        elif not kind:
            constraint = one.rule
        said.setdefault(Said(one.table, row, field, kind, constraint), one)
    return said


def is_line_end_alone(one: Said, finding: Finding, model: Model) -> bool:
    """Whether a value is wrong only by a line end at its end, which the library's $ passes over."""
    if one.constraint != "pattern" or not finding.value.endswith("\n"):
        return False
    pattern = model.table(one.table).field(finding.field).constraints["pattern"]
    return re.fullmatch(pattern, finding.value.removesuffix("\n")) is not None


def _leads_into(tables: Collection[str], one: Said, model: Model) -> bool:
    links = model.table(one.table).foreign_keys
    return any(one.field == link.fields[0] and link.table in tables for link in links)


def _why_alone(package: Package, one: Said) -> str:
    """Why the library names a broken link that our check does not, '' where it is not known."""
    if one.table not in SEALED or one.kind != "foreign-key":
        return ""
    tables = package.tables.with_faults()
    text = tables.column(one.table, one.field)[one.row - FIRST_ROW]
    now = former_keys_in(tables, one.table).get(one.field, {}).get(text)
    done = "the event was sealed" if one.table == "custody" else "the key was signed"
    return f"{done} when {now} was called {text}; our check knows" if now else ""


def _compared(package: Package, report: Report, answers: Answers) -> SecondOpinion:
    ours = our_verdicts(report, package.model)
    both = ours.keys() & answers.said.keys()
    headers = Counter(one.table for one in ours if one.row == 1)
    not_compared = 0
    ours_alone = []
    for one, finding in ours.items():
        if one in both:
            continue
        if (
            one.table not in answers.tables
            or (one.table in answers.stopped and one.row > 0)
            or one.row > answers.cut_short.get(one.table, one.row)
            or (one.kind == "foreign-key" and _leads_into(answers.stopped, one, package.model))
        ):
            not_compared += 1
        else:
            why = _WHY_ALONE.get(finding.rule, "")
            if finding.rule == "structure.label_order" and headers[one.table] == 1:
                why = ""
            if is_line_end_alone(one, finding, package.model):
                why = _WHY_LINE_END
            ours_alone.append(
                Difference(
                    one.table,
                    finding.row,
                    finding.field,
                    finding.rule,
                    finding.value,
                    finding.message,
                    why,
                )
            )
    library_alone = [
        Difference(
            one.table, one.row, one.field, one.kind, value, message, _why_alone(package, one)
        )
        for one, (message, value) in answers.said.items()
        if one not in both
    ]
    not_asked = list(answers.not_asked)
    not_asked += [
        f"{DESCRIPTOR} does not list the table '{name}'"
        for name in package.model.tables
        if name not in answers.tables and name not in answers.stopped
    ]
    return SecondOpinion(
        program=answers.program,
        tables=len(answers.tables),
        both=len(both),
        library_alone=tuple(library_alone),
        ours_alone=tuple(ours_alone),
        stopped=tuple(name for name in answers.tables if name in answers.stopped),
        cut_short=dict(answers.cut_short),
        not_compared=not_compared,
        not_asked=tuple(not_asked),
    )
