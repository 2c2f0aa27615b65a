"""The register of a store: acts that are only ever added, each sealed to those before it.

How to prove a line by hand, with nothing of this program: take its cells that are not blank, but
for act_id and signature, as one JSON object of texts in the order of their names, without blanks
(RFC 8785); the SHA-256 of that, in lower-case hexadecimal, is act_id. A later act names it in
`parents`. Where a copy of the store was used apart, the register has two ends until they are
joined. Lines cut off at the end show only against what was kept elsewhere: a receipt, a bundle.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path

import rfc8785

from provenance._base.spreadsheet import plain_cell
from provenance._ledger.branches import with_all_before
from provenance._ledger.ed25519 import Signer
from provenance._store.tables import read_rows, rows_bytes

REGISTER = "register.csv"
TABLE = "register"
OPENED, ACCESSION, LEDGER, WROTE, SETTLED = "opened", "accession", "ledger", "wrote", "settled"
WITHDRAWN, AUDITED, PRINTED, SPLIT, JOINED = "withdrawn", "audited", "printed", "split", "joined"
TAGGED = "tagged"
"""A DOI was put on a kept bundle: its contents are as they were, its bag is another."""
_TO_SIGN = b"treenail-act-1\0"


@dataclass(frozen=True)
class Act:
    """One line of the register; every value is a text, as schemas/store/register.json says."""

    kind: str
    happened_on: str
    recorded_on: str
    act_id: str = ""
    parents: str = ""
    by: str = ""
    number: str = ""
    record_id: str = ""
    known_as: str = ""
    edition: str = ""
    title: str = ""
    bundle: str = ""
    record_date: str = ""
    depositor: str = ""
    bag: str = ""
    payload: str = ""
    members: str = ""
    received: str = ""
    kept_at: str = ""
    receipt: str = ""
    follows: str = ""
    heads: str = ""
    events: str = ""
    received_heads: str = ""
    received_events: str = ""
    bindings: str = ""
    path: str = ""
    digest: str = ""
    finding: str = ""
    reason: str = ""
    key_id: str = ""
    signature: str = ""

    @property
    def marks(self) -> frozenset[str]:
        """All that tells that a bundle is of this act's record."""
        return frozenset((self.record_id, *self.known_as.split())) - {""}


_NAMES = tuple(one.name for one in fields(Act))


def read_register(path: Path) -> tuple[Act, ...]:
    """The acts of a register in their order, () where there is none; they are not proved here.

    Raises UnusableInput that names file, line, column and value.
    """
    return tuple(Act(**{name: row[name] for name in _NAMES}) for row in read_rows(path, TABLE))


def register_bytes(acts: Iterable[Act]) -> bytes:
    """The register as CSV; the lines of acts that were there before stay byte for byte."""
    return rows_bytes(TABLE, map(vars, acts))


def sealed_act(ends: Sequence[str], act: Act, signer: Signer | None = None) -> Act:
    """The act behind the `ends` of a register, with its name, and signed by `signer`."""
    texts = {name: plain_cell(text) for name, text in vars(act).items()}
    texts |= {"parents": " ".join(ends), "key_id": signer.key_id if signer else ""}
    act_id = _name_of(texts)
    signature = signer.sign(to_sign(act_id)) if signer else ""
    return replace(Act(**texts), act_id=act_id, signature=signature)


def to_sign(act_id: str) -> bytes:
    """What the signature of an act is over."""
    return _TO_SIGN + bytes.fromhex(act_id)


def _name_of(texts: Mapping[str, str]) -> str:
    said = {k: text for k, text in texts.items() if text and k not in ("act_id", "signature")}
    return hashlib.sha256(rfc8785.dumps(said)).hexdigest()


def accessions_in(acts: Iterable[Act]) -> list[Act]:
    """The accessions in their order, each with the bag that its bundle is by now."""
    acts = list(acts)
    bags = {act.number: act.bag for act in acts if act.kind == TAGGED}
    found = [act for act in acts if act.kind == ACCESSION]
    return [replace(act, bag=bags.get(act.number, act.bag)) for act in found]


def ends_of(acts: Iterable[Act]) -> list[str]:
    """The acts that no other names: one, or several where copies of the store are not joined."""
    acts = list(acts)
    named = {parent for act in acts for parent in act.parents.split()}
    return sorted(act.act_id for act in acts if act.act_id not in named)


def first_fault(acts: Sequence[Act]) -> str:
    """What is wrong with the first line that does not fit those before it, '' where all fit."""
    return next((said for _, said in faults_in(acts)), "")


def faults_in(acts: Sequence[Act]) -> Iterator[tuple[Act, str]]:
    """Every line that does not fit those before it, and what is wrong with it."""
    seen: set[str] = set()
    for line, act in enumerate(acts, start=2):
        if _name_of(vars(act)) != act.act_id:
            yield act, f"line {line} was changed after it was written"
        elif not seen.issuperset(act.parents.split()):
            yield act, f"a line before line {line} is missing"
        elif seen and not act.parents:
            yield act, f"line {line} does not follow any line before it"
        elif act.act_id in seen:
            yield act, f"line {line} is there twice"
        seen.add(act.act_id)


def stood_on(acts: Iterable[Act], ends: Iterable[str]) -> set[str]:
    """The names of some acts and of all that they stand on, as far as they are there."""
    before = {act.act_id: act.parents.split() for act in acts}
    return with_all_before(before, ends) & before.keys()


def joined_acts(mine: Sequence[Act], others: Sequence[Act]) -> list[Act]:
    """The acts of two copies of a register, each once, each behind those that it names."""
    here = {act.act_id for act in mine}
    return [*mine, *(act for act in others if act.act_id not in here)]
