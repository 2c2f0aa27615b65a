"""Says what is worth knowing about a bundle that was packed, and what a public one withholds."""

from __future__ import annotations

from collections.abc import Iterator

from provenance._bundle.pack import Packed
from provenance._bundle.redaction.candidates import CELL_SHOWN


def withheld_words(packed: Packed) -> Iterator[str]:
    """What a public edition withholds, in sentences; nothing for a full one."""
    account = packed.account
    if account is None:
        return
    yield (
        f"withheld: {account.withheld_cells} cells, {len(account.files)} files, words in "
        f"{account.texts_touched} open texts; data/WITHHELD.txt says what and why"
    )
    if waiting := account.waiting.total():
        yield (
            f"not reviewed, and so left out: {_counted(waiting, 'text')} and files, "
            f"{account.waiting_with_hits} of them with findings; 'treenail review' shows them"
        )
    found = account.inference
    if found.is_coarser or not found.holds:
        cell = "no coordinates" if found.cell is None else f"a cell of {found.cell} degree"
        shown = "; ".join(f"{count} with {words}" for words, count in found.shown.items())
        yield (
            f"made coarser than asked: {cell}; buildings: {shown or 'none'}. About "
            f"{found.left_words} places are left that it could be about"
        )
    if found.cell and (found.published is None or found.cell < found.published):
        yield (
            f"When it is published, write '{CELL_SHOWN}': '{found.cell}' into datapackage.json: "
            "anyone who has this edition will look for the buildings of a later one in this cell."
        )
    yield "Look through it, the photos above all, before you publish it."


def packed_warnings(packed: Packed) -> Iterator[str]:
    """What a person has to know or do about a bundle, in sentences."""
    account = packed.account
    if account and account.older:
        yield (
            "this package is of a version without reviews, so no text or file could be released: "
            "update it with 'treenail new --update'"
        )
    for name in packed.told:
        yield (
            f"{name} of earlier public editions is named in this one: anyone who has both can tell "
            "who that was"
        )
    if not packed.keeps_stand_ins:
        yield (
            "the package is of an older version and cannot keep stand-ins: they are others in the "
            "next public edition. Bring it forward with 'treenail new PACKAGE --update' before you "
            "give this one out"
        )
    if packed.got_key or packed.got_stand_ins:
        given = "an edition key" if packed.got_key else "what its next public editions must know"
        yield (
            f"the package was given {given}: pack its full edition again, or no one can show later "
            "that this public edition was made from it"
        )
    for path in packed.contents.left_out:
        yield f"left out: {path}"
    for path in packed.contents.undescribed:
        yield f"packed, though no row describes it: {path}"
    for table, key, path in packed.contents.missing:
        yield f"not there, though row {key} of '{table}' names it: {path}"
    for table, key, path in packed.differing:
        yield f"not the bytes that row {key} of '{table}' has a checksum of: {path}"
    if not packed.report.clean:
        where = "the bundle's data/check/report.html names them"
        if account:
            where = "'treenail check' names them"
        errors, warnings = (_counted(packed.report.count(one), one) for one in ("error", "warning"))
        yield f"the check found {errors} and {warnings}; {where}"


def _counted(count: int, word: str) -> str:
    return f"{count:,} {word}{'s' * (count != 1)}"
