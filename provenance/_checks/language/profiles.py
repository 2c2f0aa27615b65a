"""Says which profiles hold for a row, by the building it belongs to, and what these ask of it."""

from __future__ import annotations

from collections.abc import Collection

import polars as pl

from provenance._checks.language.links import look_up
from provenance._checks.language.rule import EVERY_TABLE, Rule
from provenance._model.schema import Model
from provenance._model.stacking import PLACE, way_to_place
from provenance._record.joined import codes_in
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW


def with_profiles(tables: Snapshot, table: str) -> pl.DataFrame:
    """The rows of a table with `profiles`: those of its building, null where all hold.

    A place without profiles of its own has those of the place it lies in.
    """
    frame, way = tables[table], way_to_place(tables.model, table)
    if way is None or "profile" not in tables.model.table(PLACE):
        return frame.with_columns(profiles=pl.lit(None, pl.List(pl.String)))
    fields = [name for name, _ in way] or ["place_id"]
    frame = frame.with_columns(_at=pl.col(fields[0]))
    for (_, target), onward in zip(way, fields[1:], strict=False):
        frame = look_up(frame, "_at", tables, target, {"_next": onward})
        frame = frame.with_columns(_at=pl.col("_next")).drop("_next")
    places = tables.once("profiles of places", _of_places).rename({"place_id": "_at"})
    return frame.join(places, on="_at", how="left", maintain_order="left").drop("_at")


def _of_places(tables: Snapshot) -> pl.DataFrame:
    """place_id and the profiles that hold there."""
    rows = tables[PLACE].select("place_id", "parent_place_id", codes=codes_in("profile")).rows()
    known = {place: (parent, codes) for place, parent, codes in reversed(rows) if place}
    found = {}
    for place in known:
        passed: set[str] = set()
        at = place
        while at in known and not known[at][1] and at not in passed:
            # a place inside itself has a finding of its own
            passed.add(at)
            at = known[at][0]
        found[place] = (known[at][1] if at in known else None) or None
    return pl.DataFrame(
        list(found.items()),
        schema={"place_id": pl.String, "profiles": pl.List(pl.String)},
        orient="row",
    )


def any_holds(names: Collection[str]) -> pl.Expr:
    """Whether any of the profiles holds for a row."""
    own = pl.col("profiles").list.eval(pl.element().is_in(list(names))).list.any()
    return own.fill_null(value=True)


def without_unasked(rule: Rule, found: pl.DataFrame, tables: Snapshot) -> pl.DataFrame:
    """What was found, but for blank cells that no profile of their building asks for.

    Errors stay: what contradicts itself does so whether it was asked or not.
    """
    hiding = tables.model.once("fields that profiles hide", _hiding)
    if not hiding or not len(found) or rule.severity == "error":
        return found
    table = pl.col("table") if rule.table == EVERY_TABLE else pl.lit(rule.table)
    field = pl.col("field") if "field" in found.columns else pl.lit(rule.field)
    pairs = found.select(table=table, field=field).unique().rows()
    for name, column in pairs:
        asking = hiding.get((name, column))
        if asking is not None and name in tables.model.tables and column in tables[name]:
            blank = with_profiles(tables, name).filter(pl.col(column).is_null())
            unasked = blank.filter(~any_holds(asking) if asking else True)[ROW].to_list()
            found = found.filter(
                ~((table == name) & (field == column) & pl.col(ROW).is_in(unasked))
            )
    return found


def _hiding(model: Model) -> dict[tuple[str, str], list[str]]:
    """(table, field) that some profile hides → the names of the profiles that ask for it."""
    hidden = {
        (table, name)
        for part in model.profiles
        for table, names in part.hide.items()
        for name in names
    }
    return {
        (table, name): [p.name for p in model.profiles if name not in p.hide.get(table, ())]
        for table, name in sorted(hidden)
    }
