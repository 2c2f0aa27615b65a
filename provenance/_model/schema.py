"""Turns schemas, vocabularies and a profile into one typed model of the record.

The files in schemas/ are the only place where a field is described. Everything else (checks, forms,
workbook, code book, pages, redaction) asks the model built here.

Sources: Data Package v2 and Table Schema (datapackage.org/standard), YAML 1.2, JSON Schema 2020-12.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from provenance._base.errors import UnknownName, UnusableSchema
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.measures import BY_RULE, METRIC, Measures

Made = TypeVar("Made")

SCHEMA_VERSION = "1"
"""Version of the tables; DEVELOPERS.md says what a reader of a later version promises."""

TABLE_SCHEMA_PROFILE = "https://datapackage.org/profiles/2.0/tableschema.json"
SENSITIVITIES = ("open", "location", "personal", "restricted")
PUBLIC_FORMS = MappingProxyType(
    {
        "shown": "as it stands",
        "withheld": "left blank",
        "if_agreed": "left blank for a person who has not agreed to be named",
        "role": "replaced by the role of a person who has not agreed to be named",
        "stand_in": "replaced by the name that may be published",
        "latitude": "replaced by the middle of a grid cell",
        "longitude": "replaced by the middle of a grid cell",
        "radius": "widened to hold the whole cell",
        "site_x": "on the building's own grid",
        "site_y": "on the building's own grid",
        "site_z": "counted from the building's own floor",
        "site_outline": "on the building's own grid, a whole building's made coarse",
        "site_bearing": "left blank, for each building has its own axes",
        "site_axis": "counted from the building's own y axis",
        "site_clock": "left blank on upright wood, where it is read against the site grid",
        "site_section": "along the building's own axes on upright wood",
        "site_sd_x": "along the building's own axes",
        "site_sd_y": "along the building's own axes",
        "site_corr_xy": "along the building's own axes",
        "site_corr_xz": "along the building's own axes",
        "site_corr_yz": "along the building's own axes",
        "in_building": "left blank where it runs from one building to another",
    }
)
"""How the public edition may show a field."""
STRICT, AS_FOUND = "strict", "as_found"
NUMBERINGS = MappingProxyType(
    {
        STRICT: "numbers and site codes in the form of new ones",
        AS_FOUND: "numbers and names of sites, timbers, samples and plugs stay as they are written",
    }
)
"""The numberings that a record may follow."""
_KEPT_AS_FOUND = MappingProxyType(
    {
        "site": ("site_id",),
        "element": ("element_id",),
        "sample": ("sample_id",),
        "plug": ("plug_id", "stamp"),
    }
)
"""Table -> fields whose notation the numbering decides."""
NUMBERED_TABLES = frozenset(_KEPT_AS_FOUND)
"""Tables whose keys the numbering decides."""
ROLES = ("record", "intake", "history", "review", "derived")
"""What a table is for; one of role 'review' says what may be public, and never is so itself."""
FIELD_TYPES = ("string", "number", "integer", "boolean")
"""The types of Table Schema v2 that fields here may have."""


@dataclass(frozen=True)
class Term:
    """One code of a vocabulary; `attributes` holds what the vocabulary adds (mm, surface …)."""

    code: str
    label: str
    definition: str
    source: str
    match: str | None = None
    synonyms: tuple[str, ...] = ()
    attributes: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Vocabulary:
    """A closed list of codes that a field may hold."""

    name: str
    title: str
    description: str
    source: str
    terms: tuple[Term, ...]

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes in the order in which forms list them."""
        return tuple(term.code for term in self.terms)

    def term(self, code: str) -> Term | None:
        """The term of a code, or None."""
        return next((term for term in self.terms if term.code == code), None)

    def label(self, code: str) -> str:
        """What a person reads for a code; the code itself when it is not in the list."""
        term = self.term(code)
        return term.label if term else code


@dataclass(frozen=True)
class Notation:
    """A written form that several fields share, such as EDTF; `pattern` matches the whole value."""

    name: str
    title: str
    pattern: str
    source: str
    example: str


