"""Takes one bundle in: number, line in the register, kept bundle, receipt.

The folder of the register is the repository's store, and each accession has a folder of its own in
it, named for its number:

    register.csv            one line an accession, only ever added to
    repository.yaml         what the repository says of itself
    2026.0001/
      holl-bundle.zip       the bundle with its number in bag-info.txt; this is what is kept
      receipt-2026.0001.pdf
      received/             the bundle as it came in, only where custody events were recorded

The bundle that came in is never changed. Without custody events the payload that is kept is the
payload that came in, byte for byte. With them the ledger is longer, so the kept bundle is packed
anew and names the one that came in as the one it goes on from; that one is kept beside it.

All files of an accession, the register's new line among them, are written in one step
(`provenance._record.together`): a program that is killed leaves either all of it or nothing.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._accession.anchoring import kept_anchors
from provenance._accession.damage import letter_about_ledger
from provenance._accession.deposit import Asked, with_deposit
from provenance._accession.receipt import print_receipt, receipt_of
from provenance._accession.received import Received, opened_received, refuse_unsafe_name
from provenance._accession.register import Accession, find_bundle, read_register, register_bytes
from provenance._accession.withdrawn import EditionsBeside, editions_beside
from provenance._bag.bag import files_of
from provenance._bag.zipping import write_zip
from provenance._base.disk import CHUNK_BYTES
from provenance._base.errors import AlreadyThere, TreenailError, UnusableInput
from provenance._base.locks import locked
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._base.standing import CONTRADICTS, SEALS_WITHHELD, Standing
from provenance._bundle.describe.lineage import identity_of
from provenance._bundle.statement import signed_tags
from provenance._bundle.verify import open_record
from provenance._drawing.paper import Paper
from provenance._ledger.anchors import Anchor, anchor_of, standing
from provenance._ledger.ed25519 import Signer
from provenance._record.together import Staging, finish_writing, is_unfinished, writing_together
from provenance._store.numbers import (
    NumberPattern,
    UnusableNumber,
    folder_name,
    number_pattern,
    numbered_tags,
    plain_number,
)
from provenance._store.settings import SETTINGS, Repository, new_settings, read_repository


class AlreadyAccessioned(TreenailError):
    """The very same bundle has a number already; nothing was written."""

    exit_code = 1

    def __init__(self, bundle: Path, entry: Accession) -> None:
        self.entry = entry
        super().__init__(
            f"{bundle} was already accessioned as {entry.number} on {entry.accessioned_on}, from "
            f"{entry.depositor}; it is kept at {entry.kept_at}. Nothing was written"
        )


class ContradictsKept(TreenailError):
    """The custody ledger is not the one of an earlier bundle of the record; nothing was written.

    `letter` asks the depositor about it.
    """

    def __init__(self, bundle: Path, found: Standing, letter: str) -> None:
        self.standing = found
        self.letter = letter
        super().__init__(
            f"{bundle} was not accessioned; no number was given. Its custody ledger contradicts "
            f"what is kept here: {' '.join(found.said)} Ask the depositor whether it is an older "
            "bundle, or comes from another copy of the record that has to be merged first; "
            "--even-if-rewritten accepts it anyway, and the receipt says so"
        )


@dataclass(frozen=True)
class Accessioned:
    """What came of an accession.

    `entry` is the register's new line; `kept` and `receipt` where bundle and receipt lie;
    `received` where the bundle as it came in was laid beside it, None where it was not needed;
    `deposited` are the samples whose keeper changed; `goes_on_from` is the register's line of an
    earlier bundle of the same record; `settings` a settings file that was begun. `ledger` says how
    its custody ledger stands against what is kept; `unread` are sentences about what could not be
    held against it; `beside` says which public editions in the store are withdrawn, or take its
    place.
    """

    entry: Accession
    kept: Path
    receipt: Path
    received: Path | None
    deposited: tuple[str, ...]
    to_mend: tuple[str, ...]
    goes_on_from: Accession | None
    settings: Path | None
    ledger: Standing
    unread: tuple[str, ...]
    beside: EditionsBeside


def accession(
    bundle: Path | str,
    register: Path | str,
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
    keys: Sequence[Signer] = (),
    progress: Progress = say_nothing,
) -> Accessioned:
    """Verify a bundle, give it a number, and keep it with a receipt beside the register.

    `register` is a CSV file, begun if there is none. The number is `number`, or the next of
    `pattern`, else of the pattern in `settings` (repository.yaml beside the register if left out).
    `samples` ('all', '231,233-240') came in with the bundle: their keeper becomes the repository,
    at `place`. `on` is the day of the accession, `recorded_on` when it is written down (RFC 3339).

    The ledger is held against those of earlier bundles of the record in the register; one that
    contradicts them is taken in only with `even_if_rewritten`. What is kept is signed with `keys`.

    Raises DamagedBundle with a letter to the depositor, AlreadyAccessioned, ContradictsKept,
    UnusableNumber for a
    pattern or number that cannot be used or was given out, UnusableInput for a register or settings
    that cannot be read, and TreenailError when the samples' keeper cannot change so. Nothing is
    written then, and no number is spent.
    """
    bundle, register = Path(bundle), Path(register)
    store = register.parent
    depositor = " ".join(depositor.split())
    if not depositor:
        raise UnusableInput("say with --depositor who hands the bundle in")
    if place and not samples:
        raise UnusableInput("--place says where samples are stored, so it needs --samples")
    refuse_unsafe_name(bundle.resolve().name)
    refuse_unsafe_name(register.name)
    repository, begun = _repository(store, settings, pattern)
    wanted = number_pattern(pattern) if pattern else repository.pattern
    asked = Asked(depositor, on, recorded_on, samples, place)
    with (
        opened_received(
            bundle,
            depositor=depositor,
            repository=repository,
            day=on.isoformat(),
            progress=stretch(progress, 0, 2),
        ) as received,
        _held_store(store),
        tempfile.TemporaryDirectory(prefix="treenail-") as scratch,
    ):
        entries = read_register(register)
        if known := find_bundle(entries, received.known_by.tagmanifest_sha256):
            raise AlreadyAccessioned(bundle, known)
        anchors, unread = _kept_of(received, entries, store)
        found = _against(anchors, received)
        if found.word == CONTRADICTS and not even_if_rewritten:
            letter = letter_about_ledger(
                bundle,
                found.said,
                anchors,
                day=on.isoformat(),
                depositor=depositor,
                repository=repository.in_words,
                contact=repository.contact,
            )
            raise ContradictsKept(bundle, found, letter)
        given = _number(store, entries, wanted, number, on)
        work = Path(scratch).resolve()
        bag, deposited = with_deposit(received, repository, asked, given, work)
        return _keep(
            received,
            bag,
            register,
            repository,
            asked,
            given,
            entries=entries,
            deposited=deposited,
            ledger=found,
            unread=tuple(unread),
            keys=keys,
            paper=paper,
            begun=begun,
            work=work,
            progress=stretch(progress, 1, 2),
        )


def _kept_of(
    received: Received, entries: list[Accession], store: Path
) -> tuple[list[Anchor], list[str]]:
    """What is kept of the ledger of a record, and sentences about what cannot be read."""
    if received.known_by.edition == "public":
        return [], []
    return kept_anchors(entries, received.known_by, store)


def _against(anchors: list[Anchor], received: Received) -> Standing:
    """How the ledger that came in stands against what is kept of the record."""
    if received.known_by.edition == "public":
        return Standing(SEALS_WITHHELD)
    return standing(received.package.tables, anchors)


def _repository(store: Path, settings: Path | None, pattern: str) -> tuple[Repository, str]:
    """The repository's settings, and the text of a settings file to begin, '' for none."""
    if settings is not None:
        return read_repository(settings), ""
    if (store / SETTINGS).is_file():
        return read_repository(store / SETTINGS), ""
    return Repository(), new_settings(number_pattern(pattern)) if pattern else ""


