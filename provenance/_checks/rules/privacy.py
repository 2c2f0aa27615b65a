"""Rules about what must not become public: people, directions to the place, and private letters."""

from __future__ import annotations

from collections.abc import Iterator

import polars as pl

from provenance._checks.language.rule import COMMON_PRACTICE, EVERY_TABLE, over_fields, rule
from provenance._disclosure.places.shapes import COORDINATES
from provenance._model.schema import core_fields
from provenance._record.snapshot import Snapshot
from provenance._record.tables import ROW, is_written

GDPR = "GDPR, Regulation (EU) 2016/679, article 5(1)(c) (data minimisation)"
SECRECY = "Darwin Core, dataGeneralizations and informationWithheld; " + COMMON_PRACTICE
SHORTEST_NAME = 6
"""Shorter names are too often plain words."""

EMAIL = r"([A-Za-z0-9._%+-]+@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)*\.[A-Za-z]{2,})"
# an international number; a trunk 0 with an area code; ten digits as North America writes them.
# None may begin within another number, so dates, sizes and plug numbers pass.
PHONE = (
    r"(?:^|[\s:;,(.])(\+[0-9][0-9 ()./-]{7,17}[0-9]"
    r"|0[0-9]{2,4}[ )/-]{1,2}[0-9]{3,}(?:[ -][0-9]{2,})*"
    r"|[0-9]{3}(?:\) ?|[.-])[0-9]{3}[.-][0-9]{4})\b"
)


def _open_texts(tables: Snapshot) -> list[tuple[str, str]]:
    """Table and field of every free text that the public edition shows, where any is written."""
    return tables.once("open texts", lambda all_: list(_find_open_texts(all_)))


def _find_open_texts(tables: Snapshot) -> Iterator[tuple[str, str]]:
    for table in tables.model.of_role("record"):
        for one in table.fields:
            free = not (one.vocabulary or one.notation or one.constraints.get("pattern"))
            # names of files are read like any other text
            free = free or one.notation == "relative_path"
            links = any(one.name in key.fields for key in table.foreign_keys)
            is_open = one.type == "string" and one.sensitivity == "open" and free and not links
            if is_open and is_written(tables[table.name][one.name]):
                yield table.name, one.name


def _matches(tables: Snapshot, pattern: str) -> pl.DataFrame:
    """Every open text that holds the pattern, with its first group in `found`."""

    def held(table: str, field: str) -> pl.DataFrame:
        found = tables[table][field].str.extract(pattern, 1).alias("found")
        return tables[table][[ROW]].hstack([found]).drop_nulls("found")

    return over_fields("found", ((*one, held(*one)) for one in _open_texts(tables)))


def _mentions(tables: Snapshot, names: dict[str, str]) -> pl.DataFrame:
    """Every open text that mentions one of the names (as whole words), with its code in `found`."""
    wanted = {pl.select(_as_words(pl.lit(name))).item(): code for name, code in names.items()}
    wanted = {words: code for words, code in wanted.items() if len(words) >= SHORTEST_NAME + 2}
    first = pl.col("words").str.extract_many(list(wanted)).list.first()
    code = first.replace_strict(wanted, default=None, return_dtype=pl.String)

    def held(table: str, field: str) -> pl.DataFrame:
        # people and sites both ask
        texts = tables.once(
            f"words of {table}.{field}",
            lambda all_: all_[table].drop_nulls(field).select(ROW, words=_as_words(pl.col(field))),
        )
        return texts.with_columns(found=code).drop_nulls("found")

    places = _open_texts(tables) if wanted else ()
    return over_fields("found", ((*one, held(*one)) for one in places))


def _as_words(text: pl.Expr) -> pl.Expr:
    """The words of a text in small letters, single blanks between, without bracketed remarks."""
    plain = text.str.replace_all(r"\([^)]*\)", " ").str.to_lowercase()
    return pl.format(" {} ", plain.str.replace_all(r"[^\p{L}\p{N}]+", " ").str.strip_chars())


@rule(
    "privacy.email_in_open_field",
    table=EVERY_TABLE,
    severity="error",
    says="The address {found} is in a field that becomes public.",
    remedy="Move it to the party's e-mail field and use the party's code here.",
    source=GDPR,
)
def email_in_open_field(tables: Snapshot) -> pl.DataFrame:
    """Published data cannot be called back."""
    return _matches(tables, EMAIL)


@rule(
    "privacy.phone_in_open_field",
    table=EVERY_TABLE,
    severity="warning",
    says="A possible phone number, {found}, is in a field that becomes public.",
    remedy="Move it to the access notes of the site, which are never published.",
    source=GDPR + "; ITU-T E.164 (at most 15 digits)",
)
def phone_in_open_field(tables: Snapshot) -> pl.DataFrame:
    """Published data cannot be called back."""
    return _matches(tables, PHONE)