@dataclass(frozen=True)
class Field:
    """One column of a table.

    `constraints` is what Table Schema checks, with the vocabulary and the notation already turned
    into `enum` or `pattern`. `separator` parts several codes in one cell. `public` is one of
    PUBLIC_FORMS. `key_of` names the field that says of which table this is a key. `usual_sizes`
    names the vocabulary of the sizes that such a thing usually has, `measure` the kind of length
    (measures.KINDS) as which it is said. A `withheld` field is blank in
    this edition of the record, or holds a stand-in, whatever the full one holds. `public_because`
    is the reason for which a profile lets a field be shown that it added.
    """

    name: str
    type: str
    title: str
    description: str
    section: str
    order: int
    sensitivity: str
    obtained: str
    unit: str | None = None
    vocabulary: str | None = None
    separator: str | None = None
    notation: str | None = None
    example: str | None = None
    synonyms: tuple[str, ...] = ()
    rdf_type: str | None = None
    crosswalk: tuple[Mapping[str, str], ...] = ()
    constraints: Mapping[str, Any] = field(default_factory=dict)
    hidden: bool = False
    public: str | None = None
    public_because: str | None = None
    key_of: str | None = None
    usual_sizes: str | None = None
    measure: str | None = None
    withheld: bool = False

    @property
    def public_form(self) -> str:
        """How the public edition shows it: as it says, else by its sensitivity."""
        return self.public or ("shown" if self.sensitivity == "open" else "withheld")

    @property
    def required(self) -> bool:
        """Whether every row must have a value."""
        return bool(self.constraints.get("required"))


@dataclass(frozen=True)
class ForeignKey:
    """`fields` of a table point at `reference_fields` of `table` (which may be the same table)."""

    fields: tuple[str, ...]
    table: str
    reference_fields: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """One table of the record, in the order of its columns on disk."""

    name: str
    title: str
    description: str
    role: str
    order: int
    sections: Mapping[str, str]
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...] = ()
    rdf_type: str | None = None

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The column names in the order of the file."""
        return tuple(one.name for one in self.fields)

    @cached_property
    def _by_name(self) -> Mapping[str, Field]:
        # of two fields with one name, which the check refuses, the first counts
        return {one.name: one for one in reversed(self.fields)}

    def __contains__(self, name: object) -> bool:
        """Whether the table has a column of that name."""
        return name in self._by_name

    def field(self, name: str) -> Field:
        """The field of that name; raises UnknownName when there is none."""
        try:
            return self._by_name[name]
        except KeyError:
            raise UnknownName(
                f"the table '{self.name}' of this record has no field '{name}'; restore "
                f"schemas/{self.name}.json from a copy, or add it with 'treenail new --update'"
            ) from None

    def form_fields(self) -> tuple[Field, ...]:
        """The fields a person fills in, by section and order, without what the profile hides."""
        sections = list(self.sections)
        shown = (f for f in self.fields if not f.hidden and f.obtained != "computed")
        return tuple(sorted(shown, key=lambda f: (sections.index(f.section), f.order)))

    def key_of(self, row: Mapping[str, Any]) -> str:
        """The primary key of a row as one text; parts are joined with ' / '."""
        return " / ".join(str(row[name]) for name in self.primary_key)


@dataclass(frozen=True)
class Equipment:
    """A thing that a crew takes along, and what for."""

    item: str
    purpose: str


@dataclass(frozen=True)
class ProfilePart:
    """What one of the profiles of a record leaves out and requires: table → names of fields."""

    name: str
    title: str
    hide: Mapping[str, tuple[str, ...]]
    require: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Model:
    """The whole record as its profiles see it: tables, vocabularies and notations.

    `profile` is the name of the profile, or those of several joined with '+'; `profiles` says what
    each of them asks of the buildings it holds for. `units` is how the crew measures
    (measures.SYSTEMS), `language` that of forms and labels, `numbering` one of
    NUMBERINGS. `cautions` begin with the general ones. `logs` has the columns of
    the one-page-wide log of a table, where the profile chooses them.
    """

    profile: str
    title: str
    description: str
    version: str
    tables: Mapping[str, Table]
    vocabularies: Mapping[str, Vocabulary]
    notations: Mapping[str, Notation]
    cautions: tuple[str, ...] = ()
    units: str = METRIC
    language: str = "en"
    numbering: str = STRICT
    equipment: tuple[Equipment, ...] = ()
    logs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    profiles: tuple[ProfilePart, ...] = ()
    _made: dict[str, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def once(self, name: str, make: Callable[[Model], Made]) -> Made:
        """What is made of the model and nothing else (its code book), made when first asked for."""
        if name not in self._made:
            self._made[name] = make(self)
        made: Made = self._made[name]
        return made

    def table(self, name: str) -> Table:
        """The table of that name; raises UnknownName when there is none."""
        try:
            return self.tables[name]
        except KeyError:
            raise UnknownName(
                f"this record has no table '{name}'; there are {', '.join(self.tables)}; restore "
                f"schemas/{name}.json from a copy, or add it with 'treenail new --update'"
            ) from None

    def of_role(self, role: str) -> tuple[Table, ...]:
        """The tables of one of ROLES, in their order."""
        return tuple(table for table in self.tables.values() if table.role == role)

    @property
    def consent(self) -> str:
        """The caution at the foot of every page: consent and permit, second of the general ones."""
        return " ".join(self.cautions[1:2])

    @property
    def measures(self) -> Measures:
        """How the record says its lengths."""
        return Measures(self.units)

    def unit_of(self, one: Field) -> str:
        """The unit in which people are shown a field; '' where it has none."""
        return self.measures.unit(one.unit, one.measure) if one.unit else ""

    def form_unit(self, one: Field) -> str:
        """The unit in which forms and pages hold a field: feet or inches where the crew measures
        so, else the field's own; '' where it has none."""
        crew = self.unit_of(one) if one.measure else ""
        return crew if crew in BY_RULE else one.unit or ""

    def vocabulary_of(self, one: Field) -> Vocabulary | None:
        """The vocabulary that a field is coded with, or None."""
        return self.vocabularies[one.vocabulary] if one.vocabulary else None

    def every_field(self) -> Iterator[tuple[Table, Field]]:
        """All fields with their tables, in order."""
        for table in self.tables.values():
            for one in table.fields:
                yield table, one


