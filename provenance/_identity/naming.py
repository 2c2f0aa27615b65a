"""Says which sample or parcel of a record is meant by what a person typed or a scanner read.

A sample is named by its number (231), by number and check letters (231-JV, or 231JV where that is
no number of its own), by the text of its label (HOLL-231-JV), or by what a scanner reads from the
label's code; and by the one check character of a label of before (231-H). What is written is always
verified: one wrong letter or digit in the text of a label is always found. A lost or an added
character passes with a chance of about 1 in 359 (1 in 36 with one check character), and then only
where there is a sample of that other number.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import (
    LONGEST,
    check_letters,
    check_like,
    fits_check,
    is_check,
    likely_meant,
)
from provenance._identity.identifier import BETWEEN_PARTS
from provenance._identity.payload import Scanned, is_scan, one_line, parcel_code, read_scan
from provenance._model.schema import AS_FOUND
from provenance._record.joined import keys_now

if TYPE_CHECKING:
    from provenance._model.schema import Table
    from provenance._record.snapshot import Snapshot

_LIKELY_SHOWN = 3
_A_NUMBER = re.compile(r"[0-9A-Z]*[0-9][0-9A-Z]*")


class NamedSample(NamedTuple):
    """A sample by the code of its site and its number, as the record has them."""

    site_id: str
    sample_id: str

    @property
    def check(self) -> str:
        """The check letters of its label; '' for a number that no label can say."""
        return check_letters(self.identifier) if self.identifier else ""

    @property
    def identifier(self) -> str:
        """What its label says; '' for a number that no label can say."""
        identifier = f"{self.site_id}-{self.sample_id}"
        return identifier if len(identifier) <= LONGEST else ""

    def fits(self, check: str) -> bool:
        """Whether letters, or the one character of a label of before, are those of its label."""
        return bool(self.identifier) and fits_check(self.identifier, check)


@dataclass(frozen=True)
class _Way:
    """One way to take a text: for a sample, with what would be its check letters, or ''.

    `label` is what the text calls it: it may have had that number before.
    """

    sample: NamedSample
    label: NamedSample
    check: str = ""

    @property
    def texts(self) -> tuple[str, str]:
        """The texts that it takes letter for letter: the number, and what the label says."""
        check = f"-{self.check}" if self.check else ""
        return f"{self.label.sample_id}{check}", f"{'-'.join(self.label)}{check}"

    @property
    def stands(self) -> bool:
        """Whether it says no check letters, or the right ones."""
        return not self.check or self.label.fits(self.check)


def key_of(text: str) -> str:
    """The text in capitals, with a hyphen for all that parts it: blanks and any kind of dash.

    >>> key_of(" holl–231 h ")
    'HOLL-231-H'
    """
    return "-".join(part for part in BETWEEN_PARTS.split(text) if part).upper()


def folded_number(text: str) -> str:
    """A number as found without blanks, `- . _ /` and case, in which hands differ.

    >>> folded_number("AF-11") == folded_number("AF1-1") == folded_number("af 11")
    True
    """
    return re.sub(r"[\s._/‐‑‒–—−\u200c\u200d-]", "", unicodedata.normalize("NFC", text)).casefold()


class SampleNames:
    """What the samples of a record, or of several records, are named by."""

    def __init__(
        self,
        samples: Iterable[tuple[str, str]],
        sites: Iterable[str] = (),
        *,
        strange: str = "is not a sample of this record",
        former: Mapping[tuple[str, str], Sequence[str]] = MappingProxyType({}),
        as_found: bool = False,
    ) -> None:
        """`samples` are site codes and numbers, reserved ones too; `sites` further site codes.

        `strange` is what is said of a text that names none of them. `former` maps
        samples to the numbers that they bore before; labels go on saying those. Where numbers are
        `as_found`, cells hold them as they are written, and a text that names none may differ from
        one in blanks, case and `- . _ /`.
        """
        self._as_found = as_found
        self._strange = strange
        named = sorted({NamedSample(*one) for one in samples if one[1]})
        self.sites = sorted({key_of(one) for one in (*sites, *(s.site_id for s in named)) if one})
        self._numbers = {one.sample_id for one in named}
        # by what a label says: the sample, and the number that it says
        self._by_key: dict[str, list[tuple[NamedSample, NamedSample]]] = {}
        for one in named:
            for called in (one.sample_id, *former.get(one, ())):
                number = key_of(called)
                for key in {number, key_of(f"{one.site_id}-{called}")}:
                    label = NamedSample(one.site_id, called)
                    self._by_key.setdefault(key, []).append((one, label))
        self._by_fold: dict[str, list[tuple[NamedSample, NamedSample]]] = {}
        for key, known in self._by_key.items() if as_found else ():
            self._by_fold.setdefault(folded_number(key), []).extend(known)

    @classmethod
    def of(cls, tables: Snapshot) -> SampleNames:
        """The names of a package: its samples, its reserved numbers, its sites."""
        samples = [
            (row["site_id"], row["sample_id"])
            for table in ("sample", "reservation")
            for row in tables.rows(table)
        ]
        sites, as_found = tables.column("site", "site_id"), tables.model.numbering == AS_FOUND
        return cls.called(samples, sites, keys_now(tables, "sample"), as_found=as_found)

    @classmethod
    def called(
        cls,
        samples: Sequence[tuple[str, str]],
        sites: Iterable[str],
        called: Mapping[str, str],
        *,
        as_found: bool,
    ) -> SampleNames:
        """The names of site codes and numbers; `called` maps former numbers to those borne now."""
        former: dict[tuple[str, str], list[str]] = {}
        if called:
            site_of = {number: site for site, number in samples}
            for old, now in called.items():
                former.setdefault((site_of.get(now, ""), now), []).append(old)
        return cls(samples, sites, former=former, as_found=as_found)

    def called_before(self, text: str) -> tuple[str, str] | None:
        """The former number that a text says, and the number of that sample now; None for others.

        >>> names = SampleNames([("HOLL", "231")], former={("HOLL", "231"): ["213"]})
        >>> names.called_before("213"), names.called_before("231")
        (('213', '231'), None)
        """
        if is_scan(text):
            ways = [_Way(*one) for one in self._of_label(text)[1]]
        else:
            ways = self._ways(text)
        for one in ways:
            if one.stands and one.label != one.sample:
                return one.label.sample_id, one.sample.sample_id
        return None

    def nearly(self, text: str) -> bool:
        """Whether a text names a sample here but, perhaps, for its check character."""
        return bool(self._ways(text))

    def samples(self, text: str) -> list[NamedSample]:
        """All samples that the text names: none, one or, where it does not say the site, several.

        Raises UnreadableValue for a code that is not whole, damaged, or of another record.
        """
        if is_scan(text):
            return list(dict.fromkeys(one for one, _ in self._of_label(text)[1]))
        return _samples_of(self._ways(text))

    def sample(self, text: str) -> NamedSample:
        """The one sample that the text names.

        Raises UnreadableValue when it names none or could name several, or when its check letters
        do not fit; the sentence says what was likely meant.

        >>> SampleNames([("HOLL", "231"), ("HOLL", "213")]).sample("holl 231 jv").sample_id
        '231'
        """
        named = self.samples(text)
        if not named:
            raise self.refusal(text)
        if len(named) > 1:
            raise UnreadableValue(_shown(text), f"names several: write {self._either(named)}")
        return named[0]

    def number_in_cell(self, text: str) -> str:
        """The sample number that a cell of a form means; one that is new here stays as it stands.

        A crew's own number may end in letters (12A). It is taken for a number with check letters
        only when the number before them is known here, and then they must fit. Raises
        UnreadableValue when they do not, or when the text could be either; the sentence says how
        to write the one and the other.

        >>> names = SampleNames([("HOLL", "231")])
        >>> names.number_in_cell("231 jv"), names.number_in_cell("12A")
        ('231', '12A')
        """
        if text in self._numbers:
            return text
        if is_scan(text):
            label, known = self._of_label(text)
            return known[0][0].sample_id if known else label.sample_id
        if self._as_found:
            return self._as_written(text)
        ways = self._ways(text)
        if not ways:
            return self._new_number(text)
        named = _samples_of(ways)
        numbers = {one.sample_id for one in named}
        makes_new = self._makes_new_numbers_so(text, ways)
        if makes_new and not named:
            return text
        if not named:
            raise self.refusal(text, new=True)
        if makes_new or len(numbers) > 1:
            raise UnreadableValue(
                text,
                "could be a number with its check letters or a number of its own; write "
                f"{self._either(named)} for the one{_or_new(text, ways[0])}",
            )
        return numbers.pop()

    def _as_written(self, text: str) -> str:
        """The number in a cell of a record that keeps them as found.

        The text stays but where it is all that the label of one sample says, or a former number.
        """
        named = set()
        for one in self._ways(text):
            label = key_of("-".join((*one.label, one.check)))
            whole = len(one.check) == 2 and key_of(text) == label
            if one.stands and (whole or one.label.sample_id == text):
                named.add(one.sample.sample_id)
        return named.pop() if len(named) == 1 else text

    def refusal(self, text: str, *, new: bool = False) -> UnreadableValue:
        """Why a text names no sample, and what was likely meant; `new` where it might be a new one.

        What is likely is one common slip away (`likely_meant`), is known here and fits.
        """
        site, *parts = key_of(text).split("-")
        tried = self._ways(text)
        if not tried and site in self.sites and len(parts) == 2 and is_check(parts[1]):
            new_one = NamedSample(site, parts[0])
            tried = [_Way(new_one, new_one, parts[1])]
        if tried and not tried[0].stands:
            return UnreadableValue(_shown(text), self._misfit(text, tried[0], new))
        why = self._strange
        if len(parts) == 2 and site not in self.sites:
            why = f"is of no site of this record, which has {', '.join(self.sites) or 'none'}"
            meant = [one.sample for one in self._ways("-".join(parts)) if one.stands]
        else:
            # a digit right behind a number is no check character, but may have been meant for one
            known = self._by_key.get(key_of(text)[:-1], [])
            meant = [label for _, label in known if label.fits(key_of(text)[-1])]
        return UnreadableValue(
            _shown(text), f"{why}; perhaps {self._either(meant)} is meant" if meant else why
        )

    def _misfit(self, text: str, way: _Way, new: bool) -> str:
        sample, check = way.label, way.check
        known = [
            label
            for identifier in ("-".join(sample), *likely_meant("-".join(sample), check))
            for _, label in self._by_key.get(key_of(identifier), [])
        ]
        meant = [sample, *known] if new else known
        # as many letters as were written, so that they can be compared with that label
        needed = check_like(sample.identifier, check) if sample.identifier else "none"
        return (
            f"does not fit its check {_noun(check)}: that of {sample.sample_id} is {needed}, not "
            f"{check}; compare it with the label"
            + (f" and write {self._either(meant, check)}" if meant else "")
            + (_or_new(text, way) if new else "")
        )

    def _either(self, samples: Sequence[NamedSample], check: str = "") -> str:
        """How to name each of the samples beyond doubt, a few of them; with a check as written."""
        several = len(self.sites) > 1
        names = [
            f"{one.site_id}-" * several + f"{one.sample_id}-{check_like(one.identifier, check)}"
            for one in samples
            if one.identifier
        ]
        return " or ".join(list(dict.fromkeys(names))[:_LIKELY_SHOWN])

    def _label(self, text: str) -> Scanned:
        """What the code of a label says; it must be of a site of this record, if it has any."""
        label = read_scan(text)
        if label.store_number:
            raise UnreadableValue(
                label.store_number,
                "is a number that a store gave; the store knows which sample it is, and the "
                "record does not: type the number beside it on the label",
            )
        if label.inside:
            raise UnreadableValue(
                label.identifier, "is the code of a box, drawer or parcel, not of one sample"
            )
        if self.sites and key_of(label.site_id) not in self.sites:
            raise UnreadableValue(
                label.identifier,
                f"is of site {label.site_id}, and this record has {', '.join(self.sites)}; find "
                "out whose sample it is",
            )
        return label

    def _of_label(self, text: str) -> tuple[Scanned, list[tuple[NamedSample, NamedSample]]]:
        """What the code of a label says, and the samples (and numbers) that it may be of.

        Raises UnreadableValue as `_label`.
        """
        label = self._label(text)
        known = self._by_key.get(key_of(label.identifier), [])
        exact = [one for one in known if one[1] == (label.site_id, label.sample_id)]
        return label, exact or known

    def _ways(self, text: str) -> list[_Way]:
        """Every way to take a text for a sample that is known."""
        key = key_of(text)
        ways = [_Way(*one) for one in self._by_key.get(key, [])]
        number, _, check = key.rpartition("-")
        if is_check(check):
            ways += [_Way(*one, check) for one in self._by_key.get(number, [])]
        if not ways:
            # 231JV is the number 231JV where there is one; a digit behind a number is part of it
            ways = [
                _Way(*one, key[-length:])
                for length in (1, 2)
                if key[-length:].isalpha()
                for one in self._by_key.get(key[:-length], [])
            ]
        if self._as_found:
            # of numbers that differ in a blank or capital, the one that is written
            exact = [one for one in ways if text.strip() in one.texts]
            ways = [one for one in exact if not one.check] or exact or ways
        if not ways:
            ways = [_Way(*one) for one in self._by_fold.get(folded_number(text), [])]
        return sorted(ways, key=lambda one: not one.stands)

    @cached_property
    def _own_letters(self) -> frozenset[str]:
        keys = {key_of(number) for number in self._numbers}
        return frozenset(
            key[-length:]
            for key in keys
            for length in (1, 2)
            if key[-length:].isalpha() and key[:-length] in keys
        )

    def _makes_new_numbers_so(self, text: str, ways: Sequence[_Way]) -> bool:
        """Whether other numbers of this record were made so, by these letters: 12 and 12A."""
        key = key_of(text)
        return all(
            one.check in self._own_letters and key[-len(one.check) - 1] != "-" for one in ways
        )

    def _new_number(self, text: str) -> str:
        """A number that is not known here yet, by itself or out of a label's text."""
        match key_of(text).split("-"):
            case [site, number, check] if site in self.sites and is_check(check):
                new_one = NamedSample(site, number)
                if not _Way(new_one, new_one, check).stands:
                    raise self.refusal(text, new=True)
                return number
            case [site, number] if site in self.sites and _A_NUMBER.fullmatch(number):
                return number
            case [*before, number, check] if len(before) < 2 and _A_NUMBER.fullmatch(number):
                sites = [one for one in self.sites if NamedSample(one, number).fits(check)]
                if sites and before:
                    raise self.refusal(text)
                if sites:
                    raise UnreadableValue(
                        text,
                        f"could be {number} with its check {_noun(check)}, and {number} is neither "
                        f"recorded nor reserved here; write {sites[0]}-{number}-{check} if that is "
                        "meant, and a number of its own without the hyphen",
                    )
        return text


