"""Takes one bundle in: number, act in the register, kept bundle, card, ledger and receipt.

Each accession has a folder of its own in the store, named for its number:

    2026.0001/
      holl-bundle.zip       the bundle with its number in bag-info.txt; this is what is kept
      card.csv              what each of its numbers stands for
      receipt-2026.0001.pdf
      received/             the bundle as it came in, only where custody events were recorded

The bundle that came in is never changed. Without custody events the payload that is kept is the
payload that came in, byte for byte. With them the ledger is longer, so the kept bundle is packed
anew and names the one that came in as the one it goes on from; that one is kept beside it.

All files of an accession are written in one step (`Store.writing`): a program that is killed leaves
either all of it or nothing.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._accession.anchoring import anchors_in
from provenance._accession.damage import letter_of_contradiction
from provenance._accession.deposit import with_deposit
from provenance._accession.keeping import Known, enter, known_of, stage_folder
from provenance._accession.known import newcomer_in
from provenance._accession.receipt import print_receipt, receipt_of, what_came
from provenance._accession.received import Received, opened_received, refuse_unsafe_name
from provenance._accession.taking_in import NO_TERMS, TakingIn, taking_in
from provenance._accession.withdrawn import EditionsBeside, editions_beside
from provenance._bag.zipping import write_zip
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.statement import signed_tags
from provenance._bundle.verify import open_record
from provenance._drawing.fitting import Pair
from provenance._drawing.paper import Paper
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.ed25519 import Signer
from provenance._record.together import Staging
from provenance._store.acts import ACCESSION, Act
from provenance._store.door import BROKEN, Judged, Newcomer, accepted, judge
from provenance._store.numbers import (
    folder_name,
    numbered_tags,
)
from provenance._store.store import Writing
from provenance._store.terms import Terms, put_terms


class ContradictsKept(TreenailError):
    """The bundle contradicts itself or an earlier one of its record; nothing was written.

    `judged` says how; `letter` asks the depositor about it.
    """

    def __init__(self, bundle: Path, judged: Judged, letter: str) -> None:
        self.judged = judged
        self.letter = letter
        super().__init__(
            f"{bundle} was not accessioned; no number was given: {judged.word}.\n"
            + "".join(f"  {one}\n" for one in judged.said)
            + "Ask the depositor whether it is an older bundle, or comes from another copy of the "
            "record that has to be merged first; --even-if-rewritten with a --reason accepts it "
            "anyway, and the register says so"
        )


class OnlyChecked(TreenailError):
    """A bundle that can be taken in was only to be checked; nothing was written.

    `number` is the one that it would get, `judged` says how it stands to what is kept, `to_mend`
    has the faults of its record, `came` what is in it in pairs of a word and what it stands for,
    and `notes` say what could not be compared.
    """

    def __init__(
        self,
        number: str,
        judged: Judged,
        to_mend: tuple[str, ...],
        came: tuple[Pair, ...],
        notes: tuple[str, ...],
    ) -> None:
        self.number, self.judged, self.to_mend = number, judged, to_mend
        self.came, self.notes = came, notes
        super().__init__("it can be taken in; nothing was written")


@dataclass(frozen=True)
class Accessioned:
    """What came of an accession.

    `entry` is its act in the register; `kept` and `receipt` where bundle and receipt lie;
    `received` where the bundle as it came in was laid beside it, None where it was not needed;
    `deposited` are the samples whose keeper changed; `goes_on_from` is the newest accession of an
    earlier bundle of the same record; `settings` a settings file that was begun. `judged` says how
    it stands to what is kept of its record; `notes` are sentences about what could not be compared,
    and about what else was seen; `beside` says which public editions in the store are withdrawn, or
    take its place; `taken_over` counts the lines of an older version's register that became acts.
    """

    entry: Act
    kept: Path
    receipt: Path
    received: Path | None
    deposited: tuple[str, ...]
    to_mend: tuple[str, ...]
    goes_on_from: Act | None
    settings: Path | None
    judged: Judged
    notes: tuple[str, ...]
    beside: EditionsBeside
    taken_over: int


def accession(
    bundle: Path | str,
    store: Path | str,
    *,
    depositor: str,
    on: date,
    recorded_on: str,
    paper: Paper,
    number: str = "",
    pattern: str = "",
    settings: Path | None = None,
    samples: str = "",
    place: str = "",
    even_if_rewritten: bool = False,
    reason: str = "",
    terms: Terms = NO_TERMS,
    keys: Sequence[Signer] = (),
    only_check: bool = False,
    progress: Progress = say_nothing,
) -> Accessioned:
    """Verify a bundle, give it a number, and keep it with a receipt in the folder `store`.

    A store is begun if there is none. The number is `number`, or the next of `pattern`, else of the
    pattern in `settings` (repository.yaml in the store if left out). `samples` ('all',
    '231,233-240') came in with the bundle: their keeper becomes the repository, at `place`. `on` is
    the day of the accession, `recorded_on` when it is written down (RFC 3339).

    What it holds is compared with the earlier bundles of its record (see `_store/door.py`); one
    that contradicts them is taken in only with `even_if_rewritten` and a `reason`, which the
    register keeps. `terms` stand on the receipt and in the tables of the store. What is kept is
    signed with `keys`, and the register with the first of them.

    With `only_check` all of that is done but the writing, and OnlyChecked is raised.
    Raises DamagedBundle with a letter to the depositor, AlreadyAccessioned, ContradictsKept,
    CopyOfStore for a copy of a store that is still there, UnusableNumber for a pattern or number
    that cannot be used or was given out, UnusableInput for a store or settings that cannot be read,
    and TreenailError when the samples' keeper cannot change so. Nothing is written then, and no
    number is spent.
    """
    bundle = Path(bundle)
    if place and not samples:
        raise UnusableInput("--place says where samples are stored, so it needs --samples")
    if even_if_rewritten and not reason.strip():
        raise UnusableInput("--even-if-rewritten needs a --reason, which the register keeps")
    refuse_unsafe_name(bundle.resolve().name)
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
        samples=samples,
        place=place,
    )
    with (
        opened_received(
            bundle,
            depositor=taking.depositor,
            repository=taking.repository,
            day=on.isoformat(),
            progress=stretch(progress, 0, 2),
        ) as received,
        tempfile.TemporaryDirectory(prefix="treenail-") as scratch,
        taking.writing() as (writing, taken_over),
    ):
        new = newcomer_in(received.folder, received.package)
        taking.refuse(
            writing.acts,
            bundle,
            bag=received.known_by.tagmanifest_sha256,
            payload=new.identity.payload,
            began=_began(new, received),
        )
        door = _let_in(writing, taking, received, new, even_if_rewritten)
        given = taking.next_number(writing.acts)
        work = Path(scratch).resolve()
        bag, deposited = with_deposit(received, taking, given, work)
        if only_check:
            came = what_came(received)
            raise OnlyChecked(given, door.judged, received.to_mend, came, door.known.notes)
        return _keep(
            writing,
            taking,
            received,
            bag,
            given,
            door,
            new=new,
            deposited=deposited,
            paper=paper,
            work=work,
            taken_over=taken_over,
            progress=stretch(progress, 1, 2),
        )


def _began(new: Newcomer, received: Received) -> str:
    """The day of the record's first custody event, or else of the first visit to its site."""
    visits = received.package.tables.column("site", "visit_start")
    days = [one["happened_on"] for one in new.ledger] or visits
    return min((day for one in days if (day := one[:10])), default="")


