"""Derives everything at once: the derived tables, the figures' data and the words beside them."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from provenance._base.disk import writing
from provenance._base.errors import TreenailError
from provenance._base.yaml_text import read_yaml
from provenance._derive.dating import ClusterRule, derive_clusters, derive_spans, mark_candidates
from provenance._derive.size import derive_sizes
from provenance._derive.taper import note_tapers
from provenance._derive.tree_counts import derive_tree_bounds
from provenance._derive.trees import END_ERROR_CM
from provenance._record.computed_from import note_sources
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.tables import laid_out

if TYPE_CHECKING:
    import pandas as pd


SOURCES = ("assumption", "element", "episode", "lab_result", "place", "sample")
"""What the derived tables are made from."""


@dataclass(frozen=True)
class Derived:
    """The derived tables by name, and the rule of the clusters."""

    tables: Mapping[str, pl.DataFrame]
    cluster_rule: ClusterRule


def derive_tables(
    package: Package, *, end_error_cm: float = END_ERROR_CM, cluster_rule: ClusterRule | None = None
) -> Derived:
    """Derive sizes, bounds of the number of trees, spans and clusters; nothing is written.

    `end_error_cm` is for wood for which the record assumes no error of a diameter.
    """
    cluster_rule = cluster_rule or ClusterRule()
    sizes = note_tapers(package, derive_sizes(package))
    spans = derive_spans(package)
    clusters = derive_clusters(package, spans, cluster_rule)
    spans = mark_candidates(spans, clusters, cluster_rule)
    tables = {"size": sizes, "span": spans, "cluster": clusters}
    tables |= derive_tree_bounds(package, tables, end_error_cm=end_error_cm)
    if "stem" in package.model.tables:
        # supposed trees, which older packages have, are computed no more
        tables["stem"] = laid_out(pl.DataFrame(), package.model.table("stem"))
    return Derived(tables, cluster_rule)


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
            known = [name for name in SOURCES if name in package.model.tables]
            note_sources(package, "derive", known)
    return derived


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