def _samples_of(ways: Iterable[_Way]) -> list[NamedSample]:
    return list(dict.fromkeys(one.sample for one in ways if one.stands))


def _shown(text: str) -> str:
    return one_line(text, 60)


def _noun(check: str) -> str:
    return "character" if len(check) == 1 else "letters"


def _or_new(text: str, way: _Way) -> str:
    """How to write a text that is a new number after all: as its own label would say it."""
    site = key_of(way.sample.site_id)
    number = key_of(text).removeprefix(f"{site}-")
    if not _A_NUMBER.fullmatch(number):
        return ""
    return f", or {site}-{number}-{NamedSample(site, number).check} if {number} is another number"


def parcel_named(tables: Snapshot, text: str) -> str:
    """The code of the parcel that the text or its scanned code names, as the record has it.

    Capitals and the kind of dash do not matter: 'c 2023–1' is C-2023-1. Where no parcel is so
    called, the text. Raises UnreadableValue for the scanned code of something else.
    """
    codes = tables.column("consignment", "consignment_id")
    if is_scan(text) and text not in codes:
        scanned = read_scan(text)
        found = [one for one in codes if scanned.inside and parcel_code(one) == scanned.inside]
        if not found:
            raise UnreadableValue(scanned.identifier, "is the code of no parcel of this record")
        return found[0]
    return next((one for one in codes if key_of(one) == key_of(text)), text.strip())


def table_named(table: Table, field: str) -> str:
    """The table whose rows a field names: its own by the key, another by a link; '' for others."""
    links = [key.table for key in table.foreign_keys if key.fields == (field,)]
    return links[-1] if links else table.name if table.primary_key == (field,) else ""


class CellNames:
    """How the cells of forms name samples and parcels of one record."""

    def __init__(
        self, tables: Snapshot, samples: Callable[[Snapshot], SampleNames] = SampleNames.of
    ) -> None:
        self._tables = tables
        self._gather = samples

    @cached_property
    def _samples(self) -> SampleNames:
        # a large record is gone through only for forms that name samples
        return self._gather(self._tables)

    def reader_of(self, table: Table, field: str) -> Callable[[str], str] | None:
        """What reads a cell of that field, when it names a sample or a parcel."""
        return self.reader_of_keys(table_named(table, field))

    def reader_of_keys(self, table: str) -> Callable[[str], str] | None:
        """What reads a key of that table, when it is of samples or parcels."""
        if table == "sample":
            return self._samples.number_in_cell
        if table == "consignment":
            return lambda text: parcel_named(self._tables, text)
        return None
