"""Says which column of a field form becomes which field: the mapping as typed values."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from provenance._intake.files.received import TextHabits
from provenance._intake.values.numerals import DecimalMark
from provenance._intake.values.serial_dates import SerialEpoch
from provenance._model.schema import STRICT

How = Literal["column", "first_of", "all_of", "template", "filled", "constant"]
ALWAYS_MISSING = frozenset({""})
_PLACEHOLDER = re.compile(r"\{([^{}]+)\}")


@dataclass(frozen=True)
class ReadingHabits:
    """How the writers of one column write.

    `synonyms`, `yes`, `no` and `missing` are in small letters. `unit` is None where the field's own
    unit is meant; `split` is a regular expression.
    """

    unit: str | None = None
    synonyms: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    split: str | None = None
    formats: tuple[str, ...] = ()
    century_pivot: int | None = None
    day_first: bool | None = None
    serial_epoch: SerialEpoch | None = None
    decimal: DecimalMark | None = None
    missing: frozenset[str] = ALWAYS_MISSING
    yes: frozenset[str] = frozenset()
    no: frozenset[str] = frozenset()


@dataclass(frozen=True)
class FieldRule:
    """Where the value of one field comes from; `text` is the template or the constant.

    'filled' is yes where the column is filled and no where it is blank.
    """

    name: str
    how: How
    columns: tuple[str, ...] = ()
    text: str = ""
    habits: ReadingHabits = field(default_factory=ReadingHabits)


@dataclass(frozen=True)
class Condition:
    """A line counts when `column` is filled; with `words` (small letters), when it holds one."""

    column: str
    words: frozenset[str] = frozenset()


@dataclass(frozen=True)
class RowsRule:
    """What one line becomes in one table."""

    table: str
    fields: tuple[FieldRule, ...]
    when: Condition | None = None

    @property
    def columns(self) -> frozenset[str]:
        """Every heading that is looked at."""
        named = {column for rule in self.fields for column in rule.columns}
        return frozenset(named | ({self.when.column} if self.when else set()))


@dataclass(frozen=True)
class SourceRule:
    """One kind of file or sheet.

    `sheets` is empty for text files and for the only sheet of a workbook. `keep_lines` are first
    cells, in small letters, of lines that are rows however they look. `may_lack` lets sheets
    and columns be missing, for a workbook of this project from which the crew took some away.
    """

    files: tuple[str, ...]
    rows: tuple[RowsRule, ...]
    sheets: tuple[str, ...] = ()
    header_row: int = 1
    text: TextHabits = field(default_factory=TextHabits)
    keep: tuple[str, ...] = ()
    keep_lines: frozenset[str] = frozenset()
    fill_down: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    missing: frozenset[str] = ALWAYS_MISSING
    may_lack: bool = False

    def reads(self, file_name: str) -> bool:
        """Whether a file of that name is of this kind; capitals do not matter."""
        return any(
            fnmatch.fnmatchcase(file_name.casefold(), pattern.casefold()) for pattern in self.files
        )

    @property
    def columns(self) -> frozenset[str]:
        """Every heading that must be there."""
        named = {column for rule in self.rows for column in rule.columns}
        return frozenset(named | set(self.keep) | set(self.fill_down))


@dataclass(frozen=True)
class FormMapping:
    """A whole mapping; `text` are the bytes of its file, None when it comes out of a workbook.

    `numbering` is the one that the record has to follow, STRICT where the mapping says nothing.
    """

    title: str
    sources: tuple[SourceRule, ...]
    file_name: str = ""
    text: bytes | None = None
    numbering: str = STRICT

    def sources_of(self, file_name: str) -> tuple[SourceRule, ...]:
        """What is read from a file of that name."""
        return tuple(source for source in self.sources if source.reads(file_name))


def placeholders(template: str) -> tuple[str, ...]:
    """The headings in the braces of a template, in their order.

    >>> placeholders("{House}-{Timber no}")
    ('House', 'Timber no')
    """
    return tuple(heading.strip() for heading in _PLACEHOLDER.findall(template))


def fill_template(template: str, texts: Mapping[str, str]) -> str:
    """The template with each heading replaced by its text."""
    return _PLACEHOLDER.sub(lambda match: texts[match[1].strip()], template)


def same_heading(heading: str) -> str:
    """What two headings have in common when they are the same but for blanks and capitals.

    >>> same_heading("Dia  A 1\\n(in) ")
    'dia a 1 (in)'
    """
    return " ".join(heading.split()).casefold()
