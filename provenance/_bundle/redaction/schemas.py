"""Makes the schemas of the public edition: the program's own words, and what was released.

The descriptions, lists and bounds of core fields are those of the program, whatever the package's
own files say. A field that a profile added is in it only where the profile declares it public.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.release import LIST, PROFILE, Release
from provenance._bundle.redaction.shipped import Shipped
from provenance._bundle.redaction.stand_ins import FULL_ONLY
from provenance._disclosure.hits import Net
from provenance._model.profile import general_cautions
from provenance._model.schema import (
    Field,
    Model,
    Table,
    Term,
    Vocabulary,
    compile_field,
    with_numbering,
)

UNNAMED_PROFILE = "own"
DECLARED = "The profile of the full edition says so."
ADDED_LIST = "A list that the profile of this record added."
OWN_SOURCE = "common practice, no source"


def public_tables(shipped: Shipped, model: Model) -> list[str]:
    """The tables that a public edition has: those of the core that are not the full one's alone."""
    core = shipped.core.tables
    known = [name for name in model.tables if name in core and name not in FULL_ONLY]
    return [name for name in known if core[name].role != "review"]


def added_fields(shipped: Shipped, table: Table) -> Iterator[Field]:
    """The fields of a table that are not the core's own."""
    yield from (one for one in table.fields if shipped.field(table.name, one.name) is None)


def public_lists(shipped: Shipped, model: Model, release: Release) -> dict[str, Vocabulary]:
    """The core's lists, narrowed as the profile has them, with what was released of its codes."""
    lists = {}
    for name, (core, known) in _known_lists(shipped, model).items():
        own = model.vocabularies.get(name, core)
        added = [term for term in own.terms if term.code not in known]
        told = [f"{one.code}: {one.label}. {one.definition}" for one in added]
        shown = release.of_texts(LIST, name, told)
        released = {
            term.code: Term(term.code, term.label, term.definition, OWN_SOURCE)
            for term, before, after in zip(added, told, shown, strict=True)
            if before == after
        }
        terms = [known.get(one.code) or released.get(one.code) for one in own.terms]
        kept = tuple(one for one in terms if one)
        # Table Schema knows no list of nothing
        if kept or name in shipped.core.vocabularies:
            lists[name] = replace(core, terms=kept)
    return lists


def _known_lists(
    shipped: Shipped, model: Model
) -> dict[str, tuple[Vocabulary, Mapping[str, Term]]]:
    """Every list of the public edition as the program describes it, with the codes it knows."""
    found = {name: (one, shipped.terms[name]) for name, one in shipped.core.vocabularies.items()}
    for table, one in model.every_field():
        name = one.vocabulary or ""
        if name in found or name not in model.vocabularies:
            continue
        own = shipped.field(table.name, one.name)
        if own is None and one.public_form == "shown":
            bare = Vocabulary(name, name.replace("_", " ").capitalize(), ADDED_LIST, OWN_SOURCE, ())
            found[name] = (bare, shipped.terms.get(name, {}))
        elif own is not None and own.vocabulary and name == f"{table.name}_{one.name}":
            # a list that the profile narrowed for this field alone
            core, known = found[own.vocabulary]
            found[name] = (replace(core, name=name, title=own.title), known)
    return found


def public_table(
    shipped: Shipped,
    table: Table,
    forms: Mapping[str, str],
    lists: Mapping[str, Vocabulary],
    release: Release,
) -> Table:
    """A table with its core fields as the program describes them, and the added ones it shows."""
    core = shipped.core.tables[table.name]
    fields = []
    for one in table.fields:
        own = shipped.field(table.name, one.name)
        if own is not None:
            required = one.constraints.get("required") and not own.constraints.get("required")
            described = own
            if required or (one.hidden, one.order) != (own.hidden, own.order):
                more = {"required": True} if required else {}
                constraints = MappingProxyType({**own.constraints, **more})
                described = replace(
                    own, hidden=one.hidden, order=one.order, constraints=constraints
                )
            if one.vocabulary == f"{table.name}_{one.name}" and one.vocabulary in lists:
                described = replace(described, vocabulary=one.vocabulary)
            # an example may be the very value that the column withholds
            if own.example is not None and one.example != own.example:
                described = replace(described, example=None)
        elif forms[one.name] != "withheld":
            described = _described(shipped, table.name, one, lists, release)
        else:
            continue
        fields.append(compile_field(described, lists, shipped.core.notations))
    # an older package lacks fields that the core now links to other tables
    names = {one.name for one in fields}
    links = tuple(key for key in core.foreign_keys if names.issuperset(key.fields))
    return replace(core, fields=tuple(fields), foreign_keys=links)


