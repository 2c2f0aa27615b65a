"""Many years of one record: consents come and go, rows and copies too, and editions go out.

What an attacker does is to lay all editions beside each other. A sample has the same number in all
of them, so whoever collected it is one person, under whatever code.
"""

from __future__ import annotations

import random
import re
import shutil
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.finding_aid.addresses import page_path
from provenance._bundle.pack import pack
from provenance._bundle.redaction.redact import redact
from provenance._bundle.redaction.remembering import Withdrawing, remember
from provenance._bundle.redaction.stand_ins import LETTERS, TABLE
from provenance._history.deciding import add, correct, decide, join, rename
from provenance._merging.merge import merge_packages
from provenance._record.package import Package, open_package
from tests.builders import a_package

NAMES = (
    "Mara Birkwood", "Odo Reedham", "Zoë Farrowgill", "Ilse Vantongle", "Tove Quarrington",
    "Ansel Pellworm", "Una Hartlewick", "Bram Oxlade",
)  # fmt: skip
"""All invented."""
TRACES = ("N3748W10851", "HollinGate", "HR-7")
"""Keys of places that tell where the place is, or abbreviate its name."""
YEARS = 26
SAID = "true"


@dataclass
class Edition:
    """What one edition shows: sample → code of who collected it, code → name, and all its words.

    `knows` are the numbers of the editions of which the package knew when it was packed.
    """

    collectors: dict[str, str]
    names: dict[str, str]
    words: str
    knows: frozenset[int]


@dataclass
class Copy:
    """One copy of the record, with what people did in it."""

    folder: Path
    knows: set[int] = field(default_factory=set)

    @property
    def package(self) -> Package:
        return open_package(self.folder)

    def code_of(self, person: str) -> str:
        parties = self.package.table("party")
        return str(parties.loc[parties["notes"] == f"no. {person}", "party_id"].iloc[0])


