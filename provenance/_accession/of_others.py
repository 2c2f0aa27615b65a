"""Takes in a bag that others made: judged as a bag alone, and kept byte for byte.

It is no record of this program: the register has neither edition nor record for it, the catalogue
lists it among the bundles alone, and the audit judges it as a bag.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._accession.keeping import stage_folder
from provenance._accession.receipt import Receipt, print_receipt
from provenance._accession.received import refuse_unsafe_name
from provenance._accession.taking_in import NO_TERMS, taking_in
from provenance._bag.any_bag import judge_any_bag
from provenance._bag.verdict import BagVerdict
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.progress import Progress, say_nothing
from provenance._base.visible import visible
from provenance._bundle.describe.plain_text import text_template
from provenance._drawing.paper import Paper
from provenance._ledger.ed25519 import Signer
from provenance._store.acts import ACCESSION, Act
from provenance._store.identity import bag_digests
from provenance._store.numbers import folder_name
from provenance._store.settings import Repository
from provenance._store.terms import Terms, put_terms

GOOD = ("valid", "valid, with warnings")
_MOST_NAMED = 20


class RefusedBag(TreenailError):
    """A bag that is not valid, or not complete: nothing was written, and no number was given."""

    def __init__(self, verdict: BagVerdict) -> None:
        self.verdict = verdict
        said = [f"  {one.path} {one.message}".rstrip() for one in verdict.findings[:_MOST_NAMED]]
        if len(verdict.findings) > _MOST_NAMED:
            said.append("  ... and more; 'treenail verify --bag-only' names all")
        super().__init__(
            "\n".join(
                [
                    f"{verdict.bag} was not accessioned; no number was given: {verdict.in_words}",
                    *map(visible, said),
                ]
            )
        )


@dataclass(frozen=True)
class BagTakenIn:
    """What came of it: its act in the register, the verdict over it, and where things lie.

    `settings` is a settings file that was begun.
    """

    entry: Act
    verdict: BagVerdict
    kept: Path
    receipt: Path
    settings: Path | None


def judged_bag(bag: Path, *, reason: str = "", progress: Progress = say_nothing) -> BagVerdict:
    """The verdict over a bag that can be taken in as a bag.

    Raises RefusedBag for one that is not valid or not complete, and UnusableInput for one that
    holds a record of this program, unless there is a `reason` to keep it as a bag alone.
    """
    refuse_unsafe_name(bag.resolve().name)
    verdict = judge_any_bag(bag, progress=progress)
    if verdict.word not in GOOD:
        raise RefusedBag(verdict)
    if verdict.holds_record and not reason:
        raise UnusableInput(
            f"{bag} holds a treenail record; leave out --bag-only, or say with --reason why it is "
            "to be kept as a bag alone"
        )
    return verdict


def accession_of_bag(
    bag: Path | str,
    store: Path | str,
    *,
    depositor: str,
    on: date,
    recorded_on: str,
    paper: Paper,
    number: str = "",
    pattern: str = "",
    settings: Path | None = None,
    reason: str = "",
    terms: Terms = NO_TERMS,
    keys: Sequence[Signer] = (),
    progress: Progress = say_nothing,
) -> BagTakenIn:
    """Judge a bag, give it a number, and keep it with a receipt; options as of `accession`.

    Nothing in the bag changes: its number stands in the register, on the receipt and in the name of
    its folder. Raises RefusedBag, AlreadyAccessioned, and what `accession` raises of numbers, days
    and settings. Nothing is written then, and no number is spent.
    """
    bag = Path(bag)
    taking = taking_in(
        store,
        depositor=depositor,
        on=on,
        recorded_on=recorded_on,
        number=number,
        pattern=pattern,
        settings=settings,
        reason=reason,
        terms=terms,
        keys=keys,
    )
    verdict = judged_bag(bag, reason=taking.reason, progress=progress)
    digest, payload = bag_digests(bag)
    with (
        tempfile.TemporaryDirectory(prefix="treenail-") as scratch,
        taking.writing() as (writing, _),
    ):
        taking.refuse(writing.acts, bag, bag=digest, payload=payload)
        given = taking.next_number(writing.acts)
        folder, name = folder_name(given), bag.resolve().name
        entry = writing.add(
            ACCESSION,
            number=given,
            title=name,
            bundle=name,
            depositor=taking.depositor,
            bag=digest,
            payload=payload,
            received=digest,
            kept_at=f"{folder}/{name}",
            receipt=f"{folder}/receipt-{folder}.pdf",
            reason=": ".join(filter(None, (verdict.in_words, taking.reason))),
        )
        put_terms(writing, given, terms, taking.depositor)
        if bag.is_file():
            writing.staged.copy(entry.kept_at, bag)
        else:
            stage_folder(writing.staged, bag, entry.kept_at, {})
        printed = Path(scratch).resolve() / "receipt.pdf"
        print_receipt(_receipt(entry, verdict, taking.repository, terms), paper, printed)
        writing.staged.copy(entry.receipt, printed)
        return BagTakenIn(
            entry,
            verdict,
            taking.store / entry.kept_at,
            taking.store / entry.receipt,
            taking.begin_settings(writing),
        )


def _receipt(entry: Act, verdict: BagVerdict, repository: Repository, terms: Terms) -> Receipt:
    taken = ", ".join(filter(None, (repository.name, repository.postal_address)))
    size = " files, ".join(
        f"{count:,}".replace(",", " ") for count in (verdict.file_count, verdict.byte_count)
    )
    warnings = [f"{one.path} {one.message}".strip() for one in verdict.findings]
    text = text_template("repository/receipt_of_bag.txt").render(
        said=verdict.in_words,
        warnings=[visible(one) for one in warnings[:_MOST_NAMED]],
        more=len(warnings[_MOST_NAMED:]),
    )
    mending, *cautions = (" ".join(one.split()) for one in text.split("\n\n"))
    contact = f"Questions: {repository.contact}" if repository.contact else ""
    return Receipt(
        number=entry.number,
        code_text=f"treenail accession {entry.number}\nreceived {entry.received}",
        head=(
            ("taken in by", taken),
            ("on", entry.happened_on),
            ("handed in by", entry.depositor),
            ("bag", f"{entry.bundle} (no treenail record)"),
            ("kept as", entry.kept_at),
        ),
        received=(("judged", verdict.in_words), ("files", f"{size} bytes"), *terms.in_words),
        sums=(("as it is kept", entry.bag),),
        sum_of="the list of its tag files",
        to_mend=(),
        mending=mending,
        cautions=(*cautions, *filter(None, (repository.notice, contact))),
        repository=repository.name,
        depositor=entry.depositor,
    )
