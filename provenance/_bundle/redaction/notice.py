"""Writes what a public edition says of itself: what it withholds and whom to ask, and figures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.disk import write_text
from provenance._base.findings import SEVERITIES
from provenance._base.listed import listed
from provenance._bundle.describe.citation import keeper
from provenance._bundle.describe.plain_text import text_template
from provenance._bundle.describe.withdrawn import WITHDRAWS
from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.candidates import BUILDINGS, ENOUGH
from provenance._bundle.redaction.placed import PLACED_FORMS
from provenance._bundle.redaction.redact import Redacted
from provenance._bundle.redaction.release import FILE, KEY, LIST, PACKAGE, PICTURE, PROFILE, TEXT
from provenance._record.package import Package, as_json

if TYPE_CHECKING:
    from provenance._base.findings import Report


WITHHELD_TEXT = "WITHHELD.txt"
SUMMARY = "check/summary.json"
SUMMARY_TEXT = "check/summary.txt"
ROWS_NAMED = 12
IN_CELLS = (TEXT, PICTURE, FILE)
"""What is counted by its cells or files; the others are counted where nobody decided."""
_OTHERS_WAITING = {
    KEY: "Codes of rows, for which others stand",
    LIST: "Codes that the profile added to lists",
    PROFILE: "Words of the profile",
    PACKAGE: "Words about the package",
}
_WHY = {
    "location": "it tells where the place is",
    "personal": "it tells who someone is",
    "restricted": "it is for the repository's staff and those they allow",
}


def withheld_text(redacted: Redacted, *, day: str) -> str:
    """The text of WITHHELD.txt; `day` is the record's date."""
    package, account = redacted.package, redacted.account
    repository = keeper(package)
    return text_template("bundle/withheld.txt").render(
        package=package,
        day=day,
        keeper=repository.name if repository and repository.named else "",
        withdraws=redacted.withdraws,
        decisions=account.decisions,
        waiting=account.waiting.total(),
        sections=[
            ("Made coarse, or counted otherwise", list(_coarse(package, account))),
            ("Withheld: the columns are there, and blank", list(_blank(package, account))),
            ("People and codes", list(_people(package, account))),
            (
                "Withheld because no one released them, or a review withheld them",
                list(_not_released(package, account)),
            ),
            ("Words replaced in computed texts", list(_words(package, account))),
            ("Files", list(_files(account))),
            ("Other things left out", list(_others(package, account))),
        ],
    )


def _coarse(package: Package, account: Account) -> Iterator[str]:
    for (table, name, form), count in sorted(account.cells.items()):
        label = _label(package, table, name)
        values = _count(count, "value")
        if form in ("latitude", "longitude"):
            yield (
                f"{label}: {values}, each the middle of a cell of {account.grid} degree. The cells "
                "are counted from 0, so nothing nearer than the cell can be read out of it."
            )
        elif form == "radius":
            yield f"{label}: {values}, widened to hold the whole cell and what was uncertain."
    yield from _about_the_place(account)
    placed: dict[str, list[str]] = {}
    for (table, name, form), count in sorted(account.cells.items()):
        if form in PLACED_FORMS:
            title = package.model.table(table).field(name).title
            placed.setdefault(table, []).append(f"{title} ({count:,})")
    if placed:
        yield (
            "Each building has its own grid: zero at a corner of the rectangle round it, x along "
            "its longer side, heights from its floor. What a tape measures inside a building is as "
            "in the full edition, to about a centimeter; nothing says how it lies to north, to "
            "other buildings or to the sea. Shown in this way: "
            + "; ".join(
                f"{package.model.table(table).title}: {', '.join(fields)}"
                for table, fields in placed.items()
            )
            + "."
        )


def _about_the_place(account: Account) -> Iterator[str]:
    """How many places the edition could be about, and what was left out for that."""
    found = account.inference
    where = "no coordinates" if found.cell is None else f"a cell of {found.cell} degree"
    source = "as the record says" if found.said else f"as nothing else is said ('{BUILDINGS}')"
    left = f"about {found.left_words}"
    if not found.holds:
        left = f"only {left}, fewer than the {ENOUGH:.0f} that are wanted,"
    shown = "; ".join(f"{_count(n, 'building')} with {words}" for words, n in found.shown.items())
    yield (
        f"Shown are the place with {where}; {shown or 'no building'}. Someone with a register "
        f"of every building there would be left with {left} places, where {found.buildings:,} "
        f"buildings stand in a tenth of a degree, {source}. Where fewer stand, fewer are left."
    )
    if found.is_coarser:
        asked = "no coordinates" if found.asked is None else f"{found.asked} degree"
        yield f"Made coarser than asked ({asked}), because too few places would have been left."


def _blank(package: Package, account: Account) -> Iterator[str]:
    for (table, name, form), count in sorted(account.cells.items()):
        if form not in ("withheld", "if_agreed"):
            continue
        one = package.model.table(table).field(name)
        why = _WHY.get(one.sensitivity, "it could be tied to what is withheld")
        if form == "if_agreed":
            why = "those it is about have not agreed to be named"
        yield f"{_label(package, table, name)}: {_count(count, 'value')}; {why}."