# -- reading the files ---------------------------------------------------------------------------


def _read_json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise UnusableSchema(f"{path} is not readable JSON: {error}") from error


_TERM_KEYS = {"code", "label", "definition", "source", "match", "synonyms"}


def term_from(raw: Mapping[str, Any]) -> Term:
    """A term from its YAML or JSON form; what is not a term's own key becomes an attribute."""
    return Term(
        code=str(raw["code"]),
        label=raw["label"],
        definition=raw["definition"],
        source=raw["source"],
        match=raw.get("match"),
        synonyms=tuple(raw.get("synonyms", ())),
        attributes=MappingProxyType({k: v for k, v in raw.items() if k not in _TERM_KEYS}),
    )


def vocabulary_from(raw: Mapping[str, Any]) -> Vocabulary:
    """A vocabulary from its YAML or JSON form."""
    texts = {name: raw[name] for name in ("name", "title", "description", "source")}
    return Vocabulary(**texts, terms=tuple(term_from(term) for term in raw["terms"]))


def notation_from(raw: Mapping[str, Any]) -> Notation:
    """A notation from its JSON form."""
    return Notation(*(raw[name] for name in ("name", "title", "pattern", "source", "example")))


def vocabulary_as_dict(vocabulary: Vocabulary) -> dict[str, Any]:
    """The plain form of a vocabulary, which `vocabulary_from` reads back."""
    terms = []
    for term in vocabulary.terms:
        raw = {name: getattr(term, name) for name in ("code", "label", "definition", "source")}
        if term.match:
            raw["match"] = term.match
        if term.synonyms:
            raw["synonyms"] = list(term.synonyms)
        terms.append(raw | dict(term.attributes))
    return {**vars(vocabulary), "terms": terms}


