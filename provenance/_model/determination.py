"""Carries what a laboratory says of a sample between its notation and the columns of a result."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from provenance._model.notation import DateNotation, YearMark
from provenance._model.schema import Vocabulary

WITH_YEARS = ("dated", "tentative")
"""Outcomes that come with years."""


@dataclass(frozen=True)
class SapwoodEstimate:
    """Fewest and most rings of sapwood that such wood has, by a published source.

    `percent` is the probability that the number lies between them.
    """

    least: int | None
    most: int | None
    source: str
    percent: float | None = None


def notation_of(row: Mapping[str, Any], symbols: Vocabulary) -> DateNotation:
    """What the coded columns of a row of `lab_result` say; texts or numbers, columns may lack.

    A cell that is no number counts as blank: the check names it.
    """
    marks = {}
    for side in ("inner", "outer"):
        signs = tuple(one.strip() for one in _text(row, f"{side}_symbol").split(";") if one.strip())
        year = _whole(row, f"{side}_year")
        marks[side] = YearMark(year, signs) if signs or year is not None else None
    felled = (_whole(row, "felled_from_year"), _whole(row, "felled_to_year"))
    undated = _text(row, "outcome") == "undated"
    return DateNotation(
        inner=marks["inner"],
        outer=marks["outer"],
        heartwood_year=_whole(row, "heartwood_year"),
        sapwood_count=_whole(row, "sapwood_count"),
        felled=None if felled == (None, None) else felled,
        season=_text(row, "felling_season") or None,
        percent=_number(row, "estimate_percent"),
        source=_text(row, "estimate_source") or None,
        undated=undated,
        undated_reason=(_text(row, "undated_reason") or None) if undated else None,
    )


def estimate_of(row: Mapping[str, Any]) -> SapwoodEstimate | None:
    """The estimate of sapwood that a person entered with its source; None without one."""
    least, most = _whole(row, "sapwood_least"), _whole(row, "sapwood_most")
    source = _text(row, "estimate_source")
    if not source or (least is None and most is None):
        return None
    return SapwoodEstimate(least, most, source, _number(row, "estimate_percent"))


def columns_of(said: DateNotation) -> dict[str, str]:
    """What a notation says, column by column as texts; only what it does say."""
    found: dict[str, str] = {}
    if said.undated:
        found["outcome"] = "undated"
        if said.undated_reason:
            found["undated_reason"] = said.undated_reason
    years: dict[str, int | float | None] = {
        "heartwood_year": said.heartwood_year,
        "sapwood_count": said.sapwood_count,
        "estimate_percent": said.percent,
    }
    if said.felled is not None:
        years |= dict(zip(("felled_from_year", "felled_to_year"), said.felled, strict=True))
        found["outcome"] = "dated"
    for side, mark in (("inner", said.inner), ("outer", said.outer)):
        if mark is not None and mark.year is not None:
            found["outcome"] = "dated"
            years[f"{side}_year"] = mark.year
        if mark is not None and mark.symbols:
            found[f"{side}_symbol"] = ";".join(mark.symbols)
    found |= {name: f"{value:.10g}" for name, value in years.items() if value is not None}
    if said.season:
        found["felling_season"] = said.season
    if said.source:
        found["estimate_source"] = said.source
    return found


def differences(said: DateNotation, row: Mapping[str, Any]) -> Iterator[tuple[str, str, str]]:
    """(column, what the notation says, what the column says) wherever the two differ.

    A blank column differs from nothing. 'tentative' is as good as 'dated'.
    """
    for name, value in columns_of(said).items():
        there = _text(row, name)
        if not there:
            continue
        if name == "outcome":
            if (value == "undated") != (there not in WITH_YEARS):
                yield name, value, there
        elif _as_compared(name, there) != _as_compared(name, value):
            yield name, value, there


def _as_compared(name: str, text: str) -> object:
    if name.endswith("_symbol"):
        return frozenset(one.strip() for one in text.split(";"))
    if name == "estimate_source":
        return " ".join(text.split())
    try:
        return float(text)
    except ValueError:
        return text


def _text(row: Mapping[str, Any], name: str) -> str:
    value = row.get(name)
    return "" if value is None else str(value).strip()


def _whole(row: Mapping[str, Any], name: str) -> int | None:
    number = _number(row, name)
    return int(number) if number is not None and number.is_integer() else None


def _number(row: Mapping[str, Any], name: str) -> float | None:
    try:
        return float(_text(row, name))
    except ValueError:
        return None