def _people(package: Package, account: Account) -> Iterator[str]:
    for (table, name, form), count in sorted(account.cells.items()):
        if form == "role":
            yield (
                f"{_label(package, table, name)}: {count} shown by what they do, under five "
                "letters drawn at random that stand for them in every public edition. Who agreed "
                "to be named and no longer does is not among them: what they did is blank, like "
                "what was never recorded."
            )
        elif form == "stand_in":
            yield f"{_label(package, table, name)}: {_count(count, 'value')} replaced by the name "
            "that may be published, or the code."
    changed = {table: count for table, count in account.renamed.items() if count}
    for table, count in sorted(changed.items()):
        title = package.model.table(table).title
        yield (
            f"{title}: {_count(count, 'cell')} with a code that is another one in public, the same "
            "in every public edition; the full edition says which."
        )


def _words(package: Package, account: Account) -> Iterator[str]:
    for (table, name), keys in sorted(account.words.items()):
        yield (
            f"{_label(package, table, name)}: {_count(len(keys), 'row')} "
            f"({listed(keys, ROWS_NAMED)}); what was replaced reads [withheld], or is a code of "
            "this edition."
        )


def _not_released(package: Package, account: Account) -> Iterator[str]:
    for (table, name), count in sorted(account.not_released.items()):
        if count:
            yield f"{_label(package, table, name)}: {_count(count, 'value')}."
    others = Counter(kind for kind, _ in account.waiting.elements() if kind not in IN_CELLS)
    for kind, count in sorted(others.items()):
        yield f"{_OTHERS_WAITING[kind]}: {count:,}; no one has read them yet."


def _files(account: Account) -> Iterator[str]:
    if account.pictures:
        yield (
            f"{_count(account.pictures, 'released photo')} redrawn from the pixels alone, so "
            "that no position, camera number or thumbnail goes with them."
        )
    if account.texts:
        yield f"{_count(account.texts, 'released text file')} as in the full edition."
    described = [one for one in account.files if one.key]
    by_reason: dict[str, list[str]] = {}
    for one in described:
        by_reason.setdefault(one.reason, []).append(one.key)
    for reason, keys in sorted(by_reason.items()):
        yield f"Left out because {reason}: {', '.join(keys)}."
    for reason, count in sorted(
        Counter(one.reason for one in account.files if not one.key).items()
    ):
        yield f"Left out because {reason}: {_count(count, 'file')}."


def _others(package: Package, account: Account) -> Iterator[str]:
    for table, count in sorted(account.rows_left_out.items()):
        if count:
            one = package.model.table(table)
            tell = "tell of the files as received"
            why = "were computed from files left out" if one.role == "derived" else tell
            yield f"{one.title}: {_count(count, 'row')}; they {why}."
    for table, count in sorted(account.columns_left_out.items()):
        title = package.model.table(table).title
        yield f"{title}: {_count(count, 'column')} that no schema describes."
    if account.properties_left_out:
        properties = _count(account.properties_left_out, "property", "properties")
        yield f"The descriptor: {properties} that this program does not know to be open."
    for table, count in sorted(account.fields_closed.items()):
        title = package.model.table(table).title
        yield f"{title}: {_count(count, 'field')} that the profile added and does not call public."
    if account.tables_left_out:
        yield f"{_count(account.tables_left_out, 'table')} that this program does not know."
    yield "The crew's README and mapping, and the full report of the check, which quote the record."


def _label(package: Package, table: str, name: str) -> str:
    found = package.model.table(table)
    return f"{found.title}, {found.field(name).title} ({table}.{name})"


def _count(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def write_check_summary(report: Report, data: Path) -> None:
    """How often each rule found something in the full edition, and nothing that it quoted."""
    counts = Counter(zip(report.found["severity"], report.found["rule"], strict=True))
    order = {severity: place for place, severity in enumerate(SEVERITIES)}
    rows = sorted(counts.items(), key=lambda one: (order.get(one[0][0], 9), one[0][1]))
    summary = {
        "checked": "the full edition, when this was packed",
        "rulesRun": len(report.rules_run),
        "rowsChecked": sum(report.rows_checked.values()),
        "findings": [
            {"severity": severity, "rule": rule, "count": count} for (severity, rule), count in rows
        ],
    }
    write_text(data / SUMMARY, as_json(summary))
    lines = [f"{severity:8} {count:>8}  {rule}\n" for (severity, rule), count in rows]
    head = (
        "What the check found in the full edition when this was packed, in figures.\n"
        "The findings themselves quote the record and are in the full edition.\n\n"
    )
    write_text(data / SUMMARY_TEXT, head + ("".join(lines) or "Nothing was found.\n"))


def public_facts(redacted: Redacted) -> dict[str, Any]:
    """What bundle.json of a public edition holds beside the facts of every bundle."""
    withdraws = [one.as_dict() for one in redacted.withdraws]
    return {
        "derivedFrom": dict(redacted.derived_from),
        **({WITHDRAWS: withdraws} if withdraws else {}),
        # another version of it may draw them with other bytes
        "picturesDrawnBy": drawing_program(),
        "withheld": dict(redacted.account.as_dict()),
        "withheldFiles": [
            {
                name: value
                for name, value in (
                    ("table", one.table),
                    ("row", one.key),
                    ("reason", one.reason),
                    ("hmacSha256", one.commitment),
                )
                if value
            }
            for one in redacted.account.files
        ],
    }


def drawing_program() -> str:
    """The program and version that draws photos anew."""
    import PIL

    return f"Pillow {PIL.__version__}"
