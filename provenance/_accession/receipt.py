"""Prints the receipt that repository and depositor sign."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from provenance._accession.anchoring import anchors_in
from provenance._accession.received import Received
from provenance._accession.withdrawn import EditionsBeside
from provenance._bundle.describe.editions import EDITIONS
from provenance._bundle.describe.plain_text import text_template
from provenance._drawing.document import Pages, printed_pages
from provenance._drawing.fitting import LEADING, Pair, draw_block, draw_line, draw_pairs, fit_block
from provenance._drawing.fonts import ASCENT, BOLD, DESCENT, MONO, PLAIN, printable
from provenance._drawing.paper import MM, Box, Paper
from provenance._drawing.qr import draw_code, encode_to_fit
from provenance._identity.payload import one_line
from provenance._ledger.anchors import SHORTEST_HEAD
from provenance._printing.papers.consignment_list import draw_head, page_frame
from provenance._printing.papers.signatures import draw_signers
from provenance._store.acts import Act
from provenance._store.current import OLDER
from provenance._store.door import (
    BRANCH,
    BROKEN,
    FIRST,
    GONE,
    MOVED,
    NOT_KNOWN,
    PUBLIC_EDITION,
    SUCCESSOR,
    Judged,
)
from provenance._store.settings import Repository
from provenance._store.terms import Terms

CODE_MM = 42.0
TEXT = 9.0
SIGNATURES_MM = 38.0
MOST_LISTED = 400
"""More faults than that are no list to work through; the bundle's own report has all of them."""
_COUNTED = (
    ("site", "site", "sites"),
    ("element", "timber", "timbers"),
    ("sample", "sample", "samples"),
    ("plug", "plug", "plugs"),
    ("lab_result", "result", "results"),
    ("custody", "custody event", "custody events"),
    ("file", "photo or other file", "photos and other files"),
)


@dataclass(frozen=True)
class Receipt:
    """What one receipt says; `sum_of` is what the checksums are of."""

    number: str
    code_text: str
    head: tuple[Pair, ...]
    received: tuple[Pair, ...]
    sums: tuple[Pair, ...]
    to_mend: tuple[str, ...]
    mending: str
    cautions: tuple[str, ...]
    repository: str
    depositor: str
    sum_of: str = "tagmanifest-sha256.txt"


def receipt_of(
    received: Received,
    repository: Repository,
    entry: Act,
    deposited: Sequence[str],
    place: str,
    beside: EditionsBeside,
    judged: Judged,
    terms: Terms,
) -> Receipt:
    """The receipt of an accession that is about to be written.

    `deposited` are samples that came with the bundle, `place` where they are put, `beside` says
    what the editions in the store say of it, `judged` how it stands to earlier bundles, and `terms`
    on what terms it comes.
    """
    end = next(iter(anchors_in(entry)), None)
    edition = EDITIONS.get(received.known_by.edition)
    name = repository.name or received.keeper_name
    head = (
        ("taken in by", ", ".join(one for one in (name, repository.postal_address) if one)),
        ("on", entry.happened_on),
        ("handed in by", entry.depositor),
        ("record", entry.title),
        ("bundle", f"{received.bundle.resolve().name} ({entry.bundle})"),
        ("edition", edition.title if edition else entry.edition),
        ("newest entry", received.known_by.record_date),
        ("kept as", entry.kept_at),
    )
    inside = list(_holds(received))
    if deposited:
        where = f" ({place})" if place else ""
        said = f"{len(deposited)}{where}: {', '.join(deposited)}"
        inside.append(("samples that came with it", said))
    if received.earlier:
        inside.append(("goes on from", received.earlier[0].in_words))
    if end:
        inside.append(("custody", f"{end.code} ({against_kept(judged)})"))
    elif judged.word == BROKEN:
        inside.append(("custody", against_kept(judged)))
    if before := received.known_by.accession:
        inside.append(("number it came with", before))
    inside += [*terms.in_words, *beside.in_words]
    sums = [("as it came in", entry.received), ("as it is kept", entry.bag)]
    mending, *cautions = _words(received, repository, has_ledger=end is not None)
    return Receipt(
        number=entry.number,
        code_text="\n".join(
            (
                f"treenail accession {entry.number}",
                f"bundle {one_line(entry.bundle)} {entry.edition} {received.known_by.record_date}",
                f"received {entry.received}",
                *(
                    [f"on {end.on}", f"ledger {end.count} {end.head[:SHORTEST_HEAD]}"]
                    if end
                    else ()
                ),
            )
        ),
        head=head,
        received=tuple(inside),
        sums=tuple(sums),
        to_mend=received.to_mend[:MOST_LISTED],
        mending=mending,
        cautions=tuple(cautions),
        repository=name,
        depositor=entry.depositor,
    )


