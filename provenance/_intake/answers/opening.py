"""Opens an export of answers: a ZIP or folder of CSV files with photos, a CSV file, or JSON.

What such exports look like is common practice, no source: a CSV file for the form and one for each
repeat, whose PARENT_KEY is the KEY of the line it belongs to; or one line an answer with
repeats as element[1]/…; or nested objects and lists. The names of groups stand before that of a
question, with - / or : between them. Photos lie in a folder 'media' under the names that the cells
give. All of it comes from a phone or server, and is opened within the bounds of the gate.
"""

from __future__ import annotations

import re
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from provenance._bag.hostile import listed_folder
from provenance._bag.hostile_zip import DAMAGE, unpack_zip
from provenance._base.errors import UnusableInput
from provenance._gate.budget import FOREIGN_BUDGET, SheetBudget
from provenance._gate.documents import read_json
from provenance._gate.folders import is_plain_file
from provenance._gate.zips import refuse_directory
from provenance._intake.answers.names import CREW, DAY, PLACE, QUESTION
from provenance._intake.files.received import TextHabits, shown
from provenance._intake.files.text_tables import TextTable
from provenance._record.package import DESCRIPTOR

MEDIA = "media"
KEY, PARENT_KEY = "KEY", "PARENT_KEY"
INSTANCE = (KEY, "rootUuid", "instanceID", "_uuid")
"""Names of what tells one answer from all others; the first is the same in an edited answer."""

_ON_TOP = {PLACE, DAY, CREW}
_TABLES, _JSON = (".csv", ".tsv"), ".json"
_BETWEEN = re.compile(r"[-/:]")
_REPEATED = re.compile(r"(\w+)\[([0-9]+)\]")
_OTHERS = {"xl/workbook.xml", "xl/workbook.bin", "mimetype", "word/document.xml"}
_EXPORT_AGAIN = "export it again with all its files"


@dataclass(frozen=True)
class Answer:
    """One line of an export: the whole form, or what stands in one turn of a repeat.

    `texts` are answers by the name of the question, `headings` what stands above each in the file;
    `row` is as a spreadsheet counts (of JSON, which answer). `instance` names the whole answer.
    """

    file_name: str
    row: int
    instance: str
    texts: Mapping[str, str]
    headings: Mapping[str, str]
    above: Answer | None = None

    def find(self, name: str) -> str:
        """The answer to a question here, or else above."""
        text = self.texts.get(name, "")
        return text or (self.above.find(name) if self.above is not None else "")

    def heading(self, name: str) -> str:
        """What stands above a question's column in the file."""
        return self.headings.get(name, name)


@dataclass(frozen=True)
class Export:
    """An export of answers: `answers` in the order of their files, `files` by the names that are
    kept, `media` the photos by the names that cells give.
    """

    answers: tuple[Answer, ...]
    files: Mapping[str, Path]
    media: Mapping[str, Path]


def open_export(path: Path, limits: SheetBudget, keep: ExitStack) -> Export | None:
    """The answers in a file or folder; None where it is something else.

    What is unpacked lies there until `keep` is closed. Raises UnusableInput, naming file, row and
    remedy, for an export that is hostile, damaged, or not whole.
    """
    folder, prefix = path.parent, ""
    if path.is_dir():
        if is_plain_file(path, DESCRIPTOR):
            return None
        folder, prefix = path, f"{path.name}/"
        names = [one.name for one in path.iterdir() if is_plain_file(path, one.name)]
        names = [*filter(_is_table, names), *_photos_beside(path)]
    elif path.is_file() and zipfile.is_zipfile(path):
        if not _may_hold_answers(path):
            return None
        folder = Path(keep.enter_context(tempfile.TemporaryDirectory(prefix="treenail-"))).resolve()
        unpack_zip(path, folder, limits=FOREIGN_BUDGET, one_folder=False)
        names, prefix = list(listed_folder(folder, FOREIGN_BUDGET)), f"{path.name}/"
    elif path.is_file() and _is_table(path.name):
        names = [path.name, *_photos_beside(path.parent)]
    else:
        return None
    # hidden entries and those of a Macintosh's zip are no part of it
    names = [one for one in sorted(names) if not re.search(r"(?:^|/)(?:\.|__MACOSX/)", one)]
    files = {f"{prefix}{one}": folder / one for one in names if _is_table(one)}
    asked: set[str] = set()
    read: dict[str, list[_Line]] = {}
    for name, where in files.items():
        questions, lines = _read(where, limits)
        # what an app notes besides has neither questions nor keys
        if questions:
            asked |= questions
            read[name] = lines
    if not any(map(QUESTION.fullmatch, asked)) and not asked >= _ON_TOP:
        return None
    media = {PurePosixPath(one).name: folder / one for one in names if f"{prefix}{one}" not in read}
    return Export(tuple(_joined(read)), {name: files[name] for name in read}, media)


