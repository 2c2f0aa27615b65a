"""Turns a field of the schema into what the paper asks: blanks to write on or boxes to tick."""

from __future__ import annotations

from dataclasses import dataclass, replace

from provenance._base.languages import _
from provenance._model.form_cell import NO, YES
from provenance._model.schema import Field, Model, Table, Term, Vocabulary

LONGEST_TICKED = 24
"""A list of up to this many codes is ticked; a longer one is written in from the code list."""

LONGEST_HINT = 12
BOOLEAN_CHOICES = (("true", YES), ("false", NO))


@dataclass(frozen=True)
class Choice:
    """One box with its word."""

    label: str
    ticked: bool = False


@dataclass(frozen=True)
class Question:
    """One field as the paper asks for it.

    `kind` is 'ticks', 'number', 'short', 'long' or 'notes'; `answer` is what is printed on the
    blank, '' when a pencil shall write there; `hint` stands behind the title.
    """

    name: str
    title: str
    kind: str
    required: bool = False
    unit: str = ""
    hint: str = ""
    choices: tuple[Choice, ...] = ()
    answer: str = ""


def code_in_words(term: Term) -> str:
    """The code as a crew writes it: its label, with the code before it where that says more.

    A code that is only the label in another spelling ('main_beam', 'Main beam') is left out.
    """
    spelled = term.code.replace("_", " ").casefold()
    if term.code.isupper() or (len(term.code) <= 2 and spelled != term.label.casefold()):
        return f"{term.code} {term.label}"
    return term.label


def value_in_words(vocabulary: Vocabulary | None, one: Field, value: str) -> str:
    """A stored value as a person reads it: labels for codes, Yes and No for booleans."""
    if one.type == "boolean":
        return _(dict(BOOLEAN_CHOICES).get(value, "")) or value
    if vocabulary is None or not value:
        return value
    words = []
    for code in _codes(one, value):
        term = vocabulary.term(code)
        words.append(code_in_words(term) if term else code)
    return "; ".join(words)


def ask_field(model: Model, table: Table, one: Field, value: str = "") -> Question:
    """The question that a field becomes; `value` is the stored text, '' for a blank."""
    question = Question(
        name=one.name,
        title=one.title,
        kind=_kind(model, table, one),
        required=one.required,
        unit=model.unit_of(one),
        answer=value,
    )
    vocabulary = model.vocabulary_of(one)
    if one.type == "boolean":
        pairs = [(code, _(word)) for code, word in BOOLEAN_CHOICES]
        return _ticked(question, pairs, [value] if value else [], several=False)
    if vocabulary is not None:
        if 0 < len(vocabulary.terms) <= LONGEST_TICKED:
            pairs = [(term.code, term.label) for term in vocabulary.terms]
            return _ticked(question, pairs, _codes(one, value), several=bool(one.separator))
        words = value_in_words(vocabulary, one, value)
        return replace(question, answer=words, hint="" if value else _("from the code list"))
    # what any identifier looks like would mislead: a bit has no number like that of a timber
    example = one.example or ("" if one.notation == "identifier" else _example(model, one))
    if not value and one.notation and len(example) <= LONGEST_HINT:
        return replace(
            question, hint=_("e.g. {example}").format(example=example) if example else ""
        )
    return question


def _ticked(
    question: Question,
    pairs: list[tuple[str, str]],
    codes: list[str],
    *,
    several: bool,
) -> Question:
    known = dict(pairs)
    unknown = [code for code in codes if code not in known]
    return replace(
        question,
        kind="ticks",
        hint=_("check all that apply") if several else "",
        choices=tuple(Choice(label, code in codes) for code, label in pairs),
        # what is no code of the list is printed as it is, so that nothing is lost
        answer=_("not on the list: {words}").format(words="; ".join(unknown)) if unknown else "",
    )


def _codes(one: Field, value: str) -> list[str]:
    if not value:
        return []
    if not one.separator:
        return [value]
    return [code for code in (part.strip() for part in value.split(one.separator)) if code]


def _example(model: Model, one: Field) -> str:
    notation = model.notations.get(one.notation or "")
    return notation.example if notation else ""


def _kind(model: Model, table: Table, one: Field) -> str:
    if one.type in ("number", "integer"):
        return "number"
    if one.vocabulary:
        return "long"
    if any(one.name in key.fields for key in table.foreign_keys):
        return "short"
    if one.notation:
        return "short" if len(_example(model, one)) <= LONGEST_HINT else "long"
    if "pattern" in one.constraints:
        return "short"
    return "notes" if one.section == "notes" else "long"
