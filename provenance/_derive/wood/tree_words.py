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


class TreeWords:
    """Sentences about the trees of a record, of a building, or of a phase of one."""

    def __init__(self, package: Package, tables: Mapping[str, pl.DataFrame] | Snapshot) -> None:
        """`tables` holds tree_bound and tree_bound_piece as derived or as read from the package."""
        self._counts: dict[tuple[str, str], dict[str, dict[str, _Row]]] = {}
        if "tree_bound" not in package.model.tables:
            return
        self._say = package.model.measures.say
        self._species = package.model.vocabularies["species"]
        self._reasons = package.model.vocabularies["bound_reason"]
        self._assumed = assumptions_of(package.tables)
        self._sources = {row.assumption_id: row for row in self._assumed.rows}
        self._pieces = tables["tree_bound_piece"]
        for row in tables["tree_bound"].iter_rows(named=True):
            counts = self._counts.setdefault((row["place_id"] or "", row["phase_id"] or ""), {})
            counts.setdefault(row["species"] or "", {})[row["bound"]] = row

    def of(self, place: str = "", phase: str = "", *, missing: bool = False) -> list[str]:
        """What is said of that wood; [] where its trees are not counted.

        With `missing` the sentences end with what is missing for more.
        """
        rows = self._counts.get((place, phase), {})
        if not self._is_counted(rows):
            return []
        return [*self._sentences(rows), *(self._missing(rows, place) if missing else ())]

    def bounds(self, place: str, phase: str) -> tuple[int, int] | None:
        """The least and the most trees of that wood; None where they are not counted."""
        rows = self._counts.get((place, phase), {})
        if not self._is_counted(rows):
            return None
        return round(rows[""]["lower"]["trees"]), round(rows[""]["upper"]["trees"])

    def _is_counted(self, rows: Mapping[str, Mapping[str, _Row]]) -> bool:
        """A public edition may lack a row, and then nothing is said."""
        return "" in rows and all({"lower", "upper"} <= counts.keys() for counts in rows.values())

    def _sentences(self, rows: Mapping[str, Mapping[str, _Row]]) -> Iterator[str]:
        total = rows[""]
        each = {species: counts for species, counts in rows.items() if species}
        pieces = total["lower"]["piece_count"]
        wood = f"{_number(pieces, 'piece')} of wood {'comes' if pieces == 1 else 'come'}"
        yield f"{wood} from {self._range(total)}{self._likely(total)}."
        if total["lower"]["bound_reason"] != "species_sum":
            why = self._why(total)
            yield from [f"{why[:1].upper()}{why[1:]}."] if why else []
        if len(each) > 1 or total["lower"]["bound_reason"] == "species_sum":
            for species, counts in each.items():
                name = self._species.label(species)
                wood = _number(counts["lower"]["piece_count"], "piece")
                said = f"{name}, {wood}: {self._range(counts)}{self._likely(counts)}"
                yield "; ".join(filter(None, (said, self._why(counts)))) + "."
        if each and (unknown := _unknown(rows)):
            yield (
                f"{_number(unknown, 'piece')} of unknown species can be of the same trees as the "
                "others."
            )

    def _missing(self, rows: Mapping[str, Mapping[str, _Row]], place: str) -> Iterator[str]:
        """What would narrow the count, and where it is entered."""
        if rows[""]["lower"]["trees"] == rows[""]["upper"]["trees"]:
            return
        species = [*filter(None, rows), *([""] if _unknown(rows) else [])]

        def found(kind: str) -> list[Assumption | None]:
            return [self._assumed.find(kind, species=one, place=place) for one in species]

        longest = zip(species, found("longest_stem"), strict=True)
        if without := [one for one, given in longest if given is None]:
            names = (
                self._species.label(one) if one else "wood of unknown species" for one in without
            )
            of = "" if len(without) == len(species) else f" of {', '.join(names)}"
            yield (
                f"No longest stem{of} is given, so lengths prove nothing: enter it with its "
                "source in the table 'assumption'."
            )
        if "likely" in rows[""]:
            return
        if any(one is None or one.spread is None for one in found("meters_per_tree")):
            yield (
                "No likely count: for that the table 'assumption' needs the length of recorded "
                "wood per tree, with spread and source."
            )
        else:
            yield (
                "No likely count: the length per tree that is given contradicts these bounds, or "
                "of some wood the length or the share of the log is not known (planks; squared "
                "wood of which nobody noted that the pith is inside)."
            )

    def _range(self, counts: Mapping[str, _Row]) -> str:
        least, most = round(counts["lower"]["trees"]), round(counts["upper"]["trees"])
        if least == most:
            return _number(least, "tree")
        return f"at least {least} and at most {most} trees"

    def _likely(self, counts: Mapping[str, _Row]) -> str:
        row = counts.get("likely")
        if row is None:
            return ""
        used = self._sources.get(row["assumption_id"] or "")
        by = (
            f"{self._say(used.figure, 'm', 'timber', u95_mm=200)} of recorded wood per tree "
            f"({used.source})"
            if used
            else "several figures of length per tree"
        )
        between = self._sources.get(row["between_trees_assumption_id"] or "")
        spread = (
            f"trees differing by {_figure(100 * between.figure)} % ({between.source})"
            if between
            else "differences between trees not included"
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
                f"{self._say(row['at_diameter_cm'], 'cm')}, which a stem has only once "
                f"({self._ends(row)})"
            )
        if reason == "base":
            return f"{_number(trees, 'piece')} each show the base of a stem"
        if reason == "length":
            logs = self._say(row["log_length_m"], "m", "timber", u95_mm=200)
            return (
                f"the wood is at least {logs} of whole logs, and one stem gives at most "
                f"{self._longest(row)}"
            )
        if reason == "periods":
            return f"felled in periods that exclude each other: {self._periods(row)}"
        if trees == round(counts["upper"]["trees"]):
            return ""
        return "nothing that is recorded proves more"

    def _ends(self, row: _Row) -> str:
        used = self._sources.get(row["end_error_assumption_id"] or "")
        by = f"each end drawn in by {self._say(row['end_error_cm'], 'cm')}"
        return f"{by}: {used.source}" if used else by

    def _longest(self, row: _Row) -> str:
        used = self._sources.get(row["assumption_id"] or "")
        if used is None:
            return "the longest of its kind"
        return f"{self._say(used.figure, 'm', 'timber', u95_mm=200)} ({used.source})"

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