@rule(
    "privacy.coordinates_in_open_field",
    table=EVERY_TABLE,
    severity="error",
    says="Coordinates ({found}) are in a field that becomes public.",
    remedy="Move them to the latitude and longitude of the site; the public edition rounds those.",
    source=SECRECY,
)
def coordinates_in_open_field(tables: Snapshot) -> pl.DataFrame:
    """The public edition hides where protected places are; a note must not reveal it."""
    return _matches(tables, COORDINATES)


@rule(
    "privacy.person_in_open_field",
    table=EVERY_TABLE,
    severity="error",
    says="The full name of {found}, who has not agreed to be named, is in a field that becomes "
    "public.",
    remedy="Write the party's code instead of the name, or ask and set 'may be named' to yes.",
    source=GDPR,
)
def person_in_open_field(tables: Snapshot) -> pl.DataFrame:
    """People agreed to help, not to be published."""
    people = tables["party"].filter(
        (pl.col("kind") == "person") & ~pl.col("may_be_named").fill_null(False)
    )
    people = people.drop_nulls(["name", "party_id"])
    return _mentions(tables, dict(people.select("name", "party_id").iter_rows()))


@rule(
    "privacy.site_name_in_open_field",
    table=EVERY_TABLE,
    severity="error",
    says="The real name of site {found} is in a field that becomes public.",
    remedy="Write the site's code or its public name instead.",
    source=SECRECY,
)
def site_name_in_open_field(tables: Snapshot) -> pl.DataFrame:
    """The public edition hides the name of the place; a note must not reveal it."""
    sites = tables["site"].drop_nulls(["name", "site_id"])
    # a site whose public name is its real name hides nothing (another rule asks about that)
    hidden = sites.filter(
        pl.col("public_name").is_null() | (pl.col("public_name") != pl.col("name"))
    )
    return _mentions(tables, dict(hidden.select("name", "site_id").iter_rows()))


@rule(
    "privacy.public_name_is_the_real_one",
    table="site",
    field="public_name",
    severity="error",
    says="The public name of site {site_id} is its real name.",
    remedy="Give it a number or an invented name, unless owner and authority agree to the real "
    "one.",
    source=SECRECY,
)
def public_name_is_the_real_one(tables: Snapshot) -> pl.DataFrame:
    """A name leads to the place as surely as coordinates do."""
    if tables.model.table("site").field("name").withheld:
        # the public edition, where the one stands in for the other
        return tables["site"].clear()
    return tables["site"].filter(_as_words(pl.col("public_name")) == _as_words(pl.col("name")))


@rule(
    "privacy.field_is_closed",
    table=EVERY_TABLE,
    severity="note",
    says="The profile added {found} and does not say that it is public, so the public edition "
    "leaves the column out.",
    remedy="If everyone may see it, write 'public: shown' and 'publicBecause: …' for the field in "
    "the profile and bring the package forward with 'treenail new --update'; if no one may, write "
    "'sensitivity: restricted'.",
    source=SECRECY,
)
def field_is_closed(tables: Snapshot) -> pl.DataFrame:
    """A field that the program does not know may hold anything, even a position."""

    def first_filled(table: str, field: str) -> pl.DataFrame:
        rows = tables[table].drop_nulls(field).head(1)
        return rows.select(ROW, found=pl.lit(f"{table}.{field}"))

    known = core_fields()
    closed = [
        (table.name, one.name)
        for table, one in tables.model.every_field()
        if (table.name, one.name) not in known
        and one.sensitivity == "open"
        # what an older program computed is of no profile, and 'derive' blanks it
        and not (table.role == "derived" and one.obtained == "computed")
        and (one.public is None or (one.public == "shown" and not one.public_because))
    ]
    return over_fields("found", ((*one, first_filled(*one)) for one in closed))


@rule(
    "privacy.nobody_asked",
    table="party",
    field="may_be_named",
    severity="note",
    says="Whether {party_id} may be named is not recorded.",
    remedy="Ask; until there is an answer, the name is withheld.",
    source="GDPR, Regulation (EU) 2016/679, article 6(1)(a) (consent)",
)
def nobody_asked(tables: Snapshot) -> pl.DataFrame:
    """People decide whether they get public credit."""
    return tables["party"].filter((pl.col("kind") == "person") & pl.col("may_be_named").is_null())


@rule(
    "privacy.letter_in_the_open",
    table="file",
    field="access",
    severity="warning",
    says="File {file_id} is a {kind} and would be public.",
    remedy="Set its access to 'restricted', unless it was written to be published.",
    source=GDPR,
)
def letter_in_the_open(tables: Snapshot) -> pl.DataFrame:
    """Letters and completed sheets name people and places."""
    return tables["file"].filter(
        pl.col("kind").is_in(["letter", "form"]) & (pl.col("access") == "open")
    )
