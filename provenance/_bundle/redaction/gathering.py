"""Reads a package for what its public edition must withhold, and how its rows hang together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import compress
from operator import ne

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.decisions import read_decisions
from provenance._bundle.redaction.forms import public_forms
from provenance._bundle.redaction.harmless import SPECIMEN, is_safe_key, is_specimen
from provenance._bundle.redaction.masking import Masker, WithheldValues, squeezed
from provenance._bundle.redaction.people import PARTY, Columns, new_codes, unnamed
from provenance._bundle.redaction.places import as_decimal, corners, zero_of
from provenance._bundle.redaction.release import KEY, Release
from provenance._bundle.redaction.schemas import added_fields, public_lists, public_tables
from provenance._bundle.redaction.shipped import Shipped, shipped_models
from provenance._history.history import CHANGE
from provenance._model.schema import Field, Model, Table, Vocabulary
from provenance._record.cells import TRUE_WORDS
from provenance._record.edition_key import EDITION_KEY, edition_key
from provenance._record.joined import keys_now
from provenance._record.package import DESCRIPTOR, Package

SITE = "site"
LATITUDE = "http://rs.tdwg.org/dwc/terms/decimalLatitude"
LONGITUDE = "http://rs.tdwg.org/dwc/terms/decimalLongitude"
LARGE = 10_000
"""A site grid coordinate beyond this is one of a map grid, in all likelihood."""
SHORTEST_NAME_WORD = 3
GRID_FORMS = {"site_x": 0, "site_y": 1, "site_z": 2}
_CLOSED = dict.fromkeys(("if_agreed", "role", "stand_in"), "withheld")
"""Forms that depend on the row, for texts whose row is not known."""
_BRACKETS = re.compile(r"\([^)]*\)")


@dataclass(frozen=True)
class Known:
    """What must be known of a whole package before its first table is redacted.

    `renamed` maps table → old key → the key in public; `zeros` maps a site's code to the new zero
    of its x, y and z axes in metres; `site_of` maps table → key → site. `tables` are those that the
    public edition has, `keys` the keys of each as they are in the package; `lists` are the codes
    that it shows, and `release` says what people released.
    """

    package: Package
    shipped: Shipped
    tables: Sequence[str]
    lists: Mapping[str, Vocabulary]
    release: Release
    keys: Mapping[str, frozenset[str]]
    forms: Mapping[str, Mapping[str, str]]
    masker: Masker
    renamed: Mapping[str, Mapping[str, str]]
    zeros: Mapping[str, tuple[Decimal, Decimal, Decimal]]
    site_of: Mapping[str, Mapping[str, str]]


def gather_known(package: Package) -> Known:
    """Read every table for what must be withheld.

    Raises UnusablePackage when a table cannot be read.
    """
    model, shipped = package.model, shipped_models()
    key = edition_key(package)
    if key is None:
        raise UnusablePackage(f"{package.folder / DESCRIPTOR} has no '{EDITION_KEY}'")
    forms = public_forms(model)
    values = WithheldValues()
    open_names: set[str] = set()
    renamed: dict[str, dict[str, str]] = {}
    keys: dict[str, list[str]] = {}
    site_of: dict[str, dict[str, str]] = {}
    tables = public_tables(shipped, model)
    for table in model.tables.values():
        if table.role == "review" and table.name not in tables:
            # texts stand there a second time, and what is said of them is nowhere shown
            continue
        columns = whole_columns(package, table)
        if table.name == PARTY:
            renamed[PARTY] = new_codes(columns)
            values.codes.update(renamed[PARTY])
        if table.role == "history":
            # all else that acts say stands in other tables, or is nowhere shown
            columns = {name: texts if name == "who" else [] for name, texts in columns.items()}
        _gather_values(table, columns, _gathered_forms(shipped, table, forms), values)
        _gather_values(table, *_said_before(package, table, columns, forms[table.name]), values)
        open_names |= _open_names(columns, forms[table.name])
        if own_key := own_key_field(table):
            keys[table.name] = list(dict.fromkeys(columns[own_key.name]))
            site_of[table.name] = _site_of_keys(table, own_key.name, columns)
    # the town in a withheld address is no secret where a laboratory is named for it
    values.phrases = {
        one for one in values.phrases if not any(squeezed(one) in name for name in open_names)
    } | values.full_names
    masker = Masker(values, trade_words(model))
    release = Release(read_decisions(package), masker, key, _states(package))
    for name, found in keys.items():
        given = renamed.get(name, {})
        if name in tables and shipped.core.tables[name].role not in ("intake", "history"):
            core = shipped.core.tables[name]
            renamed[name] = given | _new_keys(core, found, given, release, masker)
    for name, given in renamed.items():
        # the ledger goes on naming what a row was called before
        former = keys_now(package.tables, name)
        renamed[name] = {old: given.get(new, new) for old, new in former.items()} | given
    return Known(
        package,
        shipped,
        tables,
        public_lists(shipped, model, release),
        release,
        {name: frozenset(found) for name, found in keys.items()},
        forms,
        masker,
        renamed,
        _zeros(package, forms, site_of),
        site_of,
    )


def _states(package: Package) -> dict[str, str]:
    """How each site's protection and consent, and each person's consent to be named, stand now."""
    states = {}
    for row in package.tables.rows(SITE):
        states[f"site:{row['site_id']}"] = f"{row.get('protection')},{row.get('owner_consent')}"
    for row in package.tables.rows(PARTY):
        if row["may_be_named"] in TRUE_WORDS:
            states[f"party:{row['party_id']}"] = "agreed"
    return states


def _gathered_forms(
    shipped: Shipped, table: Table, forms: Mapping[str, Mapping[str, str]]
) -> Mapping[str, str]:
    """The forms by which a table is searched for withheld values.

    The texts of a field that is closed only because its profile says nothing of it may be plain
    words of the trade; its numbers are withheld values like others.
    """
    found = dict(forms[table.name])
    for one in added_fields(shipped, table):
        if one.sensitivity == "open" and one.type not in ("number", "integer"):
            found[one.name] = "shown"
    return found


def _said_before(
    package: Package, table: Table, columns: Columns, forms: Mapping[str, str]
) -> tuple[Columns, Mapping[str, str]]:
    """What acts said of fields that are not shown and no longer stands, all of it withheld.

    A name that was corrected, or a person who was taken out, may still be told in a note.
    """
    found: dict[str, dict[str, None]] = defaultdict(dict)
    names = ("table_name", "field", "before", "after")
    closed = {name for name in table.names if forms[name] not in ("shown", "radius")}
    if CHANGE in package.model.tables:
        for named, field, *texts in package.tables.tuples(CHANGE, names):
            if named == table.name and field in closed:
                found[field].update(dict.fromkeys(texts))
    gone = {name: [t for t in found[name] if t not in set(columns[name])] for name in table.names}
    return gone, {name: _CLOSED.get(form, form) for name, form in forms.items()}


def whole_columns(package: Package, table: Table) -> dict[str, list[str]]:
    """A table as written, with every column of its schema; others stand behind."""
    names = dict.fromkeys((*table.names, *package.tables.columns(table.name)))
    return {name: package.tables.column(table.name, name) for name in names}


def trade_words(model: Model) -> set[str]:
    """The words of the vocabularies: alone they give nobody away."""
    words: set[str] = set()
    for vocabulary in model.vocabularies.values():
        for term in vocabulary.terms:
            for text in (term.code, term.label, *term.synonyms):
                words.add(text)
                words.update(re.split(r"[\W_]+", text))
    return words


# -- values --------------------------------------------------------------------------------------


def _gather_values(
    table: Table, columns: Columns, forms: Mapping[str, str], values: WithheldValues
) -> None:
    links = {name for key in table.foreign_keys for name in key.fields}
    for one in table.fields:
        form = forms[one.name]
        if form in ("shown", "radius") or one.name in links:
            continue
        cells = columns[one.name]
        if form in ("if_agreed", "role"):
            cells = list(compress(cells, unnamed(columns)))
        elif form == "stand_in" and "public_name" in columns:
            cells = list(compress(cells, map(ne, cells, columns["public_name"])))
        found = [text for text in dict.fromkeys(cells) if text]
        if one.type in ("number", "integer"):
            _add_numbers(one, form, found, values)
        elif form in GRID_FORMS or form == "site_outline":
            for text in found:
                pairs = corners(text) or []
                values.metres.update(float(n) for pair in pairs for n in pair if abs(n) >= LARGE)
        elif one.type == "string" and one.notation != "sha256":
            codes = set(one.constraints.get("enum", ()))
            _add_texts(form, [text for text in found if text not in codes], values)


def _add_numbers(one: Field, form: str, found: list[str], values: WithheldValues) -> None:
    for text in found:
        number = as_decimal(text)
        if number is None:
            values.phrases.add(text)
        elif form in GRID_FORMS:
            if abs(number) >= LARGE:
                values.metres.add(float(number))
        elif form == "latitude" or one.rdf_type == LATITUDE:
            values.latitudes.add(float(number))
        elif form == "longitude" or one.rdf_type == LONGITUDE:
            values.longitudes.add(float(number))
        elif (one.unit, one.sensitivity) == ("deg", "location"):
            # which of the two is not said
            values.latitudes.add(float(number))
            values.longitudes.add(float(number))
        elif abs(number) >= LARGE and one.sensitivity == "location":
            values.metres.add(float(number))
        else:
            values.numbers.add(float(number))


def _open_names(columns: Columns, forms: Mapping[str, str]) -> set[str]:
    """The names of those who may be named, squeezed."""
    return {
        squeezed(text)
        for name, form in forms.items()
        if form == "role"
        for text, hidden in zip(columns[name], unnamed(columns), strict=True)
        if text and not hidden
    }


def _add_texts(form: str, found: list[str], values: WithheldValues) -> None:
    is_name = form in ("stand_in", "role")
    for text in found:
        bare = _BRACKETS.sub(" ", text).strip()
        values.phrases.update({text, bare})
        values.phrases.update(_parts(bare))
        if is_name:
            values.full_names.update({text, bare})
            values.names.update(_name_words(bare))


def _parts(text: str) -> Iterator[str]:
    """The parts of a longer text that could stand alone, such as the lines of an address."""
    parts = re.split(r"[,;\n]", text)
    if len(parts) > 1:
        for part in parts:
            if len(part.split()) > 1 and len(squeezed(part)) >= 8:
                yield part


def _name_words(name: str) -> Iterator[str]:
    for word in re.findall(r"[^\W\d_]+", name):
        if len(word) >= SHORTEST_NAME_WORD and not word[0].islower():
            yield word


# -- keys ----------------------------------------------------------------------------------------


def own_key_field(table: Table) -> Field | None:
    """The one field that is a table's key; None where several are."""
    return table.field(table.primary_key[0]) if len(table.primary_key) == 1 else None


