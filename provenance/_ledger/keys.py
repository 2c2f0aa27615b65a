"""Keeps the table 'key': whose a public key is, from when until when, and who vouches for it.

What is signed is a word, one zero byte, and canonical JSON (RFC 8785) of cells of the row:

    self_signature      treenail-key-1      record_id, party_id, public_key, since
    keeper_signature    treenail-keeper-1   the same and self_signature
    until_signature     treenail-until-1    record_id, key_id, until

The last is a signature of its own, so that a keeper can retire a key that was lost or stolen, and
what was vouched for stays so. Who is a keeper is not for the record alone to say: a reader trusts
the keepers whose keys he has from elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl
import rfc8785

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._history.acts import BEGUN
from provenance._history.history import ACT, first_act, open_history, record_key, stage_history
from provenance._ledger.ed25519 import Signer, is_signed, key_id_of
from provenance._ledger.holdings import first_day, last_day
from provenance._model.edtf import is_edtf
from provenance._record.joined import keys_now, split_codes
from provenance._record.reading import FIRST_ROW
from provenance._record.together import writing_together

if TYPE_CHECKING:
    from provenance._record.package import Package
    from provenance._record.snapshot import Row, Snapshot

TABLE = "key"
_OWN = ("record_id", "party_id", "public_key", "since")
_VOUCHED = (*_OWN, "self_signature")
_UNTIL = ("record_id", "key_id", "until")
SHORTEST_NAME = 8
"""Figures by which a key may be called, where no other begins with them."""


class KeyRefused(TreenailError):
    """A key that cannot be entered, vouched for, retired or signed with; nothing was written."""


@dataclass(frozen=True)
class PartyKey:
    """A key whose own signature holds, and so says whose it is.

    `party_id` is the party as it is called now. `keeper_key_id` is the key that vouches for it with
    a signature that holds, '' where none does; whether to trust that key the reader decides.
    """

    key_id: str
    party_id: str
    public_key: str
    since: str
    until: str
    keeper_key_id: str

    def may_sign_on(self, written: str) -> bool:
        """Whether a date (EDTF) can lie within the time of the key; a blank one can."""
        first, last = first_day(written), last_day(written)
        begins, ends = first_day(self.since), last_day(self.until)
        early = last is not None and begins is not None and last < begins
        late = first is not None and ends is not None and first > ends
        return not (early or late)


def keys_of(tables: Snapshot) -> Mapping[str, PartyKey]:
    """The keys of the record by their names; without those whose own signature does not hold.

    Raises SignaturesNotTested.
    """
    return tables.once("keys judged", _judged)[0]


def key_faults(tables: Snapshot) -> list[Finding]:
    """What does not hold of the table 'key', row by row; raises SignaturesNotTested."""
    return list(tables.once("keys judged", _judged)[1])


def is_vouched(key: PartyKey, trusted: Iterable[str]) -> bool:
    """Whether a key is one of those that a reader trusts (names of keys), or one vouches for it."""
    return not ({key.key_id, key.keeper_key_id} - {""}).isdisjoint(trusted)


def is_keeper(tables: Snapshot, party_id: str) -> bool:
    """Whether the record says that a party vouches for the keys of others."""
    roles = tables.model.vocabularies["party_role"].terms
    vouching = {one.code for one in roles if one.attributes.get("vouches_for_keys")}
    return any(
        not vouching.isdisjoint(split_codes(row["roles"]))
        for row in tables.rows("party")
        if row["party_id"] == party_id
    )


def record_id(package: Package) -> str:
    """By which the keys of a record name it: the act that every copy of it begins with."""
    return first_act(package).act_id(record_key(package))


# -- judging -------------------------------------------------------------------------------------


def _judged(tables: Snapshot) -> tuple[dict[str, PartyKey], list[Finding]]:
    rows = tables.rows(TABLE)
    begun = [row["act_id"] for row in tables.rows(ACT) if row["kind"] == BEGUN] if rows else []
    called = keys_now(tables, "party") if rows else {}
    own = {row["key_id"]: row for row in rows if not _not_its_own(row, begun)}
    keys: dict[str, PartyKey] = {}
    found: list[Finding] = []
    for place, row in enumerate(rows, start=FIRST_ROW):
        said = _not_its_own(row, begun)
        if said:
            found.append(_finding("key.false", place, row, "self_signature", said))
            continue
        faults = [*_about_keeper(tables, row, own, called), *_about_end(tables, row, own, called)]
        found += [_finding(rule, place, row, field, said) for rule, field, said in faults]
        unvouched = any(rule == _COUNTER_FALSE for rule, _, _ in faults)
        keys[row["key_id"]] = PartyKey(
            key_id=row["key_id"],
            party_id=called.get(row["party_id"], row["party_id"]),
            public_key=row["public_key"],
            since=row["since"],
            until=row["until"],
            keeper_key_id=""
            if unvouched or row["keeper_key_id"] not in own or not row["keeper_signature"]
            else row["keeper_key_id"],
        )
    return keys, found


def _not_its_own(row: Row, begun: Sequence[str]) -> str:
    if key_id_of(row["public_key"]) != row["key_id"]:
        return f"Key {short(row)} is not named by its public key."
    if begun and row["record_id"] not in begun:
        return f"Key {short(row)} was entered for another record."
    if not is_signed(row["public_key"], row["self_signature"], _text("key", row, _OWN)):
        return (
            f"Key {short(row)} has not signed its own row ({row['party_id']}, from "
            f"{row['since']}): someone else entered it, or the row was changed."
        )
    return ""


_Fault = tuple[str, str, str]
"""Rule, field and sentence."""
_COUNTER_FALSE = "key.counter_signature_false"


def _about_keeper(
    tables: Snapshot, row: Row, own: Mapping[str, Row], called: Mapping[str, str]
) -> Iterator[_Fault]:
    party = called.get(row["party_id"], row["party_id"])
    if not row["keeper_key_id"] and not row["keeper_signature"]:
        # for a keeper nobody but the reader can vouch
        if not is_keeper(tables, party):
            said = f"No keeper has counter-signed key {short(row)} of {party}."
            yield "key.not_countersigned", "keeper_signature", said
        return
    keeper = own.get(row["keeper_key_id"])
    if keeper is None:
        said = (
            f"The counter-signature of key {short(row)} of {party} is by a key that is not in this "
            "table, so it cannot be tested."
        )
        yield "key.keeper_unknown", "keeper_key_id", said
        return
    signed = _text("keeper", row, _VOUCHED)
    if not is_signed(keeper["public_key"], row["keeper_signature"], signed):
        said = f"The counter-signature of key {short(row)} of {party} is not that of its keeper."
        yield _COUNTER_FALSE, "keeper_signature", said
        return
    whose = called.get(keeper["party_id"], keeper["party_id"])
    if not is_keeper(tables, whose):
        said = f"Key {short(row)} of {party} is counter-signed by {whose}, who is not a keeper."
        yield "key.keeper_unknown", "keeper_key_id", said


def _about_end(
    tables: Snapshot, row: Row, own: Mapping[str, Row], called: Mapping[str, str]
) -> Iterator[_Fault]:
    if not row["until"] and not row["until_key_id"] and not row["until_signature"]:
        return
    by = own.get(row["until_key_id"])
    whose = called.get(by["party_id"], by["party_id"]) if by else ""
    entitled = by and (by["key_id"] == row["key_id"] or is_keeper(tables, whose))
    text = _text("until", row, _UNTIL)
    if not by or not entitled or not is_signed(by["public_key"], row["until_signature"], text):
        said = (
            f"The retirement of key {short(row)} is signed neither by that key nor by a keeper, or "
            "its last day was changed."
        )
        yield "key.retirement_false", "until", said


REMEDIES: Mapping[str, tuple[str, str]] = {
    "key.false": (
        "error",
        "Restore tables/key.csv from an older copy or bundle; the person who has a key enters it, "
        "with 'treenail custody keys PACKAGE --enter'.",
    ),
    _COUNTER_FALSE: (
        "error",
        "Restore tables/key.csv from an older copy or bundle, or have a keeper counter-sign it.",
    ),
    "key.retirement_false": (
        "error",
        "Restore tables/key.csv from an older copy or bundle; retire the key with 'treenail "
        "custody keys PACKAGE --retire'.",
    ),
    "key.keeper_unknown": (
        "warning",
        "Enter the keeper's key, and the role of a curator or repository in the table 'party'.",
    ),
    "key.not_countersigned": (
        "note",
        "A keeper who knows whose it is vouches for it with 'treenail custody keys PACKAGE "
        "--countersign'.",
    ),
}
"""Rule → how bad it is, and what to do."""


def _finding(rule: str, place: int, row: Row, field: str, said: str) -> Finding:
    severity, remedy = REMEDIES[rule]
    return Finding(severity, rule, TABLE, place, row["key_id"], field, row[field], said, remedy)


def _text(word: str, row: Mapping[str, str], names: Sequence[str]) -> bytes:
    return f"treenail-{word}-1\0".encode() + rfc8785.dumps({name: row[name] for name in names})


def short(row: Mapping[str, str]) -> str:
    """The beginning of a key's name, as it is told to people."""
    return row["key_id"][:12]