_NEEDED = ("name", "type", "title", "description", "section", "order", "sensitivity", "obtained")
_OPTIONAL = {
    **{name: name for name in ("unit", "vocabulary", "separator", "notation", "example")},
    **{"rdfType": "rdf_type", "hidden": "hidden", "public": "public", "keyOf": "key_of"},
    **{"usualSizes": "usual_sizes", "withheld": "withheld", "publicBecause": "public_because"},
    "measure": "measure",
}
"""Properties of a field in its JSON form that need not be there, and their names here."""


def field_from(raw: Mapping[str, Any]) -> Field:
    """A field from its Table Schema form; raises KeyError when that lacks something."""
    for one in (raw["name"], raw["type"]):
        # a bundle's schemas are a stranger's, and columns are called and typed by these
        if not isinstance(one, str):
            raise UnusableSchema(f"a field has {one!r} for its name or type, which is not text")
    return Field(
        **{name: raw[name] for name in _NEEDED},
        **{ours: raw[name] for name, ours in _OPTIONAL.items() if name in raw},
        synonyms=tuple(raw.get("synonyms", ())),
        crosswalk=tuple(raw.get("crosswalk", ())),
        constraints=MappingProxyType(dict(raw.get("constraints", {}))),
    )


_OF_TABLE = ("name", "title", "description", "role", "order")


def table_from(raw: Mapping[str, Any]) -> Table:
    """A table from its Table Schema (with the properties of this project beside the standard's)."""
    try:
        return Table(
            **{name: raw[name] for name in _OF_TABLE},
            sections=MappingProxyType(dict(raw["sections"])),
            fields=tuple(field_from(one) for one in raw["fields"]),
            primary_key=tuple(raw["primaryKey"]),
            foreign_keys=tuple(
                ForeignKey(
                    tuple(key["fields"]),
                    key["reference"].get("resource") or raw["name"],
                    tuple(key["reference"]["fields"]),
                )
                for key in raw.get("foreignKeys", ())
            ),
            rdf_type=raw.get("rdfType"),
        )
    except KeyError as error:
        name = raw.get("name", "?")
        raise UnusableSchema(f"the schema of table '{name}' lacks {error}") from error


def field_as_dict(one: Field) -> dict[str, Any]:
    """The Table Schema form of a field; empty properties are left out."""
    raw = {
        **{name: getattr(one, name) for name in ("name", "type", "title", "description")},
        "example": one.example,
        "constraints": dict(one.constraints) or None,
        **{name: getattr(one, name) for name in ("unit", "vocabulary", "separator", "notation")},
        **{name: getattr(one, name) for name in ("sensitivity", "section", "order", "obtained")},
        "rdfType": one.rdf_type,
        "crosswalk": [dict(link) for link in one.crosswalk] or None,
        "synonyms": list(one.synonyms) or None,
        "hidden": one.hidden or None,
        "public": one.public,
        "publicBecause": one.public_because,
        "keyOf": one.key_of,
        "usualSizes": one.usual_sizes,
        "measure": one.measure,
        "withheld": one.withheld or None,
    }
    return {key: value for key, value in raw.items() if value is not None}


def table_as_dict(table: Table) -> dict[str, Any]:
    """The Table Schema of a table, which `table_from` and every Data Package tool read."""
    raw: dict[str, Any] = {
        "$schema": TABLE_SCHEMA_PROFILE,
        **{name: getattr(table, name) for name in _OF_TABLE},
        "sections": dict(table.sections),
        "fields": [field_as_dict(one) for one in table.fields],
        "primaryKey": list(table.primary_key),
        "foreignKeys": [
            {
                "fields": list(key.fields),
                # Data Package v2 spells a key into the table itself with an empty resource name
                "reference": {
                    "resource": "" if key.table == table.name else key.table,
                    "fields": list(key.reference_fields),
                },
            }
            for key in table.foreign_keys
        ],
        "missingValues": [""],
    }
    if table.rdf_type:
        raw["rdfType"] = table.rdf_type
    if not table.foreign_keys:
        del raw["foreignKeys"]
    return raw


# -- compiling -----------------------------------------------------------------------------------


def _alternatives(codes: tuple[str, ...]) -> str:
    import re

    return "|".join(re.escape(code) for code in codes)


