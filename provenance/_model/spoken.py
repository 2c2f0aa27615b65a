"""The model with its texts in another language; names, codes and units stay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import MappingProxyType

from provenance._base.languages import SOURCE, catalogue, language_spoken
from provenance._model.schema import Equipment, Field, Model, Table, Term, Vocabulary

Say = Callable[[str, str], str]
"""(context, text) → what is said for it."""

BOTANICAL = "species"
"""The list whose labels are botanical names, which every language has alike."""


def spoken(model: Model) -> Model:
    """The model in the language that is spoken now (`languages.speaking`)."""
    return in_language(model, language_spoken())


def in_language(model: Model, language: str) -> Model:
    """The model in a language; what its catalogue lacks stays English. Raises as `catalogue`."""
    if language == SOURCE:
        return model
    say = catalogue(language).pgettext
    return model.once(f"in {language}", lambda one: said_by(one, say))


def said_by(model: Model, say: Say) -> Model:
    """The model with every text that forms and papers show replaced by what `say` makes of it.

    The one place that knows which texts these are and by which context each is looked up, so that
    catalogues are made of the very texts that are asked for.
    """
    recorded = [one for table in model.of_role("record") for one in table.fields]
    lists = {one.vocabulary for one in recorded} | {one.usual_sizes for one in recorded}
    return replace(
        model,
        # a record of several profiles has their titles one after the other
        title=", ".join(_said(say, "profile.title", one) for one in model.title.split(", ")),
        description=_said(say, "profile.description", model.description),
        cautions=tuple(_said(say, "caution", one) for one in model.cautions),
        equipment=tuple(
            Equipment(_said(say, "equipment", one.item), _said(say, "equipment", one.purpose))
            for one in model.equipment
        ),
        tables=MappingProxyType(
            {
                name: _table(table, say) if table.role == "record" else table
                for name, table in model.tables.items()
            }
        ),
        vocabularies=MappingProxyType(
            {
                name: _vocabulary(one, say) if name in lists else one
                for name, one in model.vocabularies.items()
            }
        ),
    )


def _said(say: Say, context: str, text: str) -> str:
    return say(context, text) if text else text


def _table(table: Table, say: Say) -> Table:
    def field(one: Field) -> Field:
        place = f"field:{table.name}.{one.name}"
        return replace(
            one,
            title=_said(say, f"{place}.title", one.title),
            description=_said(say, f"{place}.description", one.description),
        )

    return replace(
        table,
        title=_said(say, f"table:{table.name}.title", table.title),
        description=_said(say, f"table:{table.name}.description", table.description),
        sections=MappingProxyType(
            {name: _said(say, f"section:{name}", text) for name, text in table.sections.items()}
        ),
        fields=tuple(map(field, table.fields)),
    )


def _vocabulary(vocabulary: Vocabulary, say: Say) -> Vocabulary:
    def term(one: Term) -> Term:
        place = f"term:{vocabulary.name}.{one.code}"
        label = one.label
        if vocabulary.name != BOTANICAL or "genus" not in one.attributes:
            label = _said(say, f"{place}.label", one.label)
        attributes = dict(one.attributes)
        if "caution" in attributes:
            attributes["caution"] = _said(say, f"{place}.caution", attributes["caution"])
        return replace(
            one,
            label=label,
            definition=_said(say, f"{place}.definition", one.definition),
            # a form that was filled in before the language was set has the English word
            synonyms=one.synonyms if label == one.label else (*one.synonyms, one.label),
            attributes=MappingProxyType(attributes),
        )

    return replace(
        vocabulary,
        title=_said(say, f"list:{vocabulary.name}.title", vocabulary.title),
        description=_said(say, f"list:{vocabulary.name}.description", vocabulary.description),
        terms=tuple(map(term, vocabulary.terms)),
    )