# -- entering, vouching, retiring ----------------------------------------------------------------


def refuse_entering(package: Package, party_id: str) -> None:
    """Raise KeyRefused where no key can be entered as that party's, before one is made."""
    _rows(package)
    if party_id not in package.tables.column("party", "party_id"):
        raise KeyRefused(f"the table 'party' has no {party_id}; enter the party first")


def enter_key(
    package: Package, signer: Signer, party_id: str, *, since: str, until: str = ""
) -> str:
    """Enter a key as a party's, signed by itself; returns its name.

    `since` and `until` are its first and, if that is known, its last day (EDTF). The package must
    not be locked by the caller. Raises KeyRefused.
    """
    with package.locked():
        refuse_entering(package, party_id)
        rows = _rows(package)
        if signer.key_id in (row["key_id"] for row in rows):
            raise KeyRefused(f"key {signer.key_id[:12]} is already in the table 'key'")
        row = dict.fromkeys(package.model.table(TABLE).names, "") | {
            "key_id": signer.key_id,
            "record_id": record_id(package),
            "party_id": party_id,
            "public_key": signer.public_key,
            "since": _day(since),
        }
        row["self_signature"] = signer.sign(_text("key", row, _OWN))
        if until:
            _end(row, signer, until)
        _write(package, [*rows, row])
    return signer.key_id


