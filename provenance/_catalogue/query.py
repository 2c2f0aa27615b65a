"""Asks the catalogue: which samples, sites or bundles fit what a person wants to know."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableInput
from provenance._catalogue.current import PUBLIC
from provenance._catalogue.database import read_only_catalogue

if TYPE_CHECKING:
    import polars as pl

KINDS = ("samples", "sites", "bundles", "wood", "architecture", "holdings", "loans")

VERDICTS = """
WITH judged AS MATERIALIZED (
  SELECT bundle_id, CASE WHEN form = 'package' THEN 'not packed' ELSE coalesce((
    SELECT CASE WHEN outcome IN ('sound', 'changed') THEN 'not anchored'
      WHEN outcome IN ('damaged', 'faulty') THEN outcome
      WHEN outcome LIKE '%bag%' THEN 'no record' ELSE 'not verified' END
    FROM examination WHERE examination.path = bundle.path
      AND examination.signature = bundle.signature
    ORDER BY examination_id DESC LIMIT 1
  ), 'not verified') END AS verdict FROM bundle
)
"""
"""The verdict over every bundle, by what the last audit found as long as it has not changed since.

No audit holds ledgers against anchors, so that the best of them is 'not anchored'.
"""


@dataclass(frozen=True)
class Wanted:
    """What to look for; None asks for anything. Words are compared whole, but for letter case.

    `species` may be a genus' first letters followed by '*', as may `use`, `keeper` and `site`
    ('*' stands for any letters). `from_year` and `to_year` (astronomical) keep samples whose last
    ring or felling range may lie between them, both included; a range that is open to one side has
    no end there. `keeper` is who has the sample, or
    the repository of its site, by code or name. `stamp` is the number as punched. `accession`
    is the number that the repository gave, or one that it bore before. `place` is a
    place of the store by code or name, with all that is in it, or where a holder keeps the sample,
    in his words; `overdue` are loans that ended before that day (YYYY-MM-DD). `every` takes
    in older and public editions, bundles that are not there any more, and each copy of a bundle
    that lies here twice; with `edition` 'public' these are listed instead of the full ones.
    `even_if_damaged` takes in samples and sites of bundles that the last audit found damaged.
    """

    site: str | None = None
    species: str | None = None
    use: str | None = None
    from_year: int | None = None
    to_year: int | None = None
    stamp: str | None = None
    keeper: str | None = None
    accession: str | None = None
    edition: str | None = None
    sample: str | None = None
    place: str | None = None
    overdue: str | None = None
    every: bool = False
    even_if_damaged: bool = False

    def __post_init__(self) -> None:
        """Refuse years that run backwards, which would find nothing without a word."""
        first, last = self.from_year, self.to_year
        if first is not None and last is not None and first > last:
            raise UnusableInput(f"from {first} to {last} runs backwards; put the earlier first")


_COLUMNS = {
    "samples": (
        'sample.site_id, sample.sample_id, sample.element_id, sample."use", sample."where", '
        "sample.kind, sample.species, sample.collected_on, sample.outcome, sample.inner_year, "
        "sample.outer_year, sample.end_from_year, sample.end_to_year, sample.cutting, "
        "sample.felled_from_year, sample.felled_to_year, sample.felling_class, "
        "(SELECT group_concat(stamp, '; ') FROM plug WHERE plug.bundle_id = sample.bundle_id AND "
        "plug.site_id = sample.site_id AND plug.sample_id = sample.sample_id) AS stamps, "
        "sample.keeper_id, sample.keeper_name, sample.gone"
    ),
    "sites": (
        "site.site_id, site.public_name, site.kind, site.country, site.region, site.protection, "
        "site.latitude, site.longitude, site.coordinate_uncertainty_m, "
        "count(DISTINCT sample.sample_id) AS samples, min(sample.end_from_year) AS earliest_end, "
        "max(sample.end_to_year) AS latest_end, site.repository_id, site.repository_name"
    ),
    "wood": (
        'wood_use.site_id, wood_use.place_id, wood_use.species, wood_use."use", wood_use.shape, '
        "wood_use.origin, wood_use.decoration, wood_use.pieces, wood_use.trees_most, "
        "wood_use.length_m, wood_use.volume_m3, wood_use.first_year, wood_use.last_year"
    ),
    "architecture": (
        "architecture.site_id, architecture.place_id, architecture.construction, "
        "architecture.bonding, architecture.roof_type, architecture.floor_type, "
        "architecture.first_year, architecture.last_year"
    ),
    "holdings": (
        "held.sample_id, held.site_id, held.element_id, held.holder, held.holder_name, "
        "held.on_the_way_to, held.place, place.full AS within, held.lender, held.loan, "
        "held.due_on, held.since, held.gone, iif(held.disputed, 'disputed', '') AS disputed"
    ),
    "bundles": (
        "bundle.form, bundle.role, bundle.title, bundle.record_date, bundle.file_count, "
        "bundle.byte_count, "
        "count(DISTINCT sample.site_id || char(31) || sample.sample_id) AS samples, "
        "bundle.identity, bundle.why, bundle.read_at, (SELECT group_concat(newer.path, '; ') "
        "FROM withdrawal JOIN bundle AS newer USING (bundle_id) WHERE withdrawal.manifest_sha256 = "
        "bundle.identity AND newer.state = 'there') AS withdrawn_by"
    ),
}
_COLUMNS["loans"] = _COLUMNS["holdings"]
_ALWAYS = (
    "bundle.name AS bundle, bundle.edition, bundle.accession, bundle.restriction, bundle.state, "
    "bundle.path, judged.verdict"
)
_ABOUT_HELD = "bundle.accession, bundle.restriction, bundle.state, bundle.path, judged.verdict"
_JOINED = (
    "bundle JOIN judged USING (bundle_id) LEFT JOIN site USING (bundle_id) "
    "LEFT JOIN sample ON sample.bundle_id = bundle.bundle_id AND sample.site_id = site.site_id"
)
_HELD = (
    "held JOIN bundle USING (bundle_id) JOIN judged USING (bundle_id) "
    "LEFT JOIN place ON place.place_id = held.place"
)
_WITH_SAMPLE = (
    " JOIN sample ON sample.bundle_id = held.bundle_id AND sample.sample_id = held.sample_id"
)
"""Only where something of the sample is looked for: it doubles the time of a long list."""
_INSIDE = """
inside (place_id) AS (
  SELECT ? UNION SELECT place_id FROM place WHERE place_id = ? COLLATE NOCASE
  UNION SELECT place_id FROM place WHERE name = ? COLLATE NOCASE
  UNION SELECT place.place_id FROM inside JOIN place ON place.within = inside.place_id
)
"""
"""A place and all that is in it, step by step: nested sets took a thousand times as long."""
_DERIVED = {"wood": "wood_use", "architecture": "architecture"}
"""Kind → the table of the catalogue that has it from the derived tables of a record."""
_HELD_KINDS = ("holdings", "loans")
_FROM = {
    "samples": (
        "sample JOIN bundle USING (bundle_id) JOIN judged USING (bundle_id) "
        "LEFT JOIN site ON site.bundle_id = sample.bundle_id AND site.site_id = sample.site_id"
    ),
    "sites": _JOINED,
    "bundles": _JOINED,
    **dict.fromkeys(_HELD_KINDS, _HELD),
    **{
        kind: f"{table} JOIN bundle USING (bundle_id) JOIN judged USING (bundle_id) "
        f"LEFT JOIN site ON site.bundle_id = {table}.bundle_id AND site.site_id = {table}.site_id"
        for kind, table in _DERIVED.items()
    },
}
_GROUP = {
    "samples": "",
    "sites": "AND site.site_id IS NOT NULL GROUP BY bundle.bundle_id, site.site_id",
    "bundles": "GROUP BY bundle.bundle_id",
    **dict.fromkeys((*_DERIVED, *_HELD_KINDS), ""),
}
_ORDER = {
    "samples": "bundle.path, sample.rowid",
    "sites": "bundle.path, site.rowid",
    "bundles": "bundle.path",
    "holdings": "held.site_id, bundle.path, held.rowid",
    "loans": "held.due_on NULLS LAST, held.loan, held.site_id, bundle.path, held.rowid",
    **{kind: f"bundle.path, {table}.rowid" for kind, table in _DERIVED.items()},
}


def find_in_catalogue(index: Path, kind: str, wanted: Wanted | None = None) -> pl.DataFrame:
    """What fits among the samples, sites, bundles, wood, architecture, holdings or loans (`kind`).

    Columns of each kind stand in `_COLUMNS` and `_ALWAYS`, explained in schemas/CATALOGUE.md; rows
    by the paths, loans by the day on which they end. A site or bundle fits when one of its samples
    does; wood and architecture have no stamp, no keeper of their own, and are of a year when their
    felling phase is. `verdict` is what the last audit makes of the bundle; what is in damaged ones
    is left out. Raises TreenailError when the catalogue cannot be used, UnusableInput when that
    kind does not have what is looked for, or there is no such place.
    """
    wanted = wanted or Wanted()
    conditions, values = _conditions(wanted, kind)
    if kind != "bundles" and not wanted.even_if_damaged:
        # where a sample of a store is, the store's ledger says, whatever befell the bundle
        by_ledger = " OR EXISTS (SELECT 1 FROM source WHERE name = 'store')"
        conditions.append(
            f"(judged.verdict != 'damaged'{by_ledger if kind in _HELD_KINDS else ''})"
        )
    where = " AND ".join(conditions) or "1"
    about = _ABOUT_HELD if kind in _HELD_KINDS else _ALWAYS
    first, inside = VERDICTS, ""
    if wanted.place:
        _refuse_strange_place(index, wanted.place)
        first = f"{VERDICTS.rstrip()},{_INSIDE}".replace("WITH", "WITH RECURSIVE", 1)
        inside = "inside CROSS JOIN "
        values = [wanted.place] * 3 + values
    joined = _FROM[kind]
    if kind in _HELD_KINDS and any("sample." in one for one in conditions):
        joined += _WITH_SAMPLE
    if kind in _HELD_KINDS and not wanted.accession:
        # few samples are asked for, so their index comes first, and not all bundles
        joined = joined.replace(" JOIN bundle", " CROSS JOIN bundle", 1)
        joined = joined.replace(" JOIN judged", " CROSS JOIN judged", 1)
    return ask_sql(
        index,
        f"{first}SELECT {_COLUMNS[kind]}, {about} FROM {inside}{joined} "
        f"WHERE {where} {_GROUP[kind]} ORDER BY {_ORDER[kind]}",
        values,
    )


def _refuse_strange_place(index: Path, place: str) -> None:
    known = ask_sql(
        index,
        "SELECT 1 FROM place WHERE place_id = ? COLLATE NOCASE OR name = ? COLLATE NOCASE "
        "UNION SELECT 1 FROM held WHERE place = ? AND is_current LIMIT 1",
        [place] * 3,
    )
    if known.is_empty():
        raise UnusableInput(f"there is no place '{place}', and no sample is kept at one called so")


def _conditions(wanted: Wanted, kind: str = "samples") -> tuple[list[str], list[Any]]:
    conditions: list[str] = []
    values: list[Any] = []
    sample = _DERIVED.get(kind, "sample")
    first, last = (
        ("end_from_year", "end_to_year") if sample == "sample" else ("first_year", "last_year")
    )
    if sample != "sample" and (wanted.stamp or wanted.sample):
        raise UnusableInput(f"--of {kind} lists no samples; look for it among samples")
    if sample == "architecture" and (wanted.species or wanted.use):
        raise UnusableInput("architecture has no species and no use of wood; ask for --of wood")
    if kind not in _HELD_KINDS and (wanted.place or wanted.overdue):
        raise UnusableInput(f"--of {kind} says nothing of places and loans; ask for --of holdings")

    def add(condition: str, *new: Any) -> None:
        conditions.append(condition)
        values.extend(new)

    if not wanted.every:
        counted = {"samples": "sample", **dict.fromkeys(_HELD_KINDS, "held")}.get(kind, "bundle")
        if wanted.edition == PUBLIC:
            add("bundle.role = 'public' AND bundle.state IN ('there', 'unreadable')")
        else:
            add(f"{counted}.is_current")
    if kind == "loans":
        add("held.loan IS NOT NULL")
    if wanted.overdue:
        add("held.due_on < ?", wanted.overdue)
    if wanted.place:
        add("held.place = inside.place_id")
    if wanted.sample:
        add(f"{'held' if kind in _HELD_KINDS else 'sample'}.sample_id = ?", wanted.sample)
    if kind in _HELD_KINDS:
        keepers: tuple[str, ...] = ("held.holder", "held.holder_name", "held.on_the_way_to")
    else:
        of_sample = () if kind in _DERIVED else ("sample.keeper_id", "sample.keeper_name")
        keepers = (*of_sample, "site.repository_id", "site.repository_name")
    if wanted.site:
        names = ("site.site_id", "site.name", "site.public_name")
        table = {"samples": "sample", **dict.fromkeys(_HELD_KINDS, "held"), **_DERIVED}
        of = table.get(kind, "site")
        # asked once, and not of every sample
        among = f"SELECT bundle_id, site_id FROM site WHERE {_any_alike(names, wanted.site)}"
        add(f"({of}.bundle_id, {of}.site_id) IN ({among})", *[_pattern(wanted.site)] * len(names))
    alike = {
        (f"{sample}.species",): wanted.species,
        (f'{sample}."use"',): wanted.use.replace(" ", "_") if wanted.use else None,
        keepers: wanted.keeper,
    }
    for columns, words in alike.items():
        if words:
            add(_any_alike(columns, words), *[_pattern(words)] * len(columns))
    if wanted.accession:
        alike_now = _any_alike(("accession",), wanted.accession)
        # an old number stands among others of the same accession
        before = "'; ' || previous_numbers || ';' LIKE ? ESCAPE '\\'"
        among = f"SELECT bundle_id FROM bundle WHERE {alike_now} OR {before}"
        old = f"%; {_like(wanted.accession)};%"
        add(f"bundle.bundle_id IN ({among})", _pattern(wanted.accession), old)
    if wanted.from_year is not None:
        add(_reaches(f"{sample}.{last}", ">=", f"{sample}.{first}"), wanted.from_year)
    if wanted.to_year is not None:
        add(_reaches(f"{sample}.{first}", "<=", f"{sample}.{last}"), wanted.to_year)
    if wanted.stamp:
        add(
            "(sample.bundle_id, sample.site_id, sample.sample_id) IN "
            "(SELECT bundle_id, site_id, sample_id FROM plug WHERE stamp = ?)",
            wanted.stamp,
        )
    if wanted.edition:
        add("bundle.edition = ?", wanted.edition)
    return conditions, values


def _reaches(side: str, sign: str, other: str) -> str:
    """Whether a range reaches a year; one that is open on that side does."""
    return f"({side} {sign} ? OR ({side} IS NULL AND {other} IS NOT NULL))"


def _any_alike(columns: Sequence[str], words: str) -> str:
    """Plain words are compared so that an index helps; words with a '*' as a pattern."""
    like = "LIKE ? ESCAPE '\\'" if "*" in words else "= ? COLLATE NOCASE"
    return "(" + " OR ".join(f"{column} {like}" for column in columns) + ")"


def _pattern(words: str) -> str:
    """What a person wrote, as what `_any_alike` compares with."""
    return _like(words) if "*" in words else words


def _like(words: str) -> str:
    """What a person wrote as an SQL pattern: '*' is any letters, everything else itself."""
    for special in ("\\", "%", "_"):
        words = words.replace(special, f"\\{special}")
    return words.replace("*", "%")


def ask_sql(index: Path, sql: str, values: list[Any] | None = None) -> pl.DataFrame:
    """The answer to one SQL query, which can only read.

    Raises UnusableInput when the query is not understood, TreenailError when the catalogue cannot
    be used.
    """
    import polars as pl

    with read_only_catalogue(index) as database:
        try:
            cursor = database.execute(sql, values or [])
            if cursor.description is None:
                raise UnusableInput(f"this is not a query, so there is no answer: {sql}")
            names = _distinct([column[0] for column in cursor.description])
            rows = [tuple(row) for row in cursor]
        except (sqlite3.OperationalError, sqlite3.ProgrammingError, sqlite3.Warning) as error:
            if "malformed" in str(error) or "disk I/O" in str(error):
                raise
            raise UnusableInput(
                f"the query cannot be answered: {error}; 'treenail catalogue --schema' lists the "
                "tables and columns"
            ) from error
    # all rows decide the type of a column: the first thousand may be empty
    return pl.DataFrame(rows, schema=names, orient="row", infer_schema_length=None, strict=False)


def _distinct(names: list[str]) -> list[str]:
    """Column names with a number behind those that come again."""
    seen: dict[str, int] = {}
    result = []
    for name in names:
        seen[name] = seen.get(name, 0) + 1
        result.append(name if seen[name] == 1 else f"{name}_{seen[name]}")
    return result


def verdicts_in(index: Path) -> dict[str, str]:
    """Path → verdict of every bundle in the catalogue; raises TreenailError.

    Packages, which bear no checksums, have none.
    """
    with read_only_catalogue(index) as database:
        rows = database.execute(
            f"{VERDICTS}SELECT path, verdict FROM bundle JOIN judged USING (bundle_id) "
            "WHERE form != 'package'"
        )
        return {row["path"]: row["verdict"] for row in rows}


def withdrawn_editions(index: Path) -> dict[str, str]:
    """Path of each public edition that is withdrawn → path of one that takes its place.

    Raises TreenailError when the catalogue cannot be used.
    """
    with read_only_catalogue(index) as database:
        rows = database.execute(
            "SELECT older.path, min(newer.path) FROM withdrawal JOIN bundle AS newer "
            "USING (bundle_id) JOIN bundle AS older ON older.identity = manifest_sha256 "
            "WHERE newer.state = 'there' AND older.state = 'there' GROUP BY older.path"
        )
        return {row[0]: row[1] for row in rows}


def belonging(index: Path, own: str) -> tuple[int, int]:
    """How many samples belong to a store, and how many of them it has lent; raises TreenailError.

    `own` is its code in the ledgers; (0, 0) where it has none.
    """
    with read_only_catalogue(index) as database:
        held, lent = database.execute(
            "SELECT count(*), total(lender = ?1) FROM held WHERE is_current AND gone = '' "
            "AND ?1 IN (holder, lender)",
            [own or None],
        ).fetchone()
    return held, int(lent)


def left_out(index: Path) -> dict[str, int]:
    """Role → how many bundles and packages have it and are not counted; raises TreenailError."""
    with read_only_catalogue(index) as database:
        rows = database.execute(
            "SELECT role, count(*) FROM bundle WHERE NOT is_current AND role <> '' "
            "AND state = 'there' GROUP BY role"
        )
        return {row[0]: row[1] for row in rows}
