"""Two copies of one record: what each has alone, where they differ, and both made one."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from provenance._bag.hostile_zip import unpack_zip
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _, ngettext
from provenance._bundle.unpack import unpack
from provenance._desk.answers import Answer, Done, Page, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.prepared import prepared, stamp_of
from provenance._desk.record.history import field_title
from provenance._desk.things import RECORD, NotHere, things_in
from provenance._history.history import ACT
from provenance._history.projection import covered_tables
from provenance._history.told import kind_in_words
from provenance._merging.merge import Merged, merge_packages
from provenance._model.spoken import spoken
from provenance._record.package import DESCRIPTOR, Package, open_package
from provenance._record.snapshot import Row

if TYPE_CHECKING:
    from provenance._base.progress import Progress

pages = Pages()

DROPPED = "dropped"
MOST = 200
"""Lines of one list on the page."""


@dataclass(frozen=True)
class Foreseen:
    """What merging would do: `rows` are (table, in both, here alone, there alone).

    `acts` has every act of either copy, `here` and `there` those that one copy has.
    """

    merged: Merged
    acts: Mapping[str, Row]
    here: frozenset[str]
    there: frozenset[str]
    rows: list[tuple[str, int, int, int]]


@pages.shown("/record/{record}/merge", title=N_("Merge with another copy"), group=N_("History"))
def merging(asked: Asked) -> Answer:
    """The other copy to choose; with `?with=record/NAME` what both have and where they differ."""
    ours = asked.record
    copies = [
        one
        for one in things_in(asked.desk.folder)
        if one.kind == RECORD and one.path.resolve() != ours.folder.resolve()
    ]
    chosen = asked.query.get("with", "")
    values = {"copies": copies, "chosen": chosen, "foreseen": None}
    if not chosen:
        return Page("record/merge.html", values)
    theirs = _other(asked, chosen)
    key = ("merge", ours.folder, stamp_of(ours.folder), theirs.folder, stamp_of(theirs.folder))
    foreseen = prepared(
        asked,
        _("Comparing two copies"),
        key,
        lambda _progress: _foresee(ours, theirs, asked.by),
    )
    alone = {
        side: [
            (
                foreseen.acts[one],
                kind_in_words(foreseen.acts[one]["kind"], foreseen.acts[one]["why"]),
            )
            for one in foreseen.acts
            if one in mine and one not in other
        ]
        for side, mine, other in (
            ("here", foreseen.here, foreseen.there),
            ("there", foreseen.there, foreseen.here),
        )
    }
    model = spoken(ours.model)
    return Page(
        "record/merge.html",
        values
        | {
            "foreseen": foreseen,
            "alone": alone,
            "both": len(foreseen.here & foreseen.there),
            "field_title": lambda table, field: field_title(model, table, field),
            "titles": {one.name: one.title for one in model.tables.values()},
            "conflict_kinds": model.vocabularies["conflict_kind"],
            "name": theirs.folder.name if chosen.startswith(RECORD) else _("the dropped copy"),
            "most": MOST,
        },
    )


@pages.done("/record/{record}/merge/drop")
def drop(asked: Asked) -> Answer:
    """A zip of another copy, a record or a bundle of it, unpacked as a stranger's."""
    files = asked.files.get("copy", ())
    if len(files) != 1:
        raise UnusableInput(_("Drop one zip: the folder of the other copy, or a bundle of it."))
    dropped = files[0]

    def unpacking(progress: Progress) -> Done:
        folder = _unpacked(dropped, asked.desk.scratch(), progress)
        token = secrets.token_urlsafe(8)
        asked.desk.prepared.keep((DROPPED, token), folder)
        return Done(asked.at("merge", **{"with": f"{DROPPED}/{token}"}))

    return Work(_("Unpacking {name}").format(name=dropped.name), unpacking)


@pages.done("/record/{record}/merge/do")
def merge(asked: Asked) -> Answer:
    """Bring the other copy in; nothing is lost, and where they differ somebody settles it."""
    ours, theirs = asked.record, _other(asked, asked.text("with"))

    def working(progress: Progress) -> Done:
        progress(0, 1)
        merged = merge_packages(ours, theirs, who=asked.by)
        said = [
            _("Merged. What came: {counts}.").format(counts=", ".join(_counts(merged))),
            *merged.disputed,
            *merged.notes,
        ]
        to = asked.at("settle") if merged.conflicts else asked.at("history")
        return Done(to, "\n".join(said))

    return Work(_("Merging"), working)


def _counts(merged: Merged) -> Iterator[str]:
    acts, events, files = merged.acts, merged.events, len(merged.files)
    yield ngettext("{n} act", "{n} acts", acts).format(n=acts)
    yield ngettext("{n} custody event", "{n} custody events", events).format(n=events)
    yield ngettext("{n} file", "{n} files", files).format(n=files)


def _other(asked: Asked, chosen: str) -> Package:
    kind, _slash, name = chosen.partition("/")
    if kind == RECORD:
        return asked.desk.open_record(asked.desk.path(name, RECORD)).package
    folder = asked.desk.prepared.ready.get((DROPPED, name))
    if kind != DROPPED or folder is None:
        raise NotHere(_("The other copy is not here any more. Drop it again."))
    return open_package(folder)


def _unpacked(dropped: Path, scratch: Path, progress: Progress) -> Path:
    """The folder of the record in a zip, which may lie in one folder of it, or be a bundle."""
    top = unpack_zip(dropped, scratch, one_folder=False, progress=progress)
    inner = [one for one in top.iterdir() if one.is_dir()]
    for folder in (top, *inner):
        if (folder / DESCRIPTOR).is_file():
            return folder
        if (folder / "bagit.txt").is_file():
            return unpack(folder, scratch.with_name(f"{scratch.name}-record")).package.folder
    raise UnusableInput(_("{name} holds neither a record nor a bundle.").format(name=dropped.name))


def _foresee(ours: Package, theirs: Package, who: str) -> Foreseen:
    merged = merge_packages(ours, theirs, who=who, dry_run=True)
    model = spoken(ours.model)
    rows = []
    for table in covered_tables(ours.model):
        here, there = (
            {table.key_of(row) for row in one.tables.rows(table.name)}
            if table.name in one.model.tables
            else set[str]()
            for one in (ours, theirs)
        )
        if here or there:
            title = model.table(table.name).title
            rows.append((title, len(here & there), len(here - there), len(there - here)))
    acts = {row["act_id"]: row for one in (ours, theirs) for row in one.tables.rows(ACT)}
    mine, other = (frozenset(one.tables.column(ACT, "act_id")) for one in (ours, theirs))
    return Foreseen(merged, acts, mine, other, rows)
