"""The heart of the public edition: whatever is withheld is in none of its bytes, in no spelling."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.stand_ins import FULL_ONLY
from provenance._bundle.verify import verify_bundle
from provenance._checks.check import check_package
from provenance._record.package import Package
from tests.builders import pack_bundle, unpack_bundle
from tests.bundle.redaction.searching import Haystack, Searched
from tests.bundle.redaction.seeding import (
    HARMLESS,
    OTHER_KEYS,
    UNREAD_CODE,
    Markers,
    a_seeded_package,
    review_all,
)


@dataclass(frozen=True)
class Seeded:
    """The package, its markers, and the folder with the editions below."""

    package: Package
    markers: Markers
    folder: Path
    kept: int

    def found_in(self, public: Haystack, texts: dict[str, str]) -> dict[str, list[str]]:
        """The seeded texts and numbers that an edition holds, and where."""
        return {
            f"{where}: {text}": places
            for text, where in texts.items()
            if (places := public.of_text(text))
        } | {
            f"{where}: {number}": places
            for number, where in self.markers.numbers.items()
            if (places := public.of_number(number))
        }


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Seeded:
    """With 'public' and 'full', which nobody reviewed, and 'public.zip', for which all was released
    that can be in a hurry."""
    folder = tmp_path_factory.mktemp("seeded")
    package, markers = a_seeded_package(folder)
    pack_bundle(package, folder / "full")
    pack(package, folder / "public", edition=PUBLIC)
    kept = review_all(package, markers)
    pack(package, folder / "public.zip", zipped=True, edition=PUBLIC)
    return Seeded(package, markers, folder, kept)


@pytest.fixture(scope="module")
def searched(seeded: Seeded) -> dict[str, Haystack]:
    return {name: Haystack(seeded.folder / name) for name in ("full", "public", "public.zip")}


def test_every_sensitive_field_of_every_table_is_seeded(seeded: Seeded) -> None:
    markers = seeded.markers
    placed = {*markers.texts.values(), *markers.numbers.values()}
    for table, one in seeded.package.model.every_field():
        links = {name for key in table.foreign_keys for name in key.fields}
        # what was reviewed is other texts of the record, and who did it
        is_full_only = table.role == "review" or table.name in FULL_ONLY
        if not is_full_only and one.sensitivity != "open" and one.name not in links:
            assert f"{table.name}.{one.name}" in placed


def test_what_only_a_person_can_judge_is_seeded_beside_it(seeded: Seeded) -> None:
    placed = {*seeded.markers.unread.values()}
    # the other tables have one row, which tells all that is withheld
    for name in OTHER_KEYS:
        assert not {f"{name}.{one}" for one in ("notes", "title", "questions")}.isdisjoint(placed)
    assert {"a key", "a code of a list", "a title of a field", "a file of data", "file.title",
            "datapackage.keywords", "datapackage.relatedIdentifiers"} <= placed  # fmt: skip


def test_the_search_finds_every_marker_in_the_full_edition(
    seeded: Seeded, searched: dict[str, Haystack]
) -> None:
    """Else the tests below could not fail."""
    every = {**seeded.markers.texts, **seeded.markers.unread}
    every = {text: where for text, where in every.items() if not where.startswith("review.")}
    full = searched["full"]
    assert [where for text, where in every.items() if not full.of_text(text)] == []
    numbers = seeded.markers.numbers
    assert [where for number, where in numbers.items() if not full.of_number(number)] == []


def test_nothing_seeded_is_anywhere_in_an_edition_that_nobody_reviewed(
    seeded: Seeded, searched: dict[str, Haystack]
) -> None:
    every = {**seeded.markers.texts, **seeded.markers.unread}
    found = seeded.found_in(searched["public"], every)
    print(
        f"seeded: {len(seeded.markers.texts)} withheld texts, {len(seeded.markers.numbers)} "
        f"numbers, {len(seeded.markers.unread)} unread texts; found in public: {len(found)}"
    )
    assert found == {}


def test_what_is_withheld_is_nowhere_even_where_all_was_released_in_a_hurry(
    seeded: Seeded, searched: dict[str, Haystack]
) -> None:
    found = seeded.found_in(searched["public.zip"], seeded.markers.texts)
    print(
        f"released all but {seeded.kept} texts with findings; of {len(seeded.markers.texts)} "
        f"withheld texts and {len(seeded.markers.numbers)} numbers found in public: {len(found)}"
    )
    assert seeded.kept > 20
    assert found == {}
    review = seeded.package.tables
    assert set(review.column("review", "by")) < seeded.markers.texts.keys()
    # and what was released is there, so that it was no empty edition that was searched
    there = [t for t in seeded.markers.unread if searched["public.zip"].of_text(t)]
    assert len(there) > len(seeded.markers.unread) / 2


@pytest.mark.parametrize("name", ["public", "public.zip"])
def test_it_is_sound_and_the_check_finds_nothing_that_the_full_edition_has_not(
    seeded: Seeded, name: str, tmp_path: Path
) -> None:
    assert verify_bundle(seeded.folder / name).sound
    unpacked = unpack_bundle(seeded.folder / name, tmp_path / "unpacked")
    assert {one.rule for one in check_package(unpacked)} <= {
        one.rule for one in check_package(seeded.package)
    }


def test_what_was_open_is_still_there(seeded: Seeded, searched: dict[str, Haystack]) -> None:
    """A search that finds nothing in an empty edition would prove nothing."""
    for text in ("B1-014", "1781", "Tarn Store", "Crew lead ", "Owner "):
        assert searched["public"].of_text(text), text
    # 2.64157 was computed from a file that was released
    for text in (HARMLESS, "2 nails, 1 peg", "year width", "2.64157"):
        assert not searched["public"].of_text(text)
        assert searched["public.zip"].of_text(text), text
    # a code that was released with its list stands in the cells too
    assert any("tables/place.csv" in one for one in searched["public.zip"].of_text(UNREAD_CODE))
    reviewed = unpack_bundle(seeded.folder / "public.zip", seeded.folder / "opened").folder
    assert len(list((reviewed / "files").glob("*.jpg"))) == 4
    assert not list((seeded.folder / "public" / "data" / "files").glob("*"))


@settings(max_examples=30)  # each makes two maps
@given(st.binary(max_size=40), st.binary(min_size=1, max_size=12), st.lists(st.binary(min_size=1)))
def test_the_search_misses_nothing_that_stands_somewhere(
    before: bytes, wanted: bytes, others: list[bytes]
) -> None:
    raw = before + wanted + before
    spellings = [wanted, *others]
    assert Searched(raw).those_in_it(spellings).count(wanted) == spellings.count(wanted)
    assert set(Searched(raw).those_in_it(spellings)) == {one for one in spellings if one in raw}


def test_a_whole_number_is_found_alone_and_not_in_a_longer_one(tmp_path: Path) -> None:
    """A size that begins with the digits of a marker would else fail the search by chance."""
    for text, found in (
        ("of 326144 bytes", 0), ("132614", 0), ("EPSG:32614", 1), ("32614.0", 1), ("x,32614\n", 1),
        ("32614 and 326144", 1), ("3.2614e4", 1),
    ):  # fmt: skip
        (tmp_path / "told.txt").write_text(text, encoding="utf-8")
        assert len(Haystack(tmp_path).of_number("32614")) == found, text
