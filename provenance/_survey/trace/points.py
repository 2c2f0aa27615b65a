"""Reads the file of points that the tracing page saves, or that somebody typed.

One line a point: what it is, its name, and where it is in the picture. A known point that is no
datum of the record also has coordinates. See `COLUMNS`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from provenance._base.errors import TreenailError, UnreadableValue, UnusableInput
from provenance._identity.selection import sample_of_package
from provenance._intake.files.readers import open_received
from provenance._intake.files.received import shown
from provenance._intake.values.numerals import read_number
from provenance._record.package import Package
from provenance._survey.trace.picture import PlanPicture

KNOWN, END, HOLE, PICTURE, SCALE = "known", "end", "hole", "picture", "scale"
COLUMNS = (
    "kind", "name", "end", "pixel_x", "pixel_y", "x_m", "y_m", "uncertainty_m",
)  # fmt: skip
"""`kind` is one of known, end, hole; also picture (its name is the SHA-256 of the picture) and
scale (its name is 50 for a plan drawn at 1:50). `end` is a or b."""
_KINDS = (KNOWN, END, HOLE, PICTURE, SCALE)
_NEEDED = ("kind", "name", "pixel_x", "pixel_y")
_MOST_FAULTS = 20
_MOST_POINTS = 20_000
_HEADING_ROWS = 20
_LARGEST = 1e7


@dataclass(frozen=True)
class Marked:
    """One point that was marked: `kind` KNOWN, END or HOLE, `pixel` (x, y), and where it stands.

    `xy` and `uncertainty_m` (95 %) are what the file says of a known point, None where it is blank.
    """

    kind: str
    name: str
    end: str
    pixel: tuple[float, float]
    xy: tuple[float, float] | None
    uncertainty_m: float | None
    place: str


@dataclass(frozen=True)
class PointsFile:
    """What a file of points says; `scale` is 50 for a plan drawn at 1:50, None where blank."""

    points: tuple[Marked, ...]
    scale: float | None

    def of_kind(self, *kinds: str) -> list[Marked]:
        """The points of these kinds, in their order."""
        return [one for one in self.points if one.kind in kinds]


@dataclass(frozen=True)
class Line:
    """One line of points: where it stands, in words, and its cells by COLUMNS."""

    place: str
    cells: Mapping[str, str]

    def text(self, name: str) -> str:
        # the page saves an apostrophe before what a spreadsheet would take for a formula
        return self.cells.get(name, "").removeprefix("'")

    def number(self, name: str) -> float | None:
        """A number, None for a blank cell."""
        text = self.text(name)
        if not text:
            return None
        try:
            value = read_number(text)
        except UnreadableValue as error:
            raise _Fault(f"column '{name}': {error}") from None
        if not math.isfinite(value) or abs(value) > _LARGEST:
            raise _Fault(f"column '{name}': {text} is too large; write meters or pixels")
        return value


class _Fault(Exception):
    """What is wrong with one line."""


def read_points(package: Package, path: Path, picture: PlanPicture) -> PointsFile:
    """The points in a file (CSV, TSV, XLSX or ODS), with wood and samples as the record has them.

    Raises UnusableInput that names file, row, column and value of everything that cannot be used.
    """
    return marked_points(package, _lines(path), picture, path.name)


def marked_points(
    package: Package, lines: Iterable[Line], picture: PlanPicture, called: str
) -> PointsFile:
    """The points that lines say, as `read_points` has them; `called` is what they are from."""
    points: list[Marked] = []
    scale: float | None = None
    faults: list[str] = []
    first: dict[tuple[str, str, str], str] = {}
    for line in lines:
        try:
            kind = line.text("kind").casefold()
            if kind == SCALE:
                scale = _scale(line)
            elif kind == PICTURE:
                _refuse_other_picture(line, picture)
            else:
                one = _marked(package, line, kind, picture)
                before = first.setdefault((one.kind, one.name, one.end), line.place)
                if before != line.place:
                    raise _Fault(f"column 'name': {one.name!r} is also in {before}; keep one")
                points.append(one)
        except _Fault as error:
            faults.append(f"{line.place}, {error}")
        if len(points) > _MOST_POINTS:
            raise UnusableInput(f"{called} has more than {_MOST_POINTS:,} points")
    if faults:
        more = len(faults) - _MOST_FAULTS
        told = faults[:_MOST_FAULTS] + [f"and {more} more"] * (more > 0)
        raise UnusableInput("\n  ".join(["nothing was entered; correct these:", *told]))
    return PointsFile(tuple(points), scale)


def _marked(package: Package, line: Line, kind: str, picture: PlanPicture) -> Marked:
    if kind not in _KINDS:
        raise _Fault(f"column 'kind': {line.text('kind')!r} is not one of {', '.join(_KINDS)}")
    name, end = line.text("name"), line.text("end").casefold()
    if not name:
        raise _Fault("column 'name' is blank; write the datum, the wood or the sample")
    if kind == END:
        _refuse_unknown(package, name)
        if end not in ("a", "b"):
            raise _Fault(f"column 'end': {line.text('end')!r} is not a timber end; write a or b")
    elif end:
        raise _Fault(f"column 'end': {line.text('end')!r} is for timbers only; leave it blank")
    if kind == HOLE:
        try:
            name = sample_of_package(package.tables, name)
        except TreenailError as error:
            raise _Fault(f"column 'name': {error}") from None
    x, y, uncertainty = (line.number(one) for one in ("x_m", "y_m", "uncertainty_m"))
    if (x is None) != (y is None):
        raise _Fault(f"column '{'x_m' if x is None else 'y_m'}' is blank; write both or neither")
    if kind != KNOWN and x is not None:
        raise _Fault("column 'x_m': only a known point has coordinates; they are computed here")
    if uncertainty is not None and uncertainty < 0:
        raise _Fault(f"column 'uncertainty_m': {uncertainty:g} is below zero")
    return Marked(
        kind=kind,
        name=name,
        end=end,
        pixel=(_pixel(line, "pixel_x", picture.width), _pixel(line, "pixel_y", picture.height)),
        xy=None if x is None or y is None else (x, y),
        uncertainty_m=uncertainty,
        place=line.place,
    )


def _pixel(line: Line, name: str, size: int) -> float:
    value = line.number(name)
    if value is None:
        raise _Fault(f"column '{name}' is blank; write where the point is in the picture")
    if not 0 <= value <= size:
        raise _Fault(
            f"column '{name}': {value:g} is outside the picture, which goes from 0 to {size}"
        )
    return value


def _refuse_unknown(package: Package, name: str) -> None:
    from difflib import get_close_matches

    known = package.tables.column("element", "element_id")
    if name not in known:
        near = get_close_matches(name, known, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        raise _Fault(f"column 'name': the record has no timber {name!r}{hint}")


def _scale(line: Line) -> float:
    text = line.text("name").replace(" ", "").removeprefix("1:")
    try:
        value = read_number(text)
    except UnreadableValue as error:
        raise _Fault(f"column 'name': {error}; for a plan drawn at 1:50 write 50") from None
    if not 1 <= value <= 5000:
        raise _Fault(f"column 'name': 1:{text} is not the scale of a plan of a building")
    return value


def _refuse_other_picture(line: Line, picture: PlanPicture) -> None:
    if line.text("name").casefold() != picture.sha256:
        raise _Fault(
            "column 'name': the points were marked on a different picture than "
            f"{picture.path.name} "
            f"(SHA-256 {line.text('name')[:12]}…, not {picture.sha256[:12]}…); name that one"
        )


def _lines(path: Path) -> Iterator[Line]:
    received = open_received(path)
    try:
        found = False
        for name in received.sheet_names:
            columns: dict[int, str] = {}
            for number, cells in received.sheet(name).rows():
                texts = [shown(cell).strip() for cell in cells]
                if not columns:
                    columns = _headings([text.casefold() for text in texts])
                    found = found or bool(columns)
                    if not columns and number > _HEADING_ROWS:
                        break
                    continue
                where = f"{path.name}, " + (f"sheet '{name}', " if name else "") + f"row {number}"
                line = Line(where, {h: texts[c] for c, h in columns.items() if c < len(texts)})
                if any(line.text(one) for one in COLUMNS):
                    yield line
    finally:
        received.close()
    if not found:
        raise UnusableInput(
            f"{path.name} has no row with the headings {', '.join(_NEEDED)}; hand in what the page "
            "of 'treenail survey trace' saved, or a table with these columns"
        )


def _headings(texts: Sequence[str]) -> dict[int, str]:
    found = {column: text for column, text in enumerate(texts) if text in COLUMNS}
    return found if set(_NEEDED) <= set(found.values()) else {}
