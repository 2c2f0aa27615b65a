"""Says in plain sentences how many trees stand behind recorded wood, and what that rests on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import polars as pl

from provenance._model.notation import write_year
from provenance._record.assumptions import Assumption, assumptions_of
from provenance._record.package import Package
from provenance._record.snapshot import Snapshot

STEMS = (
    "Counted are stems of recorded wood: a forked or coppiced tree counts once for each stem. "
    "Species are those that the laboratory or the field recorded."
)
"""What holds for every count; said once, where several stand together."""

_Row = Mapping[str, Any]


def trees_in_words(
    package: Package,
    tables: Mapping[str, pl.DataFrame] | Snapshot,
    *,
    place_id: str = "",
    phase_id: str = "",
    missing: bool = True,
) -> list[str]:
    """Sentences about the trees of the whole record, of a building, or of a phase of one.

    `tables` holds tree_bound and tree_bound_piece as derived or as read from the package; [] where
    they count nothing for that wood. With `missing` they end with what is missing for more.
    """
    if "tree_bound" not in package.model.tables:
        return []
    found = tables["tree_bound"].filter(
        pl.col("place_id").fill_null("") == place_id, pl.col("phase_id").fill_null("") == phase_id
    )
    rows: dict[str, dict[str, _Row]] = {}
    for row in found.iter_rows(named=True):
        rows.setdefault(row["species"] or "", {})[row["bound"]] = row
    if "" not in rows:
        return []
    words = _Words(package, tables, place_id)
    return [*words.sentences(rows), *(words.missing(rows) if missing else ())]


def trees_by_place(
    package: Package, tables: Mapping[str, pl.DataFrame] | Snapshot
) -> Iterator[tuple[str, list[str]]]:
    """What `trees_in_words` says, under a title, of the whole record, each building and phase.

    What is missing is said once, of the whole record.
    """
    if "tree_bound" not in package.model.tables:
        return
    names = {row["place_id"]: row["name"] for row in package.tables.rows("place")}
    scopes = tables["tree_bound"].select(
        pl.col("place_id").fill_null(""), pl.col("phase_id").fill_null("")
    )
    for place, phase in scopes.unique(maintain_order=True).iter_rows():
        title = ", ".join(filter(None, (place, names.get(place, ""), phase and f"phase {phase}")))
        found = trees_in_words(package, tables, place_id=place, phase_id=phase, missing=not place)
        yield title or "The whole record", found


class _Words:
    """What the sentences of one place need to name codes and sources."""

    def __init__(
        self, package: Package, tables: Mapping[str, pl.DataFrame] | Snapshot, place_id: str
    ) -> None:
        self._species = package.model.vocabularies["species"]
        self._reasons = package.model.vocabularies["bound_reason"]
        self._assumed = assumptions_of(package.tables)
        self._sources = {row.assumption_id: row for row in self._assumed.rows}
        self._pieces = tables["tree_bound_piece"]
        self._place = place_id

    def sentences(self, rows: Mapping[str, Mapping[str, _Row]]) -> Iterator[str]:
        total = rows[""]
        each = {species: counts for species, counts in rows.items() if species}
        wood = _number(total["lower"]["piece_count"], "piece")
        yield f"{self._range(total)} behind {wood} of wood{self._likely(total)}."
        if total["lower"]["bound_reason"] != "species_sum":
            why = self._why(total)
            yield from [f"{why[:1].upper()}{why[1:]}."] if why else []
        if len(each) > 1 or total["lower"]["bound_reason"] == "species_sum":
            for species, counts in each.items():
                name = self._species.label(species)
                wood = _number(counts["lower"]["piece_count"], "piece")
                said = f"{name}, {wood}: {self._range(counts).lower()}{self._likely(counts)}"
                yield "; ".join(filter(None, (said, self._why(counts)))) + "."
        if each and (unknown := _unknown(rows)):
            yield (
                f"{_number(unknown, 'piece')} of unknown species can be of the same trees as the "
                "others."
            )

    def missing(self, rows: Mapping[str, Mapping[str, _Row]]) -> Iterator[str]:
        """What would narrow the count, and where it is entered."""
        if rows[""]["lower"]["trees"] == rows[""]["upper"]["trees"]:
            return
        species = [*filter(None, rows), *([""] if _unknown(rows) else [])]

        def found(kind: str) -> list[Assumption | None]:
            return [self._assumed.find(kind, species=one, place=self._place) for one in species]

        longest = zip(species, found("longest_stem"), strict=True)
        if without := [one for one, given in longest if given is None]:
            names = (
                self._species.label(one) if one else "wood of unknown species" for one in without
            )
            of = "" if len(without) == len(species) else f" of {', '.join(names)}"
            yield (
                f"No longest stem{of} is given, so that lengths prove nothing: enter it with its "
                "source in the table 'assumption'."
            )
        if "likely" in rows[""]:
            return
        if any(one is None or one.spread is None for one in found("meters_per_tree")):
            yield (
                "No likely count: for that the table 'assumption' needs the recorded meters per "
                "tree, with spread and source."
            )
        else:
            yield (
                "No likely count: the meters per tree that are given contradict these bounds, or "
                "of some wood the length or the share of the log is not known (planks; squared "
                "wood of which nobody noted that the pith is inside)."
            )

    def _range(self, counts: Mapping[str, _Row]) -> str:
        least, most = round(counts["lower"]["trees"]), round(counts["upper"]["trees"])
        if least == most:
            return _number(least, "tree")
        return f"At least {least} and at most {most} trees"

    def _likely(self, counts: Mapping[str, _Row]) -> str:
        row = counts.get("likely")
        if row is None:
            return ""
        used = self._sources.get(row["assumption_id"] or "")
        by = (
            f"{_figure(used.figure)} m of recorded wood per tree ({used.source})"
            if used
            else "several figures of meters per tree"
        )
        between = self._sources.get(row["between_trees_assumption_id"] or "")
        spread = (
            f"trees differing by {_figure(100 * between.figure)} % ({between.source})"
            if between
            else "without what single trees differ by"
        )
        return (
            f"; likely {row['trees']:.0f} (90 % range {row['trees_low']:.0f} to "
            f"{row['trees_high']:.0f}) by {by}, {spread}"
        )

    def _why(self, counts: Mapping[str, _Row]) -> str:
        """What a lower bound that is not a sum over species rests on, as a clause."""
        row = counts["lower"]
        reason, trees = row["bound_reason"], round(row["trees"])
        if reason == "overlap":
            return (
                f"{_number(trees, 'piece')} all pass a stem diameter of "
                f"{row['at_diameter_cm']:.1f} cm, which a stem has only once ({self._ends(row)})"
            )
        if reason == "base":
            return f"{_number(trees, 'piece')} each show the base of a stem"
        if reason == "length":
            return (
                f"the wood is at least {row['log_length_m']:.1f} m of whole logs, and one stem "
                f"gives at most {self._longest(row)}"
            )
        if reason == "periods":
            return f"felled in periods that exclude each other: {self._periods(row)}"
        if trees == round(counts["upper"]["trees"]):
            return ""
        return "any wood is at least one tree, and nothing that is recorded proves more"

    def _ends(self, row: _Row) -> str:
        used = self._sources.get(row["end_error_assumption_id"] or "")
        by = f"each end drawn in by {_figure(row['end_error_cm'])} cm"
        return f"{by}: {used.source}" if used else by

    def _longest(self, row: _Row) -> str:
        used = self._sources.get(row["assumption_id"] or "")
        return f"{_figure(used.figure)} m ({used.source})" if used else "the longest of its kind"

    def _periods(self, row: _Row) -> str:
        """The periods with their counts, and the figures that they rest on."""
        own = self._pieces.filter(pl.col("bound_id") == row["bound_id"])
        keys = ("period_from_year", "period_to_year", "period_trees", "period_reason")
        parts = []
        reasons = set()
        for first, last, trees, reason in own.select(keys).unique().sort(keys).iter_rows():
            years = write_year(first) if first == last else f"{write_year(first)} to {last}"
            parts.append(f"{years} at least {trees}")
            if reason != "present":
                parts[-1] += f" ({self._reasons.label(reason).lower()})"
            reasons.add(reason)
        if "overlap" in reasons:
            parts.append(self._ends(row))
        if "length" in reasons:
            parts.append(f"a stem of at most {self._longest(row)}")
        return "; ".join(parts)


def _unknown(rows: Mapping[str, Mapping[str, _Row]]) -> int:
    """How many of the pieces are of unknown species."""
    known = sum(int(counts["lower"]["piece_count"]) for key, counts in rows.items() if key)
    return int(rows[""]["lower"]["piece_count"]) - known


def _number(count: float, of: str) -> str:
    return f"{count:.0f} {of}" if round(count) == 1 else f"{count:.0f} {of}s"


def _figure(number: float) -> str:
    return f"{number:.10g}"
