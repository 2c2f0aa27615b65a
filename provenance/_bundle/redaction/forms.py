"""Says how the public edition shows each field of a package, as the schemas have it.

The package's own schemas decide. Where they are older than the program's, or were made laxer, the
program's decide for the fields that both know: nothing is shown that either of them withholds.
A field that the program does not know is closed until its profile declares it public, and why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from provenance._bundle.redaction.shipped import shipped_models
from provenance._model.schema import PUBLIC_FORMS, Field, Model, Vocabulary

FILE_KINDS = "file_kind"


def public_forms(model: Model) -> Mapping[str, Mapping[str, str]]:
    """The form (one of PUBLIC_FORMS) of every field, by table and name."""
    shipped = shipped_models()
    return {
        table.name: {
            one.name: _form(one, shipped.field(table.name, one.name), "may_be_named" in table)
            for one in table.fields
        }
        for table in model.tables.values()
    }


def _form(one: Field, core: Field | None, has_consent: bool) -> str:
    if core and one.public is None and one.sensitivity == core.sensitivity:
        # schemas from before this property was known
        one = replace(one, public=core.public)
    form = one.public_form
    if core is None and (one.public is None or (form == "shown" and not one.public_because)):
        return "withheld"
    if form == "shown" and one.sensitivity != "open":
        form = "withheld"
    if core and form != "withheld":
        form = core.public_form
    if form not in PUBLIC_FORMS or (form == "if_agreed" and not has_consent):
        return "withheld"
    return form


def file_ways(model: Model) -> Mapping[str, str]:
    """Kind of file → 'picture' or 'text', for the kinds that may go into the public edition."""
    core = shipped_models().core.vocabularies[FILE_KINDS]
    own: Vocabulary = model.vocabularies.get(FILE_KINDS, core)
    ways = {}
    for term in own.terms:
        in_core = core.term(term.code)
        way = (in_core or term).attributes.get("public")
        if way in ("picture", "text"):
            ways[term.code] = str(way)
    return ways