@contextmanager
def _held_store(store: Path) -> Iterator[None]:
    """Hold the store against other accessions, once what a stopped one left is brought to an end.

    Two curators at once: the second waits here, and reads the register when the first is done.
    """
    store.mkdir(parents=True, exist_ok=True)
    while True:
        if any(store.glob(".together.*.part")):
            finish_writing(store)
        with locked(store):
            # another program may have been stopped between the two lines above
            if is_unfinished(store):
                continue
            yield
            return


# -- number --------------------------------------------------------------------------------------


def _number(
    store: Path, entries: Sequence[Accession], pattern: NumberPattern | None, number: str, on: date
) -> str:
    """The number to give; folders count as given out too, should the register have lost lines."""
    taken = {one.number: one.accessioned_on for one in entries}
    folders = [path.name for path in store.iterdir() if path.is_dir()]
    if pattern is None and not number:
        raise UnusableNumber(
            f"{store} has no {SETTINGS}, so the number pattern is not known; give it once with "
            "--pattern '{year}.{serial:04}', or this number with --number"
        )
    if not number:
        assert pattern is not None
        while True:
            number = pattern.next_number([*taken, *_numbers_in(pattern, folders)], on)
            if folder_name(number) not in folders:
                return number
            taken[number] = ""
    plain_number(number)
    if number in taken:
        raise UnusableNumber(
            f"{number} was given out on {taken[number]}; no number is given out twice"
        )
    if folder_name(number) in folders:
        raise AlreadyThere(
            f"{store / folder_name(number)} is already there, though the register does not have "
            f"{number}; find out what it is, and choose another number"
        )
    if pattern is not None:
        _refuse_out_of_order(pattern, number, [*taken, *_numbers_in(pattern, folders)])
    return number


