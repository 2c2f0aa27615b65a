"""Both editions of a record: what the public one withholds and shows, and their bundles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._base.progress import Progress
from provenance._bundle.describe.editions import EDITIONS
from provenance._bundle.pack import pack
from provenance._bundle.packed_words import packed_warnings, withheld_words
from provenance._bundle.redaction.decisions import RELEASE, REPLACE, WITHHOLD
from provenance._bundle.redaction.release import PICTURE, WAITING
from provenance._bundle.review.deciding import (
    Word,
    decide_by_rule,
    decide_field,
    decide_one_by_one,
)
from provenance._bundle.review.page import LOOK_FOR, field_titles, item_words
from provenance._bundle.review.review import OLDER, Review, review_package
from provenance._bundle.review.sheet import suggestions
from provenance._bundle.withdrawal import withdrawing_of
from provenance._desk.answers import Answer, Done, Page, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.store.common import bundles_here
from provenance._desk.things import BUNDLE
from provenance._model.schema import PUBLIC_FORMS
from provenance._model.spoken import spoken
from provenance._record.agreements import before_release
from provenance._record.deposit_settings import embargo_of
from provenance._record.package import open_to_change

pages = Pages()
MOST_SHOWN = 60
"""Things of a review on one page: photos among them are drawn for it."""
_DECISIONS = (RELEASE, WITHHOLD, REPLACE)


@pages.shown("/record/{record}/review", title=N_("What may be public"), group=N_("Archive"))
def review(asked: Asked) -> Answer:
    """By field how much is released, withheld and undecided; of one field every thing."""
    found = review_package(asked.record)
    where, state, kind = (asked.query.get(one, "") for one in ("where", "state", "kind"))
    said = {row["identity"]: row for row in found.package.tables.rows("review")}
    titles = field_titles(found, found.items)
    values: dict[str, Any] = {
        "found": found,
        "older": "" if found.can_be_decided else OLDER,
        "before": before_release(found.package.tables),
        "fields": _fields(found, titles),
        "where": where,
        "state": state,
        "kind": kind,
        "items": [],
        "more": 0,
        "title": _("Photos") if kind == PICTURE else titles.get(where, where),
        "decisions": _DECISIONS,
        "look_for": LOOK_FOR,
    }
    if where:
        chosen = [
            one
            for one in (*found.open, *(one for one in found.items if one.state != WAITING))
            if one.where == where and state in ("", one.state) and kind in ("", one.kind)
        ]
        shown = chosen[:MOST_SHOWN]
        instead = suggestions(found, shown)
        values["items"] = [
            item_words(found, one, other) | {"state": one.state, "said": said.get(one.identity)}
            for one, other in zip(shown, instead, strict=True)
        ]
        values["more"] = len(chosen) - len(shown)
    return Page("archive/review.html", values)


@pages.done("/record/{record}/review")
def decide(asked: Asked) -> Answer:
    """Record what was decided of each thing on the page, as one act."""
    words = []
    for identity in asked.texts("identity"):
        decision = asked.text(f"decision-{identity}")
        reason = asked.text(f"reason-{identity}")
        replacement = asked.text(f"replacement-{identity}") if decision == REPLACE else ""
        if decision:
            words.append(Word(identity, decision, replacement=replacement, reason=reason))
    if not words:
        raise UnusableInput(_("Nothing is decided on this page yet."))
    package = open_to_change(asked.record.folder)
    count = decide_one_by_one(package, words, by=asked.by, why=asked.text("because"))
    return _decided(asked, count)


@pages.done("/record/{record}/review/field")
def decide_at_once(asked: Asked) -> Answer:
    """Decide all that waits in a field, or by a rule that holds for later texts too."""
    package = open_to_change(asked.record.folder)
    where, decision = asked.needed("where", _("Field")), asked.needed("decision", _("Decision"))
    reason, like = asked.text("because"), asked.text("like")
    known_words = asked.text("known_words") == "yes"
    if like or known_words:
        count = decide_by_rule(
            package, where, decision, by=asked.by, reason=reason, like=like, known_words=known_words
        )
    else:
        count = decide_field(package, where, decision, by=asked.by, reason=reason)
    return _decided(asked, count)


def _decided(asked: Asked, count: int) -> Done:
    said = _("{count} decisions recorded by {by}.").format(count=count, by=asked.by)
    # the message is said on the page of the field, whatever of it is listed
    return Done(f"{asked.at('review')}?{asked.text('back')}", said)


@pages.shown("/record/{record}/pack", title=N_("Make the bundles"), group=N_("Archive"))
def packing(asked: Asked) -> Answer:
    """What each edition would hold, before it is made."""
    found = review_package(asked.record)
    package = found.package
    states = Counter(one.state for one in found.items)
    withheld = [one for one in found.items if one.shown is None and one.state != WAITING]
    return Page(
        "archive/pack.html",
        {
            "states": states,
            "waiting": found.waiting,
            "with_hits": found.with_hits,
            "withheld": withheld[:MOST_SHOWN],
            "withheld_count": len(withheld),
            "fields": _fields(found, field_titles(found, found.items)),
            "by_type": _by_type(found),
            "embargo": embargo_of(package),
            "before": before_release(package.tables),
            "bundles": bundles_here(asked),
        },
    )


@pages.done("/record/{record}/pack")
def make(asked: Asked) -> Answer:
    """Make the bundle of an edition beside the record."""
    package, edition = open_to_change(asked.record.folder), asked.text("edition", "full")
    if edition not in EDITIONS:
        raise UnusableInput(f"'{edition}' is not an edition; choose {', '.join(EDITIONS)}")
    is_public, grid = EDITIONS[edition].is_public, asked.text("grid") or None
    if (grid or asked.texts("withdraws")) and not is_public:
        raise UnusableInput(_("Grid and withdrawn editions are for the public edition."))
    earlier = [
        one if one == "none" else str(asked.desk.path(one, BUNDLE))
        for one in asked.texts("withdraws")
    ]
    withdrawing = withdrawing_of(package, earlier, asked.text("because")) if earlier else None
    suffix = "-public" if is_public else "-bundle"
    out = asked.desk.free(f"{package.name}{suffix}.zip")

    def work(progress: Progress) -> Done:
        packed = pack(
            package,
            out,
            zipped=True,
            edition=EDITIONS[edition],
            grid=grid,
            withdrawing=withdrawing,
            progress=progress,
        )
        said = [_("Packed {name}.").format(name=packed.path.name)]
        said += [*withheld_words(packed), *packed_warnings(packed)]
        return Done(asked.at("pack"), "\n".join(said))

    return Work(_("Packing {name}").format(name=package.name), work)


def _fields(found: Review, titles: Mapping[str, str]) -> list[dict[str, Any]]:
    """One row a field: its title and how many things are in each state."""
    rows = [
        {
            "where": where,
            "title": _("Photos") if kind == PICTURE else titles.get(where, where),
            "kind": kind,
            "waiting": states[WAITING],
            "hits": states["hits"],
            "released": states[RELEASE] + states[REPLACE],
            "withheld": states[WITHHOLD],
        }
        for (kind, where), states in found.counts().items()
    ]
    return sorted(rows, key=lambda one: (-one["hits"], -one["waiting"], one["title"]))


def _by_type(found: Review) -> list[tuple[str, list[str]]]:
    """What no one releases: how the public edition changes fields, and which have something."""
    tables = found.package.tables
    changed: dict[str, list[str]] = {}
    for table, one in spoken(found.package.model).every_field():
        if one.public_form == "shown":
            continue
        if count := sum(map(bool, tables.column(table.name, one.name))):
            words = PUBLIC_FORMS[one.public_form]
            changed.setdefault(words, []).append(f"{table.title}: {one.title} ({count})")
    return sorted(changed.items())
