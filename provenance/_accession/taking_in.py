"""What every accession goes through, of a bundle or a bag: settings, day, number and store."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from provenance._accession.before import is_old_store, take_over
from provenance._accession.next_number import next_number
from provenance._base.errors import TreenailError, UnusableInput
from provenance._ledger.ed25519 import Signer
from provenance._ledger.handover import refuse_day_to_come
from provenance._store.acts import ACCESSION, Act
from provenance._store.current import standing_accessions
from provenance._store.home import refuse_copy
from provenance._store.numbers import NumberPattern, number_pattern
from provenance._store.settings import SETTINGS, Repository, new_settings, read_repository
from provenance._store.store import Store, Writing
from provenance._store.terms import Terms

NO_TERMS = Terms()


class AlreadyAccessioned(TreenailError):
    """The very same bundle has a number already; nothing was written."""

    exit_code = 1

    def __init__(self, bundle: Path, entry: Act) -> None:
        self.entry = entry
        super().__init__(
            f"{bundle} was already accessioned as {entry.number} on {entry.happened_on}, from "
            f"{entry.depositor}; it is kept at {entry.kept_at}. Nothing was written"
        )


@dataclass(frozen=True)
class TakingIn:
    """What a curator says of one accession, with the settings of the repository.

    `begun` is the text of a settings file to begin, '' for none; the rest as of `accession`.
    """

    store: Path
    repository: Repository
    begun: str
    pattern: NumberPattern | None
    depositor: str
    on: date
    recorded_on: str
    number: str
    reason: str
    terms: Terms
    keys: Sequence[Signer]
    samples: str
    place: str

    @contextmanager
    def writing(self) -> Iterator[tuple[Writing, int]]:
        """Hold the store, and count the lines of an older version's register that became acts."""
        store, by = Store(self.store), self.repository.name
        before: tuple[Act, ...] = ()
        if is_old_store(self.store):
            before = take_over(self.store, on=self.on, recorded_on=self.recorded_on, by=by)
        signer = self.keys[0] if self.keys else None
        with store.writing(
            on=self.on, recorded_on=self.recorded_on, by=by, signer=signer
        ) as writing:
            yield writing, len(before)
        # a store that was begun just now is known from here on
        refuse_copy(store)

    def refuse(
        self, acts: Sequence[Act], bundle: Path, *, bag: str, payload: str, began: str = ""
    ) -> None:
        """Raise AlreadyAccessioned for what has a number, UnusableInput for a day that cannot be.

        `bag` and `payload` are what the bundle is known by. `began` is the day on which its record
        began, '' where that is not known; a day before it, or before the last accession, needs a
        reason.
        """
        if known := known_bundle(acts, bag, payload):
            raise AlreadyAccessioned(bundle, known)
        on = self.on.isoformat()
        refuse_day_to_come(on, self.recorded_on)
        if self.reason:
            return
        last = max((act.happened_on for act in acts if act.kind == ACCESSION), default="")
        for day, what in ((last, "the last accession"), (began, "the record began")):
            # a month or year alone is compared as far as it goes
            if on[: len(day)] < day:
                raise UnusableInput(
                    f"--on {on} is before {what} ({day}); correct the day, or say with --reason "
                    "why it is right"
                )

    def next_number(self, acts: Sequence[Act]) -> str:
        """The number to give; raises UnusableNumber and AlreadyThere."""
        return next_number(self.store, acts, self.pattern, self.number, self.on)

    def begin_settings(self, writing: Writing) -> Path | None:
        """Write the settings file that is to be begun; returns where it will lie."""
        if not self.begun:
            return None
        writing.staged.write(SETTINGS, self.begun.encode("utf-8"))
        return self.store / SETTINGS


def taking_in(
    store: Path | str,
    *,
    depositor: str,
    on: date,
    recorded_on: str,
    number: str,
    pattern: str,
    settings: Path | None,
    reason: str,
    terms: Terms,
    keys: Sequence[Signer],
    samples: str = "",
    place: str = "",
) -> TakingIn:
    """Raises UnusableInput for what cannot be used, CopyOfStore for a copy of a store."""
    store = Path(store)
    depositor = " ".join(depositor.split())
    if not depositor:
        raise UnusableInput("say with --depositor who hands the bundle in")
    terms.refuse_unusable()
    refuse_copy(Store(store))
    repository, begun = _repository_of(store, settings, pattern)
    return TakingIn(
        store=store,
        repository=repository,
        begun=begun,
        pattern=number_pattern(pattern) if pattern else repository.pattern,
        depositor=depositor,
        on=on,
        recorded_on=recorded_on,
        number=number,
        reason=" ".join(reason.split()),
        terms=terms,
        keys=keys,
        samples=samples,
        place=place,
    )


def known_bundle(acts: Sequence[Act], bag: str, payload: str) -> Act | None:
    """The accession of a bundle, shown as it came in or as it is kept; None when it is new."""
    for act in standing_accessions(acts):
        if bag in (act.received, act.bag) or (payload and payload == act.payload):
            return act
    return None


def _repository_of(store: Path, settings: Path | None, pattern: str) -> tuple[Repository, str]:
    """The repository's settings, and the text of a settings file to begin, '' for none."""
    if settings is not None:
        return read_repository(settings), ""
    if (store / SETTINGS).is_file():
        return read_repository(store / SETTINGS), ""
    return Repository(), new_settings(number_pattern(pattern)) if pattern else ""
