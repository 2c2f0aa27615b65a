"""Reads a package for what its public edition must withhold, and how its rows hang together."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import compress
from operator import eq, ne

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.decisions import read_decisions
from provenance._bundle.redaction.forms import public_forms
from provenance._bundle.redaction.masking import WITHHELD, Masker, WithheldValues, masker_for
from provenance._bundle.redaction.own_grids import Grids, own_grids
from provenance._bundle.redaction.people import (
    NAME_PARTS,
    PARTY,
    Columns,
    PublicPeople,
    public_people,
    unnamed,
)
from provenance._bundle.redaction.placed import AXES, PLACED_FORMS
from provenance._bundle.redaction.places import as_decimal, corners
from provenance._bundle.redaction.points import LATITUDE, LONGITUDE, protected_points
from provenance._bundle.redaction.release import KEY, Release
from provenance._bundle.redaction.safe_keys import KeyJudge
from provenance._bundle.redaction.schemas import added_fields, public_lists, public_tables
from provenance._bundle.redaction.shipped import Shipped, shipped_models
from provenance._bundle.redaction.stand_ins import (
    FULL_ONLY,
    StandIns,
    read_stand_ins,
    said_once,
)
from provenance._disclosure.addresses import address_parts
from provenance._disclosure.flat import letters_of
from provenance._disclosure.numbers import WithheldNumber, codes_in
from provenance._history.history import CHANGE
from provenance._history.projection import links_of
from provenance._model.schema import Field, Model, Table, Vocabulary, read_core
from provenance._record.cells import TRUE_WORDS
from provenance._record.edition_key import EDITION_KEY, edition_key
from provenance._record.joined import keys_now
from provenance._record.package import DESCRIPTOR, Package

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

    `renamed` maps table → old key → the key in public, '' for somebody who is blank there; `grids`
    are the own grids of buildings. `people` are those who are named and those who are not;
    `stand_ins` has the stand-ins, new ones among them that the package does not keep yet. `tables`
    are those that the public edition has, `keys` the keys of each as they are in the package,
    `site_of` the site of each; `lists` are the codes that it shows, and `release` says what people
    released.
    """

    package: Package
    shipped: Shipped
    tables: Sequence[str]
    lists: Mapping[str, Vocabulary]
    release: Release
    keys: Mapping[str, frozenset[str]]
    site_of: Mapping[str, Mapping[str, str]]
    forms: Mapping[str, Mapping[str, str]]
    masker: Masker
    renamed: Mapping[str, Mapping[str, str]]
    grids: Grids
    people: PublicPeople
    stand_ins: StandIns

    def public_key(self, table: str, key: str) -> str:
        """A row's key in public."""
        return self.renamed.get(table, {}).get(key, key)


