"""Describes every table and column of the catalogue: the database and its text are made from this.

Plain values, so that `treenail catalogue --schema` and a person with any SQLite program read the
same words: they stand in the database itself, in the table `description`.
"""

from __future__ import annotations

from dataclasses import dataclass

CATALOGUE_VERSION = 1


@dataclass(frozen=True)
class Column:
    """One column: its name, its SQL type with constraints, and what it means."""

    name: str
    kind: str
    meaning: str


@dataclass(frozen=True)
class CatalogueTable:
    """One table; `more` are table constraints, `indexes` the columns of each index."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    more: str = ""
    indexes: tuple[str, ...] = ()


_BUNDLE = Column("bundle_id", "INTEGER NOT NULL", "the bundle it was read from")
_OF_BUNDLE = "FOREIGN KEY (bundle_id) REFERENCES bundle (bundle_id)"

CATALOGUE_TABLES = (
    CatalogueTable(
        "description",
        "What every table and column means (this text).",
        (
            Column("table_name", "TEXT NOT NULL", "name of the table"),
            Column("column_name", "TEXT NOT NULL", "name of the column; '' for the table itself"),
            Column("meaning", "TEXT NOT NULL", "what it means"),
        ),
        "PRIMARY KEY (table_name, column_name)",
    ),
    CatalogueTable(
        "run",
        "One catalogue or audit that was begun. Runs count upwards, whatever the clock says.",
        (
            Column("run_id", "INTEGER PRIMARY KEY AUTOINCREMENT", "number of the run"),
            Column("kind", "TEXT NOT NULL", "catalogue or audit"),
            Column("place", "TEXT NOT NULL", "the folder that was looked through"),
            Column("started_at", "TEXT NOT NULL", "by this machine's clock, UTC"),
            Column("ended_at", "TEXT", "empty while it runs, and for ever if it was killed"),
            Column("outcome", "TEXT", "finished, out_of_time or abandoned"),
        ),
    ),
    CatalogueTable(
        "bundle",
        "One package or bundle at one path. What has vanished stays, marked.",
        (
            Column("bundle_id", "INTEGER PRIMARY KEY", "number in this catalogue"),
            Column("path", "TEXT NOT NULL UNIQUE", "where it lies, in full"),
            Column("form", "TEXT NOT NULL", "folder, zip, or package (not packed yet)"),
            Column(
                "state",
                "TEXT NOT NULL",
                "there, vanished (gone at the last look), unreadable, out_of_sight (its folder "
                "could not be looked into) or withdrawn (taken away on purpose)",
            ),
            Column("why", "TEXT NOT NULL DEFAULT ''", "the reason for a state other than there"),
            Column("signature", "TEXT NOT NULL", "sizes and times; changes when the bundle does"),
            Column(
                "identity",
                "TEXT NOT NULL DEFAULT ''",
                "SHA-256 of its list of checksums: the same for every copy, folder or zip",
            ),
            Column("name", "TEXT NOT NULL DEFAULT ''", "name of the package in it"),
            Column("title", "TEXT NOT NULL DEFAULT ''", "title of the package in it"),
            Column("edition", "TEXT NOT NULL DEFAULT ''", "full or public; '' if not packed"),
            Column(
                "accession",
                "TEXT NOT NULL DEFAULT ''",
                "the repository's number: tag Accession-Number of bag-info.txt, or 'accession' in "
                "bundle.json or datapackage.json",
            ),
            Column("record_date", "TEXT NOT NULL DEFAULT ''", "day of the record's newest entry"),
            Column("file_count", "INTEGER", "payload files, as the bundle declares (Payload-Oxum)"),
            Column("byte_count", "INTEGER", "payload bytes, as the bundle declares"),
            Column("first_seen_at", "TEXT NOT NULL", "by the clock, UTC"),
            Column("read_at", "TEXT NOT NULL", "when it was last read, by the clock, UTC"),
            Column("first_seen_in_run", "INTEGER NOT NULL", "the run that met it first"),
            Column("read_in_run", "INTEGER NOT NULL", "the run that read it last"),
            Column("gone_in_run", "INTEGER", "the run that found it vanished; empty while there"),
        ),
        "",
        ("identity", "name, edition", "accession COLLATE NOCASE", "state"),
    ),
    CatalogueTable(
        "site",
        "One site of one bundle. Exact places: for the restricted store, unless edition is public.",
        (
            _BUNDLE,
            Column("site_id", "TEXT NOT NULL", "code of the site"),
            Column("name", "TEXT NOT NULL", "name (sensitive: it tells the place)"),
            Column("public_name", "TEXT NOT NULL", "name that may be published"),
            Column("kind", "TEXT NOT NULL", "kind of site"),
            Column("country", "TEXT NOT NULL", "ISO 3166-1 code"),
            Column("region", "TEXT NOT NULL", "region"),
            Column("latitude", "REAL", "degrees, WGS 84 (sensitive)"),
            Column("longitude", "REAL", "degrees, WGS 84 (sensitive)"),
            Column("coordinate_uncertainty_m", "REAL", "metres"),
            Column("protection", "TEXT NOT NULL", "legal protection"),
            Column("repository_id", "TEXT NOT NULL", "party that is to keep the record"),
            Column("repository_name", "TEXT NOT NULL", "its name, where it may be named"),
        ),
        _OF_BUNDLE,
        ("bundle_id, site_id", "site_id COLLATE NOCASE"),
    ),
    CatalogueTable(
        "sample",
        "One sample of one bundle, with its wood, its dates and who has it.",
        (
            _BUNDLE,
            Column("site_id", "TEXT NOT NULL", "code of the site"),
            Column("sample_id", "TEXT NOT NULL", "field specimen number"),
            Column("element_id", "TEXT NOT NULL", "the piece of wood"),
            Column('"use"', "TEXT NOT NULL", "use of the wood in the building (element.function)"),
            Column('"where"', "TEXT NOT NULL", "its place and those around it, inmost first"),
            Column("kind", "TEXT NOT NULL", "core, section …"),
            Column("species", "TEXT NOT NULL", "species code: the laboratory's, else the field's"),
            Column("collected_on", "TEXT NOT NULL", "day it was taken (EDTF)"),
            Column("outcome", "TEXT NOT NULL", "of the last result; '' while there is none"),
            Column("inner_year", "INTEGER", "first ring; astronomical years (0 is 1 BC)"),
            Column("outer_year", "INTEGER", "last ring"),
            Column("end_from_year", "INTEGER", "earliest year of felling estimate or last ring"),
            Column("end_to_year", "INTEGER", "latest year of felling estimate or last ring"),
            Column("cutting", "TEXT NOT NULL", "cutting, near, non_cutting, unstated, or ''"),
            Column("keeper_id", "TEXT NOT NULL", "party that has the sample, by the ledger"),
            Column("keeper_name", "TEXT NOT NULL", "its name, where it may be named"),
            Column("gone", "TEXT NOT NULL", "lost or destroyed, else ''"),
        ),
        _OF_BUNDLE,
        (
            "bundle_id",
            "site_id COLLATE NOCASE, sample_id",
            "species COLLATE NOCASE",
            '"use" COLLATE NOCASE',
            "end_from_year",
            "keeper_id COLLATE NOCASE",
        ),
    ),
    CatalogueTable(
        "plug",
        "One plug with a stamp: what `locate` compares a worn dowel with.",
        (
            _BUNDLE,
            Column("site_id", "TEXT NOT NULL", "code of the site"),
            Column("sample_id", "TEXT NOT NULL", "field specimen number"),
            Column("plug_id", "TEXT NOT NULL", "code of the plug"),
            Column("stamp", "TEXT NOT NULL", "number punched into it"),
            Column("orientation_mark", "TEXT NOT NULL", "none, bar or dot"),
            Column("dowel_mm", "REAL", "diameter, mm"),
            Column("status", "TEXT NOT NULL", "in place, worn, lost …"),
            Column("element_id", "TEXT NOT NULL", "the piece of wood"),
            Column("function", "TEXT NOT NULL", "use of the wood"),
            Column("species", "TEXT NOT NULL", "species code of the wood as the field has it"),
            Column("places", "TEXT NOT NULL", "names of all places around it, one a line"),
            Column('"where"', "TEXT NOT NULL", "its place and those around it, inmost first"),
            Column("collected_on", "TEXT NOT NULL", "day the sample was taken (EDTF)"),
        ),
        _OF_BUNDLE,
        ("bundle_id, sample_id", "stamp"),
    ),
    CatalogueTable(
        "examination",
        "One look of the audit at one bundle. Never changed; the highest number is the latest.",
        (
            Column("examination_id", "INTEGER PRIMARY KEY AUTOINCREMENT", "number; counts upwards"),
            Column("path", "TEXT NOT NULL", "the bundle's path then"),
            Column("run_id", "INTEGER NOT NULL", "the audit it belongs to"),
            Column("started_at", "TEXT NOT NULL", "by the clock, UTC"),
            Column("ended_at", "TEXT NOT NULL", "by the clock, UTC"),
            Column("seconds", "REAL NOT NULL", "how long it took, by a clock that is never set"),
            Column(
                "outcome",
                "TEXT NOT NULL",
                "sound; changed (sound, but not the bundle that was here before); damaged; faulty "
                "(bytes as packed, the record in them is not right); unsettled (it changed while "
                "it was read); unreadable; not_examined (the machine failed, not the bundle)",
            ),
            Column("cause", "TEXT NOT NULL", "decay, written_to or unknown for a damaged one"),
            Column("identity", "TEXT NOT NULL", "as in bundle, at that time"),
            Column("fingerprint", "TEXT NOT NULL", "SHA-256 of names, sizes and times of files"),
            Column("signature", "TEXT NOT NULL", "as in bundle, at that time"),
            Column("file_count", "INTEGER NOT NULL", "files looked at"),
            Column("byte_count", "INTEGER NOT NULL", "bytes looked at"),
            Column("findings", "TEXT NOT NULL", "JSON list of what is wrong, files named"),
        ),
        "",
        ("path, examination_id", "run_id"),
    ),
)
"""The tables in the order in which they are made."""


def catalogue_text() -> str:
    """The tables in words, as Markdown, with queries to start from."""
    lines = [
        "# The catalogue's tables",
        "",
        "One SQLite file; open it with any SQLite program. Read as much as you like, and let only "
        "`treenail catalogue` and `treenail audit` write. It holds exact places and belongs in the "
        "restricted store. This text is generated; the same words are in the table `description`.",
    ]
    for table in CATALOGUE_TABLES:
        lines += ["", f"## {table.name}", table.meaning, "", "| column | type | meaning |"]
        lines += ["|---|---|---|"]
        lines += [f"| {c.name} | {c.kind} | {c.meaning} |" for c in table.columns]
    lines += ["", "## Queries to start from", *_EXAMPLES]
    return "\n".join(lines) + "\n"


_EXAMPLES = (
    "```sql",
    "-- pine beams that end between 1750 and 1800, in bundles that are there",
    "SELECT b.path, s.sample_id, s.outer_year FROM sample s JOIN bundle b USING (bundle_id)",
    "WHERE b.state = 'there' AND s.species LIKE 'PI%' AND s.\"use\" = 'beam'",
    "  AND s.end_to_year >= 1750 AND s.end_from_year <= 1800;",
    "-- how many samples each keeper has",
    "SELECT keeper_id, count(*) FROM sample JOIN bundle USING (bundle_id)",
    "WHERE state = 'there' GROUP BY keeper_id ORDER BY 2 DESC;",
    "-- the last word of the audit on every bundle",
    "SELECT path, outcome, ended_at FROM examination e WHERE examination_id =",
    "  (SELECT max(examination_id) FROM examination WHERE path = e.path);",
    "```",
)
