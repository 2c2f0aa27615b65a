"""The page for finding the hole of a sample again, and its sheet to print."""

from __future__ import annotations

from urllib.parse import quote

from provenance._base.languages import _, speaking
from provenance._bundle.finding_aid.addresses import page_path, relocation_path
from provenance._desk.answers import Answer, Page, Sent
from provenance._desk.asked import Asked
from provenance._desk.pages import Pages
from provenance._desk.research.opened import opened
from provenance._desk.things import NotHere
from provenance._record.edition_key import is_public
from provenance._record.package import Package
from provenance._survey.hole.hole import why_not_placed
from provenance._survey.hole.known_points import known_points
from provenance._survey.plan.plan_sheet import SECRET
from provenance._survey.relocation import write_relocation_sheets
from provenance._survey.relocation_facts import Relocation, gather_facts, gather_relocation

pages = Pages()


@pages.shown("/record/{record}/relocation/{sample:path}")
def of_record(asked: Asked) -> Answer:
    """Of a sample of a record; with `?pdf=a4` or `letter` the sheet."""
    return _relocation(asked, asked.record)


@pages.shown("/bundle/{bundle}/relocation/{sample:path}")
def of_bundle(asked: Asked) -> Answer:
    """Of a sample in a bundle, whose sheet bears the verdict."""
    return _relocation(asked, opened(asked).package)


def _relocation(asked: Asked, package: Package) -> Answer:
    sample = asked.address["sample"]
    if sample not in package.tables.column("sample", "sample_id"):
        raise NotHere(_("There is no sample {key}.").format(key=sample))
    if paper := asked.query.get("pdf"):
        folder = asked.desk.scratch()
        (path,) = write_relocation_sheets(package, [sample], folder, paper=paper)
        return Sent(path, path.name, "application/pdf", shown=True)
    with speaking(package.model.language):
        known = known_points(package)
        number = known.record.find("sample", sample)
        is_placed = number in known.holes.sample
        facts = (
            gather_relocation(package, known, sample)
            if is_placed
            else gather_facts(package, known.record, sample)
        )
        missing = "" if is_placed else why_not_placed(known, number)
    row = next(one for one in package.tables.rows("sample") if one["sample_id"] == sample)
    return Page(
        "research/relocation.html",
        {
            "sample": sample,
            "timber": row["element_id"],
            "facts": facts,
            "placed": facts if isinstance(facts, Relocation) else None,
            "missing": missing,
            "secret": SECRET,
            "verdict": package.verdict,
            "in_aid": _in_aid(package, sample),
        },
    )


def _in_aid(package: Package, sample: str) -> str:
    """Where the finding aid has the hole; a public edition has no page that shows the way."""
    path = page_path("sample", sample) if is_public(package) else relocation_path(sample)
    return quote(path)
