"""Derives everything at once: the derived tables, the figures' data and the words beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from provenance._base.disk import writing
from provenance._base.errors import TreenailError
from provenance._base.yaml_text import read_yaml
from provenance._derive.dating import ClusterRule, derive_clusters, derive_spans, mark_candidates
from provenance._derive.ring_series import TABLE as RING_SERIES
from provenance._derive.ring_series import derive_ring_series
from provenance._derive.size import derive_sizes
from provenance._derive.tree_ages import TABLE as TREE_AGE
from provenance._derive.tree_ages import derive_tree_ages
from provenance._derive.trees import Piece, StemRule, TreeCount, count_trees
from provenance._record.computed_from import note_sources
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.tables import polars_type

if TYPE_CHECKING:
    import pandas as pd


SOURCES = ("element", "episode", "file", "lab_result", "place", "sample")
"""What the derived tables are made from; of `file` only ring widths count."""


@dataclass(frozen=True)
class TreeEstimate:
    """One way to count the trees: what pieces of one tree must share, and the count."""

    sharing: str
    count: TreeCount


@dataclass(frozen=True)
class Derived:
    """The derived tables by name, and the tree estimates with their alternatives."""

    tables: Mapping[str, pl.DataFrame]
    estimates: tuple[TreeEstimate, ...]
    stem_rule: StemRule
    cluster_rule: ClusterRule


def derive_tables(
    package: Package, *, stem_rule: StemRule | None = None, cluster_rule: ClusterRule | None = None
) -> Derived:
    """Derive sizes, supposed trees, spans and clusters; nothing is written."""
    stem_rule = stem_rule or StemRule()
    cluster_rule = cluster_rule or ClusterRule()
    sizes = derive_sizes(package)
    spans = derive_spans(package)
    clusters = derive_clusters(package, spans, cluster_rule)
    spans = mark_candidates(spans, clusters, cluster_rule)
    estimates = estimate_trees(package, sizes, spans, stem_rule)
    tables = {
        "size": sizes,
        "stem": _stem_rows(package, estimates[0]),
        "span": spans,
        "cluster": clusters,
    }
    known = package.model.tables
    if TREE_AGE in known and "felling" in tables:
        tables[TREE_AGE] = derive_tree_ages(
            package, tables["felling"], tables["phase"], tables["phase_piece"]
        )
    if RING_SERIES in known:
        tables[RING_SERIES] = derive_ring_series(package)
    return Derived(tables, estimates, stem_rule, cluster_rule)


def derive_package(package: Package, *, into: Path | None = None, **rules: Any) -> Derived:
    """Derive everything and write the derived tables into the package, all of them anew.

    With the folder `into` they are written there, and the package stays as it is.
    """
    with package.locked() if into is None else nullcontext():
        derived = derive_tables(package, **rules)
        for name, frame in derived.tables.items():
            path = into / f"{name}.csv" if into else package.table_path(name)
            with writing(path) as stream:
                package.write_table_to(stream, name, _rounded(frame))
        if into is None:
            note_sources(package, "derive", SOURCES)
    return derived


def estimate_trees(
    package: Package, sizes: pl.DataFrame, spans: pl.DataFrame, rule: StemRule
) -> tuple[TreeEstimate, ...]:
    """Count the trees in several ways, the most cautious grouping first.

    Pieces with both ends measured take part. 'Species, building and cutting year': dated pieces
    join only pieces of the same year, undated ones only undated ones. The alternatives drop one
    condition after the other, and halve and double the tolerances.
    """
    whole = sizes.drop_nulls(["butt_cm", "top_cm", "length_m"])
    buildings = outermost_places(package.tables)
    dated = spans.filter(cutting="cutting").group_by("element_id").agg(pl.col("outer_year").max())
    years = dict(dated.iter_rows())

    def counted(sharing: str, keys: Sequence[str], with_rule: StemRule) -> TreeEstimate:
        pieces = []
        for row in whole.iter_rows(named=True):
            shared = {
                "species": row["species"] or "",
                "building": buildings.get(row["place_id"], ""),
                "year": years.get(row["element_id"]),
            }
            pieces.append(
                Piece(
                    row["element_id"] or "",
                    row["butt_cm"],
                    row["top_cm"],
                    row["length_m"],
                    tuple(shared[key] for key in keys),
                )
            )
        return TreeEstimate(sharing, count_trees(pieces, with_rule))

    narrow = StemRule(rule.thicker_cm / 2, rule.thinner_cm / 2)
    wide = StemRule(rule.thicker_cm * 2, rule.thinner_cm * 2)
    strict = ("species", "building", "year")
    return (
        counted("species, building and cutting year", strict, rule),
        counted("species, building and cutting year; half the tolerance", strict, narrow),
        counted("species, building and cutting year; twice the tolerance", strict, wide),
        counted("species and building", ("species", "building"), rule),
        counted("species", ("species",), rule),
    )


def tally_wood(package: Package, derived: Derived) -> pl.DataFrame:
    """Pieces and volume by building, phase and species.

    Columns: building_id, phase, species, pieces, measured, newton_m3. A phase is the cluster of
    cutting dates that a piece belongs to, '' where no date puts it into one; `measured` counts the
    pieces that have a volume, which is the sum of theirs alone.
    """
    dated = derived.tables["span"].filter(pl.col("cluster_id") != "")
    dated = dated.unique("element_id", keep="first", maintain_order=True)
    phases = dict(dated.select("element_id", "cluster_id").iter_rows())
    buildings = outermost_places(package.tables)
    keys = ("building_id", "phase", "species")
    counted = (
        derived.tables["size"]
        .with_columns(
            pl.col("species").fill_null(""),
            building_id=pl.col("place_id").replace_strict(
                buildings, default="", return_dtype=pl.String
            ),
            phase=pl.col("element_id").replace_strict(phases, default="", return_dtype=pl.String),
        )
        .group_by(keys)
        .agg(
            pieces=pl.len(),
            measured=pl.col("newton_m3").count(),
            newton_m3=pl.col("newton_m3").sum(),
        )
        .sort(keys)
    )
    return _rounded(counted)


def _stem_rows(package: Package, estimate: TreeEstimate) -> pl.DataFrame:
    rule = estimate.count.rule
    said = (
        f"same {estimate.sharing}; upper butt at most {rule.thicker_cm:g} cm thicker and "
        f"{rule.thinner_cm:g} cm thinner than the lower top"
    )
    rows = [
        {"element_id": element, "stem_id": f"T{number}", "place_in_stem": place, "rule": said}
        for number, stem in enumerate(estimate.count.stems, start=1)
        for place, element in enumerate(stem, start=1)
    ]
    fields = package.model.table("stem").fields
    return pl.DataFrame(rows, {one.name: polars_type(one) for one in fields})


def _rounded(frame: pl.DataFrame) -> pl.DataFrame:
    """Numbers to the fourth decimal, so that the same record gives the same text anywhere."""
    return frame.with_columns(pl.col(pl.Float64).round(4))


def labour_hours(derived: Derived, rates_path: Path) -> pd.DataFrame:
    """Hours of labour from rates that the user brings, with their source.

    The file is YAML: a list of {activity, per: piece | m3 | m, hours, source}. Columns returned:
    activity, quantity, per, hours_each, hours, source. Raises TreenailError for a rate without a
    source: this project has no rates of its own.
    """
    import pandas as pd

    rates = read_yaml(rates_path)
    if not isinstance(rates, list):
        raise TreenailError(f"{rates_path} is no list of rates; write '- activity: …' entries")
    sizes = derived.tables["size"]
    quantities = {
        "piece": float(len(sizes)),
        "m3": sum(sizes["newton_m3"].drop_nulls()),
        "m": sum(sizes["length_m"].drop_nulls()),
    }
    rows = []
    for number, rate in enumerate(rates, start=1):
        missing = [k for k in ("activity", "per", "hours", "source") if not rate.get(k)]
        if missing:
            raise TreenailError(
                f"{rates_path}, rate {number}: {', '.join(missing)} is missing; every rate needs "
                "activity, per (piece, m3 or m), hours and the source it is taken from"
            )
        if rate["per"] not in quantities or not isinstance(rate["hours"], int | float):
            raise TreenailError(
                f"{rates_path}, rate {number}: 'per' is piece, m3 or m, and 'hours' a number; "
                f"found {rate['per']!r} and {rate['hours']!r}"
            )
        quantity = quantities[rate["per"]]
        rows.append(
            {
                "activity": rate["activity"],
                "quantity": round(quantity, 3),
                "per": rate["per"],
                "hours_each": rate["hours"],
                "hours": round(quantity * rate["hours"], 1),
                "source": rate["source"],
            }
        )
    return pd.DataFrame(rows)
