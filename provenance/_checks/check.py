"""Checks a package: its structure, then the rules of the trade, in one report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import polars as pl

from provenance._base.errors import TreenailError, UnusablePackage
from provenance._base.findings import Report
from provenance._base.progress import Progress
from provenance._checks.language.kinds import structure_kinds
from provenance._checks.language.profiles import without_unasked
from provenance._checks.language.rule import EVERY_TABLE, Rule
from provenance._checks.language.wording import FOUND, clipped, found_in_rows, sentence
from provenance._checks.structure.gathering import ORIGIN_TABLES, gather
from provenance._checks.structure.structure import find_in_structure
from provenance._model.schema import Model, Table
from provenance._record.package import Package
from provenance._record.reading import FIRST_ROW, TableText
from provenance._record.snapshot import MissingTable, Snapshot, snapshot_of_folder
from provenance._record.tables import ROW, is_blank


class RuleFailed(TreenailError):
    """A rule broke down: a fault of the program, not of the record.

    `failed` maps the ids of the rules to what happened; `report` has the findings of all others.
    """

    def __init__(self, failed: Mapping[str, Exception], report: Report) -> None:
        self.failed = dict(failed)
        self.report = report
        said = "; ".join(f"{id}: {type(why).__name__} {why}" for id, why in failed.items())
        super().__init__(
            f"these rules broke down, which is a fault of this program, please report it: {said}; "
            f"what the other rules found is not lost ({len(report)} findings)"
        )


def check_package(
    package: Package,
    *,
    rules: Sequence[Rule] | None = None,
    progress: Progress | None = None,
) -> Report:
    """Check the structure of every table, then every trade rule.

    `rules` defaults to all there are. `progress` is called with (done, total). Rules that need a
    table whose file is missing are skipped, and a finding says which. Raises UnusablePackage when a
    schema asks for what Table Schema does not know, and RuleFailed, with the report of all others,
    when rules break down.
    """
    if rules is None:
        from provenance._checks.registry import package_rules

        rules = package_rules()
    model = package.model
    step = _counted(progress, total=2 * len(model.tables) + len(rules))
    # cells of a large record would fill the memory if they outlived the check
    own = package.held is None
    tables = (package.held or snapshot_of_folder(package.folder, model)).with_faults()
    let_stand = _let_stand(tables)
    texts = {}
    for name, text in tables.each():
        if text is not None:
            texts[name] = text
        step()
    parts = [FOUND.to_frame(), *find_in_structure(model, texts, step)]
    skipped: dict[str, str] = {}
    failed: dict[str, Exception] = {}
    # where a table is missing every rule is asked, so that those which need it are named
    whole = len(texts) == len(model.tables)
    idle = {name for name, text in texts.items() if whole and not len(text)}

    # a seal covers what is written, which goes when it is typed
    for one in rules:
        if one.on_disk:
            parts += _answers(one, texts, tables, skipped, failed)
            step()
    for name, text in texts.items():
        texts[name] = _without_typed_texts(text, tables[name])
        if own:
            tables.let_go(name)
    # rules about one table share their joins, which the next may not need; small ones are kept
    large = sum(map(len, texts.values())) > _LARGE
    for table in sorted({one.table for one in rules}):
        for one in rules:
            if one.table == table and not one.on_disk:
                if table not in idle:
                    parts += _answers(one, texts, tables, skipped, failed)
                step()
        if large:
            tables.let_go_unwanted()
    keys = {name: _with_keys(model.table(name), text, tables[name]) for name, text in texts.items()}
    # the cells have been asked everything; very many findings need the room
    del tables, texts
    parts += _about_skipped(
        {
            one.id: skipped[one.id]
            for one in rules
            # of a table that older schemas lack there is nothing to ask
            if one.id in skipped and (one.table in package.model.tables or one.table == EVERY_TABLE)
        },
        package,
    )
    ran = [one.id for one in structure_kinds()]
    ran += [one.id for one in rules if one.id not in skipped]
    report = _without_accepted(gather(package, keys, pl.concat(parts), ran), let_stand)
    if failed:
        failed = {one.id: failed[one.id] for one in rules if one.id in failed}
        raise RuleFailed(failed, report) from next(iter(failed.values()))
    return report


_LARGE = 100_000
"""Rows of a record beyond which memory is worth more than the time to join tables once more."""
_SAID = ("rule", "table", "key", "field", "message")


def _let_stand(tables: Snapshot) -> pl.DataFrame | None:
    """What somebody lets stand, and why; None where there is nothing of the kind."""
    text = tables.written("accepted") if "accepted" in tables.model.tables else None
    if text is None or text.trouble or not len(text.frame):
        return None
    frame = text.frame.rename({"table_name": "table", "row_key": "key"}, strict=False)
    if missing := {*_SAID, "why", "who", "when"} - set(frame.columns):
        raise UnusablePackage(f"{tables.where}/tables/accepted.csv lacks {', '.join(missing)}")
    return frame.select(*_SAID, "why", "who", "when").unique(_SAID, keep="last")


def without_accepted(tables: Snapshot, report: Report) -> Report:
    """The report with what somebody lets stand set aside; raises UnusablePackage."""
    return _without_accepted(report, _let_stand(tables))


def _without_accepted(report: Report, let_stand: pl.DataFrame | None) -> Report:
    """The report with what somebody lets stand set aside, as long as the check says just that."""
    if let_stand is None:
        return report
    marked = report.found.with_row_index("place").join(let_stand, on=_SAID, how="left")
    marked = marked.sort("place").drop("place")
    stands = pl.col("why").is_not_null()
    return replace(
        report,
        found=marked.filter(~stands).select(report.found.columns),
        accepted=marked.filter(stands),
    )


def _counted(progress: Progress | None, total: int) -> Callable[[], None]:
    done = 0

    def step() -> None:
        nonlocal done
        done += 1
        if progress:
            progress(min(done, total), total)

    return step


def _without_withheld(rule: Rule, found: pl.DataFrame, model: Model) -> pl.DataFrame:
    """What was found, but for fields that this edition withholds: their blank cells say nothing."""
    if not len(found):
        return found
    withheld = [(table.name, one.name) for table, one in model.every_field() if one.withheld]
    if not withheld:
        return found
    table = pl.col("table") if rule.table == EVERY_TABLE else pl.lit(rule.table)
    field = pl.col("field") if "field" in found.columns else pl.lit(rule.field)
    places = [f"{name}.{column}" for name, column in withheld]
    return found.filter(~pl.format("{}.{}", table, field).is_in(places))


def _without_typed_texts(text: TableText, typed: pl.DataFrame) -> TableText:
    """A table without the cells that the typed frame has as they are written, or as null for ''.

    A large record's cells would fill the memory if they were held twice.
    """
    if not len(text):
        return text
    numbers = [name for name, kind in typed.schema.items() if kind != pl.String() and name != ROW]
    told = {name for name in numbers if name in text.frame and is_blank(text.frame[name])}
    told.update(name for name, kind in typed.schema.items() if kind == pl.String())
    kept = [name for name in text.frame.columns if name not in told]
    return replace(text, frame=text.frame[kept])


def _answers(
    one: Rule,
    texts: Mapping[str, TableText],
    tables: Snapshot,
    skipped: dict[str, str],
    failed: dict[str, Exception],
) -> list[pl.DataFrame]:
    """What a rule finds; notes the table that it misses, or how it broke down."""
    try:
        found = _without_withheld(one, one.find(tables), tables.model)
        found = without_unasked(one, found, tables)
        return list(_said(one, found, texts, tables))
    except MissingTable as missing:
        skipped[one.id] = missing.table
    except Exception as error:
        # raised by the caller, when the others have had their say
        failed[one.id] = error
    return []


def _with_keys(table: Table, text: TableText, typed: pl.DataFrame) -> TableText:
    """A table of `_without_typed_texts` with nothing but what keys and origins are looked up in."""
    if not len(text):
        return text
    wanted = text.labels if table.name in ORIGIN_TABLES else table.primary_key
    columns = [
        text.frame[name] if name in text.frame else typed[name].cast(pl.String).fill_null("")
        for name in dict.fromkeys((ROW, *wanted))
        if name in text.frame or (name in text.labels and name in typed)
    ]
    return replace(text, frame=pl.DataFrame(columns))


def _said(
    rule: Rule,
    found: pl.DataFrame,
    texts: Mapping[str, TableText],
    tables: Snapshot,
) -> Iterator[pl.DataFrame]:
    """The findings of one rule in words, each with the text of the field that it points at."""
    if not len(found):
        return
    columns = found.columns
    said = found.select(
        severity=pl.lit(rule.severity),
        rule=pl.lit(rule.id),
        table=pl.col("table") if rule.table == EVERY_TABLE else pl.lit(rule.table),
        row=pl.col(ROW).cast(pl.UInt32),
        field=pl.col("field") if "field" in columns else pl.lit(rule.field),
        value=pl.lit(""),
        message=sentence(rule.says, columns, tables.model),
        remedy=sentence(rule.remedy, columns, tables.model),
    )
    if said.select(pl.col("table", ROW).is_null().any()).row(0) != (False, False):
        raise ValueError("a finding has no table or no row")
    for (table, field), part in said.group_by("table", "field", maintain_order=True):
        text = texts[str(table)].frame
        if str(field) not in text.columns:
            text = tables[str(table)]
        if str(field) in text.columns:
            places = part[ROW].cast(pl.Int64) - FIRST_ROW
            # row 0 is the table as a whole, which has no cell to show
            places = places.set(places < 0, None)
            values = text[str(field)].gather(places).cast(pl.String).fill_null("")
            part = part.with_columns(value=values).with_columns(clipped(pl.col("value")))
        yield part.select(FOUND.names())


def _about_skipped(skipped: Mapping[str, str], package: Package) -> Iterator[pl.DataFrame]:
    """A loud word about rules that could not be asked, for want of the table that each maps to."""
    for name in dict.fromkeys(skipped.values()):
        ids = [id for id, missing in skipped.items() if missing == name]
        nowhere = pl.DataFrame({ROW: [0], "value": [""]})
        words = {"count": str(len(ids)), "ids": ", ".join(ids)}
        # a package of an earlier version may know nothing of the table at all
        table = package.model.tables.get(name) or Table(name, name, "", "", 0, {}, (), ())
        yield found_in_rows("rules_skipped", table, nowhere, **words)
