"""Writes what an accession adds to a store: act, card, the record's whole ledger, and the files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from provenance._bag.bag import files_of
from provenance._base.progress import Progress, say_nothing
from provenance._bundle.describe.editions import PUBLIC
from provenance._ledger.branches import seals_at_ends
from provenance._ledger.joining import joined_ledgers
from provenance._ledger.seals import SEAL, Event
from provenance._record.given_out import numbers_digest
from provenance._record.together import Staging
from provenance._store.acts import ACCESSION, Act
from provenance._store.door import Newcomer, Peer, peers_in, same_record
from provenance._store.store import Writing


@dataclass(frozen=True)
class Known:
    """What a store knows of the record of a bundle.

    `acts` are its accessions and `peers` what the full ones held; `notes` say what is lacking.
    """

    acts: tuple[Act, ...]
    peers: tuple[Peer, ...]
    notes: tuple[str, ...]

    @property
    def records(self) -> tuple[str, ...]:
        """What the record is known by here; several where records are found to be one."""
        return tuple(dict.fromkeys(act.record_id for act in self.acts if act.record_id))


def known_of(writing: Writing, new: Newcomer) -> Known:
    """What a store knows of the record of a bundle.

    Raises UnusableInput where its own ledger is not the one that the register knows.
    """
    accessions = (act for act in writing.acts if act.kind == ACCESSION)
    same = same_record(accessions, new.identity, new.earlier)
    if new.edition == PUBLIC.name:
        return Known(tuple(same), (), ())
    peers, notes = peers_in(writing, same)
    return Known(tuple(same), tuple(peers), tuple(notes))


def enter(
    writing: Writing, kept: Newcomer, known: Known, *, with_ledger: bool = True, **cells: str
) -> Act:
    """Add an accession: its act with what the bundle is known by, its card and its ledger.

    `cells` are the other cells of the act. Without `with_ledger` the ledger of the record stays as
    it was, for a bundle whose own does not fit together.
    """
    record_id, *others = dict.fromkeys((*known.records, *kept.identity.marks))
    ledger = kept.ledger if with_ledger and kept.edition != PUBLIC.name else ()
    card = {**kept.numbers, **kept.names}
    act = writing.add(
        ACCESSION,
        record_id=record_id,
        known_as=" ".join(others),
        edition=kept.edition,
        payload=kept.identity.payload,
        members=kept.identity.members,
        heads=" ".join(seals_at_ends(ledger)),
        events=str(len(ledger)) if ledger else "",
        bindings=numbers_digest(card),
        **cells,
    )
    writing.put_card(act, card)
    whole: list[Event] = list(ledger)
    for one in known.records if ledger else ():
        whole = list(joined_ledgers(writing.ledger(one), whole))
    if ledger and _seals(whole) != _seals(writing.ledger(record_id)):
        writing.put_ledger(record_id, whole)
    return act


def _seals(events: list[Event] | list[dict[str, str]]) -> list[str]:
    return [one[SEAL] for one in events]


def stage_folder(
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

    def copied(count: int) -> None:
        nonlocal done
        done += count
        progress(done, total)

    for path in paths:
        if path in tags:
            staged.write(f"{target}/{path}", tags[path])
            continue
        staged.copy(f"{target}/{path}", source / path, copied)
