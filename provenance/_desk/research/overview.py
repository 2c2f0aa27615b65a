"""The first page of a bundle: is it sound, what is in it, what can be done with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from provenance._accession.anchoring import anchors_named
from provenance._bag.verdict import PARTS, WORDS
from provenance._base.errors import UnusableInput
from provenance._base.languages import N_, _
from provenance._bundle.in_place import known_as
from provenance._bundle.unpack import unpack
from provenance._bundle.verdict_text import MOST_SHOWN, PART_TITLES, headline, state_of
from provenance._bundle.verify import verify_bundle
from provenance._desk.answers import Answer, Done, Page, Work
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.research.opened import can_be_read, is_answering, key_of, opened, verdict_of
from provenance._desk.things import BUNDLE, RECORD, STORE, things_in
from provenance._ledger.anchors import anchor_in_text
from provenance._model.spoken import spoken

if TYPE_CHECKING:
    from provenance._base.progress import Progress

pages = Pages()


@pages.shown("/bundle/{bundle}", title=N_("Overview"), group=N_("Bundle"))
def overview(asked: Asked) -> Answer:
    """The verdict, and where the bundle may answer what it holds."""
    verdict = verdict_of(asked)
    values = {
        "verdict": verdict,
        "answering": False,
        "anchors": [one for one in things_in(asked.desk.folder) if one.path != asked.bundle],
    }
    if verdict.as_bag:
        return Page("research/bag.html", values | {"bag": verdict.as_bag, "most": MOST_SHOWN})
    values |= {
        "headline": headline(verdict),
        "means": WORDS[verdict.word],
        "parts": [
            (
                PART_TITLES[part],
                state_of(verdict, part),
                [one for one in verdict.findings if one.part == part],
            )
            for part in PARTS
        ],
        "most": MOST_SHOWN,
        "readable": can_be_read(verdict),
    }
    if is_answering(asked, verdict):
        package = opened(asked).package
        counts = package.tables.counts()
        values |= {
            "answering": True,
            "package": package,
            "known": known_as(asked.bundle),
            "counts": [
                (one, counts[one.name])
                for one in spoken(package.model).of_role("record")
                if counts.get(one.name)
            ],
        }
    return Page("research/overview.html", values)


@pages.done("/bundle/{bundle}/anchor")
def anchor(asked: Asked) -> Answer:
    """Hold the custody ledger against what was kept of it elsewhere."""
    bundle, key = asked.bundle, key_of(asked, "verdict")
    named: list[tuple[str, Path | None]] = []
    if text := asked.text("line"):
        if anchor_in_text(text, "") is None:
            raise UnusableInput(
                _(
                    "This is not the line of a receipt or register. Type it as it appears there: "
                    "'ledger 323 3f2a 91c0 …'."
                )
            )
        named.append((text, None))
    for older in asked.files.get("older", ()):
        named.append((str(older), older))
    for kind in (BUNDLE, RECORD, STORE):
        for name in asked.texts(kind):
            path = asked.desk.path(name, kind)
            named.append((str(path), path))
    if not named:
        raise UnusableInput(_("Drop an older bundle, choose one, or type the line of a receipt."))

    def verifying(progress: Progress) -> Done:
        anchors = anchors_named([text for text, _path in named], bundle)
        verdict = verify_bundle(bundle, anchors=anchors, progress=progress)
        asked.desk.prepared.keep(key, verdict)
        return Done(asked.at(), _("Compared with what was known of it before."))

    return Work(_("Verifying {name}").format(name=bundle.name), verifying)


@pages.done("/bundle/{bundle}/verify")
def verify_again(asked: Asked) -> Answer:
    """Verify anew, without what it was held against."""
    asked.desk.prepared.ready.pop(key_of(asked, "verdict"), None)
    return Done(asked.at())


@pages.done("/bundle/{bundle}/unpack")
def unpack_here(asked: Asked) -> Answer:
    """Make a record of the bundle, beside it, to work on."""
    if not asked.desk.is_shelf:
        raise UnusableInput(
            _("The desk was opened on this bundle alone. Open it on the folder around it.")
        )
    bundle = asked.bundle
    verdict = verdict_of(asked)
    if not is_answering(asked, verdict):
        raise UnusableInput(
            _("It is damaged. Say first that you want what is left of it all the same.")
        )
    stem = bundle.name.removesuffix(".zip").removesuffix("-bundle")
    into = asked.desk.free(f"{stem}-unpacked")

    def unpacking(progress: Progress) -> Done:
        done = unpack(bundle, into, even_if_damaged=verdict.word == "damaged", progress=progress)
        return Done(
            f"/record/{quote(into.name)}",
            _("Unpacked. Verdict: {said}").format(said=done.verdict.in_words),
        )

    return Work(_("Unpacking {name}").format(name=bundle.name), unpacking)
