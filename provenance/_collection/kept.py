"""Tells what a store knows of the records it keeps, and which samples of them are meant."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from provenance._base.errors import TreenailError, UnreadableValue, UnusableInput
from provenance._bundle.describe.editions import PUBLIC
from provenance._identity.naming import NamedSample, SampleNames
from provenance._identity.payload import inside_code, is_inside, is_scan, read_scan, split_scans
from provenance._identity.selection import select_samples
from provenance._ledger.holdings import Event, Holding, replay
from provenance._store.acts import Act
from provenance._store.current import tips_among
from provenance._store.standing import events_in
from provenance._store.store import FORMER_SAMPLE, Store, card_path


@dataclass(frozen=True)
class Kept:
    """A record of a store as its card and ledger have it.

    `accession` is its current bundle; `cards` are the numbers of that one and of all before it,
    table → key → what it belongs to, the newest first, and `carded` their accessions; `ledger` its
    rows.
    """

    accession: Act
    cards: tuple[Mapping[str, Mapping[str, str]], ...]
    ledger: Sequence[Mapping[str, str]]
    shop: Mapping[str, Mapping[str, str]]
    carded: tuple[str, ...] = ()

    @property
    def record_id(self) -> str:
        """What the register calls the record."""
        return self.accession.record_id

    def of(self, table: str) -> Mapping[str, str]:
        """The keys of a table of the card, and what each belongs to."""
        return self.cards[0].get(table, {}) if self.cards else {}

    @cached_property
    def events(self) -> list[Event]:
        """The events that count, under the numbers that samples bear now."""
        now = self.of(FORMER_SAMPLE)
        return [
            one._replace(sample_id=now.get(one.sample_id, one.sample_id))
            for one in events_in(self.ledger)
        ]

    @cached_property
    def holdings(self) -> Mapping[str, Holding]:
        """Where each sample is after its last event."""
        return replay(self.events)

    @cached_property
    def parents(self) -> dict[str, str]:
        """Parts that were cut here and are not in the bundle yet → the sample they are of."""
        return {
            one.sample_id: one.parent_sample_id
            for one in self.events
            if one.parent_sample_id and one.sample_id not in self.of("sample")
        }

    @cached_property
    def samples(self) -> dict[str, str]:
        """The number of every sample, parts included, and the code of its site."""
        sites, timbers = self.of("element"), self.of("sample")
        found = {one: sites.get(timber, "") for one, timber in timbers.items()}
        for part, parent in self.parents.items():
            found[part] = found.get(parent, "")
        return found

    @cached_property
    def sites(self) -> frozenset[str]:
        """The codes of its sites."""
        return frozenset(self.of("element").values()) - {""}

    @property
    def taken(self) -> set[str]:
        """Every number that stood for a sample of the record at some time, or is reserved."""
        on_cards = {key for card in self.cards for table in _NUMBERS for key in card.get(table, ())}
        return on_cards | {row["sample_id"] for row in self.ledger} - {""}

    @cached_property
    def names(self) -> SampleNames:
        """What its samples are named by."""
        former: dict[tuple[str, str], list[str]] = {}
        for old, now in self.of(FORMER_SAMPLE).items():
            former.setdefault((self.samples.get(now, ""), now), []).append(old)
        return SampleNames(
            [(site, number) for number, site in self.samples.items()],
            self.sites,
            strange=f"is not a sample of {self.accession.number}",
            former=former,
        )

    @cached_property
    def parties(self) -> dict[str, str]:
        """Code → name, '' where only the ledger has it: the record's own, then the store's."""
        named = {
            code: ""
            for row in self.ledger
            for code in (row["from_party_id"], row["to_party_id"], row["recorded_by"])
            if code
        }
        return (
            named | {code: row["name"] for code, row in self.shop.items()} | dict(self.of("party"))
        )

    def name_of(self, party_id: str) -> str:
        """The name of a party, or its code where no name is known."""
        return self.parties.get(party_id) or party_id

    def inside(self, code: str) -> list[str]:
        """The samples that lie in the box or drawer whose code was scanned."""
        scanned = read_scan(code)
        return [
            one.sample_id
            for one in self.holdings.values()
            if not one.gone
            and not one.on_the_way_to
            and self.samples.get(one.sample_id, "").upper() == scanned.site_id
            and inside_code(one.place_held) == scanned.inside
        ]

    def named(self, text: str) -> NamedSample:
        """The one sample that a text or scanned label names, by its own number or the store's.

        Raises UnreadableValue when it names none or could name several.
        """
        number = read_scan(text).store_number if is_scan(text) and not is_inside(text) else ""
        if not number:
            return self.names.sample(text)
        accession, _, count = number.rpartition("/")
        for one, card in zip(self.carded, self.cards, strict=True):
            samples = list(card.get("sample", {}))
            if one == accession and 0 < int(count) <= len(samples):
                return self.names.sample(samples[int(count) - 1])
        raise UnreadableValue(number, f"is not the number of a sample of {self.accession.number}")


_NUMBERS = ("sample", "reservation", FORMER_SAMPLE)


class Books:
    """What is read of a store once, to tell what it knows of many records."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._withdrawn = frozenset(store.withdrawn)
        self._parties = {row["party_id"]: row for row in store.rows("party")}
        self._full: dict[str, list[Act]] = {}
        for act in store.accessions:
            if act.record_id and act.edition and act.edition != PUBLIC.name:
                self._full.setdefault(act.record_id, []).append(act)

    @property
    def records(self) -> list[str]:
        """The records that the store keeps in full, in the order in which they came."""
        return list(self._full)

    def full(self, record_id: str) -> list[Act]:
        """The full accessions of a record, in their order."""
        return self._full.get(record_id, [])

    def kept(self, record_id: str, ledger: Sequence[Mapping[str, str]] | None = None) -> Kept:
        """The record of that name, with the ledger that it has by now; default: as it is written.

        Raises UnusableInput where the store has no full edition of it.
        """
        full = self.full(record_id)
        if not full:
            raise UnusableInput(
                f"{self.store.folder} keeps no full edition of the record {record_id[:12]}; its "
                "events are recorded with the full edition"
            )
        current = current_of(full, self._withdrawn)
        in_order = (current, *(one for one in full if one is not current))
        cards = tuple(self.store.card(act) for act in in_order)
        rows = self.store.ledger(record_id) if ledger is None else ledger
        carded = tuple(act.number for act in in_order)
        return Kept(current, cards, rows, self._parties, carded)