@dataclass(frozen=True)
class _Door:
    """What the store knows of the record, and how the bundle stands to it."""

    known: Known
    judged: Judged
    with_ledger: bool


def _let_in(
    writing: Writing,
    taking: TakingIn,
    received: Received,
    new: Newcomer,
    even_if_rewritten: bool,
) -> _Door:
    """Compare a bundle with what is kept; raises ContradictsKept unless a person insists."""
    known = known_of(writing, new)
    judged = judge(new, known.peers)
    if not judged.refused:
        return _Door(known, judged, True)
    if even_if_rewritten:
        return _Door(known, accepted(judged, known.peers, new), judged.word != BROKEN)
    letter = letter_of_contradiction(
        received.bundle,
        judged.word,
        judged.said,
        [anchor for act in known.acts for anchor in anchors_in(act)],
        day=taking.on.isoformat(),
        depositor=taking.depositor,
        repository=taking.repository.in_words,
        contact=taking.repository.contact,
    )
    raise ContradictsKept(received.bundle, judged, letter)


# -- keeping -------------------------------------------------------------------------------------


def _keep(
    writing: Writing,
    taking: TakingIn,
    received: Received,
    bag: Path,
    number: str,
    door: _Door,
    *,
    new: Newcomer,
    deposited: tuple[str, ...],
    paper: Paper,
    work: Path,
    taken_over: int,
    progress: Progress,
) -> Accessioned:
    """Write everything, and give what was written."""
    store, staged = writing.store.folder, writing.staged
    name, folder = received.bundle.resolve().name, folder_name(number)
    receipt_name = f"receipt-{folder}.pdf"
    package, kept = received.package, new
    if bag != received.folder:
        package = open_record(bag)
        kept = newcomer_in(bag, package)
    tags = numbered_tags(bag, number, signed_tags(bag, package, taking.keys))
    judged = door.judged
    came = new.ledger if door.with_ledger and new.edition != PUBLIC.name else ()
    entry = enter(
        writing,
        kept,
        door.known,
        with_ledger=door.with_ledger,
        number=number,
        bundle=received.known_by.name,
        title=received.package.title,
        record_date=identity_of(bag).record_date,
        depositor=taking.depositor,
        bag=hashlib.sha256(tags["tagmanifest-sha256.txt"]).hexdigest(),
        received=received.known_by.tagmanifest_sha256,
        kept_at=f"{folder}/{name}",
        receipt=f"{folder}/{receipt_name}",
        follows=" ".join(act.act_id for act in judged.follows),
        received_heads=" ".join(seals_at_ends(came)),
        received_events=str(len(came)) if came else "",
        reason=f"{judged.word}: {taking.reason}" if taking.reason else judged.word,
    )
    printed = work / receipt_name
    accessions = [act for act in writing.acts if act.kind == ACCESSION and act != entry]
    beside = editions_beside(received, store, accessions)
    put_terms(writing, number, taking.terms, taking.depositor)
    receipt = receipt_of(
        received,
        taking.repository,
        entry,
        deposited,
        taking.place,
        beside,
        judged,
        taking.terms,
    )
    print_receipt(receipt, paper, printed)
    if received.is_zip:
        with staged.writing(entry.kept_at) as stream:
            _write_numbered_zip(bag, tags, stream, entry.record_date, work, progress)
    else:
        stage_folder(staged, bag, entry.kept_at, tags, progress)
    if deposited:
        _stage_received(staged, received, f"{folder}/received/{name}")
    staged.copy(entry.receipt, printed)
    settings = taking.begin_settings(writing)
    return Accessioned(
        entry=entry,
        kept=store / entry.kept_at,
        receipt=store / entry.receipt,
        received=store / folder / "received" / name if deposited else None,
        deposited=deposited,
        to_mend=received.to_mend,
        goes_on_from=judged.follows[-1] if judged.follows else None,
        settings=settings,
        judged=judged,
        notes=(*door.known.notes, *_same_files(new, accessions)),
        beside=beside,
        taken_over=taken_over,
    )


def _same_files(new: Newcomer, accessions: Sequence[Act]) -> list[str]:
    """A word about accessions that have the same files and other pages made of them."""
    return [
        f"the record's own files are those of {act.number}; only the pages made of them differ"
        for act in accessions
        if act.members == new.identity.members
    ]


def _write_numbered_zip(
    bag: Path, tags: dict[str, bytes], stream: object, day: str, work: Path, progress: Progress
) -> None:
    """The bag as a zip with its numbered tag files; the bag itself lies in a temporary folder."""
    for tag, content in tags.items():
        (bag / tag).write_bytes(content)
    write_zip(bag, stream, base_name=bag.name, day=day, progress=progress)  # type: ignore[arg-type]


def _stage_received(staged: Staging, received: Received, target: str) -> None:
    """The bundle as it came in, byte for byte."""
    if not received.is_zip:
        stage_folder(staged, received.folder, target, {})
        return
    staged.copy(target, received.bundle)
