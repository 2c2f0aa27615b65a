"""Gathers the words about a sample that labels, tags and cards print."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from provenance._base.errors import TreenailError, UnreadableValue
from provenance._identity.check_character import check_letters
from provenance._identity.identifier import as_coded, identifier_in
from provenance._identity.naming import SampleNames
from provenance._identity.payload import compose_code, compose_store_code, store_check
from provenance._identity.selection import number_order, select_samples
from provenance._ledger.inside import samples_inside
from provenance._model.schema import AS_FOUND, STRICT
from provenance._model.spoken import spoken
from provenance._record.attempts import gave_nothing, kind_in_words
from provenance._record.package import Package
from provenance._record.snapshot import Row

MOST_NUMBERS = 100_000
_PART = re.compile(r"(\d+)(?:\s*-\s*(\d+))?")


def joined(between: str, *texts: str) -> str:
    """The texts that say anything, with `between` between them."""
    return between.join(text for text in texts if text)


@dataclass(frozen=True)
class SampleFacts:
    """What is printed about one sample; '' where nothing is recorded.

    `blank` is True for a number that was only reserved: there is room to write instead.
    `numbering` is that of the record; `store_number` what a store gave the sample beside its own.
    """

    site_id: str
    sample_id: str
    site_name: str = ""
    kind: str = ""
    collected_on: str = ""
    collected_by: str = ""
    element_id: str = ""
    wood: str = ""
    place: str = ""
    blank: bool = False
    numbering: str = STRICT
    store_number: str = ""

    @property
    def number(self) -> str:
        """The field specimen number as the identifier has it, in capitals unless as found."""
        return self.sample_id if self.numbering == AS_FOUND else self.sample_id.strip().upper()

    @property
    def site_code(self) -> str:
        """The site's code as the identifier has it."""
        return self.site_id if self.numbering == AS_FOUND else self.site_id.upper()

    @cached_property
    def identifier(self) -> str:
        """The full identifier, which says the site too."""
        return identifier_in(self.numbering, self.site_id, self.sample_id)

    @cached_property
    def check(self) -> str:
        """The check letters of the full identifier."""
        return check_letters(self.identifier)

    @property
    def store_words(self) -> str:
        """The store number and its check letters."""
        number = self.store_number
        return f"{number}  {store_check(number)}" if number else ""

    @property
    def site_words(self) -> str:
        """The site's code and its name."""
        return joined(" ", self.site_code, self.site_name)

    @property
    def wood_words(self) -> str:
        """The code of the piece of wood and what it does."""
        return joined(" ", self.element_id, self.wood.lower())

    def payload(self, resolver: str = "") -> str:
        """The plain text of the code; see provenance._identity.payload."""
        as_found = self.numbering == AS_FOUND
        coded = as_coded(self.site_id, self.sample_id) if as_found else self.identifier
        address = resolver.replace("{identifier}", coded)
        if self.store_number:
            return compose_store_code(self.store_number, address)
        return compose_code(self.site_id, self.sample_id, address, numbering=self.numbering)


def gather_facts(
    package: Package,
    selection: str | None = None,
    site: str | None = None,
    *,
    failed_too: bool = False,
) -> list[SampleFacts]:
    """The facts of the selected samples ('201-245,260'; all if None), of one site if `site` is.

    All are given site by site in the order of their numbers. Attempts that gave nothing are left
    out, unless holes are asked for and not samples: `failed_too`.

    Raises TreenailError when the package has no samples, nothing is selected, or a number cannot
    be an identifier; the message names the row.
    """
    samples = package.tables.rows("sample")
    if not samples:
        raise TreenailError(
            f"{package.folder} has no samples yet; print reserved numbers with --numbers, or "
            "import the field record first"
        )
    if site is not None:
        _check_site(package, site)
        samples = [row for row in samples if row["site_id"] == site]
        if not samples:
            raise TreenailError(f"site '{site}' has no samples in {package.folder}")
    if selection is not None:
        numbered = {row["sample_id"]: row for row in samples}
        names = SampleNames.of(package.tables)
        chosen = select_samples(
            [row["sample_id"] for row in samples],
            selection,
            names,
            inside=lambda code: samples_inside(package.tables, code).samples,
        )
        rows = [numbered[number] for number in chosen]
    else:
        rows = sorted(samples, key=lambda row: (row["site_id"], number_order(row["sample_id"])))
    if not failed_too:
        rows = [row for row in rows if not gave_nothing(row)]
        if not rows:
            raise TreenailError(
                f"in {package.folder} these attempts gave no sample: there is nothing to put a "
                "label on; 'treenail print cards' prints a card for each hole"
            )
    sites, elements, places = (rows_by_key(package, name) for name in ("site", "element", "place"))
    functions = spoken(package.model).vocabularies["element_function"]
    facts = []
    for row in rows:
        element = elements.get(row["element_id"], {})
        function = element.get("function", "")
        facts.append(
            SampleFacts(
                site_id=row["site_id"],
                sample_id=row["sample_id"],
                site_name=site_title(sites.get(row["site_id"], {})),
                kind=kind_in_words(spoken(package.model), row),
                collected_on=row["collected_on"],
                collected_by=row["collected_by"],
                element_id=row["element_id"],
                wood=functions.label(function) if function else "",
                place=place_words(element.get("place_id", ""), places),
                numbering=package.model.numbering,
            )
        )
    _check_identifiers(facts)
    return facts