def gather_known(package: Package) -> Known:
    """Read every table for what must be withheld.

    Raises UnusablePackage when a table cannot be read.
    """
    model, shipped = package.model, shipped_models()
    key = edition_key(package)
    if key is None:
        raise UnusablePackage(f"{package.folder / DESCRIPTOR} has no '{EDITION_KEY}'")
    forms = model.once("public forms", public_forms)
    said = _said_in_acts(package)
    values = WithheldValues()
    open_names: set[str] = set()
    stand_ins = read_stand_ins(package)
    people = PublicPeople({}, ())
    keys: dict[str, list[str]] = {}
    site_of: dict[str, dict[str, str]] = {}
    tables = public_tables(shipped, model)
    for table in model.tables.values():
        if table.name in FULL_ONLY or (table.role == "review" and table.name not in tables):
            # texts stand there a second time, and what is said of them is nowhere shown
            continue
        columns = whole_columns(package, table)
        if table.name == PARTY:
            people = public_people(columns, stand_ins, _named_before(package, columns, stand_ins))
            values.codes.update({code: new or WITHHELD for code, new in people.codes.items()})
        if table.role == "history":
            # all else that acts say stands in other tables, or is nowhere shown
            columns = {name: texts if name == "who" else [] for name, texts in columns.items()}
        _gather_values(table, columns, _gathered_forms(shipped, table, forms), values)
        _gather_values(table, *_said_before(said, table, columns, forms[table.name]), values)
        open_names |= _open_names(columns, forms[table.name])
        if own_key := own_key_field(table):
            keys[table.name] = list(dict.fromkeys(columns[own_key.name]))
            site_of[table.name] = _site_of_keys(table, own_key.name, columns)
    # the town in a withheld address is no secret where a laboratory is named for it
    values.phrases = {
        one for one in values.phrases if not any(letters_of(one) in name for name in open_names)
    }
    values.points.update(protected_points(package, forms))
    words, everyday = model.once("trade words", trade_words), everyday_words()
    masker = masker_for(values, words, everyday)
    release = Release(read_decisions(package), masker, key, _states(package))
    judge = KeyJudge(masker, values.people | values.names, words)
    renamed = _public_keys(package, judge, keys, people, stand_ins, release)
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
        masker = masker_for(values, words, everyday)
        release.search_with(masker)
    return Known(
        package,
        shipped,
        tables,
        public_lists(shipped, model, release),
        release,
        {name: frozenset(found) for name, found in keys.items()},
        site_of,
        forms,
        masker,
        renamed,
        own_grids(package, key),
        people,
        stand_ins,
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


def _named_before(package: Package, columns: Columns, stand_ins: StandIns) -> set[str]:
    """Codes of those whom an earlier edition may have named, under this code or another one."""
    agreed = said_once(package, PARTY, "may_be_named")
    once = {code for code, said in agreed.items() if not said.isdisjoint(TRUE_WORDS)}
    once |= {code for table, code in stand_ins.retired if table == PARTY}
    # somebody who was taken out may have been entered again
    names = {
        letters_of(name)
        for code, said in (said_once(package, PARTY, "name").items() if once else ())
        if code in once
        for name in said
        if name
    }
    pairs = zip(columns["party_id"], columns["name"], strict=True)
    return once | {code for code, name in pairs if letters_of(name) in names}


_Said = Mapping[tuple[str, str], Mapping[str, None]]


def _said_in_acts(package: Package) -> _Said:
    """Every text that acts said of a field (table, name), each once."""
    said: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
    names = ("table_name", "field", "before", "after")
    if CHANGE in package.model.tables:
        for table, field, *texts in package.tables.tuples(CHANGE, names):
            said[table, field].update(dict.fromkeys(texts))
    return said


def _said_before(
    said: _Said, table: Table, columns: Columns, forms: Mapping[str, str]
) -> tuple[Columns, Mapping[str, str]]:
    """What acts said of fields that are not shown and no longer stands, all of it withheld.

    A name that was corrected, or a person who was taken out, may still be told in a note.
    """
    gone: dict[str, list[str]] = {name: [] for name in table.names}
    for name in table.names:
        if forms[name] not in ("shown", "radius") and (texts := said.get((table.name, name))):
            stands = set(columns[name])
            gone[name] = [text for text in texts if text not in stands]
    return gone, {name: _CLOSED.get(form, form) for name, form in forms.items()}


def whole_columns(package: Package, table: Table) -> dict[str, list[str]]:
    """A table as written, with every column of its schema; others stand behind."""
    names = dict.fromkeys((*table.names, *package.tables.columns(table.name)))
    return {name: package.tables.column(table.name, name) for name in names}


def trade_words(model: Model) -> frozenset[str]:
    """The words of the vocabularies: alone they give nobody away."""
    words: set[str] = set()
    for vocabulary in model.vocabularies.values():
        for term in vocabulary.terms:
            for text in (term.code, term.label, *term.synonyms):
                words.add(text)
                words.update(re.split(r"[\W_]+", text))
    return frozenset(words)


@cache
def everyday_words() -> frozenset[str]:
    """The words in small letters of the program's own schemas, which tell of no place or person."""
    core = read_core()
    texts = [text for _, one in core.every_field() for text in (one.title, one.description)]
    for vocabulary in core.vocabularies.values():
        texts += [term.definition for term in vocabulary.terms]
    words = {word for text in texts for word in re.findall(r"[^\W\d_]+", text or "")}
    return frozenset(word for word in words if word.islower())


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
            is_part = table.name == PARTY and one.name in NAME_PARTS
            if form in ("role", "stand_in") or is_part:
                _add_names("role" if is_part else form, free, values)
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


def _public_keys(
    package: Package,
    judge: KeyJudge,
    keys: Mapping[str, list[str]],
    people: PublicPeople,
    stand_ins: StandIns,
    release: Release,
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
        if one.obtained != "computed" and table.name != PARTY:
            telling -= _released(release, f"{table.name}.{one.name}", sorted(telling))
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


def _released(release: Release, where: str, keys: list[str]) -> set[str]:
    """Those of some telling keys that people let stand; the rest waits for their word."""
    return set(compress(keys, map(eq, keys, release.of_texts(KEY, where, keys))))


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


# -- sites ---------------------------------------------------------------------------------------


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


def _is_code(key: str) -> bool:
    """Whether a key is no plain word, which stands in texts for other things."""
    return not key.isalpha() or key.isupper()
