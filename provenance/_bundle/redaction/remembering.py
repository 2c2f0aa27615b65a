"""Writes into the full package what its next public editions must know.

An edition that names somebody cannot be called back, and neither can one with a stand-in. So the
package remembers both: a stand-in stays the same, and whoever was named once is later blank.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from provenance._base.errors import UnusableInput
from provenance._bundle.redaction.gathering import Known, gather_known
from provenance._bundle.redaction.people import PARTY
from provenance._bundle.redaction.stand_ins import TABLE, WITHDRAWAL, rows_with
from provenance._history.entering import enter_hand_edits, stage_tables
from provenance._history.history import moment_text
from provenance._record.package import Package
from provenance._record.together import writing_together

WHY = "a public edition was packed"


@dataclass(frozen=True)
class Withdrawing:
    """What a person says of earlier public editions that are withdrawn.

    `editions` maps the SHA-256 of the manifest of each to the date it bears ('' where not known);
    empty where none was ever given out.
    """

    editions: Mapping[str, str]
    reason: str


@dataclass(frozen=True)
class Remembered:
    """What is known for an edition, all of it in the package: what it withholds, what is new.

    `written` says whether the package was written to. `told` are stand-ins of earlier editions of
    those whom this one names, so that everybody can tell whose they were.
    """

    known: Known
    written: bool = False
    told: tuple[str, ...] = ()


def remember(package: Package, withdrawing: Withdrawing | None = None) -> Remembered:
    """See to it that the package holds all that its public edition needs; it is locked for that.

    A package whose schemas know no stand-ins stays as it is, and has others in each edition.
    Raises UnusableInput when somebody whom an earlier edition may name no longer agrees, and
    `withdrawing` does not say what becomes of that edition.
    """
    known = gather_known(package.hold())
    if not known.stand_ins.are_kept:
        if withdrawing:
            raise UnusableInput(
                f"{package.folder} was made by an older version, which does not remember withdrawn "
                f"editions; update it with 'treenail new {package.folder} --update'"
            )
        return Remembered(known)
    _refuse_silence(known, withdrawing)
    if not _news(known, withdrawing):
        return Remembered(known)
    with package.locked():
        enter_hand_edits(package)
        known = gather_known(package.hold())
        # somebody may have been renamed by hand
        _refuse_silence(known, withdrawing)
        news = _news(known, withdrawing)
        if news:
            with writing_together(package.folder) as staging:
                stage_tables(package, staging, news, why=WHY, when=moment_text())
        names, told = known.stand_ins.names, _named(known).items()
        shown = tuple(names[one] for one, is_key in told if one in names and not is_key)
        return Remembered(gather_known(package.hold()), True, shown)


def _refuse_silence(known: Known, withdrawing: Withdrawing | None) -> None:
    silent = [code for code in known.people.blank if (PARTY, code) not in known.stand_ins.declared]
    if silent and withdrawing is None:
        names = ", ".join(silent)
        raise UnusableInput(
            f"{known.package.table_path(PARTY)}, party_id {names}, column 'may_be_named': an "
            "earlier public edition may name them, and they no longer agree. Say which edition "
            "this one replaces, and why, in words that everyone may read: --withdraws "
            "EARLIER --because \"…\" (for each edition that names them; '--withdraws none' when "
            "none was ever given out)"
        )


def _named(known: Known) -> dict[tuple[str, str], bool]:
    """Those whom the edition names for the first time, and whether under a stand-in even so."""
    noted = known.stand_ins.retired - known.stand_ins.declared
    return {
        (PARTY, code): code in known.renamed[PARTY]
        for code in known.people.named
        if (PARTY, code) not in noted
    }


def _news(known: Known, withdrawing: Withdrawing | None) -> dict[str, list[dict[str, str]]]:
    """The tables as they are to be, by name; those that stay as they are not among them."""
    package, stand_ins, now = known.package, known.stand_ins, moment_text()
    declared = {(PARTY, code) for code in known.people.blank} if withdrawing else set()
    declared -= stand_ins.declared
    named = _named(known)
    news = {}
    if stand_ins.drawn or named or declared:
        news[TABLE] = rows_with(package, stand_ins, named, declared, now)
    there = package.tables.rows(WITHDRAWAL)
    known_sums = {row["manifest_sha256"] for row in there}
    said = withdrawing or Withdrawing({}, "")
    more = [
        {
            "manifest_sha256": digest,
            "record_date": day,
            "reason": said.reason,
            "declared": now,
        }
        for digest, day in said.editions.items()
        if digest not in known_sums
    ]
    if more:
        news[WITHDRAWAL] = [*map(dict, there), *more]
    return news