def what_came(received: Received) -> tuple[Pair, ...]:
    """What is in a bundle that came in: pairs of a word and what it stands for."""
    edition = EDITIONS.get(received.known_by.edition)
    earlier = received.earlier[0].in_words if received.earlier else ""
    pairs = (
        ("record", received.package.title),
        ("edition", edition.title if edition else received.known_by.edition),
        ("newest entry", received.known_by.record_date),
        *_holds(received),
        ("goes on from", earlier),
        ("number it came with", received.known_by.accession),
    )
    return tuple((word, text) for word, text in pairs if text)


def _holds(received: Received) -> tuple[Pair, ...]:
    counts = [
        f"{count:,} {one if count == 1 else many}".replace(",", " ")
        for table, one, many in _COUNTED
        if (count := received.rows.get(table, 0))
    ]
    size = f"{received.byte_count:,} bytes".replace(",", " ")
    files = f"{received.file_count:,} files".replace(",", " ")
    return ("holds", ", ".join(counts) or "no rows"), ("files", f"{files}, {size}")


def against_kept(judged: Judged) -> str:
    """How a bundle stands to those of its record that were kept here before."""
    known = f"the first {judged.known} of its events match what was kept here before"
    if judged.word == PUBLIC_EDITION:
        return "its seals are withheld, as in every public edition; it was not compared"
    if judged.word in (FIRST, NOT_KNOWN):
        return "nothing kept here to compare it with"
    if judged.word == SUCCESSOR:
        return known if judged.known else "it has all that was kept here before"
    if judged.word == OLDER:
        return "an older state of what was kept here before"
    if judged.word == BRANCH:
        return f"{judged.known} of its events are known here; it does not have all that is kept"
    if judged.word == BROKEN:
        return "its seals are not valid"
    if judged.word in (MOVED, GONE):
        return f"{known}; {judged.word}, which was accepted"
    return f"NOT the ledger that was kept here before: {judged.word}"


def _words(received: Received, repository: Repository, *, has_ledger: bool) -> tuple[str, ...]:
    """What the depositor is told of the check, and then the cautions."""
    edition = EDITIONS.get(received.known_by.edition)
    text = text_template("repository/receipt.txt").render(
        errors=len(received.to_mend),
        most_listed=MOST_LISTED,
        warnings=received.warnings,
        is_public=edition is not None and edition.is_public,
        has_ledger=has_ledger,
    )
    contact = f"Questions: {repository.contact}" if repository.contact else ""
    told = (" ".join(one.split()) for one in text.split("\n\n"))
    return (*told, *filter(None, (repository.notice, contact)))


# -- drawing -------------------------------------------------------------------------------------


def print_receipt(receipt: Receipt, paper: Paper, out: Path) -> None:
    """Write the receipt to `out` (PDF): one page, and more for the list of what is to be mended."""
    title = f"Receipt for accession {receipt.number}"
    with printed_pages(out, (paper.width, paper.height), title=title) as pages:
        frame = page_frame(paper)
        listed = _pages_of_faults(frame, receipt.to_mend)
        total = 1 + len(listed)
        _draw_first(pages, frame, receipt, title, f"page 1 of {total}")
        for number, faults in enumerate(listed, start=2):
            canvas = pages.begin_page()
            head = f"To correct, accession {receipt.number}"
            box = draw_head(canvas, frame, head, f"page {number} of {total}")
            _draw_faults(canvas, box, faults)