def _new_keys(
    table: Table, keys: list[str], given: Mapping[str, str], release: Release, masker: Masker
) -> dict[str, str]:
    """New keys for those that nobody released, and that could say more than a number does.

    Those of computed rows are not asked for: nobody chose them, and nobody needs them.
    """
    key_field = own_key_field(table)
    if key_field is None or key_field.type != "string":
        return {}
    own = [key for key in keys if key and key not in given]
    is_safe = is_specimen if key_field.notation == SPECIMEN else is_safe_key
    hits = masker.hits(own)
    doubtful = [key for key, found in zip(own, hits, strict=True) if found or not is_safe(key)]
    where = f"{table.name}.{key_field.name}"
    shown: Sequence[str | None] = [None] * len(doubtful)
    if key_field.obtained != "computed":
        shown = release.of_texts(KEY, where, doubtful)
    renamed: dict[str, str] = {}
    taken = {key.casefold() for key in (*keys, *given.values())}
    number = 0
    for key, released in zip(doubtful, shown, strict=True):
        if key == released:
            continue
        new = ""
        while not new or new.casefold() in taken:
            number += 1
            new = _new_key(table.name, number, key_field)
        renamed[key] = new
    return renamed


def _new_key(table: str, number: int, field: Field) -> str:
    pattern = field.constraints.get("pattern") or (
        shipped_models().core.notations[field.notation].pattern if field.notation else None
    )
    for new in (f"{table}-{number}", f"X{number}"):
        if not pattern or re.fullmatch(pattern, new):
            break
    return new


