"""Writes README.txt: how to read the bundle with nothing but a text editor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from provenance._bundle.deposit.files import deposit_forms
from provenance._bundle.describe.citation import keeper
from provenance._bundle.describe.contents import Contents
from provenance._bundle.describe.editions import Edition
from provenance._bundle.describe.plain_text import WIDTH, bullet, flat, heading, paragraph
from provenance._model.schema import Table
from provenance._record.origin import Ancestor
from provenance._record.package import Package


def plain_readme(
    package: Package,
    contents: Contents,
    edition: Edition,
    *,
    day: str,
    rows: Mapping[str, int],
    earlier: Sequence[Ancestor] = (),
) -> str:
    """The text of README.txt of a bundle; `rows` maps each table to its row count.

    `earlier` are the bundles that this one goes on from, newest first.
    """
    title = flat(package.title)
    parts = [
        f"{title}\n{'=' * min(len(title), WIDTH)}\n",
        paragraph(
            "This is the record of wood, samples, plugs and laboratory results of a place where "
            "tree-ring samples were taken from buildings. It was made so that somebody who reads "
            "a number on a dowel in a beam can find out what was taken, by whom, where it is now "
            "and what its date is, decades from now, with any computer."
        ),
        paragraph(
            f"{edition.title.upper()}: {edition.notice} Do not tell the way to a protected or "
            "sacred place."
        ),
        f"Newest entry of the record: {day}\n",
        paragraph(
            "Every date that this bundle itself bears (bag-info.txt, the zip) is that date, not "
            "the day on which it was packed, so that the same record always makes the same bundle."
        ),
        *_earlier(earlier),
        heading("What each file is"),
        _files(edition),
        _pages(),
        *_keepers(package, edition),
        heading("The page of a record"),
        paragraph(
            "Each place, piece of wood and sample has a page that keeps its address: sample 231 is "
            "pages/sample/231.html, wood B1-014 is pages/element/B1-014.html. Capitals, digits and "
            "- _ . stand as they are; of any other character each byte of its UTF-8 is written as "
            "~ and two hexadecimal digits (b1 is ~621), so is a . at the beginning and the first "
            "letter of CON, NUL and the like; longer than 120, a name is its first 80, ~~ and the "
            "SHA-256 of the identifier. go.html?id=HOLL-231 leads to sample 231 of site HOLL: put "
            "these pages on a web server, and the address of go.html with ?id={identifier} can be "
            "the resolver on labels. A server can also send the number itself to its page."
        ),
        heading("How to read the tables"),
        paragraph(
            "Each table in tables/ is a text file (CSV, UTF-8). The first line names the columns; "
            "each further line is one row; cells are parted by commas; a cell with a comma, a "
            'quote or a line break stands in double quotes ("). A blank cell means: not recorded. '
            "CODEBOOK.md says what each column and each code means."
        ),
        _tables(package, rows),
        heading("How the tables hang together"),
        paragraph(
            "A row is tied to another by its code: if a sample says element_id B1-014, look for "
            "the row of tables/element.csv whose element_id is B1-014. From a dowel in the wall: "
            "find its stamp in tables/plug.csv, take the sample_id, find it in tables/sample.csv, "
            "take the element_id, find it in tables/element.csv. The dates are in "
            "tables/lab_result.csv under the sample_id, and who holds the sample in "
            "tables/custody.csv: the last line about it."
        ),
        _ties(package),
        heading("How to check that nothing has changed"),
        paragraph(
            "One folder above this one are manifest-sha256.txt and manifest-sha512.txt, with a "
            "checksum for every file. On Linux, in that folder:"
        ),
        "    sha256sum -c manifest-sha256.txt\n    sha256sum -c tagmanifest-sha256.txt\n",
        paragraph(
            "On a Mac write 'shasum -a 256 -c' for 'sha256sum -c'. On Windows, "
            "'certutil -hashfile FILE SHA256' shows the checksum of one file. The layout is BagIt, "
            "RFC 8493; any BagIt program checks the whole."
        ),
        paragraph(
            "Checksums show accidents. Somebody who changes files on purpose can make the "
            "checksums anew; so write the checksum of tagmanifest-sha256.txt into your register "
            "when the bundle comes in. It stands for every byte of the bundle."
        ),
    ]
    if "custody" in package.model.tables and not edition.is_public:
        parts += [_custody()]
    parts += _oddities(contents)
    if package.model.cautions:
        parts += [
            heading("Before you drill, climb or look for the place"),
            "".join(bullet(caution) for caution in package.model.cautions),
            paragraph(
                "Local codes, permits and licensed practice come first; this list does not replace "
                "them."
            ),
        ]
    return "\n".join(parts)


def _earlier(earlier: Sequence[Ancestor]) -> list[str]:
    if not earlier:
        return []
    return [
        heading("Earlier bundles of this record"),
        "\n",
        paragraph(
            "This bundle goes on from the first one listed, and that one from the next. The long "
            "number is the SHA-256 of its file tagmanifest-sha256.txt, by which it is known."
        ),
        "".join(bullet(f"{one.name}, {one.in_words}: {one.tagmanifest_sha256}") for one in earlier),
    ]


def _files(edition: Edition) -> str:
    received = ("originals/", "the files of the field crew and the laboratory, as received")
    check = ("check/", "what the check found wrong or odd when this was packed")
    withheld = ("WITHHELD.txt", "what is withheld from this edition, why, and whom to ask")
    lines = [
        *([withheld] if edition.is_public else []),
        ("index.html", "the record to leaf through in any browser, with no network"),
        ("go.html", "leads from the number on a label or dowel to its page"),
        ("pages/", "the pages themselves; how they are named stands below"),
        ("tables/", "the record itself, one text file a table"),
        ("CODEBOOK.md, codebook.html", "what each table, column and code means"),
        ("schemas/", "the same for programs (Table Schema)"),
        ("datapackage.json", "which tables there are, for programs (Data Package 2)"),
        *([] if edition.is_public else [received]),
        ("files/", "photos, plans, ring-width files, reports; see tables/file.csv"),
        ("check/", "how often each rule of the check found something")
        if edition.is_public
        else check,
        ("ro-crate-metadata.json", "all files described, for programs (RO-Crate)"),
        *_deposit_lines(),
        ("bundle.json", "facts about the bundle itself, for programs"),
        ("README.md", "about the package in here, and whether it is worked on"),
    ]
    return "".join(bullet(f"{name}: {text}") for name, text in lines)


def _deposit_lines() -> list[tuple[str, str]]:
    forms = sorted(deposit_forms(), key=lambda one: not one.people_read)
    return [one.readme for one in forms if one.readme]


def _pages() -> str:
    """The rule of finding_aid/addresses.py in words."""
    return (
        heading("How the pages are named")
        + "\n"
        + paragraph(
            "A place, a piece of wood and a sample have a page each, whose address stays the same "
            "in every bundle of this record: pages/place/, pages/element/ or pages/sample/, then "
            "the code, then .html. So sample 231 has pages/sample/231.html. A plug, a result or an "
            "event is on the page of its sample."
        )
        + paragraph(
            "Capitals A-Z, digits and - _ . stand as they are. Every other character is written by "
            "the bytes of its UTF-8, each as ~ and two hexadecimal digits: b1/2 has ~621~2F2.html. "
            "So are a dot at the beginning, and the first letter of a name that Windows keeps to "
            "itself, such as NUL. A name that comes out longer than 120 characters is its first "
            "80, then ~~, then the SHA-256 of the code."
        )
    )


def _keepers(package: Package, edition: Edition) -> list[str]:
    """Who has the full edition, and how to ask; what there may be beside this one."""
    who = _keeper_in_words(package, edition)
    if edition.is_public:
        held = f"The full edition is held by {who}." if who else _NO_KEEPER
        return [
            heading("Where the full edition is, and how to ask"),
            paragraph(
                f"{held} Ask in writing: name this record ({package.name}), the number on the "
                "dowel or the sample if you have one, what you need, what for, and who will see "
                "it. Sample numbers and stamps are the same in both editions. The keeper may have "
                "to ask the owner, the authority or the community first."
            ),
        ]
    kept = f"It is to be kept by {who}." if who else _NO_KEEPER
    return [
        heading("Where this edition is kept, and what may be shown"),
        paragraph(
            f"This is the full edition, for the restricted store. {kept} There may be a public "
            "edition beside it, without exact places, without people who have not agreed to be "
            "named and without restricted fields; 'treenail pack --edition public' makes one from "
            "the same record. Hand that one on, not this. Sample numbers and stamps are the same "
            "in both, so whoever has read a number on a dowel can ask by it."
        ),
    ]


_NO_KEEPER = (
    "The record names no keeper (repository_id in tables/site.csv is blank): ask whoever gave you "
    "this bundle."
)


def _keeper_in_words(package: Package, edition: Edition) -> str:
    """The keeper with the addresses that this edition has of it, '' where none may be named."""
    one = keeper(package)
    if one is None or (edition.is_public and not one.named):
        return ""
    row = next(row for row in package.tables.rows("party") if row["party_id"] == one.party_id)
    ways = [row[name] for name in ("postal_address", "email") if row[name]]
    return f"{one.name}, {'; '.join(ways)}" if ways else one.name


def _tables(package: Package, rows: Mapping[str, int]) -> str:
    return "".join(
        bullet(f"tables/{table.name}.csv ({rows[table.name]} rows): {table.description}")
        for table in package.model.tables.values()
    )


def _ties(package: Package) -> str:
    def tie(table: Table) -> Sequence[str]:
        return [f"{', '.join(key.fields)} -> {key.table}" for key in table.foreign_keys]

    return "".join(
        bullet(f"{table.name}: {'; '.join(tie(table))}")
        for table in package.model.tables.values()
        if table.foreign_keys
    )


def _custody() -> str:
    return (
        heading("How the custody ledger is sealed")
        + "\n"
        + paragraph(
            "Each row of tables/custody.csv is sealed to the one before. To compute a seal by "
            "hand: take the row without event_sha256, signer_key, signature and sealed_custody_id "
            "and without blank cells; write what is left as one JSON object, names in "
            "alphabetical order, every value as text in double quotes, no blanks between (RFC "
            "8785); take the SHA-256 of it in UTF-8. That is event_sha256, and it is "
            "previous_sha256 of the next row. The last seal stands in bundle.json as well. Where "
            "copies of the record were merged, an event 'joined' names the ends of both, in "
            "also_previous_sha256 too; an event that got another number then has the one it was "
            "sealed with in sealed_custody_id, and that is its custody_id in the object (and the "
            "corrects_custody_id of an event that corrects it). With corrects_sha256, "
            "corrects_custody_id is left out. A signature, where there is one, is Ed25519 (RFC "
            "8032) over the 32 bytes of event_sha256; it and signer_key are written in base64."
        )
    )


def _oddities(contents: Contents) -> list[str]:
    parts = []
    for title, paths in (
        ("Files that no row of the record describes", contents.undescribed),
        ("Files of the package that were left out", contents.left_out),
        (
            "Files that the record names but that were not there",
            [p for _, _, p in contents.missing],
        ),
    ):
        if paths:
            parts += [heading(title), "".join(bullet(path) for path in paths)]
    return parts
