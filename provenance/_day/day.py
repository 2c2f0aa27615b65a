"""Sums up one day of fieldwork: what was done, what is open, what to do tomorrow."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from provenance._base.errors import TreenailError
from provenance._base.findings import Finding
from provenance._base.languages import N_, _, ngettext
from provenance._base.listed import listed
from provenance._base.progress import Progress
from provenance._checks.check import check_package
from provenance._model.edtf import is_edtf
from provenance._record.attempts import gave_nothing
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.snapshot import Row, Snapshot

NOT_RECORDED = N_("not recorded")
ELSEWHERE = N_("rest of the record")

DONE: Mapping[str, tuple[str, str, str]] = {
    # what: (table, day, person)
    "timbers": ("element", "recorded_on", "recorded_by"),
    "samples": ("sample", "collected_on", "collected_by"),
    "failed holes": ("sample", "collected_on", "collected_by"),
    "plugs": ("plug", "placed_on", "placed_by"),
    "photos": ("file", "taken_on", "taken_by"),
}
"""What a crew does in a day, and where the record says on which day and by whom."""
_PERSON = {table: (day, person) for table, day, person in DONE.values()} | {
    "place": ("recorded_on", "recorded_by")
}

OPEN = {
    N_("Holes without a plug"): (
        ("plug.missing", "plug.hole_open", "plug.replaced_by_nothing"),
        N_("Plug the holes"),
    ),
    N_("Holes without a position"): (("sample.hole_without_position",), N_("Measure the holes")),
    N_("Plugs without a stamp on record"): (
        ("plug.no_stamp",),
        N_("Read the stamps of the plugs"),
    ),
}
"""Heading → the rules whose findings it lists, and what to do about them."""
WITHOUT_PHOTO = N_("Samples without a photo")
FEW_NUMBERS = 10
"""Below so many stamp numbers a crew may run out in a day; common practice, no source."""


@dataclass(frozen=True)
class Line:
    """What one person did at one building that day, and what the check says of their rows."""

    building: str
    crew: str
    done: Mapping[str, int]
    errors: int
    warnings: int


@dataclass(frozen=True)
class NumbersLeft:
    """The stamp numbers that a crew reserved and has not used."""

    crew: str
    count: int
    next: str
    last: str


@dataclass(frozen=True)
class Day:
    """One day of a record; `open` maps each heading to the keys that it lists."""

    title: str
    on: str
    lines: tuple[Line, ...]
    so_far: Mapping[str, int]
    open: Mapping[str, tuple[str, ...]]
    numbers_left: tuple[NumbersLeft, ...]
    tomorrow: tuple[str, ...]

    @cached_property
    def done(self) -> Mapping[str, int]:
        """What was done that day in all."""
        return {what: sum(line.done[what] for line in self.lines) for what in DONE}

    @property
    def clean(self) -> bool:
        """Whether nothing is left to do."""
        return not self.tomorrow


def sum_up(package: Package, on: str | None = None, *, progress: Progress | None = None) -> Day:
    """The day `on` (YYYY-MM-DD), by default the last on which the record says that work was done.

    Raises TreenailError for a text that is not a day, and where no row says on which day.
    """
    held = package.hold()
    tables = held.tables
    day = _day(on) if on else last_day(tables)
    if not day:
        raise TreenailError(
            f"{tables.where}: no timber, sample or plug has a full date, so there is no day "
            "to sum up; enter the dates, or name a day with --on 2024-06-03"
        )
    report = check_package(held, progress=progress)
    found = [one for one in report if one.severity != "note"]
    where = _Where(tables)
    open_now = {heading: _keys(found, rules) for heading, (rules, _) in OPEN.items()} | {
        WITHOUT_PHOTO: _without_photo(tables)
    }
    lines = tuple(_lines(tables, day, found, where))
    left = tuple(_numbers_left(tables))
    return Day(
        package.title,
        day,
        lines,
        {what: len(list(_rows(tables, what))) for what in DONE},
        {heading: keys for heading, keys in open_now.items() if keys},
        left,
        tuple(_tomorrow(open_now, left, lines)),
    )


def _day(text: str) -> str:
    if len(text) != len("2024-06-03") or not is_edtf(text):
        raise TreenailError(f"'{text}' is not a day; write it as 2024-06-03")
    return text


def last_day(tables: Snapshot) -> str:
    """The last day on which the record says that work was done; '' where no row says on which."""
    days = [
        row[column][:10]
        # pictures are also taken later, in the laboratory
        for table, column, _person in (one for what, one in DONE.items() if what != "photos")
        for row in tables.rows(table)
    ]
    known = [day for day in days if len(day) == len("2024-06-03") and is_edtf(day)]
    return max(known, default="")


def _rows(tables: Snapshot, what: str) -> Iterator[Row]:
    """The rows of one kind of DONE; an attempt without a sample is no sample."""
    for row in tables.rows(DONE[what][0]):
        failed = gave_nothing(row)
        if what == "photos":
            if row["kind"] == "photo":
                yield row
        elif DONE[what][0] != "sample" or failed == (what == "failed holes"):
            yield row


class _Where:
    """Says of any row at which building it is."""

    def __init__(self, tables: Snapshot) -> None:
        self._buildings = outermost_places(tables)
        self._names = {row["place_id"]: row["name"] for row in tables.rows("place")}
        self._rows = {
            table: {row[key]: row for row in tables.rows(table)}
            for table, key in (
                *(("element", "element_id"), ("sample", "sample_id"), ("plug", "plug_id")),
                ("file", "file_id"),
            )
        }

    def building(self, table: str, key: str) -> str:
        """The outermost place around a row, with its name; ELSEWHERE where there is none."""
        row = self._rows.get(table, {}).get(key)
        if table == "place":
            place = self._buildings.get(key, key)
            name = self._names.get(place, "")
            return f"{place} {name}" if name and name != place else place
        if row is None:
            return ELSEWHERE
        if table == "element":
            return self.building("place", row["place_id"]) if row["place_id"] else ELSEWHERE
        if table == "file":
            return self.building(row["about_table"], row["about_id"])
        upwards = {"sample": ("element", "element_id"), "plug": ("sample", "sample_id")}[table]
        return self.building(upwards[0], row[upwards[1]])

    def person(self, table: str, key: str) -> str:
        """Who recorded a row."""
        row = self._rows.get(table, {}).get(key)
        return (row or {}).get(_PERSON.get(table, ("", ""))[1], "") or NOT_RECORDED


def _lines(tables: Snapshot, day: str, found: Iterable[Finding], where: _Where) -> Iterator[Line]:
    done: dict[tuple[str, str], Counter[str]] = {}
    for what, (table, column, person) in DONE.items():
        key = tables.model.table(table).primary_key[0]
        for row in _rows(tables, what):
            if row[column][:10] == day:
                pair = (where.building(table, row[key]), row[person] or NOT_RECORDED)
                done.setdefault(pair, Counter())[what] += 1
    wrong = Counter(
        ((where.building(one.table, one.key), where.person(one.table, one.key)), one.severity)
        for one in found
    )
    for pair in sorted({*done, *(pair for pair, _where in wrong)}):
        counted = done.get(pair, Counter())
        yield Line(
            *pair,
            {what: counted[what] for what in DONE},
            wrong[pair, "error"],
            wrong[pair, "warning"],
        )


def _keys(found: Iterable[Finding], rules: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one.key for one in found if one.rule in set(rules)))


def _without_photo(tables: Snapshot) -> tuple[str, ...]:
    """Samples that no file shows, nor their plug, and for which no camera number is noted."""
    shown = {
        (row["about_table"], row["about_id"])
        for row in tables.rows("file")
        if row["kind"] == "photo"
    }
    plugs = {row["plug_id"]: row["sample_id"] for row in tables.rows("plug")}
    samples = {key for table, key in shown if table == "sample"} | {
        plugs.get(key, "") for table, key in shown if table == "plug"
    }
    return tuple(
        row["sample_id"]
        for row in _rows(tables, "samples")
        if row["sample_id"] not in samples and not row["photo_numbers"]
    )


def _numbers_left(tables: Snapshot) -> Iterator[NumbersLeft]:
    used = {row["sample_id"] for row in tables.rows("sample")}
    used |= {row["stamp"] for row in tables.rows("plug")}
    crews: dict[str, list[str]] = {}
    for row in tables.rows("reservation"):
        numbers = crews.setdefault(row["crew"], [])
        if row["sample_id"] not in used:
            numbers.append(row["sample_id"])
    for crew, numbers in sorted(crews.items()):
        yield NumbersLeft(crew, len(numbers), numbers[0] if numbers else "", (numbers or [""])[-1])


def _tomorrow(
    open_now: Mapping[str, tuple[str, ...]],
    left: Iterable[NumbersLeft],
    lines: Iterable[Line],
) -> Iterator[str]:
    work = {heading: todo for heading, (_rules, todo) in OPEN.items()}
    work[WITHOUT_PHOTO] = N_("Photograph the samples")
    for heading, keys in open_now.items():
        if keys:
            yield f"{_(work[heading])}: {listed(keys, 8)}."
    for line in lines:
        if line.errors:
            said = ngettext("{n} error", "{n} errors", line.errors).format(n=line.errors)
            by = ""
            if line.crew != NOT_RECORDED:
                by = _(", recorded by {crew}").format(crew=line.crew)
            text = _("Correct {errors} at {building}{by}; 'treenail check' lists them.")
            if line.building == ELSEWHERE:
                text = _(
                    "Correct {errors} in the rest of the record{by}; 'treenail check' lists them."
                )
            yield text.format(errors=said, building=line.building, by=by)
    for crew in left:
        if crew.count < FEW_NUMBERS:
            text = ngettext(
                "Reserve more numbers for crew {crew}, which has {n} stamp number left.",
                "Reserve more numbers for crew {crew}, which has {n} stamp numbers left.",
                crew.count,
            )
            yield text.format(crew=crew.crew, n=crew.count)