def _is_table(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in (*_TABLES, _JSON)


def _photos_beside(folder: Path) -> list[str]:
    beside = folder / MEDIA
    photos = listed_folder(beside, FOREIGN_BUDGET) if beside.is_dir() else ()
    return [f"{MEDIA}/{one}" for one in photos]


def _ours(names: Iterable[str]) -> set[str]:
    """Those of some names that our form's questions have, and the names of keys."""
    return {one for one in names if QUESTION.fullmatch(one) or one in _ON_TOP or one in INSTANCE}


def _may_hold_answers(path: Path) -> bool:
    try:
        with open(path, "rb") as stream:
            refuse_directory(stream, path.name, FOREIGN_BUDGET)
            with zipfile.ZipFile(stream) as archive:
                names = archive.namelist()
    except DAMAGE:
        return False
    ours = any(one.lower().endswith((*_TABLES, _JSON)) for one in names)
    strange = _OTHERS & set(names) or any(one.split("/")[-1] == DESCRIPTOR for one in names)
    return ours and not strange


@dataclass
class _Line:
    """A line as it is read, before it is known what it belongs to."""

    row: int
    texts: dict[str, str] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    below: list[_Line] = field(default_factory=list)

    def put(self, heading: str, text: str) -> None:
        """Note a cell; the names of groups before that of the question say nothing more."""
        *groups, name = _BETWEEN.split(heading)
        # some exports have a column for each choice besides: element__tool_marks/axe
        if any(map(QUESTION.fullmatch, groups)):
            return
        if text or name not in self.texts:
            self.texts[name] = text
            self.headings[name] = heading


def _read(path: Path, limits: SheetBudget) -> tuple[set[str], list[_Line]]:
    """The questions and keys of a file, and its lines; a file with none of them is not read."""
    if path.suffix.lower() == _JSON:
        lines = waiting = _read_json(path)
        questions: set[str] = set()
        while waiting:
            questions |= _ours(name for line in waiting for name in line.texts)
            waiting = [below for line in waiting for below in line.below]
        return questions, lines
    rows = TextTable(path, TextHabits(), limits).rows()
    heads = [shown(one).strip() for one in next(rows, (0, []))[1]]
    questions = _ours(_BETWEEN.split(heading)[-1] for heading in heads)
    lines = []
    if not questions:
        return questions, lines
    for number, cells in rows:
        line = _Line(number)
        turns: dict[tuple[str, ...], _Line] = {(): line}
        for heading, cell in zip(heads, cells, strict=False):
            here = line
            steps: tuple[str, ...] = ()
            for step in _REPEATED.finditer(heading):
                steps = (*steps, step[0])
                if shown(cell) and steps not in turns:
                    turns[steps] = _Line(number)
                    here.below.append(turns[steps])
                here = turns.get(steps, here)
            if shown(cell) or not steps:
                here.put(heading, shown(cell))
        lines.append(line)
    return questions, lines


def _read_json(path: Path) -> list[_Line]:
    data = read_json(path, FOREIGN_BUDGET, bom=True)
    if isinstance(data, dict) and isinstance(data.get("value"), list):
        data = data["value"]
    answers = data if isinstance(data, list) else [data]
    return [_from_json(one, row) for row, one in enumerate(answers, 1) if isinstance(one, dict)]


def _from_json(said: Mapping[str, Any], row: int) -> _Line:
    line = _Line(row)
    waiting = [("", said)]
    while waiting:
        prefix, group = waiting.pop(0)
        for key, value in group.items():
            if isinstance(value, dict):
                waiting.append((f"{prefix}{key}/", value))
            elif isinstance(value, list):
                line.below += [_from_json(one, row) for one in value if isinstance(one, dict)]
            elif value is not None:
                line.put(f"{prefix}{key}", shown(value))
    return line


def _joined(read: Mapping[str, list[_Line]]) -> Iterator[Answer]:
    """The answers with what they belong to.

    Raises UnusableInput for a line that does not say which answer it is, says it as another one
    does, or belongs to one that is not there.
    """
    by_key: dict[str, tuple[str, _Line]] = {}
    roots: dict[str, str] = {}
    for name, lines in read.items():
        for line in lines:
            where = f"{name}, row {line.row}"
            if not line.texts.get(PARENT_KEY):
                called = next((line.texts[one] for one in INSTANCE if line.texts.get(one)), "")
                if not called:
                    raise UnusableInput(
                        f"{where}: there is no {' and no '.join(INSTANCE)}, which tell one answer "
                        f"from another; {_EXPORT_AGAIN} and columns"
                    )
                if called in roots:
                    raise UnusableInput(
                        f"{where}: the answer '{called}' stands here and in {roots[called]}; keep "
                        "the newer one of the two"
                    )
                roots[called] = where
            if key := line.texts.get(KEY):
                by_key[key] = (name, line)
    made: dict[int, Answer] = {}

    def answer(name: str, line: _Line, depth: int = 0) -> Answer:
        if id(line) in made:
            return made[id(line)]
        parent = line.texts.get(PARENT_KEY, "")
        if parent and (parent not in by_key or depth > FOREIGN_BUDGET.most_folders):
            raise UnusableInput(
                f"{name}, row {line.row}: it belongs to '{parent}', which is not in this export; "
                f"{_EXPORT_AGAIN}"
            )
        above = answer(*by_key[parent], depth + 1) if parent else None
        own = next((line.texts[one] for one in INSTANCE if line.texts.get(one)), "")
        instance = above.instance if above is not None else own
        made[id(line)] = Answer(name, line.row, instance, line.texts, line.headings, above)
        return made[id(line)]

    def with_turns(one: Answer, line: _Line) -> Iterator[Answer]:
        yield one
        for turn in line.below:
            below = Answer(one.file_name, turn.row, one.instance, turn.texts, turn.headings, one)
            yield from with_turns(below, turn)

    for name, lines in read.items():
        for line in lines:
            yield from with_turns(answer(name, line), line)
