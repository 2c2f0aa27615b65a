"""Rules about places and how they lie inside each other."""

from __future__ import annotations

import polars as pl

from provenance._checks.language.links import look_up, looping
from provenance._checks.language.profiles import any_holds, with_profiles
from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, over_fields, rule
from provenance._model.schema import ProfilePart
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW

WHOLE = ("building", "courtyard", "stack", "cellar", "other")
"""Kinds of place that need not lie in a larger one."""


@rule(
    "place.inside_itself",
    table="place",
    field="parent_place_id",
    severity="error",
    says="Place {place_id} lies in {parent_place_id}, which in the end lies in {place_id} itself.",
    remedy="Set the larger place right; a whole building has none.",
    source=COMMON_PRACTICE,
)
def inside_itself(tables: Snapshot) -> pl.DataFrame:
    """Such places have no building, and plans of them cannot be drawn."""
    return looping(tables["place"], "place_id", "parent_place_id")


@rule(
    "place.of_another_site",
    table=EVERY_TABLE,
    field="place_id",
    severity="error",
    says="{key} is of site {site_id}, but the place {inside} is of site {place_site_id}.",
    remedy="Compare both with the plan; set the right site or the right place.",
    source=COMMON_PRACTICE,
)
def of_another_site(tables: Snapshot) -> pl.DataFrame:
    """Nothing can be in a room that stands somewhere else."""
    frames = []
    for table, key, field in (
        ("place", "place_id", "parent_place_id"),
        ("datum", "datum_id", "place_id"),
        ("element", "element_id", "place_id"),
        ("episode", "episode_id", "place_id"),
        ("relation", "relation_id", "place_id"),
        ("relation", "relation_id", "other_place_id"),
    ):
        if table not in tables.model.tables:  # an older version of the schemas
            continue
        joined = look_up(tables[table], field, tables, "place", {"place_site_id": "site_id"})
        frames.append(
            joined.filter(pl.col("place_site_id") != pl.col("site_id")).select(
                pl.lit(table).alias("table"),
                ROW,
                pl.lit(field).alias("field"),
                pl.col(key).alias("key"),
                "site_id",
                pl.col(field).alias("inside"),
                "place_site_id",
            )
        )
    return pl.concat(frames)


@rule(
    "place.level_differs",
    table="place",
    field="level",
    severity="warning",
    says="Place {place_id} is on level {level}, but the storey {parent_place_id} it lies in is "
    "level {storey_level}.",
    remedy="Count again: 0 is the ground floor, 1 the one above.",
    source=COMMON_PRACTICE,
)
def level_differs(tables: Snapshot) -> pl.DataFrame:
    """Countries count storeys differently; one habit must hold for the whole record."""
    storey = {"storey_level": "level", "parent_kind": "kind"}
    joined = look_up(tables["place"], "parent_place_id", tables, "place", storey)
    return joined.filter(
        (pl.col("parent_kind") == "storey") & (pl.col("level") != pl.col("storey_level"))
    )


@rule(
    "place.part_of_nothing",
    table="place",
    field="parent_place_id",
    severity="note",
    says="Place {place_id} is a {kind}, but does not say in which building.",
    remedy="Enter the building or the larger part that it belongs to.",
    source=COMMON_PRACTICE,
)
def part_of_nothing(tables: Snapshot) -> pl.DataFrame:
    """'Room 2' is no use without its building."""
    return tables["place"].filter(
        pl.col("parent_place_id").is_null() & ~pl.col("kind").is_in(WHOLE)
    )


@rule(
    "place.profile_requires",
    table=EVERY_TABLE,
    severity="error",
    says="{asked}, and it is blank.",
    remedy="Fill it in. If another profile holds for this building, name that one in 'Recorded as' "
    "of the building.",
    source=COMMON_PRACTICE,
)
def profile_requires(tables: Snapshot) -> pl.DataFrame:
    """In a mixed village each building is asked what its own kind of place asks."""
    model = tables.model
    required: dict[tuple[str, str], list[ProfilePart]] = {}
    # what a single profile requires is a constraint of the schema
    for part in model.profiles if len(model.profiles) > 1 else ():
        for table, names in part.require.items():
            for name in names:
                if name in model.table(table) and not model.table(table).field(name).required:
                    required.setdefault((table, name), []).append(part)

    def missing(table: str, name: str, parts: list[ProfilePart]) -> pl.DataFrame:
        rows = with_profiles(tables, table).filter(pl.col(name).is_null())
        who = ", ".join(one.title for one in parts)
        asked = f"The profile '{who}' requires '{model.table(table).field(name).title}' here"
        wanted = rows.filter(any_holds([one.name for one in parts]))
        return wanted.select(ROW, asked=pl.lit(asked))

    return over_fields("asked", ((*at, missing(*at, parts)) for at, parts in required.items()))
