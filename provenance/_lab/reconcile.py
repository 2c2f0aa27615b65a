"""Compares what came back from the laboratory with what was sent and what the field saw.

The single comparisons (rings against length, species, surfaces, two samples of one wood …) are the
trade rules of the check, subject 'result'; here they are put sample by sample beside the parcel, as
a list that a person works through and signs off.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from provenance._base.errors import TreenailError
from provenance._base.findings import Report
from provenance._base.resources import shipped
from provenance._ledger.holdings import Event, events_of, samples_in_parcel
from provenance._model.determination import notation_of
from provenance._model.felling import felling_in_words
from provenance._model.notation import write_notation
from provenance._model.schema import Model
from provenance._record.joined import standing_results
from provenance._record.package import Package
from provenance._record.tables import ROW

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

LINE_COLUMNS = (
    "sample_id", "element_id", "sent", "arrived", "outcome", "dates", "felled", "rings",
    "species_field", "species", "points",
)  # fmt: skip
SUBJECTS = ("result", "parcel")
NO_RESULT, NOT_SENT = "reconcile.no_result", "reconcile.not_sent"
"""What only a comparison with a parcel says, and can be accepted as findings of the check can."""


@dataclass(frozen=True)
class Reconciliation:
    """One line a sample (columns LINE_COLUMNS) and the points to be settled.

    `points` in a line counts its findings of severity error and warning.
    """

    consignment_id: str
    lines: pd.DataFrame
    findings: Report

    @property
    def settled(self) -> bool:
        """True when nothing is left to work through (notes do not count)."""
        return self.findings.clean


def reconcile_results(package: Package, consignment_id: str = "") -> Reconciliation:
    """Reconcile the results of one parcel, or of the whole package when none is named.

    Raises TreenailError for an unknown parcel.
    """
    known = package.tables.column("consignment", "consignment_id")
    if consignment_id and consignment_id not in known:
        raise TreenailError(
            f"there is no consignment '{consignment_id}'; there are {', '.join(known) or 'none'}"
        )
    results = standing_results(package.tables)
    events = events_of(package.tables)
    if consignment_id:
        sent = dict.fromkeys(samples_in_parcel(events, consignment_id))
        # a result may name the parcel or only a sample of it
        named = results.select("consignment_id", "sample_id").iter_rows()
        mine = [parcel == consignment_id or sample in sent for parcel, sample in named]
        results = results.filter(mine)
    else:
        parcels = set(known)
        sent = dict.fromkeys(one.sample_id for one in events if one.consignment_id in parcels)
    sample_of = dict(results.select("result_id", "sample_id").iter_rows())
    found = _found(package, results, sent, consignment_id)
    lines = _lines(package, results, sent)
    lines["arrived"] = _looked_up(lines["sample_id"], _arrivals(events), "")
    lines["points"] = _looked_up(lines["sample_id"], _points_by_sample(found.found, sample_of), 0)
    return Reconciliation(consignment_id, lines[list(LINE_COLUMNS)], found)


def _lines(package: Package, results: pl.DataFrame, sent: Mapping[str, None]) -> pd.DataFrame:
    """One line a sample that was sent or has a result, without what was received and is open."""
    import pandas as pd

    field: dict[str, tuple[str, str]] = {}
    names = ("sample_id", "element_id", "species_field")
    for sample, element, species in package.tables.tuples("sample", names):
        field.setdefault(sample, (element, species))
    # of several results that stand the last row counts
    rows = results.iter_rows(named=True)
    best = {row["sample_id"]: row for row in rows if row["sample_id"] is not None}
    samples = list(dict.fromkeys([*sent, *best]))
    seen = [field.get(sample, ("", "")) for sample in samples]
    said = [best.get(sample, {}) for sample in samples]
    lists = package.model.vocabularies
    symbols, seasons = lists["result_symbol"], lists.get("felling_season")
    dates = [replace(notation_of(one, symbols), undated=False) for one in said]

    def texts(values: Iterable[Any]) -> pd.Series:
        return pd.Series([one if isinstance(one, str) else "" for one in values], dtype=str)

    return pd.DataFrame(
        {
            "sample_id": texts(samples),
            "element_id": texts(element for element, _ in seen),
            "species_field": texts(species for _, species in seen),
            "sent": texts("yes" if sample in sent else "no" for sample in samples),
            "outcome": texts(one.get("outcome") for one in said),
            "species": texts(one.get("species") for one in said),
            "rings": pd.Series([one.get("ring_count") for one in said], dtype="Int64"),
            "dates": texts(write_notation(one, symbols, seasons=seasons) for one in dates),
            "felled": texts(felling_in_words(one, package.model) for one in said),
        }
    )


def _looked_up(samples: pd.Series, known: Mapping[str, Any], default: Any) -> list[Any]:
    return [known.get(sample, default) for sample in samples.tolist()]


def _found(
    package: Package, results: pl.DataFrame, sent: Mapping[str, None], consignment_id: str
) -> Report:
    """What is missing and extra, and what the check finds about these results."""
    import polars as pl

    from provenance._checks.check import check_package, let_stand, without_accepted
    from provenance._checks.registry import all_rules

    rules = [rule for rule in all_rules() if rule.subject in SUBJECTS]
    report = check_package(package, rules=rules)
    codes = pl.DataFrame({"key": results["result_id"].drop_nulls()}, {"key": pl.String}).unique()

    def of_these(found: pl.DataFrame) -> pl.DataFrame:
        of_results = found.filter(pl.col("table") == "lab_result")
        return of_results.join(codes, on="key", how="semi", maintain_order="left")

    columns = report.found.columns
    compared = [_missing(results, sent), _extra(results, sent, consignment_id)]
    own = replace(report, found=pl.concat([one.select(columns) for one in compared]), accepted=None)
    own = without_accepted(own, let_stand(package.tables))
    accepted = [of_these(report.accepted)] if report.accepted is not None else []
    accepted += [own.accepted] if own.accepted is not None else []
    return Report(
        package=package.name,
        found=pl.concat([own.found, of_these(report.found)]),
        rows_checked=report.rows_checked,
        rules_run=(NO_RESULT, NOT_SENT, *report.rules_run),
        accepted=pl.concat(accepted, how="diagonal") if accepted else None,
    )


def _missing(results: pl.DataFrame, sent: Mapping[str, None]) -> pl.DataFrame:
    import polars as pl

    answered = set(results["sample_id"])
    return _warnings(
        [(0, sample, sample) for sample in sent if sample not in answered],
        NO_RESULT,
        "sample",
        pl.format("Sample {} was sent, and there is no result for it.", "key"),
        "Ask the laboratory; if it was lost or not examined, let them say so.",
    )


def _extra(results: pl.DataFrame, sent: Mapping[str, None], consignment_id: str) -> pl.DataFrame:
    import polars as pl

    named = results.select(ROW, "result_id", "sample_id").iter_rows()
    parcel = pl.lit(consignment_id or "any parcel")
    return _warnings(
        [(row, str(one), sample) for row, one, sample in named if sample and sample not in sent],
        NOT_SENT,
        "lab_result",
        pl.format("There is a result for sample {}, which was not in {}.", "value", parcel),
        "The number may be misread; compare lengths and rings, and ask the laboratory.",
    )


def _warnings(
    rows: list[tuple[int, str, str]], rule: str, table: str, message: pl.Expr, remedy: str
) -> pl.DataFrame:
    """Findings about samples; `rows` are (row, key, value)."""
    import polars as pl

    schema = {"row": pl.Int64(), "key": pl.String(), "value": pl.String()}
    return pl.DataFrame(rows, schema, orient="row").with_columns(
        severity=pl.lit("warning"),
        rule=pl.lit(rule),
        table=pl.lit(table),
        field=pl.lit("sample_id"),
        message=message,
        remedy=pl.lit(remedy),
        origin=pl.lit(""),
    )


def _points_by_sample(found: pl.DataFrame, sample_of: Mapping[Any, Any]) -> dict[str, int]:
    import polars as pl

    # a result's number may be some sample's number, too
    named = [
        (number, sample if isinstance(sample, str) else "")
        for number, sample in sample_of.items()
        if isinstance(number, str)
    ]
    schema = {"key": pl.String, "sample": pl.String}
    numbers = pl.DataFrame(named, schema, orient="row").with_columns(table=pl.lit("lab_result"))
    counts = (
        found.filter(pl.col("severity").is_in(["error", "warning"]))
        .join(numbers, on=("table", "key"), how="left")
        .group_by(pl.coalesce("sample", "key").alias("sample"))
        .len()
    )
    return dict(counts.iter_rows())


def _arrivals(events: Iterable[Event]) -> dict[str, str]:
    """Sample → the state in which it was last received."""
    return {
        event.sample_id: event.state or "present" for event in events if event.event == "received"
    }


def reconciliation_html(model: Model, title: str, reconciled: Reconciliation) -> str:
    """The list to work through and sign off, as one page to print; no scripts."""
    import jinja2

    folder = shipped("templates") / "lab"
    templates = jinja2.Environment(
        loader=jinja2.FileSystemLoader(folder), autoescape=True, undefined=jinja2.StrictUndefined
    )
    lines = [
        row | {"rings": "" if str(row["rings"]) in ("<NA>", "nan", "None") else row["rings"]}
        for row in reconciled.lines.to_dict("records")
    ]
    return templates.get_template("reconciliation.html").render(
        title=title,
        reconciled=reconciled,
        lines=lines,
        states=model.vocabularies["sample_state"],
        outcomes=model.vocabularies["result_outcome"],
    )