def kept_record(store: Store, record_id: str) -> Kept:
    """One record of a store; see `Books.kept`."""
    return Books(store).kept(record_id)


def current_of(accessions: Sequence[Act], withdrawn: Collection[str]) -> Act:
    """The newest of the full accessions of one record that nothing goes on from."""
    there = [act for act in accessions if act.number not in withdrawn] or list(accessions)
    return (tips_among(there) or there)[-1]


def record_named(store: Store, text: str) -> str:
    """The record that an accession number names, or its own name or one of its marks.

    Raises UnusableInput for what names none, and for a public edition or a bag of others.
    """
    for act in store.accessions:
        if text and text in (act.number, *act.marks):
            if not act.edition or act.edition == PUBLIC.name:
                raise UnusableInput(
                    f"{text} is {'a public edition' if act.edition else 'a bag of others'}, which "
                    "has no custody ledger; name the full edition"
                )
            return act.record_id
    raise UnusableInput(
        f"the register in {store.folder} has no accession {text}; 'treenail catalogue "
        f"{store.folder} --of bundles' lists them"
    )


def kept_records(store: Store, named: Sequence[str]) -> list[Kept]:
    """The records that are named."""
    books = Books(store)
    return [books.kept(one) for one in dict.fromkeys(record_named(store, one) for one in named)]


_SITES = re.compile(rb"^\"?element\"?,.*,\"?([^,\"\n]+)\"?$", re.MULTILINE)
_BETWEEN = re.compile(r"[\s:-]+")


def records_scanned(store: Store, named: Sequence[str], lines: str) -> list[Kept]:
    """The records that are named, else those with a site that a scanner's lines say.

    Where a line says none, as a number alone, these are all records of the store.
    """
    if named:
        return kept_records(store, named)
    said = [set(_BETWEEN.split(text.upper())) for _, text in split_scans(lines)]
    books = Books(store)
    found = {one: _sites_on_cards(books, one) for one in books.records}
    every = set().union(*found.values())
    if not all(words & every for words in said):
        return [books.kept(one) for one in books.records]
    wanted = set().union(*said)
    return [books.kept(one) for one, sites in found.items() if sites & wanted]