def _draw_first(pages: Pages, frame: Box, receipt: Receipt, title: str, right: str) -> None:
    canvas = pages.begin_page()
    box = draw_head(canvas, frame, title, right)
    words, box = box.cut_top(58 * MM, 3 * MM)
    pairs, _ = words.cut_left(words.width - CODE_MM * MM - 3 * MM)
    side = CODE_MM * MM
    code = encode_to_fit(receipt.code_text, CODE_MM, "the receipt")
    draw_code(canvas, code, words.right - side, words.top - side, side)
    draw_pairs(canvas, pairs, receipt.head, word_width=26 * MM, largest=10.5, smallest=6)
    box = _draw_heading(canvas, box, "What was received")
    rows, box = box.cut_top((10 + 9 * (len(receipt.received) - 1)) * MM, 2 * MM)
    foot = draw_pairs(
        canvas, rows, receipt.received, word_width=40 * MM, largest=TEXT + 0.5, smallest=5
    )
    box = Box(box.x, box.y, box.width, min(box.top, foot - 2 * MM) - box.y)
    box = _draw_heading(canvas, box, f"Checksum (SHA-256 of {receipt.sum_of})")
    for word, digest in receipt.sums:
        line, box = box.cut_top(5 * MM)
        draw_line(canvas, word, PLAIN, TEXT * 0.86, line.x, line.y + 1.5 * MM)
        room = line.width - 26 * MM
        size = min(TEXT, room / MONO.width(digest, 1.0))
        draw_line(canvas, digest, MONO, size, line.x + 26 * MM, line.y + 1.5 * MM)
    box = Box(box.x, box.y, box.width, box.height - 2 * MM)
    box = _draw_heading(canvas, box, "For the depositor")
    box = _draw_text(canvas, box, receipt.mending)
    box = _draw_heading(canvas, box, "Safety and care")
    left = Box(box.x, box.y + SIGNATURES_MM * MM, box.width, box.height - SIGNATURES_MM * MM)
    share = left.height / max(1, len(receipt.cautions))
    for caution in receipt.cautions:
        left = _draw_text(canvas, left, caution, most=max(share, 12 * MM))
    _draw_signatures(canvas, Box(box.x, box.y, box.width, SIGNATURES_MM * MM), receipt)


def _draw_heading(canvas: Any, box: Box, text: str) -> Box:
    draw_line(canvas, text, BOLD, 10.5, box.x, box.top - 10.5 * ASCENT)
    return box.cut_top(6 * MM)[1]


def _draw_text(canvas: Any, box: Box, text: str, most: float = 26 * MM) -> Box:
    height = min(most, box.height)
    fitted = fit_block(
        printable(text, PLAIN, 1000), PLAIN, box.width, height, largest=TEXT, smallest=6
    )
    foot = draw_block(canvas, fitted, PLAIN, box)
    return Box(box.x, box.y, box.width, foot - 2.5 * MM - box.y)


def _draw_signatures(canvas: Any, box: Box, receipt: Receipt) -> None:
    note = "Both sign; one copy stays with the bundle, the other goes to the depositor."
    draw_line(canvas, note, PLAIN, 7, box.x, box.y + 0.5 * MM)
    draw_signers(canvas, box, [("for the repository", ""), ("the depositor", receipt.depositor)])


# -- the list of faults --------------------------------------------------------------------------

_NUMBER_MM = 10.0
_BOX_MM = 6.0
_LIST = 8.5
_MOST_LINES = 4
_Fault = tuple[int, tuple[str, ...]]


def _pages_of_faults(frame: Box, faults: Sequence[str]) -> list[list[_Fault]]:
    """The faults with their number and lines, in as many pages as they need."""
    room = frame.height - 13 * MM
    pages: list[list[_Fault]] = []
    used = room + 1
    for number, fault in enumerate(faults, start=1):
        lines = _lines_of(frame.width, fault)
        height = _height(lines)
        if used + height > room:
            pages.append([])
            used = 0.0
        pages[-1].append((number, lines))
        used += height
    return pages


def _lines_of(width: float, fault: str) -> tuple[str, ...]:
    fitted = fit_block(
        printable(fault, PLAIN, 1000),
        PLAIN,
        width - (_NUMBER_MM + _BOX_MM) * MM,
        _LIST * (ASCENT + DESCENT + LEADING * (_MOST_LINES - 1)) + 0.1,
        largest=_LIST,
        smallest=_LIST,
    )
    return fitted.lines


def _height(lines: tuple[str, ...]) -> float:
    return _LIST * (ASCENT + DESCENT + LEADING * (max(1, len(lines)) - 1)) + 2 * MM


def _draw_faults(canvas: Any, box: Box, faults: Sequence[_Fault]) -> None:
    """Numbered, each with a box to tick when it is mended."""
    y = box.top
    for number, lines in faults:
        baseline = y - _LIST * ASCENT
        draw_line(
            canvas,
            str(number),
            PLAIN,
            _LIST,
            box.x + (_NUMBER_MM - 3) * MM,
            baseline,
            align="right",
        )
        for place, line in enumerate(lines):
            at = baseline - place * _LIST * LEADING
            draw_line(canvas, line, PLAIN, _LIST, box.x + _NUMBER_MM * MM, at)
        canvas.setLineWidth(0.6)
        canvas.rect(box.right - 4 * MM, baseline - 0.6 * MM, 3.4 * MM, 3.4 * MM)
        y -= _height(lines)
        canvas.setLineWidth(0.2)
        canvas.line(box.x, y + 1 * MM, box.right, y + 1 * MM)
