"""Records what people decide about the public edition, each time as one act that can be undone.

What they decided on is the review that they were shown, or, where a package is given, one made now.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from provenance._base.errors import UnusablePackage
from provenance._bundle.redaction.decisions import (
    RELEASE,
    REPLACE,
    REVIEW,
    REVIEW_RULE,
    WITHHOLD,
    Rule,
    covered,
    found_in,
    shape_of,
    under_text,
)
from provenance._bundle.redaction.release import (
    KEY,
    PACKAGE,
    PICTURE,
    TEXT,
    WAITING,
    Asked,
)
from provenance._bundle.review.review import OLDER, Review, review_package
from provenance._history.acts import short_code
from provenance._history.deciding import Refused
from provenance._history.entering import enter_table
from provenance._history.history import moment_text
from provenance._record.package import Package, open_package

REPLACED = (TEXT, PACKAGE)
"""Kinds for which other words can stand."""
_NEXT = "'treenail review' lists what waits"


@dataclass(frozen=True)
class Word:
    """A person's word about one thing of a review; `where_said` names the row of a list."""

    identity: str
    decision: str
    replacement: str = ""
    reason: str = ""
    where_said: str = ""


def decide_one_by_one(
    package: Package | Review, words: Sequence[Word], *, by: str, when: str = "", why: str = ""
) -> int:
    """Record decisions about single texts and files; returns how many. `why` is the act's reason.

    Raises Refused that names every word that cannot be: nothing of that identity is in the record,
    other words are missing, or hold something that is withheld. Nothing is recorded then.
    """
    by = _signed(by)
    review = _to_decide(package)
    asked = {one.identity: one for one in review.items}
    faults = list(_faults(review, asked, words))
    if faults:
        raise Refused("nothing was recorded:\n" + "\n".join(f"  {one}" for one in faults))
    if not words:
        return 0
    when = when or moment_text()
    new = {
        word.identity: {
            "identity": one.identity,
            "kind": one.kind,
            "where": one.where,
            "text": one.text,
            "decision": word.decision,
            "replacement": word.replacement if word.decision == REPLACE else "",
            "found": "; ".join(one.found),
            "under": under_text(one.under, review.states),
            "reason": word.reason,
            "by": by,
            "on": when,
        }
        for word in words
        for one in [asked[word.identity]]
    }
    _enter(review.package, REVIEW, ("identity",), list(new.values()), why=why or "review")
    return len(new)


def decide_field(
    package: Package | Review, where: str, decision: str, *, by: str, reason: str, when: str = ""
) -> int:
    """Release or withhold, one by one, all texts of a field that wait now; returns how many.

    Texts in which the search finds something, and photos, are not released so: somebody has to look
    at each. Texts that come later wait again. Raises Refused where nothing of the field is meant.
    """
    review = _to_decide(package)
    waiting = [one for one in _of_field(review, where) if one.state == WAITING]
    meant = [
        one for one in waiting if decision == WITHHOLD or not (one.hits or one.kind == PICTURE)
    ]
    if not meant:
        raise Refused(
            f"nothing that waits in {where} can be decided at once: "
            + (f"{len(waiting)} texts with findings, or photos, must be read one by one; {_NEXT}"
               if waiting else "nothing is waiting there")
        )  # fmt: skip
    words = [Word(one.identity, decision, reason=reason) for one in meant]
    return decide_one_by_one(review, words, by=by, when=when, why=f"review of {where}: {reason}")


