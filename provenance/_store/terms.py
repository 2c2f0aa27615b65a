"""Keeps on what terms an accession came: as what, whose it is, its old numbers, what is restricted.

All of it stays in tables of the store, and nothing of it goes into a bundle. An embargo ends when a
person lifts it and says why; its date alone ends nothing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from provenance._base.errors import UnusableInput
from provenance._store.acts import Act
from provenance._store.store import Store, Writing
from provenance._store.tables import Row, store_table

ACQUISITION, PREVIOUS, RESTRICTION = "acquisition", "previous_number", "restriction"
EMBARGO = "embargo"
LENT = ("loan", "deposit")
"""What comes to the store for a time, and goes back."""


@dataclass(frozen=True)
class Terms:
    """On what terms an accession comes; '' where nothing is said of it.

    `kind` is a code of the table acquisition; `begins` and `until` (YYYY-MM-DD) bound a loan or
    deposit; `previous_numbers` are separated by ';', and so are restrictions in words, which may
    begin with their kind ('sampling: none'); `embargo_until` is a day (YYYY-MM-DD).
    """

    kind: str = ""
    title_holder: str = ""
    donor: str = ""
    agreement: str = ""
    begins: str = ""
    until: str = ""
    previous_numbers: str = ""
    restrictions: str = ""
    embargo_until: str = ""

    def refuse_unusable(self) -> None:
        """Raise UnusableInput for a kind that there is not, or what is no day."""
        kinds = store_table(ACQUISITION).codes["kind"]
        if self.kind and self.kind not in kinds:
            raise UnusableInput(f"write one of {', '.join(kinds)}, not '{self.kind}'")
        for name in ("begins", "until", "embargo_until"):
            if (text := getattr(self, name)) and not is_day(text):
                said = name.replace("_", " ")
                raise UnusableInput(f"{said} '{text}': write the day as 2026-03-01")

    @property
    def in_words(self) -> tuple[tuple[str, str], ...]:
        """What the receipt says of them: pairs of a word and what it stands for."""
        spans = ((self.begins, "from"), (self.until, "until"), (self.title_holder, "title with"))
        said = [self.kind or "unknown"] * bool(self.kind or any(text for text, _ in spans))
        said += [f"{word} {text}" for text, word in spans if text]
        embargo = f"embargo until {self.embargo_until}" if self.embargo_until else ""
        pairs = (
            ("taken in as", ", ".join(said)),
            ("donor", self.donor),
            ("agreement", self.agreement),
            ("previous number", self.previous_numbers),
            ("restricted", "; ".join(filter(None, [embargo, self.restrictions]))),
        )
        return tuple((word, text) for word, text in pairs if text)


def is_day(text: str) -> bool:
    """Whether a text is a day as ISO 8601 writes it, YYYY-MM-DD."""
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def put_terms(writing: Writing, number: str, terms: Terms, depositor: str) -> None:
    """Add the terms of an accession to the tables of the store; nothing where nothing is said."""
    said = {
        "kind": terms.kind,
        "title_holder": terms.title_holder,
        "donor": terms.donor,
        "agreement": terms.agreement,
        "from": terms.begins,
        "until": terms.until,
    }
    restrictions = [{"kind": EMBARGO, "until": terms.embargo_until}] if terms.embargo_until else []
    for one in _parts(terms.restrictions):
        kind, _, rest = (text.strip() for text in one.partition(":"))
        known = rest and kind in store_table(RESTRICTION).codes["kind"]
        restrictions.append(
            {"kind": kind, "condition": rest} if known else {"kind": "other", "condition": one}
        )
    added: dict[str, list[dict[str, str]]] = {
        ACQUISITION: [said | {"kind": terms.kind or "unknown"}] if any(said.values()) else [],
        PREVIOUS: [{"previous_number": one} for one in _parts(terms.previous_numbers)],
        RESTRICTION: [
            one | {"restriction_id": f"{number}-R{count}", "by": depositor}
            for count, one in enumerate(restrictions, start=1)
        ],
    }
    for table, rows in added.items():
        if rows:
            new = [{"accession": number} | row for row in rows]
            writing.put_rows(table, [*writing.store.rows(table), *new])


def _parts(text: str) -> list[str]:
    return list(dict.fromkeys(filter(None, (" ".join(one.split()) for one in text.split(";")))))


def lift(writing: Writing, restriction_id: str, reason: str) -> Row:
    """Let a restriction stand no longer; the table keeps the day and the reason.

    Raises UnusableInput where there is none of that number, or it was lifted before.
    """
    rows = writing.store.rows(RESTRICTION)
    found = next((row for row in rows if row["restriction_id"] == restriction_id), None)
    if found is None:
        standing = [row["restriction_id"] for row in rows if not row["lifted_on"]]
        raise UnusableInput(
            f"there is no restriction {restriction_id}; standing: {', '.join(standing) or 'none'}"
        )
    if found["lifted_on"]:
        raise UnusableInput(
            f"{restriction_id} was lifted on {found['lifted_on']}: {found['lifted_because']}"
        )
    found |= {"lifted_on": writing.on, "lifted_because": reason}
    writing.put_rows(RESTRICTION, rows)
    return found


def standing_restrictions(rows: Iterable[Row]) -> Iterator[tuple[str, str]]:
    """Accession → a restriction of its record in words, for all that were not lifted."""
    for row in rows:
        if row["lifted_on"]:
            continue
        kind = "" if row["kind"] == "other" else row["kind"]
        until = f"until {row['until']}" if row["until"] else ""
        said = " ".join(filter(None, [kind, until]))
        parts = filter(None, [said, row["condition"] or row["reason"], row["scope"]])
        yield row["accession"], f"{', '.join(parts) or row['kind']} ({row['restriction_id']})"


def restrictions_by_record(
    rows: Iterable[Row], accessions: Sequence[Act], record_of: Mapping[str, str]
) -> dict[str, str]:
    """Accession → what is restricted, in words; a restriction of one edition is of all.

    `record_of` maps each number to what its record is known by.
    """
    said: dict[str, list[str]] = defaultdict(list)
    for number, words in standing_restrictions(rows):
        said[record_of.get(number, number)].append(words)
    return {
        act.number: "; ".join(said[record_of[act.number]])
        for act in accessions
        if record_of[act.number] in said
    }


def reminders(store: Store, today: date) -> list[str]:
    """Sentences about embargoes whose day has come and loans to the store that have ended."""
    day, gone = today.isoformat(), store.withdrawn
    said = [
        f"{row['restriction_id']}: the {row['kind']} of {row['accession']} was until "
        f"{row['until']}; lift it with 'treenail store lift STORE {row['restriction_id']} --reason "
        "TEXT', or enter a later day"
        for row in store.rows(RESTRICTION)
        if row["until"]
        and row["until"] <= day
        and not row["lifted_on"]
        and row["accession"] not in gone
    ]
    said += [
        f"{row['accession']}: the {row['kind']} to the store was until {row['until']}; return it, "
        "or enter the new agreement"
        for row in store.rows(ACQUISITION)
        if row["kind"] in LENT
        and row["until"]
        and row["until"] < day
        and row["accession"] not in gone
    ]
    return said


def faults_in_restrictions(rows: Sequence[Row]) -> Iterator[tuple[str, str, str, str]]:
    """(restriction, column, value, what to do) of the rows that say too little."""
    for row in rows:
        key = row["restriction_id"]
        if row["kind"] == EMBARGO and not (row["until"] or row["condition"]):
            yield key, "until", "", "say until which day, or fill in 'condition'"
        if row["lifted_on"] and not row["lifted_because"]:
            yield key, "lifted_because", "", "say why it was lifted"
