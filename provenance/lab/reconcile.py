"""Compares what came back from the laboratory with what was sent and what the field saw.

The single comparisons (rings against length, species, surfaces, two samples of one wood …) are the
trade rules of the check, subject 'result'; here they are put sample by sample beside the parcel, as
a list that a person works through and signs off.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from provenance.derive.dating import live_results, split_codes
from provenance.errors import TreenailError
from provenance.findings import Finding
from provenance.frames import row_tuples
from provenance.holdings import (
    Event,
    events_of,
    samples_in_parcel,
)
from provenance.lab.notation import DateNotation, YearMark, write_notation
from provenance.resources import shipped

if TYPE_CHECKING:
    import pandas as pd

    from provenance.package import Package
    from provenance.schema import Model

__all__ = ["LINE_COLUMNS", "Reconciliation", "reconcile_results", "reconciliation_html"]

LINE_COLUMNS = (
    "sample_id",
    "element_id",
    "sent",
    "arrived",
    "outcome",
    "dates",
    "rings",
    "species_field",
    "species",
    "points",
)
SUBJECTS = ("result", "parcel")


@dataclass(frozen=True)
class Reconciliation:
    """One line a sample (columns LINE_COLUMNS) and the points to be settled.

    `points` in a line counts its findings of severity error and warning.
    """

    consignment_id: str
    lines: pd.DataFrame
    findings: tuple[Finding, ...]

    @property
    def settled(self) -> bool:
        """True when nothing is left to work through (notes do not count)."""
        return not any(one.severity in ("error", "warning") for one in self.findings)


def reconcile_results(package: Package, consignment_id: str = "") -> Reconciliation:
    """Reconcile the results of one parcel, or of the whole package when none is named.

    Raises TreenailError for an unknown parcel.
    """
    import pandas as pd

    known = list(package.table("consignment")["consignment_id"])
    if consignment_id and consignment_id not in known:
        raise TreenailError(
            f"there is no consignment '{consignment_id}'; there are {', '.join(known) or 'none'}"
        )
    results = live_results(package)
    events = events_of(package.table("custody"))
    if consignment_id:
        sent = samples_in_parcel(events, consignment_id)
        # a result may name the parcel or only a sample of it
        of_parcel = results["consignment_id"].eq(consignment_id) | results["sample_id"].isin(sent)
        results = results[of_parcel.fillna(False)]
    else:
        sent = [one.sample_id for one in events if one.consignment_id in known]
    sent = list(dict.fromkeys(sent))
    findings = [*_missing_and_extra(results, sent, consignment_id), *_found(package, results)]
    counts = _points_by_sample(findings, results)
    arrived = _arrivals(events)
    samples = list(dict.fromkeys([*sent, *results["sample_id"]]))
    best = results.drop_duplicates("sample_id", keep="last").set_index("sample_id")
    field = package.table("sample").drop_duplicates("sample_id").set_index("sample_id")
    lines = pd.DataFrame({"sample_id": samples})
    lines["element_id"] = lines["sample_id"].map(field["element_id"]).fillna("")
    lines["sent"] = lines["sample_id"].isin(sent).map({True: "yes", False: "no"})
    lines["arrived"] = lines["sample_id"].map(arrived).fillna("")
    lines["outcome"] = lines["sample_id"].map(best["outcome"]).fillna("")
    ends = best[["inner_year", "inner_symbol", "outer_year", "outer_symbol"]]
    dates = dict(zip(best.index, map(dates_of, ends.to_numpy(dtype=object).tolist()), strict=True))
    lines["dates"] = lines["sample_id"].map(dates).fillna("")
    lines["rings"] = lines["sample_id"].map(best["ring_count"])
    lines["species_field"] = lines["sample_id"].map(field["species_field"]).fillna("")
    lines["species"] = lines["sample_id"].map(best["species"]).fillna("")
    lines["points"] = lines["sample_id"].map(counts).fillna(0).astype(int)
    return Reconciliation(consignment_id, lines[list(LINE_COLUMNS)], tuple(findings))


def dates_of(ends: Sequence[Any]) -> str:
    """Inside year, its symbols, outside year, its symbols in this project's notation, or ''."""
    marks = []
    for year, symbols in (ends[:2], ends[2:]):
        number = None if _blank(year) else int(year)
        signs = split_codes(symbols)
        marks.append(YearMark(number, signs) if number is not None or signs else None)
    if marks == [None, None]:
        return ""
    return write_notation(DateNotation(inner=marks[0], outer=marks[1]))


def _blank(value: Any) -> bool:
    import pandas as pd

    return value is None or bool(pd.isna(value))


def _missing_and_extra(
    results: pd.DataFrame, sent: list[str], consignment_id: str
) -> Iterable[Finding]:
    answered, was_sent = set(results["sample_id"]), set(sent)
    for sample in sent:
        if sample not in answered:
            yield Finding(
                "warning",
                "reconcile.no_result",
                "sample",
                0,
                sample,
                "sample_id",
                sample,
                f"Sample {sample} was sent, and there is no result for it.",
                "Ask the laboratory; if it was lost or not examined, let them say so.",
            )
    rows = zip(results.index, results["result_id"], results["sample_id"], strict=True)
    for row, result_id, sample in rows:
        if sample not in was_sent:
            parcel = consignment_id or "any parcel"
            yield Finding(
                "warning",
                "reconcile.not_sent",
                "lab_result",
                int(row),
                str(result_id),
                "sample_id",
                str(sample),
                f"There is a result for sample {sample}, which was not in {parcel}.",
                "The number may be misread; compare lengths and rings, and ask the laboratory.",
            )


def _found(package: Package, results: pd.DataFrame) -> list[Finding]:
    """What the check finds about these results and their samples."""
    from provenance.checks.check import check_package
    from provenance.checks.registry import all_rules

    rules = [rule for rule in all_rules() if rule.subject in SUBJECTS]
    report = check_package(package, rules=rules)
    codes = set(results["result_id"])
    frame = report.frame
    mine = (frame["table"] == "lab_result") & frame["key"].isin(codes)
    names = [str(name) for name in frame.columns]
    return [
        Finding(**dict(zip(names, values, strict=True)))
        for values in row_tuples(frame[mine], names)
    ]


def _points_by_sample(findings: Iterable[Finding], results: pd.DataFrame) -> dict[str, int]:
    sample_of = dict(zip(results["result_id"], results["sample_id"], strict=True))
    counts: dict[str, int] = {}
    for one in findings:
        if one.severity in ("error", "warning"):
            sample = sample_of.get(one.key, one.key)
            counts[sample] = counts.get(sample, 0) + 1
    return counts


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