def _numbers_in(pattern: NumberPattern, folders: Sequence[str]) -> list[str]:
    """The numbers that folders may stand for: a '/' or blank of the pattern is a '-' in them."""
    as_folder = number_pattern(
        "".join(
            f"{{{field}{f':0{width}' if width > 1 else ''}}}" if field else folder_name(literal)
            for field, literal, width in pattern.pieces
        )
    )
    found = []
    for name in folders:
        if parts := as_folder.series_of(name):
            found.append(pattern.renumbered(*parts))
    return found


def _refuse_out_of_order(pattern: NumberPattern, number: str, taken: Sequence[str]) -> None:
    """A number of a person's own keeps to the pattern and to its order."""
    mine = pattern.series_of(number)
    if mine is None:
        raise UnusableNumber(
            f"'{number}' does not follow the repository's pattern '{pattern.text}'; write it so, "
            "or change the pattern in the settings"
        )
    known = [one for one in map(pattern.series_of, taken) if one and one[0] == mine[0]]
    highest = max((serial for _, serial in known), default=0)
    if mine[1] <= highest:
        raise UnusableNumber(
            f"'{number}' lies before {pattern.renumbered(mine[0], highest)}, which was given out: "
            "numbers only increase, so that a number that was skipped is never mistaken for a "
            "later bundle"
        )


# -- keeping -------------------------------------------------------------------------------------


