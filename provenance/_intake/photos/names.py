"""Reads the name of a picture: the day in it, the sample or wood, and words that a person wrote."""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from dataclasses import dataclass
from pathlib import PurePath

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import LETTERS
from provenance._identity.identifier import refuse_misfit
from provenance._identity.payload import one_line
from provenance._intake.photos.subjects import Subject, Subjects
from provenance._model.edtf import is_edtf

# the year in front, because a day in front cannot be told from a month
_DAY = re.compile(
    r"(?<![0-9])((?:19|20)[0-9]{2})([-_. ]?)([0-9]{2})\2([0-9]{2})"
    r"(?:(?:[-_. T]|at)*(?:[01][0-9]|2[0-3])([-_.:]?)[0-5][0-9]\5[0-5][0-9](?:[0-9]{3})?)?(?![0-9])"
)
_RUN = re.compile(r"[^\W_]+")
_UUID = re.compile(r"[0-9A-F]{8}(-[0-9A-F]{4}){3}-[0-9A-F]{12}", re.IGNORECASE)
_COUNTER = re.compile(r"[a-z]{0,5}[0-9]+", re.IGNORECASE)
_MACHINE_WORDS = (
    "img image dsc dscn dscf dcim pxl mvimg pano photo photos pict picture pic scan scanned vid "
    "screenshot wa edited copy export burst hdr night portrait cover original file untitled "
    "jpeg jpg png tif tiff heic"
)
NOT_SAID_BY_A_PERSON = frozenset(_MACHINE_WORDS.split())
"""Words that cameras, phones and scanners put into names; common practice, no source."""
BEFORE_A_NUMBER = frozenset({"sample", "specimen", "core", "no", "nr", "number"})
LONGEST_TITLE = 120
FEWEST_LETTERS = 3
FEWEST_DIGITS = 3
"""A shorter number before words may number the pictures: '2 north wall'."""


@dataclass(frozen=True)
class NameReading:
    """What a name says.

    `day` is EDTF or ''; `sure` are rows whose code stands whole in it; `doubtful` are rows whose
    number may be a camera's counter as well, or another row's code; `trouble` says of an identifier
    why it cannot be; `words` is what a person wrote, '' where a camera made the name.
    """

    day: str = ""
    sure: frozenset[Subject] = frozenset()
    doubtful: frozenset[Subject] = frozenset()
    trouble: str = ""
    words: str = ""


class Names:
    """Reads names against the codes of one record."""

    def __init__(self, subjects: Subjects) -> None:
        self._sites = {one.casefold() for one in subjects.sites}
        self._codes: dict[tuple[str, ...], set[Subject]] = defaultdict(set)
        self._identifiers: dict[tuple[str, ...], str] = {}
        for called, key in subjects.called.items():
            self._codes[_runs(called)].add(Subject("sample", key))
            if site := subjects.samples[key]["site_id"]:
                whole = f"{site}-{called}"
                self._codes[_runs(whole)].add(Subject("sample", key))
                self._identifiers[_runs(whole)] = whole
        for key in subjects.elements:
            self._codes[_runs(key)].add(Subject("element", key))
        self._codes.pop((), None)
        self._longest = max(map(len, self._codes), default=0)

    def read(self, path: PurePath) -> NameReading:
        """Read a file's name, and where that names no row, the folders it lies in, inmost first."""
        reading = self._read(path.stem)
        for folder in path.parts[-2::-1]:
            if reading.sure or reading.doubtful or reading.trouble:
                break
            of_folder = self._read(folder)
            reading = NameReading(
                reading.day, of_folder.sure, of_folder.doubtful, of_folder.trouble, reading.words
            )
        return reading

    def _read(self, stem: str) -> NameReading:
        stem = unicodedata.normalize("NFC", stem)
        if _UUID.search(stem):
            return NameReading()
        days = [day for found in _DAY.finditer(stem) if (day := _day(found))]
        rest = _DAY.sub(lambda found: "_" if _day(found) else found[0], stem)
        runs = list(_RUN.finditer(rest))
        texts = [run[0].casefold() for run in runs]
        sure: set[Subject] = set()
        doubtful: set[Subject] = set()
        trouble = ""
        of_codes: set[int] = set()
        at = 0
        while at < len(runs):
            length = self._length_of_code(texts, at)
            code = tuple(texts[at : at + length])
            if not length:
                at += 1
                continue
            if len(self._codes[code]) > 1 or self._is_counter_too(texts, at, length):
                doubtful |= self._codes[code]
            else:
                sure |= self._codes[code]
                of_codes |= set(range(at, at + length))
            at += length
            if code in self._identifiers and at < len(runs) and _is_check(rest, runs[at]):
                of_codes.add(at)
                try:
                    whole, check = self._identifiers[code], runs[at][0]
                    refuse_misfit(f"{whole}-{check}", whole, check)
                except UnreadableValue as error:
                    trouble = str(error)
                at += 1
        return NameReading(
            day=days[0] if len(set(days)) == 1 else "",
            sure=frozenset(sure),
            doubtful=frozenset(doubtful),
            trouble=trouble,
            words=self._words(rest, texts, of_codes),
        )

    def _length_of_code(self, texts: list[str], at: int) -> int:
        longest = min(self._longest, len(texts) - at)
        return next(
            (n for n in range(longest, 0, -1) if tuple(texts[at : at + n]) in self._codes), 0
        )

    def _is_counter_too(self, texts: list[str], at: int, length: int) -> bool:
        """Whether a camera, or a person who numbers pictures, may have written this code too."""
        code = texts[at : at + length]
        if any(not one.isdigit() for one in code):
            lone = code[0] if length == 1 else ""
            return length == 1 and (len(lone) < FEWEST_LETTERS or lone.isalpha())
        before = texts[at - 1] if at else ""
        after = texts[at + length] if at + length < len(texts) else ""
        named = before in BEFORE_A_NUMBER or before in self._sites
        leads = not at and len(code[0]) >= FEWEST_DIGITS and _is_word(after)
        return not (named or leads)

    def _words(self, rest: str, texts: list[str], of_codes: set[int]) -> str:
        """The name as a line to read, if a person wrote more into it than codes."""
        if not any(_is_word(text) for at, text in enumerate(texts) if at not in of_codes):
            return ""
        codes = {texts[at] for at in of_codes}
        kept = []
        for part in re.split(r"[_\s]+", rest):
            said = [text for run in _RUN.finditer(part) if (text := run[0].casefold())]
            if any(one in codes or not _is_of_a_camera(one) for one in said):
                kept.append(part.strip(" -."))
        return one_line(" ".join(kept), LONGEST_TITLE)


def _day(found: re.Match[str]) -> str:
    day = "-".join(found.group(1, 3, 4))
    return day if is_edtf(day) else ""


def _runs(code: str) -> tuple[str, ...]:
    """A code as runs of letters and digits, since what stands between them changes in names."""
    return tuple(run[0].casefold() for run in _RUN.finditer(unicodedata.normalize("NFC", code)))


def _is_check(rest: str, run: re.Match[str]) -> bool:
    """Whether capitals behind a hyphen stand where check letters would, or the one character."""
    letters = len(run[0]) == 1 or (len(run[0]) == 2 and set(run[0]) <= set(LETTERS))
    return letters and run[0] == run[0].upper() and rest[run.start() - 1] == "-"


def _is_word(text: str) -> bool:
    return text.isalpha() and len(text) >= FEWEST_LETTERS and text not in NOT_SAID_BY_A_PERSON


def _is_of_a_camera(text: str) -> bool:
    return text in NOT_SAID_BY_A_PERSON or _COUNTER.fullmatch(text) is not None
