"""Reads a package for what its public edition must withhold, and how its rows hang together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import compress
from operator import ne

from provenance._bundle.redaction.forms import public_forms
from provenance._bundle.redaction.masking import Masker, WithheldValues
from provenance._bundle.redaction.own_grids import Grids, own_grids
from provenance._bundle.redaction.people import PARTY, Columns, new_codes, unnamed
from provenance._bundle.redaction.placed import AXES, PLACED_FORMS
from provenance._bundle.redaction.places import as_decimal, corners
from provenance._bundle.redaction.points import LATITUDE, LONGITUDE, protected_points
from provenance._disclosure.addresses import address_parts
from provenance._disclosure.flat import letters_of
from provenance._disclosure.numbers import WithheldNumber, codes_in
from provenance._history.history import CHANGE
from provenance._model.schema import Field, Model, Table, read_core
from provenance._record.edition_key import edition_key
from provenance._record.joined import keys_now
from provenance._record.package import Package

SITE = "site"
LARGE = 10_000
"""A site grid coordinate beyond this is one of a map grid, in all likelihood."""
_CLOSED = dict.fromkeys(("if_agreed", "role", "stand_in"), "withheld")
"""Forms that depend on the row, for texts whose row is not known."""
_BRACKETS = re.compile(r"\([^)]*\)")
LONGEST_LITTLE_WORD = 4
"""Longer words of a title say what a number is."""


@dataclass(frozen=True)
class Known:
    """What must be known of a whole package before its first table is redacted.

    `renamed` maps table → old key → the key in public; `grids` are the own grids of buildings.
    """

    package: Package
    forms: Mapping[str, Mapping[str, str]]
    masker: Masker
    renamed: Mapping[str, Mapping[str, str]]
    grids: Grids


def gather_known(package: Package) -> Known:
    """Read every table for what must be withheld.

    Raises UnusablePackage when a table cannot be read.
    """
    model = package.model
    forms = public_forms(model)
    values = WithheldValues()
    open_names: set[str] = set()
    renamed: dict[str, dict[str, str]] = {}
    keys: dict[str, list[str]] = {}
    for table in model.tables.values():
        columns = whole_columns(package, table)
        if table.name == PARTY:
            renamed[PARTY] = new_codes(columns)
            values.codes.update(renamed[PARTY])
        if table.role == "history":
            # all else that acts say stands in other tables, or is nowhere shown
            columns = {name: texts if name == "who" else [] for name, texts in columns.items()}
        _gather_values(table, columns, forms[table.name], values)
        _gather_values(table, *_said_before(package, table, columns, forms[table.name]), values)
        open_names |= _open_names(columns, forms[table.name])
        if own_key := own_key_field(table):
            keys[table.name] = list(dict.fromkeys(columns[own_key.name]))
    # the town in a withheld address is no secret where a laboratory is named for it
    values.phrases = {
        one for one in values.phrases if not any(letters_of(one) in name for name in open_names)
    }
    values.points.update(protected_points(package, forms))
    masker = Masker(values, trade_words(model), everyday_words())
    for name, found in keys.items():
        given = renamed.get(name, {})
        renamed[name] = given | _clean_keys(model.table(name), found, given, masker)
    for name, given in renamed.items():
        # the ledger goes on naming what a row was called before
        former = keys_now(package.tables, name)
        renamed[name] = {old: given.get(new, new) for old, new in former.items()} | given
    grids = own_grids(package, edition_key(package) or "")
    return Known(package, forms, masker, renamed, grids)


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


def everyday_words() -> set[str]:
    """The words in small letters of the program's own schemas, which tell of no place or person."""
    core = read_core()
    texts = [text for _, one in core.every_field() for text in (one.title, one.description)]
    for vocabulary in core.vocabularies.values():
        texts += [term.definition for term in vocabulary.terms]
    words = {word for text in texts for word in re.findall(r"[^\W\d_]+", text or "")}
    return {word for word in words if word.islower()}


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
        where = f"{table.name}.{one.name}"
        if one.type in ("number", "integer"):
            _add_numbers(one, where, form, found, values)
        elif form == "site_outline":
            for text in found:
                pairs = corners(text) or []
                values.metres.update(float(n) for pair in pairs for n in pair if abs(n) >= LARGE)
        elif one.type == "string" and one.notation != "sha256":
            codes = set(one.constraints.get("enum", ()))
            free = [text for text in found if text not in codes]
            if form in ("role", "stand_in"):
                _add_names(form, free, values)
                # a name with figures is known by these
                free = [text for text in free if any(map(str.isdigit, text))]
            elif _names_people(table, one):
                values.people.update(filter(_looks_like_a_name, free))
            _add_texts(where, free, values)
            if "address" in f"{one.name} {one.title}".lower():
                _add_addresses(where, free, values)
            if table.role == "record":
                for text in free:
                    values.numbers.update(codes_in(text, where, one.title))