def _keep(
    received: Received,
    bag: Path,
    register: Path,
    repository: Repository,
    asked: Asked,
    number: str,
    *,
    entries: list[Accession],
    deposited: tuple[str, ...],
    ledger: Standing,
    unread: tuple[str, ...],
    keys: Sequence[Signer],
    paper: Paper,
    begun: str,
    work: Path,
    progress: Progress,
) -> Accessioned:
    """Write everything in one step, and give what was written."""
    store, name, folder = register.parent, received.bundle.resolve().name, folder_name(number)
    receipt_name = f"receipt-{folder}.pdf"
    package = received.package if bag == received.folder else open_record(bag)
    tags = numbered_tags(bag, number, signed_tags(bag, package, keys))
    numbered = work / "numbered"
    numbered.mkdir()
    for tag in ("bag-info.txt", "tagmanifest-sha256.txt"):
        (numbered / tag).write_bytes(tags[tag])
    (numbered / "data").mkdir()
    shutil.copyfile(bag / "data" / "bundle.json", numbered / "data" / "bundle.json")
    kept_as = identity_of(numbered)
    end, came = (
        None
        if kept_as.edition == "public"  # which names the end of no ledger
        else anchor_of(one.tables, "the receipt", on=asked.on.isoformat())
        for one in (package, received.package)
    )
    entry = Accession(
        number=number,
        accessioned_on=asked.on.isoformat(),
        bundle=received.known_by.name,
        title=received.package.title,
        edition=kept_as.edition,
        record_date=kept_as.record_date,
        received_sha256=received.known_by.tagmanifest_sha256,
        kept_sha256=kept_as.tagmanifest_sha256,
        kept_at=f"{folder}/{name}",
        depositor=asked.depositor,
        receipt=f"{folder}/{receipt_name}",
        ledger_head=end.head if end else "",
        ledger_events=str(end.count) if end else "",
        received_head=came.head if came else "",
        received_events=str(came.count) if came else "",
    )
    printed = work / receipt_name
    beside = editions_beside(received, store, entries)
    receipt = receipt_of(
        received, repository, entry, deposited, asked.place, beside, end=end, ledger=ledger
    )
    print_receipt(receipt, paper, printed)
    with writing_together(store) as staged:
        if received.is_zip:
            with staged.writing(entry.kept_at) as stream:
                _write_numbered_zip(bag, tags, stream, kept_as.record_date, work, progress)
        else:
            _stage_folder(staged, bag, entry.kept_at, tags, progress)
        if deposited:
            _stage_received(staged, received, f"{folder}/received/{name}")
        staged.write(entry.receipt, printed.read_bytes())
        if begun:
            staged.write(SETTINGS, begun.encode("utf-8"))
        staged.write(register.name, register_bytes(register, entry))
    return Accessioned(
        entry=entry,
        kept=store / entry.kept_at,
        receipt=store / entry.receipt,
        received=store / folder / "received" / name if deposited else None,
        deposited=deposited,
        to_mend=received.to_mend,
        goes_on_from=_goes_on_from(received, entries),
        settings=store / SETTINGS if begun else None,
        ledger=ledger,
        unread=unread,
        beside=beside,
    )


def _goes_on_from(received: Received, entries: list[Accession]) -> Accession | None:
    """The newest of the earlier bundles that the register knows."""
    known = (find_bundle(entries, one.tagmanifest_sha256) for one in received.earlier)
    return next((one for one in known if one), None)


def _write_numbered_zip(
    bag: Path, tags: dict[str, bytes], stream: object, day: str, work: Path, progress: Progress
) -> None:
    """The bag as a zip with its numbered tag files; the bag itself lies in a temporary folder."""
    for tag, content in tags.items():
        (bag / tag).write_bytes(content)
    write_zip(bag, stream, base_name=bag.name, day=day, progress=progress)  # type: ignore[arg-type]


def _stage_folder(
    staged: Staging,
    source: Path,
    target: str,
    tags: dict[str, bytes],
    progress: Progress = say_nothing,
) -> None:
    """Copy a folder file by file, the numbered tag files in the place of the old ones."""
    paths = sorted({*files_of(source), *tags})
    total = sum((source / path).stat().st_size for path in paths if path not in tags)
    done = 0
    for path in paths:
        if path in tags:
            staged.write(f"{target}/{path}", tags[path])
            continue
        with staged.writing(f"{target}/{path}") as writer, open(source / path, "rb") as reader:
            while chunk := reader.read(CHUNK_BYTES):
                writer.write(chunk)
                done += len(chunk)
                progress(done, total)


def _stage_received(staged: Staging, received: Received, target: str) -> None:
    """The bundle as it came in, byte for byte."""
    if not received.is_zip:
        _stage_folder(staged, received.folder, target, {})
        return
    with staged.writing(target) as writer, open(received.bundle, "rb") as reader:
        shutil.copyfileobj(reader, writer, CHUNK_BYTES)