def compile_field(
    one: Field, vocabularies: Mapping[str, Vocabulary], notations: Mapping[str, Notation]
) -> Field:
    """The field with its vocabulary or notation turned into constraints any tool can check."""
    if not (one.vocabulary or one.notation or {"enum", "pattern"} & one.constraints.keys()):
        return one
    constraints = {k: v for k, v in one.constraints.items() if k != "enum"}
    if one.vocabulary:
        if one.vocabulary not in vocabularies:
            raise UnusableSchema(f"field '{one.name}' names no known vocabulary: {one.vocabulary}")
        codes = vocabularies[one.vocabulary].codes
        if one.separator:
            any_code = f"({_alternatives(codes)})"
            constraints["pattern"] = f"{any_code}({one.separator} ?{any_code})*"
        else:
            constraints["enum"] = list(codes)
    elif one.notation:
        if one.notation not in notations:
            raise UnusableSchema(f"field '{one.name}' names no known notation: {one.notation}")
        constraints["pattern"] = notations[one.notation].pattern
    if "|" in constraints.get("pattern", ""):
        # tools put ^ and $ round a pattern, which would bind to its first and last branch alone
        constraints["pattern"] = f"({constraints['pattern']})"
    return replace(one, constraints=MappingProxyType(constraints))


@cache
def read_core() -> Model:
    """The shipped tables and vocabularies, before any profile and before compiling."""
    folder = shipped("schemas")
    tables = [table_from(_read_json(path)) for path in sorted((folder / "tables").glob("*.json"))]
    tables.sort(key=lambda table: table.order)
    vocabularies = [
        vocabulary_from(read_yaml(path))
        for path in sorted((folder / "vocabularies").glob("*.yaml"))
    ]
    notations = _shipped_notations()
    return Model(
        profile="core",
        title="Core",
        description="Every table and field, before a profile fits them to a kind of place.",
        version=SCHEMA_VERSION,
        tables=MappingProxyType({table.name: table for table in tables}),
        vocabularies=MappingProxyType({one.name: one for one in vocabularies}),
        notations=MappingProxyType(
            {name: one for name, one in notations.items() if name != AS_FOUND}
        ),
    )


@cache
def _shipped_notations() -> Mapping[str, Notation]:
    return {
        name: Notation(name, raw["title"], raw["pattern"], raw["source"], str(raw["example"]))
        for name, raw in read_yaml(shipped("schemas") / "notations.yaml").items()
    }


@cache
def core_fields() -> frozenset[tuple[str, str]]:
    """(table, field) of everything that the shipped tables have; all else somebody added."""
    tables = map(_read_json, sorted((shipped("schemas") / "tables").glob("*.json")))
    return frozenset((one["name"], field["name"]) for one in tables for field in one["fields"])


def with_numbering(model: Model, numbering: str) -> Model:
    """The model with the keys of its chain as that numbering (one of NUMBERINGS) has them."""
    core, tables = read_core(), dict(model.tables)
    notations = {name: one for name, one in model.notations.items() if name != AS_FOUND}
    if numbering == AS_FOUND:
        notations[AS_FOUND] = _shipped_notations()[AS_FOUND]
    for table, names in _KEPT_AS_FOUND.items():
        if table not in tables:
            continue
        fields = []
        for one in tables[table].fields:
            if one.name in names:
                strict = core.table(table).field(one.name).notation
                one = replace(one, notation=AS_FOUND if numbering == AS_FOUND else strict)
                one = compile_field(one, model.vocabularies, notations)
            fields.append(one)
        tables[table] = replace(tables[table], fields=tuple(fields))
    return replace(
        model,
        numbering=numbering,
        notations=MappingProxyType(notations),
        tables=MappingProxyType(tables),
    )


def compile_model(model: Model) -> Model:
    """The model with every field's vocabulary and notation turned into constraints."""
    tables = {
        name: replace(
            table,
            fields=tuple(
                compile_field(one, model.vocabularies, model.notations) for one in table.fields
            ),
        )
        for name, table in model.tables.items()
    }
    return replace(model, tables=MappingProxyType(tables))