def sample_on_label(store: Store, text: str) -> NamedSample:
    """The sample with the store number that a scanned label says.

    Raises UnreadableValue for another code, and UnusableInput where there is no such accession.
    """
    accession = read_scan(text).store_number.rpartition("/")[0]
    return kept_record(store, record_named(store, accession)).named(text)


def label_read(folder: Path, text: str) -> dict[str, str]:
    """'sample' and 'site' of a scanned label with a number of this store; {} for any other text.

    Raises as `sample_on_label`.
    """
    if not is_scan(text) or is_inside(text) or not read_scan(text).store_number:
        return {}
    named = sample_on_label(Store(folder), text)
    return {"sample": named.sample_id, "site": named.site_id}


def _sites_on_cards(books: Books, record_id: str) -> set[str]:
    """The codes of the sites of a record, told without reading its cards whole."""
    paths = (books.store.folder / card_path(act) for act in books.full(record_id))
    found = (_SITES.findall(path.read_bytes()) for path in paths if path.is_file())
    return {site.decode("utf-8", "replace").upper() for sites in found for site in sites}


Chosen = dict[str, list[str]]
"""Record → samples."""


def select_in_store(store: Store, named: Sequence[str], selection: str) -> Chosen:
    """The samples that a selection names: '231,233-240' or 'all' of the records that are named.

    A part behind an accession number and a colon is of that record ('2026.0001:231,233-240');
    such parts are separated by ';'. What a scanner read from labels is looked for in the records
    named, else in all. Raises TreenailError that says which part names nothing.
    """
    chosen: Chosen = {}
    numbers = {act.number for act in store.accessions}
    for part in filter(None, (one.strip() for one in selection.split(";"))):
        number, colon, rest = part.partition(":")
        if is_scan(part):
            _add(chosen, scanned_in_store(records_scanned(store, named, part), part))
            continue
        of, what = list(named), part
        if colon and number.strip() in numbers:
            of, what = [number.strip()], rest
        if not of:
            raise TreenailError(
                f"'{part}' does not say of which record; name it with --record, or write "
                f"2026.0001:{part}"
            )
        records = kept_records(store, of)
        if len(records) > 1 and what.strip().lower() != "all":
            raise TreenailError(
                f"'{part}' could be samples of {len(records)} records; write "
                f"{records[0].accession.number}:{part} for those of one"
            )
        for one in records:
            found = select_samples(list(one.samples), what, one.names, inside=one.inside)
            _add(chosen, {one.record_id: found})
    if not chosen:
        raise TreenailError(f"'{selection}' selects no sample; write 231,233-240 or all")
    return chosen


def scanned_in_store(records: Sequence[Kept], lines: str) -> Chosen:
    """The samples that a scanner's lines name, of any of some records.

    Raises TreenailError that lists every line that names none, or several; nothing is passed over.
    """
    chosen: Chosen = {}
    faults = []
    for line, text in split_scans(lines):
        meant, why = _meant(records, text)
        if len(meant) > 1 and not is_inside(text):
            numbers = " or ".join(one.accession.number for one, _ in meant)
            why = f"'{text}' could be of {numbers}; say which with --record"
        if why:
            faults.append(f"  line {line}: {why}")
        for one, samples in meant:
            _add(chosen, {one.record_id: samples})
    if faults:
        raise TreenailError(
            "not every line names a sample, so none is taken:\n" + "\n".join(faults)
        )
    if not chosen:
        raise TreenailError("no line names a sample; scan their labels, one after the other")
    return chosen


def _meant(records: Sequence[Kept], text: str) -> tuple[list[tuple[Kept, list[str]]], str]:
    """The samples that one line names in each of the records, and why it names none."""
    found, why = [], ""
    for one in records:
        try:
            samples = one.inside(text) if is_inside(text) else [one.named(text).sample_id]
        except UnreadableValue as error:
            # of several records the one of the site that the label says
            if len(records) == 1 or any(site and site in text.upper() for site in one.sites):
                why = str(error)
            continue
        if samples:
            found.append((one, samples))
    return found, "" if found else (why or f"'{text}' names no sample of {_some(records)}")


def _some(records: Sequence[Kept]) -> str:
    numbers = [one.accession.number for one in records]
    return ", ".join(numbers) if len(numbers) <= 3 else f"the {len(numbers)} records of the store"


def _add(chosen: Chosen, more: Mapping[str, Sequence[str]]) -> None:
    for record_id, samples in more.items():
        before = chosen.get(record_id, ())
        chosen[record_id] = list(dict.fromkeys([*before, *samples]))
