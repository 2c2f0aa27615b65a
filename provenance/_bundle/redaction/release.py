"""Decides what goes out that needs a person's word, and keeps what was asked and how it stands.

Redaction asks it for everything that is not harmless by type, and so does the review: what waits
there is exactly what a public edition would leave out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from provenance._bundle.redaction.decisions import (
    MOST_GROWTH,
    RELEASE,
    REPLACE,
    WITHHOLD,
    Decided,
    Decisions,
    Rule,
    concerns,
    covered,
    found_in,
    identity_of,
    is_released,
    still_stands,
)
from provenance._disclosure.hits import Hit, Net

TEXT, KEY, LIST, PROFILE, PACKAGE = "text", "key", "list", "profile", "package"
PICTURE, FILE = "picture", "file"
WAITING = "waiting"
NEVER_DECIDED = "no one has decided"
CHANGED_SINCE = "a protection or consent it rests on has changed"
FOUND_SINCE = "the search finds more in it than when it was decided"
FOUND_BY_RULE = "the search finds something in it, and a rule releases no such text"

Unders = Callable[[int], Iterable[str]]
"""Place of a cell → the names of the protections and consents that it comes under."""


@dataclass
class Asked:
    """One thing that was asked for: how it stands, why, and how often it would be shown.

    `state` is WAITING or a decision; `shown` is what the public edition has of it, None for
    nothing; `by_rule` is the rule that decided.
    """

    kind: str
    where: str
    text: str
    identity: str
    hits: tuple[Hit, ...]
    state: str = WAITING
    why: str = NEVER_DECIDED
    shown: str | None = None
    by_rule: str = ""
    count: int = 0
    under: set[str] = field(default_factory=set)

    @property
    def found(self) -> tuple[str, ...]:
        """What the search found in it, in words."""
        return found_in(self.text, self.hits)


class Release:
    """What people released, asked text by text; made once for a package.

    `states` maps the name of each protection and consent to how it stands now.
    """

    def __init__(self, decisions: Decisions, net: Net, key: str, states: Mapping[str, str]) -> None:
        self._decisions, self._net, self._key = decisions, net, key
        self.states = states
        self.asked: dict[str, Asked] = {}

    def search_with(self, net: Net) -> None:
        """Search what is asked from now on by another net, which knows more."""
        self._net = net

    @property
    def decision_count(self) -> int:
        """How many decisions there are, rules among them."""
        return self._decisions.count

    @property
    def waiting(self) -> list[Asked]:
        """What nobody decided yet, or what has to be decided again, in the order it was asked."""
        return [one for one in self.asked.values() if one.state == WAITING]

    def of_texts(
        self,
        kind: str,
        where: str,
        texts: Sequence[str],
        unders: Unders = lambda _: (),
        *,
        hits: Mapping[str, Sequence[Hit]] | None = None,
        counted: bool = True,
    ) -> list[str | None]:
        """What of each text the public edition shows, None for nothing; ask for a whole field.

        `hits` is what a search that knew more of the row found, by text; else the net is asked.
        Not `counted` is a field that is shown a second time.
        """
        once = list(dict.fromkeys(texts))
        if hits is None:
            hits = dict(zip(once, self._net.hits(once), strict=True))
        rules = self._rules_now(kind, where, once, hits)
        shown: dict[str, Asked] = {}
        for text in once:
            one = Asked(kind, where, text, self._identity(kind, where, text), tuple(hits[text]))
            one = self.asked.setdefault(one.identity, one)
            one.hits = tuple(hits[text])
            self._judge(one, rules)
            shown[text] = one
        for place, text in enumerate(texts if counted else ()):
            shown[text].count += 1
            shown[text].under.update(unders(place))
        return [shown[text].shown for text in texts]

    def of_text(self, kind: str, where: str, text: str) -> str | None:
        """What of a single text is shown; see `of_texts`."""
        return self.of_texts(kind, where, [text])[0] if text else text

    def of_file(
        self, kind: str, where: str, path: str, digest: str, hits: Sequence[Hit], under: set[str]
    ) -> bool:
        """Whether a file with these bytes goes out; `path` is what a person calls it."""
        one = self.asked.setdefault(digest, Asked(kind, where, path, digest, tuple(hits)))
        one.count += 1
        one.under |= under
        self._judge(one, [])
        return one.shown is not None

    def _identity(self, kind: str, where: str, text: str) -> str:
        return identity_of(self._key, kind, where, text)

    def _rules_now(
        self, kind: str, where: str, texts: Sequence[str], found: Mapping[str, Sequence[Hit]]
    ) -> list[tuple[Rule, bool]]:
        """The rules of a field, and whether each has outgrown what it was made for."""
        if kind not in (TEXT, KEY):
            return []
        return [
            (rule, len(covered(rule, texts, found)) > MOST_GROWTH * rule.count)
            for rule in self._decisions.rules.get(where, ())
        ]

    def _judge(self, one: Asked, rules: Sequence[tuple[Rule, bool]]) -> None:
        one.state, one.why, one.shown, one.by_rule = WAITING, NEVER_DECIDED, None, ""
        decided = self._decisions.single.get(one.identity, ())
        for said in decided:
            self._by_decision(one, said)
            if one.state != WAITING:
                return
        if not decided:
            self._by_rules(one, rules)

    def _by_decision(self, one: Asked, decided: Decided) -> None:
        if decided.decision == WITHHOLD:
            one.state, one.why, one.shown = WITHHOLD, "", None
        elif not still_stands(decided.under, self.states):
            one.why = CHANGED_SINCE
        elif not all(said in decided.found for said in one.found):
            one.why = FOUND_SINCE
        elif decided.decision == RELEASE:
            one.state, one.why, one.shown = RELEASE, "", one.text
        elif decided.decision == REPLACE:
            found = found_in(decided.replacement, self._net.hits([decided.replacement])[0])
            if found:
                one.why = f"its replacement holds {', '.join(found)}"
            else:
                one.state, one.why, one.shown = REPLACE, "", decided.replacement

    def _by_rules(self, one: Asked, rules: Sequence[tuple[Rule, bool]]) -> None:
        """Withheld where a rule says so of any part, released where rules do of every part."""
        about = [(rule, grown) for rule, grown in rules if concerns(rule, one.text)]
        if not about:
            return
        one.by_rule = about[0][0].rule_id
        against = [rule for rule, _ in about if rule.decision == WITHHOLD]
        if against:
            one.state, one.why, one.by_rule = WITHHOLD, "", against[0].rule_id
        elif one.hits:
            one.why = FOUND_BY_RULE
        else:
            lapsed = {
                one.rule_id: why for one, grown in about if (why := self._why_not(one, grown))
            }
            sound = [rule for rule, _ in about if rule.rule_id not in lapsed]
            if is_released(sound, one.text):
                one.state, one.why, one.shown = RELEASE, "", one.text
                one.by_rule = ", ".join(rule.rule_id for rule in sound)
            elif lapsed:
                one.by_rule, one.why = next(iter(lapsed.items()))

    def _why_not(self, rule: Rule, outgrown: bool) -> str:
        """Why a rule releases nothing now; '' for one that does."""
        if rule.decision != RELEASE:
            return f"rule {rule.rule_id} neither releases nor withholds"
        if not still_stands(rule.under, self.states):
            return CHANGED_SINCE
        if outgrown:
            return (
                f"rule {rule.rule_id} covers more than {MOST_GROWTH} times the {rule.count} texts "
                "that it was made for"
            )
        return ""
