"""Takes in the bundles of a list, each record all or nothing, and tells what came of every line."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._accession.accession import ContradictsKept, OnlyChecked, accession
from provenance._accession.before import is_old_store
from provenance._accession.damage import DamagedBundle
from provenance._accession.of_others import accession_of_bag, judged_bag
from provenance._accession.taking_in import AlreadyAccessioned, known_bundle
from provenance._base.errors import TreenailError, UnusableInput
from provenance._base.languages import N_
from provenance._base.listed import listed
from provenance._base.progress import Progress, say_nothing
from provenance._drawing.paper import Paper
from provenance._ledger.ed25519 import Signer
from provenance._store.home import refuse_copy
from provenance._store.identity import bag_digests
from provenance._store.settings import SETTINGS
from provenance._store.store import Store, is_store
from provenance._store.tables import cells_bytes, read_cells
from provenance._store.terms import Terms, is_day

COLUMNS: Mapping[str, str] = MappingProxyType(
    {
        "bundle": N_("path of the bundle, as seen from the folder of the list"),
        "depositor": N_("who hands it in"),
        "on": N_("day of the accession (YYYY-MM-DD)"),
        "number": N_("this number instead of the next one"),
        "samples": N_("samples that came with it: 231,233-240, or all"),
        "place": N_("room, shelf, box or drawer of these samples"),
        "as": N_("gift, loan, deposit, purchase, transfer or unknown"),
        "title_holder": N_("who owns it"),
        "donor": N_("who gave it"),
        "agreement": N_("path of the agreement, or its SHA-256"),
        "from": N_("first day of a loan or deposit"),
        "until": N_("last day of a loan or deposit"),
        "previous_number": N_("numbers that it bore before, separated by ';'"),
        "restriction": N_("what may not be done or shown, separated by ';'"),
        "embargo_until": N_("day until which there is an embargo"),
        "reason": N_("why it is accepted all the same, or on such a day"),
        "bag_only": N_("yes for a bag of others, which is judged as a bag alone"),
    }
)
"""The columns of a list, and what stands in them; only `bundle` is needed."""
_TERMS: Mapping[str, str] = MappingProxyType(
    {
        "as": "kind",
        "from": "begins",
        "previous_number": "previous_numbers",
        "restriction": "restrictions",
    }
)
"""Columns that a field of Terms has another name for."""
_YES, _NO = ("yes", "y", "1", "true", "x"), ("", "no", "n", "0", "false")

TAKEN_IN, CAN_BE, THERE, REFUSED = "taken in", "can be taken in", "there already", "refused"


@dataclass(frozen=True)
class Line:
    """One line of a list: its number in the file, its bundle, and its cells."""

    line: int
    bundle: Path
    cells: Mapping[str, str]

    @property
    def terms(self) -> Terms:
        """On what terms it comes."""
        named = {one.name for one in fields(Terms)}
        said = {_TERMS.get(column, column): text for column, text in self.cells.items()}
        return Terms(**{name: text for name, text in said.items() if name in named})

    @property
    def is_bag_only(self) -> bool:
        """Whether it is a bag of others."""
        return self.cells["bag_only"].casefold() in _YES


@dataclass(frozen=True)
class Outcome:
    """What came of a line.

    `word` is TAKEN_IN, CAN_BE, THERE or REFUSED; `number` the accession; `said` why, or what else
    there is to say; `letter` asks the depositor about a bundle that was refused.
    """

    line: Line
    word: str
    number: str
    said: str
    letter: str = ""


def read_list(path: Path, *, depositor: str = "", on: date | None = None) -> list[Line]:
    """The lines of a list (CSV); `depositor` and `on` stand where a line says nothing.

    Raises UnusableInput that names file, line, column and value of the first fault.
    """
    if not path.is_file():
        raise UnusableInput(f"{path} is not there; check the name of the list")
    head, *rows = read_cells(path) or [[]]
    names = [name.strip() for name in head]
    strange = [name for name in names if name not in COLUMNS]
    if strange or "bundle" not in names or len(set(names)) < len(names):
        why = "it needs the column bundle"
        if strange or "bundle" in names:
            why = f"it cannot have {listed(strange, 3)}" if strange else "a column is there twice"
        raise UnusableInput(f"{path}, line 1: {why}; the columns are {', '.join(COLUMNS)}")
    usual = {"depositor": depositor, "on": on.isoformat() if on else ""}
    found: list[Line] = []
    seen: dict[tuple[str, str], int] = {}
    for number, row in enumerate(rows, start=2):
        cells = {name: " ".join(text.split()) for name, text in zip(names, row, strict=False)}
        if not any(cells.values()):
            continue
        cells = {name: cells.get(name) or usual.get(name, "") for name in COLUMNS}
        line = Line(number, path.parent / cells["bundle"], cells)
        for column, why in faults_of(line):
            said = f"column '{column}', '{cells[column]}': {why}"
            raise UnusableInput(f"{path}, line {number}, {said}")
        if found and cells["on"] < found[-1].cells["on"] and not cells["reason"]:
            said = f"column 'on', '{cells['on']}': it is before the day in the line above"
            raise UnusableInput(
                f"{path}, line {number}, {said}; sort the lines by day, or fill in reason"
            )
        for column in ("bundle", "number"):
            key = (column, cells[column])
            if cells[column] and key in seen:
                said = f"column '{column}', '{cells[column]}': it is in line {seen[key]} as well"
                raise UnusableInput(f"{path}, line {number}, {said}; leave one out")
            seen[key] = number
        found.append(line)
    if not found:
        raise UnusableInput(f"{path} names no bundle; write one a line, below the headings")
    return found


def faults_of(line: Line) -> Iterator[tuple[str, str]]:
    """Columns of a line that cannot be used, and why."""
    cells = line.cells
    for column in ("bundle", "depositor", "on"):
        if not cells[column]:
            yield column, "it is blank; fill it in"
    if cells["bundle"] and not line.bundle.exists():
        yield "bundle", "it is not there; correct the path"
    for column in ("on", "from", "until", "embargo_until"):
        if cells[column] and not is_day(cells[column]):
            yield column, "write the day as 2026-03-01"
    if cells["bag_only"].casefold() not in (*_YES, *_NO):
        yield "bag_only", "write yes or no"
    if line.is_bag_only and cells["samples"]:
        yield "samples", "a bag of others names no samples; leave it blank"
    if cells["place"] and not cells["samples"]:
        yield "place", "it says where samples are, so fill in samples, too"
    try:
        line.terms.refuse_unusable()
    except UnusableInput as error:
        yield "as", str(error)


def accession_list(
    lines: Sequence[Line],
    store: Path,
    *,
    recorded_on: str,
    paper: Paper,
    pattern: str = "",
    settings: Path | None = None,
    keys: Sequence[Signer] = (),
    only_check: bool = False,
    progress: Progress = say_nothing,
) -> Iterator[Outcome]:
    """Take in one line after another; yields what came of each, the others go on all the same.

    What is in the store already, by its checksums, is passed over, so that a run that was stopped
    can be run again. With `only_check` each bundle is verified and compared with what is kept, and
    nothing is written. Raises UnusableInput and UnusableNumber for settings that cannot be used,
    and CopyOfStore.
    """
    refuse_copy(Store(store))
    if only_check and is_old_store(store):
        raise UnusableInput(
            f"an older version began the store {store}; 'treenail store take-over {store}' "
            "takes it over first"
        )
    with tempfile.TemporaryDirectory(prefix="treenail-") as scratch:
        place = store if is_store(store) or not only_check else Path(scratch)
        for count, line in enumerate(lines):
            progress(count, len(lines))
            begun = settings or (place / SETTINGS).is_file()
            options = {
                "recorded_on": recorded_on,
                "paper": paper,
                "pattern": "" if begun else pattern,
                "settings": settings,
                "keys": keys,
            }
            try:
                outcome = _known(line, place) or _taken_in(line, place, options, only_check)
            except AlreadyAccessioned as error:
                outcome = Outcome(line, THERE, error.entry.number, "")
            except OnlyChecked as checked:
                outcome = Outcome(line, CAN_BE, "", _said(checked.judged.word, checked.to_mend))
            except (DamagedBundle, ContradictsKept) as error:
                outcome = Outcome(line, REFUSED, "", str(error), error.letter)
            except (TreenailError, OSError) as error:
                outcome = Outcome(line, REFUSED, "", str(error))
            yield outcome
    progress(len(lines), len(lines))


def _known(line: Line, store: Path) -> Outcome | None:
    """The outcome for a bundle that is in the store by its checksums, None for one that is new."""
    if not is_store(store):
        return None
    known = known_bundle(Store(store).acts, *bag_digests(line.bundle))
    return Outcome(line, THERE, known.number, "not verified again") if known else None


def _taken_in(line: Line, store: Path, options: dict[str, Any], only_check: bool) -> Outcome:
    cells = line.cells
    said: dict[str, Any] = {
        "depositor": cells["depositor"],
        "on": date.fromisoformat(cells["on"]),
        "number": cells["number"],
        "reason": cells["reason"],
        "terms": line.terms,
        **options,
    }
    if line.is_bag_only and only_check:
        verdict = judged_bag(line.bundle, reason=cells["reason"])
        return Outcome(line, CAN_BE, "", verdict.in_words)
    if line.is_bag_only:
        bag = accession_of_bag(line.bundle, store, **said)
        return Outcome(line, TAKEN_IN, bag.entry.number, bag.verdict.in_words)
    said |= {"samples": cells["samples"], "place": cells["place"], "only_check": only_check}
    done = accession(line.bundle, store, **said)
    words = _said(done.judged.word, done.to_mend, *done.notes)
    return Outcome(line, TAKEN_IN, done.entry.number, words)


def _said(word: str, to_mend: Sequence[str], *notes: str) -> str:
    count = len(to_mend)
    faults = [f"{count} fault{'s' * (count != 1)} to correct"] if count else []
    return "; ".join([word, *faults, *notes])


def report_rows(outcomes: Sequence[Outcome]) -> bytes:
    """What came of every line as CSV: line, bundle, outcome, accession, said, letter."""
    columns = ("line", "bundle", "outcome", "accession", "said", "letter")
    rows = (
        dict(
            zip(
                columns,
                (str(one.line.line), one.line.cells["bundle"], one.word, one.number, one.said,
                 one.letter),
                strict=True,
            )
        )
        for one in outcomes
    )  # fmt: skip
    return cells_bytes(columns, rows)
