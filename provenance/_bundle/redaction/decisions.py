"""Reads what people decided about the public edition: one by one, and by rule."""

from __future__ import annotations

import hmac
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from provenance._bundle.redaction.words import unknown_words
from provenance._disclosure.hits import Hit
from provenance._record.cells import TRUE_WORDS
from provenance._record.package import Package
from provenance._record.snapshot import Row

REVIEW, REVIEW_RULE, CONFLICT = "review", "review_rule", "conflict"
RELEASE, WITHHOLD, REPLACE = "release", "withhold", "replace"
_FIRST = {WITHHOLD: 0, REPLACE: 1}
_REMEMBERED = 1 << 16
MOST_GROWTH = 2
"""A rule that covers more than so many times the texts it was made for asks again."""


@dataclass(frozen=True)
class Decided:
    """What somebody decided about one text or file; `found` and `under` are as they were then."""

    decision: str
    replacement: str
    found: str
    under: str
    on: str


@dataclass(frozen=True)
class Rule:
    """What somebody decided about the texts of one field that are of a shape, or of known words."""

    rule_id: str
    where: str
    shape: str
    known_words: bool
    decision: str
    count: int
    under: str


@dataclass(frozen=True)
class Decisions:
    """All that was decided, without what copies of the record say differently of one decision.

    `single` has what several people decided about one thing in the order in which it counts:
    withholding first, then other words, the newest first.
    """

    single: Mapping[str, Sequence[Decided]]
    rules: Mapping[str, Sequence[Rule]]

    @property
    def count(self) -> int:
        """How many decisions there are."""
        return sum(map(len, self.single.values())) + sum(map(len, self.rules.values()))


def keeps_reviews(package: Package) -> bool:
    """Whether the package's schemas know reviews; those of older versions do not."""
    return {REVIEW, REVIEW_RULE} <= package.model.tables.keys()


def read_decisions(package: Package) -> Decisions:
    """What the tables say; a decision that nobody signed and dated is none."""
    if not keeps_reviews(package):
        return Decisions({}, {})
    tables = package.tables
    contested = set()
    if CONFLICT in package.model.tables:
        contested = {
            (table, key)
            for table, key, field in tables.tuples(CONFLICT, ("table_name", "row_key", "field"))
            if field not in ("on", "reason")
        }
    single: dict[str, list[Decided]] = {}
    key_of = package.model.table(REVIEW).key_of
    names = ("decision", "replacement", "found", "under", "on")
    for row in tables.rows(REVIEW):
        if _is_signed(row) and (REVIEW, key_of(row)) not in contested:
            one = Decided(*(row[name] for name in names))
            single.setdefault(row["identity"], []).append(one)
    for several in single.values():
        several.sort(key=lambda one: one.on, reverse=True)
        several.sort(key=lambda one: _FIRST.get(one.decision, len(_FIRST)))
    rules: dict[str, list[Rule]] = {}
    for row in tables.rows(REVIEW_RULE):
        named = row["shape"] or row["known_words"] in TRUE_WORDS
        if _is_signed(row) and named and (REVIEW_RULE, row["rule_id"]) not in contested:
            rules.setdefault(row["where"], []).append(_rule(row))
    return Decisions(single, rules)


def _is_signed(row: Row) -> bool:
    return bool(row["by"] and row["on"])


def _rule(row: Row) -> Rule:
    count = row["count"]
    return Rule(
        row["rule_id"],
        row["where"],
        row["shape"],
        row["known_words"] in TRUE_WORDS,
        row["decision"],
        int(count) if count.isdecimal() else 0,
        row["under"],
    )


# -- what is the same ------------------------------------------------------------------------------


def identity_of(key: str, kind: str, where: str, text: str) -> str:
    """HMAC-SHA256 (RFC 2104) with the record's key over kind, field and text in NFC.

    Keyed, so that nobody can try out whether a text was decided on. The same text in another field
    is another thing.
    """
    message = "\0".join((kind, where, unicodedata.normalize("NFC", text)))
    return hmac.new(bytes.fromhex(key), message.encode(), "sha256").hexdigest()


@lru_cache(maxsize=_REMEMBERED)
def shape_of(text: str) -> str:
    """A text with 0 for every digit.

    >>> shape_of("Tie beam 12, 2023")
    'Tie beam 00, 0000'
    """
    return re.sub(r"\d", "0", text)


def found_in(text: str, hits: Sequence[Hit]) -> tuple[str, ...]:
    """What a search found in a text, each as it is kept with the decision.

    What lies within a longer stretch that was found is not told a second time.
    """
    spans = {(one.start, one.end) for one in hits}

    def is_within(one: Hit) -> bool:
        here = (one.start, one.end)
        return any(a <= here[0] and here[1] <= b and (a, b) != here for a, b in spans)

    outer = (one for one in hits if not is_within(one))
    return tuple(dict.fromkeys(f'"{text[one.start : one.end]}" {one.what}' for one in outer))


def still_stands(under: str, states: Mapping[str, str]) -> bool:
    """Whether the protections and consents that a decision rests on are what they were."""
    pairs = (one.partition("=") for one in under.split("; ") if one)
    return all(states.get(name) == state for name, _, state in pairs)


def under_text(names: Iterable[str], states: Mapping[str, str]) -> str:
    """Those protections and consents, as a decision keeps them."""
    return "; ".join(f"{name}={states[name]}" for name in sorted(set(names)) if name in states)


# -- what a rule means -----------------------------------------------------------------------------


@lru_cache(maxsize=_REMEMBERED)
def phrases_of(text: str) -> tuple[str, ...]:
    """The parts of a text between semicolons and full stops.

    >>> phrases_of("2 nails; bark at end A. Dry")
    ('2 nails', 'bark at end A', 'Dry')
    """
    return tuple(part for one in re.split(r";|[.](?=\s)", text) if (part := one.strip(" .")))


def is_meant(rule: Rule, text: str) -> bool:
    """Whether a rule means just this text, or part of one."""
    if rule.shape and shape_of(text) != rule.shape:
        return False
    return not (rule.known_words and unknown_words(text))


def concerns(rule: Rule, text: str) -> bool:
    """Whether a rule means a text, or any part of it."""
    return is_meant(rule, text) or any(is_meant(rule, one) for one in phrases_of(text))


def is_released(rules: Iterable[Rule], text: str) -> bool:
    """Whether one of the rules means the text, or each part of it is meant by some of them."""
    rules = list(rules)
    parts = phrases_of(text)
    return any(is_meant(rule, text) for rule in rules) or (
        bool(parts) and all(any(is_meant(rule, part) for rule in rules) for part in parts)
    )


def covered(rule: Rule, texts: Iterable[str], found: Mapping[str, Sequence[Hit]]) -> list[str]:
    """The texts without findings that a rule concerns."""
    return [text for text in texts if not found[text] and concerns(rule, text)]