# -- sites and their grids -----------------------------------------------------------------------


def _site_of_keys(table: Table, key: str, columns: Columns) -> dict[str, str]:
    if table.name == SITE:
        return {site: site for site in columns[key]}
    for link in table.foreign_keys:
        if link.table == SITE and len(link.fields) == 1:
            return dict(zip(columns[key], columns[link.fields[0]], strict=True))
    return {}


def sites_of_rows(
    table: Table, columns: Columns, site_of: Mapping[str, Mapping[str, str]]
) -> list[str]:
    """The site of each row, its own or that of what it belongs to; '' where none can be told."""
    found = [""] * len(columns[table.names[0]])
    for key in table.foreign_keys:
        if len(key.fields) != 1:
            continue
        known = site_of.get(key.table, {})
        for place, text in enumerate(columns[key.fields[0]]):
            if not found[place] and text:
                found[place] = known.get(text, "")
    return found


def _zeros(
    package: Package,
    forms: Mapping[str, Mapping[str, str]],
    site_of: Mapping[str, Mapping[str, str]],
) -> dict[str, tuple[Decimal, Decimal, Decimal]]:
    """The new zero of each site's grid, over every table that has coordinates on it."""
    axes: dict[str, tuple[list[Decimal], ...]] = defaultdict(lambda: ([], [], []))
    for table in package.model.tables.values():
        on_grid = {
            name: form
            for name, form in forms[table.name].items()
            if form in GRID_FORMS or form == "site_outline"
        }
        if not on_grid:
            continue
        columns = whole_columns(package, table)
        sites = sites_of_rows(table, columns, site_of)
        for name, form in on_grid.items():
            for site, text in zip(sites, columns[name], strict=True):
                if not text:
                    continue
                if form == "site_outline":
                    for x, y in corners(text) or []:
                        axes[site][0].append(x)
                        axes[site][1].append(y)
                elif (value := as_decimal(text)) is not None:
                    axes[site][GRID_FORMS[form]].append(value)
    return {
        site: (zero_of(found[0]), zero_of(found[1]), zero_of(found[2]))
        for site, found in axes.items()
        if site
    }
