"""Decides which row a picture is about, by the codes in view and its name, or says what to ask."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from provenance._base.errors import UnreadableValue
from provenance._base.listed import listed
from provenance._identity.sheet_code import MAGIC as SHEET_MAGIC
from provenance._intake.photos.names import NameReading
from provenance._intake.photos.subjects import Subject, Subjects

BY_CODE, BY_NAME = "code in view", "name"


@dataclass(frozen=True)
class Match:
    """What a picture is about, or a question.

    `by` says what told it (BY_CODE, BY_NAME). `question` is '' where there is a subject. `several`
    are the rows in view where the subject is the wood or place that all are in.
    """

    subject: Subject | None = None
    by: str = ""
    question: str = ""
    several: tuple[Subject, ...] = ()
    is_sheet: bool = False


def match(codes: Sequence[str], name: NameReading, subjects: Subjects) -> Match:
    """Match one picture. A wrong link is worse than a question, so what is at odds is asked."""
    seen: set[Subject] = set()
    is_sheet = False
    for text in codes:
        is_sheet |= text.startswith(f"{SHEET_MAGIC} ")
        try:
            subject = subjects.of_code(text)
        except UnreadableValue as error:
            return Match(question=str(error), is_sheet=is_sheet)
        if subject:
            seen.add(subject)
    if name.trouble:
        return Match(question=f"its name: {name.trouble}", is_sheet=is_sheet)
    in_view, in_name = subjects.smallest(seen), subjects.smallest(name.sure)
    both = subjects.smallest(in_view | in_name)
    if in_view and in_name and both not in (in_view, in_name):
        question = f"{_listed(in_view)} in view, but {_listed(in_name)} in its name"
        return Match(question=question, is_sheet=is_sheet)
    if both:
        subject = subjects.common(both)
        if subject is None:
            question = f"{_listed(both)} are in no common wood or place"
            return Match(question=question, is_sheet=is_sheet)
        several = tuple(sorted(both)) if len(both) > 1 else ()
        return Match(subject, BY_CODE if in_view else BY_NAME, "", several, is_sheet)
    if name.doubtful:
        question = f"perhaps {_listed(name.doubtful)}, but a camera counts with such numbers too"
        return Match(question=question, is_sheet=is_sheet)
    question = "no label that can be read in view, and no sample or wood in its name"
    return Match(question=question, is_sheet=is_sheet)


def _listed(subjects: Iterable[Subject], most: int = 6) -> str:
    named = [str(one) for one in sorted(subjects)]
    return listed(named, most)
