"""Reads a package for what its public edition must withhold, and how its rows hang together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import compress
from operator import ne

from provenance._bundle.redaction.forms import public_forms
from provenance._bundle.redaction.masking import WITHHELD, Masker, WithheldValues, squeezed
from provenance._bundle.redaction.people import (
    PARTY,
    Columns,
    PublicPeople,
    public_people,
    unnamed,
)
from provenance._bundle.redaction.places import as_decimal, corners, zero_of
from provenance._bundle.redaction.safe_keys import KeyJudge
from provenance._bundle.redaction.stand_ins import (
    FULL_ONLY,
    StandIns,
    read_stand_ins,
    said_once,
)
from provenance._history.history import CHANGE
from provenance._history.projection import links_of
from provenance._model.schema import Field, Model, Table
from provenance._record.cells import TRUE_WORDS
from provenance._record.joined import keys_now
from provenance._record.package import Package

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

    `renamed` maps table → old key → the key in public, '' for somebody who is blank there; `zeros`
    maps a site's code to the new zero of its x, y and z axes in metres; `site_of` maps table → key
    → site. `people` are those who are named and those who are not; `stand_ins` has the stand-ins,
    new ones among them that the package does not keep yet.
    """

    package: Package
    forms: Mapping[str, Mapping[str, str]]
    masker: Masker
    renamed: Mapping[str, Mapping[str, str]]
    zeros: Mapping[str, tuple[Decimal, Decimal, Decimal]]
    site_of: Mapping[str, Mapping[str, str]]
    people: PublicPeople
    stand_ins: StandIns

    def public_key(self, table: str, key: str) -> str:
        """A row's key in public."""
        return self.renamed.get(table, {}).get(key, key)


def gather_known(package: Package) -> Known:
    """Read every table for what must be withheld.

    Raises UnusablePackage when a table cannot be read.
    """
    model = package.model
    forms = public_forms(model)
    values = WithheldValues()
    open_names: set[str] = set()
    stand_ins = read_stand_ins(package)
    people = PublicPeople({}, ())
    keys: dict[str, list[str]] = {}
    site_of: dict[str, dict[str, str]] = {}
    for table in model.tables.values():
        if table.name in FULL_ONLY:
            continue
        columns = whole_columns(package, table)
        if table.name == PARTY:
            people = public_people(columns, stand_ins, _named_before(package, columns, stand_ins))
            values.codes.update({code: new or WITHHELD for code, new in people.codes.items()})
        if table.role == "history":
            # all else that acts say stands in other tables, or is nowhere shown
            columns = {name: texts if name == "who" else [] for name, texts in columns.items()}
        _gather_values(table, columns, forms[table.name], values)
        _gather_values(table, *_said_before(package, table, columns, forms[table.name]), values)
        open_names |= _open_names(columns, forms[table.name])
        if own_key := own_key_field(table):
            keys[table.name] = list(dict.fromkeys(columns[own_key.name]))
            site_of[table.name] = _site_of_keys(table, own_key.name, columns)
    # the town in a withheld address is no secret where a laboratory is named for it
    values.phrases = {
        one for one in values.phrases if not any(squeezed(one) in name for name in open_names)
    } | values.full_names
    words = trade_words(model)
    masker = Masker(values, words)
    judge = KeyJudge(masker, values.full_names, words)
    renamed = _public_keys(package, judge, keys, people, stand_ins)
    told = {
        old: new or WITHHELD
        for given in renamed.values()
        for old, new in given.items()
        if _is_code(old)
    }
    if told.keys() - values.codes.keys():
        # what may not be a key may not stand in a text either
        values.codes = told | values.codes
        values.phrases |= set(renamed[SITE])
        masker = Masker(values, words)
    zeros = _zeros(package, forms, site_of)
    return Known(package, forms, masker, renamed, zeros, site_of, people, stand_ins)


def _named_before(package: Package, columns: Columns, stand_ins: StandIns) -> set[str]:
    """Codes of those whom an earlier edition may have named, under this code or another one."""
    agreed = said_once(package, PARTY, "may_be_named")
    once = {code for code, said in agreed.items() if not said.isdisjoint(TRUE_WORDS)}
    once |= {code for table, code in stand_ins.retired if table == PARTY}
    # somebody who was taken out may have been entered again
    names = {
        squeezed(name)
        for code, said in (said_once(package, PARTY, "name").items() if once else ())
        if code in once
        for name in said
        if name
    }
    pairs = zip(columns["party_id"], columns["name"], strict=True)
    return once | {code for code, name in pairs if squeezed(name) in names}


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


def _public_keys(
    package: Package,
    judge: KeyJudge,
    keys: Mapping[str, list[str]],
    people: PublicPeople,
    stand_ins: StandIns,
) -> dict[str, dict[str, str]]:
    """Table → key → the key in public, for all that is another one there."""
    model = package.model
    renamed: dict[str, dict[str, str]] = {PARTY: dict(people.codes)}
    for table in model.of_role("record"):
        one = own_key_field(table)
        if one is None or one.type != "string" or table.name not in keys:
            continue
        given = renamed.setdefault(table.name, {})
        left = [key for key in keys[table.name] if key and key not in given]
        # who is named may have a code that is a word; what a program made of a row is that row's
        telling = judge.holding(left) if table.name == PARTY else judge.telling(left)
        # a number that was given out in advance is that of the sample
        source = "sample" if table.name == "reservation" else table.name
        given.update({key: stand_ins.of(source, key) for key in left if key in telling})
    for name, given in renamed.items():
        # the ledger goes on naming what a row was called before
        former = keys_now(package.tables, name)
        renamed[name] = {old: given.get(new, new) for old, new in former.items()} | given
    for table in model.of_role("derived"):
        if (one := own_key_field(table)) and one.name not in links_of(table):
            renamed[table.name] = _made_of_others(package, table, one.name, judge, renamed)
    return renamed


def _made_of_others(
    package: Package,
    table: Table,
    own: str,
    judge: KeyJudge,
    renamed: Mapping[str, Mapping[str, str]],
) -> dict[str, str]:
    """New keys for computed rows, whose keys are made of those of other rows: end:B1-014:a."""
    columns = whole_columns(package, table)
    links = {name: renamed.get(target, {}) for name, target in links_of(table).items()}
    found: dict[str, str] = {}
    for place, key in enumerate(columns[own]):
        found[key] = key
        for name, given in links.items():
            old = columns[name][place]
            if old in given:
                alone = rf"(?<![^\W_]){re.escape(old)}(?![^\W_])"
                found[key] = re.sub(alone, given[old], found[key])
    # a computed row is another one each time, so a number does
    holding = sorted(judge.holding(list(dict.fromkeys(found.values()))))
    numbered = {key: f"{table.name}-{at}" for at, key in enumerate(holding, start=1)}
    public = {key: numbered.get(new, new) for key, new in found.items()}
    return {key: new for key, new in public.items() if new != key}


def _is_code(key: str) -> bool:
    """Whether a key is no plain word, which stands in texts for other things."""
    return not key.isalpha() or key.isupper()


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