def countersign_key(package: Package, key_id: str, keeper: Signer) -> None:
    """Vouch for a key with that of a keeper; the package must not be locked. Raises KeyRefused."""
    with package.locked():
        rows = _rows(package)
        row = _named(rows, key_id)
        keys = keys_of(package.tables)
        own = keys.get(keeper.key_id)
        if own is None or not is_keeper(package.tables, own.party_id):
            raise KeyRefused(
                f"key {keeper.key_id[:12]} is not that of a keeper of this record; enter it as the "
                "key of a party with the role curator or repository"
            )
        if row["key_id"] == keeper.key_id:
            raise KeyRefused(f"key {short(row)} cannot vouch for itself")
        if row["key_id"] not in keys:
            raise KeyRefused(f"the row of key {short(row)} is not valid: see 'treenail check'")
        if keys[row["key_id"]].keeper_key_id:
            raise KeyRefused(f"key {short(row)} is already counter-signed")
        row["keeper_key_id"] = keeper.key_id
        row["keeper_signature"] = keeper.sign(_text("keeper", row, _VOUCHED))
        _write(package, rows)


def retire_key(package: Package, key_id: str, by: Signer, *, until: str) -> None:
    """Say with which day (EDTF) a key ends, signed by itself or a keeper.

    An end that was said before can be put forward, not back. The package must not be locked by the
    caller. Raises KeyRefused.
    """
    with package.locked():
        rows = _rows(package)
        row = _named(rows, key_id)
        own = keys_of(package.tables).get(by.key_id)
        if own is None or (
            by.key_id != row["key_id"] and not is_keeper(package.tables, own.party_id)
        ):
            raise KeyRefused(
                f"only key {short(row)} itself or the key of a keeper can retire it, and key "
                f"{by.key_id[:12]} is neither"
            )
        standing, new = last_day(row["until"]), last_day(_day(until))
        if standing is not None and new is not None and new >= standing:
            raise KeyRefused(f"key {short(row)} is already retired with {row['until']}")
        _end(row, by, until)
        _write(package, rows)


def _end(row: dict[str, str], by: Signer, until: str) -> None:
    row["until"], row["until_key_id"] = _day(until), by.key_id
    if (last := last_day(until)) and (first := first_day(row["since"])) and last < first:
        raise KeyRefused(f"{until} is before the first day of key {short(row)}, {row['since']}")
    row["until_signature"] = by.sign(_text("until", row, _UNTIL))


def _rows(package: Package) -> list[dict[str, str]]:
    if TABLE not in package.model.tables:
        raise KeyRefused(
            f"{package.folder} was made by an older version, which had no keys; update it with"
            f" 'treenail new {package.folder} --update'"
        )
    return [dict(row) for row in package.tables.rows(TABLE)]


def _named(rows: Sequence[dict[str, str]], text: str) -> dict[str, str]:
    """The row of the key whose name is, or alone begins with, a text."""
    meant = text.strip().lower()
    found = [row for row in rows if row["key_id"].startswith(meant)]
    if len(found) == 1 and len(meant) >= SHORTEST_NAME:
        return found[0]
    there = ", ".join(f"{short(row)} ({row['party_id']})" for row in rows) or "none"
    raise KeyRefused(
        f"'{text}' is not a key of this record; write its first {SHORTEST_NAME} characters or "
        f"more. There are {there}"
    )


def _day(text: str) -> str:
    if not is_edtf(text):
        raise KeyRefused(f"'{text}' is not a date; write 2024-06-03")
    return text


def _write(package: Package, rows: Sequence[Mapping[str, str]]) -> None:
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = {name: [row.get(name, "") for row in rows] for name in names}
    frame = pl.DataFrame(columns, schema=dict.fromkeys(names, pl.String))
    with writing_together(package.folder) as staging:
        # the act that names the record is there from now on, to be compared with
        set(stage_history(open_history(package), staging))
        with staging.writing(f"tables/{TABLE}.csv") as stream:
            package.write_table_to(stream, TABLE, frame)