class Years:
    """The record and its copies, who collected what in truth, and the editions that went out."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.chance = folder, random.Random(seed)
        builder = a_package(folder / "begun").with_chain()
        for number, name in enumerate(NAMES[2:5], start=2):
            self._party(builder, number, name)
        self.people = dict(enumerate(NAMES[:5]))
        self.people[0], self.people[1] = NAMES[0], NAMES[1]
        package = builder.package
        for code, number in (("MB", 0), ("OWN", 1)):
            decide(package, correct("party", code, {"notes": f"no. {number}"}), who="IV")
        for trace in TRACES:
            cells = {"place_id": trace, "site_id": "HOLL", "kind": "room", "parent_place_id": "B1"}
            decide(package, add("place", cells), who="IV")
        self.copies = [Copy(package.folder)]
        self.collected = {"231": 0}
        self.editions: list[Edition] = []

    def _party(self, builder: object, number: int, name: str) -> None:
        code = "".join(word[0] for word in name.split())
        builder.with_bare_row(  # type: ignore[attr-defined]
            "party", party_id=code, kind="person", name=f"{name} (invented)", notes=f"no. {number}"
        )

    # -- what happens in a year ------------------------------------------------------------------

    def live(self) -> None:
        """One thing happens in one of the copies."""
        copy = self.chance.choice(self.copies)
        what = self.chance.choices(
            (self.consent, self.collect, self.come, self.call, self.part, self.merge, self.issue),
            (5, 5, 1, 2, 1, 2, 5),
        )[0]
        what(copy)

    def consent(self, copy: Copy) -> None:
        code = copy.code_of(str(self.chance.choice(list(self.people_in(copy)))))
        said = copy.package.table("party").set_index("party_id").loc[code, "may_be_named"]
        new = "false" if said == SAID else SAID
        decide(copy.package, correct("party", code, {"may_be_named": new}), who="IV")

    def collect(self, copy: Copy) -> None:
        person = self.chance.choice(list(self.people_in(copy)))
        sample = str(300 + len(self.collected))
        self.collected[sample] = person
        cells = {"sample_id": sample, "site_id": "HOLL", "element_id": "B1-014", "kind": "core"}
        cells["collected_by"] = copy.code_of(str(person))
        decide(copy.package, add("sample", cells), who="IV")

    def come(self, copy: Copy) -> None:
        """Somebody new, whose code stands before others in the order of rows."""
        if len(self.people) == len(NAMES):
            return
        number, name = len(self.people), NAMES[len(self.people)]
        self.people[number] = name
        cells = {"party_id": "".join(word[0] for word in name.split()), "kind": "person"}
        cells |= {"name": f"{name} (invented)", "notes": f"no. {number}"}
        decide(copy.package, add("party", cells), who="IV")

    def call(self, copy: Copy) -> None:
        """Somebody gets another code, by an act or by hand."""
        person = self.chance.choice(list(self.people_in(copy)))
        code = copy.code_of(str(person))
        new = f"{code[:2]}{self.chance.randrange(10_000)}"
        decide(copy.package, rename("party", code, new), who="IV")

    def part(self, copy: Copy) -> None:
        if len(self.copies) < 3:
            there = self.folder / f"copy-{len(list(self.folder.iterdir()))}"
            self.copies.append(Copy(shutil.copytree(copy.folder, there), set(copy.knows)))

    def merge(self, copy: Copy) -> None:
        others = [one for one in self.copies if one is not copy]
        if others:
            other = self.chance.choice(others)
            merge_packages(copy.package, other.package, who="IV")
            copy.knows |= other.knows

    def issue(self, copy: Copy) -> None:
        """An edition goes out; the person says what becomes of those before where that is asked."""
        known = remember(copy.package, Withdrawing({}, "they asked")).known
        there = self.folder / f"edition-{len(self.editions)}"
        public = redact(known.package, there, known=known).package
        self.editions.append(edition_of(public, frozenset(copy.knows)))
        copy.knows.add(len(self.editions) - 1)

    def people_in(self, copy: Copy) -> Iterator[int]:
        for notes in copy.package.table("party")["notes"]:
            if match := re.fullmatch(r"no\. (\d+)", notes):
                yield int(match[1])


def edition_of(public: Package, knows: frozenset[int]) -> Edition:
    samples, parties = public.table("sample"), public.table("party")
    words = [path.read_text("utf-8") for path in (public.folder / "tables").glob("*.csv")]
    words += [
        page_path(table, key)
        for table in ("place", "element", "sample")
        for key in public.table(table)[f"{table}_id"]
    ]
    return Edition(
        dict(zip(samples["sample_id"], samples["collected_by"], strict=True)),
        dict(zip(parties["party_id"], parties["name"], strict=True)),
        "\n".join(words),
        knows,
    )


def is_stand_in(code: str) -> bool:
    return bool(re.fullmatch(f"[{LETTERS}]{{5}}", code))


@pytest.mark.parametrize("seed", [2031])
def test_no_editions_of_any_years_tell_together_who_a_stand_in_is(
    tmp_path: Path, seed: int
) -> None:
    """Every seed holds; with this one the test fails if any of the three rules is broken:

    who was named is blank, a stand-in is kept, a key that tells has one.
    """
    years = Years(tmp_path, seed)
    for _ in range(YEARS):
        years.live()
    while len(years.editions) < 4:
        years.issue(years.chance.choice(years.copies))
    people_of: dict[str, set[int]] = defaultdict(set)
    named_in: dict[int, set[int]] = defaultdict(set)
    shown_in: dict[int, dict[int, str]] = defaultdict(dict)
    for number, edition in enumerate(years.editions):
        for sample, code in edition.collectors.items():
            person = years.collected[sample]
            if is_stand_in(code):
                people_of[code].add(person)
                # one stand-in a person in an edition
                assert shown_in[number].setdefault(person, code) == code
            elif code:
                assert years.people[person] in edition.names[code]
                named_in[number].add(person)
        hidden = [
            name
            for name in years.people.values()
            if not any(name in shown for shown in edition.names.values())
        ]
        for name in hidden:
            first, last = name.split()
            telling = rf"\b{first[0]}{last[0]}\d*\b|{first}|{last}"
            assert re.findall(telling, edition.words) == [], (number, name)
        for trace in (*TRACES, "Hollin", "HOLL"):
            assert not re.search(rf"\b{trace}\b", edition.words), (number, trace)

    # a stand-in is one person's, in whichever copy it was drawn
    assert {code: who for code, who in people_of.items() if len(who) > 1} == {}
    for number, edition in enumerate(years.editions):
        before = sorted(edition.knows)
        for person, code in shown_in[number].items():
            # nobody whom a known edition named is a stand-in again: the two would tell who it is
            assert not [one for one in before if person in named_in[one]], (number, person)
            # and nobody changes it, but for an older one that came with another copy
            others = {shown_in[one][person] for one in before if person in shown_in[one]}
            assert code in others or not others, (number, person)
        # in one edition a person is named, a stand-in, or blank: never two of them
        assert not named_in[number] & shown_in[number].keys()


def test_one_person_under_two_codes_keeps_the_older_stand_in(tmp_path: Path) -> None:
    """And is blank under both, once the one or the other was named."""
    builder = a_package(tmp_path / "record").with_chain()
    builder.with_bare_row("party", party_id="XB", kind="person", name="M. Birkwood (invented)")
    builder.with_row("sample", sample_id="232", collected_by="XB")
    remember(builder.package)
    stood = builder.package.table(TABLE).set_index("row_key")["name"]
    decide(open_package(builder.package.folder), join("party", "XB", "MB"), who="IV")
    known = remember(builder.package).known
    assert known.people.codes["MB"] == min(stood["MB"], stood["XB"])
    for said in ("true", "false"):
        decide(builder.package, correct("party", "MB", {"may_be_named": said}), who="IV")
    pack(builder.package, tmp_path / "b", edition=PUBLIC, withdrawing=Withdrawing({}, ""))
    samples = open_package(tmp_path / "b" / "data").table("sample")
    assert set(samples["collected_by"]) == {""}
