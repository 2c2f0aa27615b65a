"""What changed between a bundle and another state of the record that lies in the folder."""

from __future__ import annotations

from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._compare.compare import compare
from provenance._compare.report import shown_difference
from provenance._desk.answers import Answer, Page
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.prepared import prepared, stamp_of
from provenance._desk.research.opened import key_of, opened
from provenance._desk.things import BUNDLE, RECORD, things_in

pages = Pages()


@pages.shown("/bundle/{bundle}/compare", title=N_("Compare"), group=N_("Bundle"))
def comparison(asked: Asked) -> Answer:
    """The other state to choose; `?with=bundle/NAME` the comparison, the older one first."""
    others = [
        one
        for one in things_in(asked.desk.folder)
        if one.kind in (RECORD, BUNDLE) and one.path != asked.bundle
    ]
    chosen = asked.query.get("with", "")
    is_newer = asked.query.get("is") == "newer"
    values = {"others": others, "chosen": chosen, "is_newer": is_newer, "found": None}
    if not chosen:
        return Page("research/compare.html", values)
    kind, _slash, name = chosen.partition("/")
    if kind not in (RECORD, BUNDLE):
        raise UnusableInput(_("Choose what to compare it with."))
    damaged = opened(asked).verdict.word == "damaged"
    other = asked.desk.path(name, kind)
    if kind == RECORD:
        asked.desk.open_record(other).write()
    older, newer = (asked.bundle, other) if is_newer else (other, asked.bundle)
    found = prepared(
        asked,
        _("Comparing {one} and {other}").format(one=older.name, other=newer.name),
        (key_of(asked, "compare"), other, stamp_of(other), is_newer),
        lambda progress: compare(older, newer, even_if_damaged=damaged, progress=progress),
    )
    return Page("research/compare.html", values | shown_difference(found))
