"""Writes what a bundle says of itself: code book, README, pages, descriptions, crate, bag tags."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance import __version__
from provenance._base.disk import write_bytes, write_text
from provenance._base.progress import Progress
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._bundle.deposit import schema_org
from provenance._bundle.deposit.files import deposit_forms, write_deposit_files
from provenance._bundle.describe.citation import keeper, makers
from provenance._bundle.describe.code_book import code_book_html, code_book_markdown
from provenance._bundle.describe.contents import Contents
from provenance._bundle.describe.crate import CRATE, describe_crate
from provenance._bundle.describe.editions import Edition
from provenance._bundle.describe.lineage import ACCESSION_TAG, LEDGER_TAG, Lineage
from provenance._bundle.describe.plain_text import WIDTH, flat, text_template
from provenance._bundle.describe.withdrawn import Withdrawn
from provenance._bundle.finding_aid.write import write_finding_aid
from provenance._bundle.generated import generated_names
from provenance._bundle.redaction.notice import WITHHELD_TEXT, public_facts, withheld_text
from provenance._bundle.redaction.redact import Redacted
from provenance._ledger.anchors import anchor_of
from provenance._ledger.custody import last_seal
from provenance._ledger.ed25519 import Signer
from provenance._model.media_types import media_type_of
from provenance._record.agreements import agreements_of, notices
from provenance._record.attempts import samples_taken
from provenance._record.given_out import LINEAGE_TABLE
from provenance._record.origin import Ancestor
from provenance._record.package import Package, as_json

BUNDLE_VERSION = "1"


@dataclass(frozen=True)
class Filling:
    """What goes into a bundle: the package, its edition, the record's date.

    For the public edition also the `full` package that it was made from, and how. `keys` sign it.
    """

    package: Package
    edition: Edition
    day: str
    full: Package | None = None
    redacted: Redacted | None = None
    keys: tuple[Signer, ...] = ()


def write_about(
    filling: Filling, contents: Contents, data: Path, lineage: Lineage, progress: Progress
) -> None:
    """Everything that explains the record: code book, pages, citation, crate, README.

    `progress` counts pages, which are most of the work.
    """
    package, edition, day = filling.package, filling.edition, filling.day
    model = package.model
    rows = package.tables.counts()
    write_text(data / "CODEBOOK.md", code_book_markdown(model, package.title))
    write_text(data / "codebook.html", code_book_html(model, package.title))
    earlier = lineage.revision_of
    write_text(
        data / "README.txt",
        plain_readme(
            package,
            contents,
            edition,
            day=day,
            rows=rows,
            earlier=earlier,
            withdraws=filling.redacted.withdraws if filling.redacted else (),
        ),
    )
    write_deposit_files(
        package,
        data,
        edition,
        day=day,
        formats=tuple(sorted({media_type_of(member.path) for member in contents.members})),
        sizes=_sizes(contents, len(samples_taken(package.tables))),
    )
    # the pages carry it too
    json_ld = json.loads((data / schema_org.FORM.file_name).read_text(encoding="utf-8"))
    facts = _facts(package, contents, edition, lineage, day, rows) | lineage.facts()
    if filling.redacted:
        withheld = withheld_text(filling.redacted, day=day)
        write_text(data / WITHHELD_TEXT, withheld)
        del facts["lastSeal"]
        facts |= public_facts(filling.redacted)
    write_text(data / "bundle.json", as_json(facts))
    if lineage.is_told:
        write_bytes(data / LINEAGE_TABLE, lineage.table)
    write_finding_aid(
        package,
        data,
        edition=edition,
        facts=_shown_facts(package, contents, day, lineage),
        links=_shown_links(contents, edition),
        files=[member.path for member in contents.members],
        json_ld=json_ld,
        progress=progress,
    )
    files = {
        path.relative_to(data).as_posix(): path.stat().st_size
        for path in data.rglob("*")
        if path.is_file()
    }
    crate = describe_crate(
        package,
        edition,
        day=day,
        files=files,
        titles=_titles(package, edition),
        standards={one.file_name: one.standard for one in deposit_forms() if one.standard},
        undescribed=contents.undescribed,
        earlier=earlier,
    )
    write_text(data / CRATE, as_json(crate))


def _sizes(contents: Contents, samples: int) -> tuple[str, ...]:
    return (
        f"{samples} sample{'' if samples == 1 else 's'}",
        f"{len(contents.members)} files",
        f"{contents.byte_count} bytes",
    )


def _facts(
    package: Package,
    contents: Contents,
    edition: Edition,
    lineage: Lineage,
    day: str,
    rows: Mapping[str, int],
) -> dict[str, Any]:
    """What a program wants to know about the bundle itself."""
    return {
        "bundleVersion": BUNDLE_VERSION,
        "edition": edition.name,
        "package": package.name,
        "title": package.title,
        "recordDate": day,
        "writtenBy": f"treenail {__version__}",
        "rows": dict(rows),
        "lastSeal": last_seal(package),
        "generated": [
            name for name in generated_names() if name != LINEAGE_TABLE or lineage.is_told
        ],
        "undescribed": list(contents.undescribed),
        "leftOut": list(contents.left_out),
        "missing": [path for _, _, path in contents.missing],
    }


def bag_info(package: Package, edition: Edition, day: str, lineage: Lineage) -> dict[str, str]:
    """The tags of RFC 8493 section 2.2.2; the e-mail addresses of people stay out of them."""
    info = {
        "Bagging-Date": day,
        "Bag-Software-Agent": f"treenail {__version__}",
        "External-Identifier": package.name,
        "External-Description": (
            f"{package.title}. {edition.title}, {edition.store}. Begin with data/README.txt or "
            "data/index.html."
        ),
        "Internal-Sender-Description": f"{edition.name} edition",
    }
    if repository := keeper(package):
        info["Contact-Name"] = repository.name
    if not edition.is_public and (end := anchor_of(package.tables, "")):
        info[LEDGER_TAG] = f"{end.count} {end.head}"
    if lineage.accession:
        info[ACCESSION_TAG] = lineage.accession
    return info


def _shown_facts(
    package: Package, contents: Contents, day: str, lineage: Lineage
) -> list[tuple[str, str]]:
    repository = keeper(package)
    facts = [
        ("Newest entry", day),
        ("Goes on from", lineage.revision_of[0].in_words if lineage.revision_of else ""),
        ("Made by", ", ".join(one.name for one in makers(package))),
        ("Kept by", repository.name if repository else ""),
        ("Kind of place", package.model.title),
        ("Package", package.name),
        ("Files", f"{len(contents.members)}, {contents.byte_count:,} bytes"),
    ]
    return [(name, value) for name, value in facts if value]


def _known_files(edition: Edition) -> list[dict[str, str]]:
    """What is said of the files that an edition may have, in templates/bundle/files.yaml."""
    known = read_yaml(shipped("templates") / "bundle" / "files.yaml")
    return [one for one in known if one.get("edition", edition.name) == edition.name]


def _shown_links(contents: Contents, edition: Edition) -> list[dict[str, str]]:
    return [
        one
        for one in _known_files(edition)
        if "link" in one
        and (
            not one["path"].endswith("/")
            or any(member.path.startswith(one["path"]) for member in contents.members)
        )
    ]


def _titles(package: Package, edition: Edition) -> dict[str, str]:
    """What files are, for those that something says it of."""
    titles = {one["path"]: one["title"] for one in _known_files(edition) if "title" in one}
    titles |= {one.file_name: one.title for one in deposit_forms()}
    for table in package.model.tables.values():
        titles[f"tables/{table.name}.csv"] = f"{table.title}: {table.description}"
        titles[f"schemas/{table.name}.json"] = f"Table Schema of {table.title}"
    for name, path, title in (("file", "path", "title"), ("original", "path", "file_name")):
        rows = package.tables.rows(name)
        titles |= {row[path]: row[title] for row in rows if row[path] and row[title]}
    return titles


def plain_readme(
    package: Package,
    contents: Contents,
    edition: Edition,
    *,
    day: str,
    rows: Mapping[str, int],
    earlier: Sequence[Ancestor] = (),
    withdraws: Sequence[Withdrawn] = (),
) -> str:
    """The text of README.txt of a bundle; `rows` maps each table to its row count.

    `earlier` are the bundles that this one goes on from, newest first; `withdraws` the editions
    whose place it takes.
    """
    tables = package.model.tables
    forms = sorted(deposit_forms(), key=lambda one: not one.people_read)
    return text_template("bundle/readme.txt").render(
        title=flat(package.title),
        width=WIDTH,
        name=package.name,
        edition=edition,
        day=day,
        earlier=earlier,
        withdraws=withdraws,
        forms=[one.readme for one in forms if one.readme],
        keeper=_keeper_in_words(package, edition),
        tables=tables.values(),
        rows=rows,
        sealed="custody" in tables and not edition.is_public,
        contents=contents,
        notices=[flat(one) for one in notices(agreements_of(package.tables))],
        cautions=package.model.cautions,
    )


def _keeper_in_words(package: Package, edition: Edition) -> str:
    """The keeper with the addresses that this edition has of it, '' where none may be named."""
    one = keeper(package)
    if one is None or (edition.is_public and not one.named):
        return ""
    row = next(row for row in package.tables.rows("party") if row["party_id"] == one.party_id)
    ways = [row[name] for name in ("postal_address", "email") if row[name]]
    return f"{one.name}, {'; '.join(ways)}" if ways else one.name
