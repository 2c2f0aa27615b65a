"""What a module brings that describes a bundle in one more form."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import IO, Any

from provenance._bundle.describe.editions import Edition
from provenance._record.package import Package


@dataclass(frozen=True)
class Described:
    """What there is to describe: the package as its edition has it, and its citation.

    `record` is citation.datacite_record, `day` the record's date.
    """

    package: Package
    edition: Edition
    record: Mapping[str, Any]
    day: str


Rewriter = Callable[[bytes, Mapping[str, Any]], bytes]
"""Makes a form's file once more, of the file as packed and of a citation that has changed."""


@dataclass(frozen=True)
class Form:
    """One description for repositories, at the top of a bundle's payload.

    `order` is its place among the others. `write` puts it into an open file; the same package makes
    the same bytes. `anew` makes its file once more when the bundle has got a DOI, for a form that
    tells it. `standard` is what it follows: the address that the standard gives itself, and its
    title. `readme` is its names and words in README.txt, where forms that `people_read` stand
    first.
    """

    file_name: str
    title: str
    order: int
    write: Callable[[IO[bytes], Described], None]
    anew: Rewriter | None = None
    standard: tuple[str, str] | None = None
    readme: tuple[str, str] | None = None
    people_read: bool = False


def as_text(make: Callable[[Described], str]) -> Callable[[IO[bytes], Described], None]:
    """A writer for a form that is one text."""

    def write(stream: IO[bytes], described: Described) -> None:
        stream.write(make(described).encode("utf-8"))

    return write


def of_citation(make: Callable[[Mapping[str, Any]], str]) -> Rewriter:
    """A form's file anew, where it is made of nothing but the citation."""
    return lambda _, record: make(record).encode("utf-8")