def decide_by_rule(
    package: Package | Review,
    where: str,
    decision: str,
    *,
    by: str,
    reason: str,
    like: str = "",
    known_words: bool = False,
    when: str = "",
) -> int:
    """Release or withhold the texts of a field that are of a shape, now and later; returns count.

    `like` is a shape, or a text of that shape: every digit stands for any. With `known_words` only
    texts are meant whose words are all in the program's lists. A text of several phrases is
    released where rules mean each of them. Raises Refused where the record has no such text.
    """
    by = _signed(by)
    if not reason.strip():
        raise Refused("a rule needs a reason: say why such texts may be public, or not")
    review = _to_decide(package)
    asked = {one.text: one for one in _of_field(review, where) if one.kind in (TEXT, KEY)}
    shape = shape_of(like)
    rule_id = short_code("RV", where, shape, str(known_words), by)
    rule = Rule(rule_id, where, shape, known_words, decision, 0, "")
    found = {text: () if decision == WITHHOLD else one.hits for text, one in asked.items()}
    count = len(covered(rule, asked, found))
    if not (shape or known_words):
        raise Refused("a rule needs a shape or known words, or it would mean every text to come")
    if not count:
        shapes = {shape_of(text) for text in asked}
        near = get_close_matches(shape, shapes, n=1, cutoff=0.4)
        hint = f"; did you mean {near[0]!r}?" if near and near[0] != shape else ""
        raise Refused(f"no text of {where} that the rule could decide is like {like!r}{hint}")
    when = when or moment_text()
    row = {
        "rule_id": rule_id,
        "where": where,
        "shape": shape,
        "known_words": "true" if known_words else "false",
        "decision": decision,
        "count": str(count),
        "under": under_text((n for n in review.states if n.startswith("site:")), review.states),
        "reason": reason,
        "by": by,
        "on": when,
    }
    why = f"review of {where} by rule: {reason}"
    _enter(review.package, REVIEW_RULE, ("where", "shape", "known_words"), [row], why=why)
    return count


def _signed(by: str) -> str:
    if not by.strip():
        raise Refused("a decision needs a name: say who decides (--by)")
    return by.strip()


def _to_decide(package: Package | Review) -> Review:
    """The review of a package, or the one at hand, to which decisions can be added."""
    if isinstance(package, Package):
        package.finish_writing()
        package = review_package(open_package(package.folder))
    if not package.can_be_decided:
        raise UnusablePackage(f"{package.package.folder}: {OLDER}")
    return package


def _of_field(review: Review, where: str) -> list[Asked]:
    found = [one for one in review.items if one.where == where]
    if not found:
        known = dict.fromkeys(one.where for one in review.items)
        near = get_close_matches(where, known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known) or 'none'}"
        raise Refused(f"there is nothing to review in '{where}'; {hint}")
    return found


def _faults(review: Review, asked: Mapping[str, Asked], words: Sequence[Word]) -> list[str]:
    """What is wrong with each word, in a sentence."""
    faults = []
    new = [word.replacement for word in words if word.decision == REPLACE and word.replacement]
    found = dict(zip(new, review.known.masker.hits(new), strict=True)) if new else {}
    seen: dict[str, str] = {}
    for word in words:
        place = f"{word.where_said}: " if word.where_said else ""
        one = asked.get(word.identity)
        if one is None:
            faults.append(
                f"{place}the record no longer has a thing of the identity {word.identity[:12]}…; "
                "it was changed since the list was written. Write a new list and decide again"
            )
        elif word.decision not in (RELEASE, WITHHOLD, REPLACE):
            faults.append(
                f"{place}{word.decision!r} is not a decision; write {RELEASE}, {WITHHOLD} or "
                f"{REPLACE}"
            )
        elif seen.setdefault(word.identity, word.decision) != word.decision:
            faults.append(f"{place}{one.text[:60]!r} is decided twice, and differently")
        elif word.decision == REPLACE and one.kind not in REPLACED:
            faults.append(f"{place}only texts are replaced; release or withhold {one.text[:60]!r}")
        elif word.decision == REPLACE and not word.replacement:
            faults.append(f"{place}'{REPLACE}' needs the words that are shown instead")
        elif hits := found.get(word.replacement, ()) if word.decision == REPLACE else ():
            told = ", ".join(found_in(word.replacement, hits))
            faults.append(f"{place}{word.replacement[:60]!r} still holds {told}; write other words")
    return faults


def _enter(
    package: Package,
    table: str,
    about: Sequence[str],
    new: Sequence[Mapping[str, str]],
    *,
    why: str,
) -> None:
    """Put decisions in the place of all that anybody decided about the same before.

    `about` are the columns that say what a decision is about.
    """

    def told(row: Mapping[str, str]) -> tuple[str, ...]:
        return tuple(row[name] for name in about)

    with package.locked():
        now = replace(package, held=None)
        decided = {told(row) for row in new}
        kept = [dict(row) for row in now.tables.rows(table) if told(row) not in decided]
        enter_table(now, table, [*kept, *new], why=why, who=new[0]["by"], when=new[0]["on"])