def _described(
    shipped: Shipped,
    table: str,
    one: Field,
    lists: Mapping[str, Vocabulary],
    release: Release,
) -> Field:
    """An added field with what was released of its words, and nothing else a profile can write."""
    known = shipped.added_field(table, one.name)
    core = shipped.core
    bare = Field(
        name=one.name,
        type=one.type,
        title=one.name.replace("_", " ").capitalize(),
        description="A field that the profile of this record added.",
        section=one.section if one.section in core.tables[table].sections else "notes",
        order=one.order,
        sensitivity="open",
        obtained="observed",
        vocabulary=one.vocabulary if one.vocabulary in lists else None,
        separator=";" if one.separator else None,
        notation=one.notation if one.notation in core.notations else None,
        public=one.public,
        public_because=DECLARED if one.public == "shown" else None,
    )
    words = (one.title, one.description, one.unit)
    if known and words == (known.title, known.description, known.unit):
        return replace(bare, title=one.title, description=one.description, unit=one.unit)
    unit = f" ({one.unit})" if one.unit else ""
    told = f"{one.title}{unit}: {one.description}"
    if release.of_text(PROFILE, f"{table}.{one.name}", told) != told:
        return bare
    return replace(bare, title=one.title, description=one.description, unit=one.unit)


def public_model(
    shipped: Shipped,
    model: Model,
    tables: Mapping[str, Table],
    lists: Mapping[str, Vocabulary],
    release: Release,
) -> Model:
    """The public model; the words of a profile that is not shipped are in it where released."""
    bare = replace(
        shipped.core,
        units=model.units,
        language=model.language,
        tables=MappingProxyType(dict(tables)),
        vocabularies=MappingProxyType(dict(lists)),
    )
    if model.numbering != bare.numbering:
        bare = with_numbering(bare, model.numbering)
    own = shipped.of_profile(model.profile)
    if own is not None:
        return replace(
            bare,
            profile=own.profile,
            title=own.title,
            description=own.description,
            cautions=own.cautions,
            equipment=own.equipment,
            profiles=own.profiles,
        )
    known = [shipped.profiles[one] for one in model.profile.split("+") if one in shipped.profiles]
    usual = {caution for one in known for caution in one.cautions} | {*general_cautions()}
    cautions = [
        one
        for one in model.cautions
        if one in usual or release.of_text(PROFILE, "profile.cautions", one) == one
    ]
    return replace(
        bare,
        profile=release.of_text(PROFILE, "profile.name", model.profile) or UNNAMED_PROFILE,
        title=release.of_text(PROFILE, "profile.title", model.title) or "A profile of its own",
        description=release.of_text(PROFILE, "profile.description", model.description)
        or "The profile that the record was kept with.",
        cautions=tuple(dict.fromkeys((*general_cautions(), *cautions))),
        equipment=shipped.profiles["blank"].equipment,
        profiles=tuple(part for one in known for part in one.profiles),
    )


def refuse_telling_names(names: Collection[str], net: Net) -> None:
    """Raise UnusablePackage when the name of an added field or list that is shown holds a withheld
    value.

    It stands in tables and schemas alike, so nothing else can stand there.
    """
    for name, found in zip(names, net.hits(list(names)), strict=True):
        if found:
            raise UnusablePackage(
                f"the profile of this package shows the field or list '{name}', whose name "
                f"holds what must not be public ({found[0].what}); give it another one in the "
                "profile and in the tables, 'treenail new --update' brings it in, or take "
                "'public: shown' out"
            )