def rows_by_key(package: Package, table: str) -> dict[str, Row]:
    """The rows of a table as texts, by their key; of rows with one key the last."""
    key = package.model.table(table).primary_key[0]
    return {row[key]: row for row in package.tables.rows(table)}


def site_title(site: Mapping[str, str]) -> str:
    """The name that may be seen by others, where the site has one, or its name."""
    return site.get("public_name") or site.get("name") or ""


def place_words(place_id: str, places: Mapping[str, Mapping[str, str]]) -> str:
    """Where it is in words, from the smallest place to the building: 'Loft, North house'."""
    words: list[str] = []
    seen: set[str] = set()
    while place_id and place_id not in seen:
        seen.add(place_id)
        place = places.get(place_id, {})
        words.append(place.get("name") or place_id)
        place_id = place.get("parent_place_id") or ""
    return ", ".join(words)


def literal_numbers(text: str) -> list[str]:
    """The numbers that a list such as '201-245,260' spells out, none twice.

    >>> literal_numbers("201-203, 210")
    ['201', '202', '203', '210']
    """
    numbers: list[str] = []
    for part in (part.strip() for part in text.split(",")):
        match = _PART.fullmatch(part)
        if match is None:
            raise UnreadableValue(part, "is not a number or range; write 201-245,260")
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first:
            raise UnreadableValue(part, "runs backwards; write the smaller number first")
        if len(numbers) + last - first >= MOST_NUMBERS:
            raise UnreadableValue(part, f"is more than {MOST_NUMBERS} numbers; print in parts")
        numbers += [str(number) for number in range(first, last + 1)]
    return list(dict.fromkeys(numbers))


def blank_facts(site_id: str, numbers: Iterable[str], site_name: str = "") -> list[SampleFacts]:
    """Labels to be written on, for numbers of a site; raises UnreadableValue for unusable codes."""
    facts = [SampleFacts(site_id, number, site_name, blank=True) for number in numbers]
    _check_identifiers(facts)
    return facts


def reserved_facts(package: Package, numbers: str, site: str | None = None) -> list[SampleFacts]:
    """Labels to be written on, for the reserved numbers of a package that a list selects.

    `numbers` is '201-245,260' or 'all'; a range takes the numbers in it that were reserved and are
    not used yet. Raises TreenailError when none is.
    """
    if site is not None:
        _check_site(package, site)
    used = set(package.tables.column("sample", "sample_id"))
    free = [
        row
        for row in package.tables.rows("reservation")
        if site in (None, row["site_id"]) and row["sample_id"] not in used
    ]
    if not free:
        raise TreenailError(
            f"{package.folder} has no reserved numbers that are still free; reserve some with "
            "'treenail stamps', or print numbers without a package: --site CODE --numbers 201-260"
        )
    names = SampleNames.of(package.tables)
    sites = rows_by_key(package, "site")
    site_of = {row["sample_id"]: row["site_id"] for row in free}
    facts = [
        SampleFacts(
            site_of[one],
            one,
            site_title(sites.get(site_of[one], {})),
            blank=True,
            numbering=package.model.numbering,
        )
        for one in select_samples([row["sample_id"] for row in free], numbers, names)
    ]
    _check_identifiers(facts)
    return facts


def _check_site(package: Package, site: str) -> None:
    known = package.tables.column("site", "site_id")
    if site not in known:
        raise TreenailError(f"there is no site '{site}'; there are {', '.join(known) or 'none'}")


def _check_identifiers(facts: Sequence[SampleFacts]) -> None:
    """Refuse the whole run, naming the first five, when numbers cannot be identifiers."""
    faults = []
    for fact in facts:
        try:
            identifier_in(fact.numbering, fact.site_id, fact.sample_id)
        except UnreadableValue as error:
            faults.append(f"  sample '{fact.sample_id}' of site '{fact.site_id}': {error}")
    if faults:
        more = f"\n  and {len(faults) - 5} more" if len(faults) > 5 else ""
        listed = "\n".join(faults[:5]) + more
        raise TreenailError(f"nothing was printed, for these cannot be told by a label:\n{listed}")