def _add_numbers(
    one: Field, where: str, form: str, found: list[str], values: WithheldValues
) -> None:
    for text in found:
        number = as_decimal(text)
        if number is None:
            values.phrases.add(text)
        elif form in PLACED_FORMS:
            if form in AXES and abs(number) >= LARGE:
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
            words = re.findall(r"[^\W\d_]+", one.title.lower()) if one.unit else ()
            cues = frozenset(word for word in words if len(word) > LONGEST_LITTLE_WORD)
            is_height = (one.unit, one.sensitivity) == ("m", "location")
            values.numbers.add(WithheldNumber(text, where, cues, is_length_m=is_height))


def _open_names(columns: Columns, forms: Mapping[str, str]) -> set[str]:
    """The names of those who may be named, as letters."""
    return {
        letters_of(text)
        for name, form in forms.items()
        if form == "role"
        for text, hidden in zip(columns[name], unnamed(columns), strict=True)
        if text and not hidden
    }


def _add_names(form: str, found: list[str], values: WithheldValues) -> None:
    (values.people if form == "role" else values.names).update(found)


def _names_people(table: Table, one: Field) -> bool:
    """Whether a personal field may say a name: that of who acts, or one that a profile added."""
    core = read_core().tables.get(table.name)
    is_added = core is None or one.name not in core
    return one.sensitivity == "personal" and (is_added or one.name in ("who", "owner_name"))


def _looks_like_a_name(text: str) -> bool:
    """Whether a personal text is two to four words with capitals, and so somebody's name."""
    words = text.split()
    return 2 <= len(words) <= 4 and all(
        word[0].isupper() and word.replace(".", "").isalpha() for word in words
    )


def _add_texts(where: str, found: list[str], values: WithheldValues) -> None:
    for text in found:
        bare = _BRACKETS.sub(" ", text).strip()
        for phrase in (text, bare, *_parts(bare)):
            values.phrases.add(phrase)
            values.fields.setdefault(phrase, where)


def _parts(text: str) -> Iterator[str]:
    """The parts of a longer text that could stand alone, such as the lines of an address."""
    parts = re.split(r"[,;\n]", text)
    if len(parts) > 1:
        for part in parts:
            if len(part.split()) > 1 and len(letters_of(part)) >= 8:
                yield part


def _add_addresses(where: str, found: list[str], values: WithheldValues) -> None:
    for text in found:
        for part in address_parts(text):
            values.phrases.add(part)
            values.fields.setdefault(part, where)


# -- keys ----------------------------------------------------------------------------------------


def own_key_field(table: Table) -> Field | None:
    """The one field that is a table's key; None where several are."""
    return table.field(table.primary_key[0]) if len(table.primary_key) == 1 else None


def _clean_keys(
    table: Table, keys: list[str], given: Mapping[str, str], masker: Masker
) -> dict[str, str]:
    """New keys for those that hold a withheld value; numbers as keys hold none."""
    key_field = own_key_field(table)
    if key_field is None or key_field.type != "string":
        return {}
    renamed: dict[str, str] = {}
    taken = {key.casefold() for key in (*keys, *given.values())}
    number = 0
    for key, masked in zip(keys, masker.masked(keys), strict=True):
        if key == masked or key in given:
            continue
        new = ""
        while not new or new.casefold() in taken:
            number += 1
            new = _new_key(table.name, number, key_field)
        renamed[key] = new
    return renamed


def _new_key(table: str, number: int, field: Field) -> str:
    pattern = field.constraints.get("pattern")
    for new in (f"{table}-{number}", f"X{number}"):
        if not pattern or re.fullmatch(pattern, new):
            break
    return new
