"""The heart of the public edition: whatever is withheld is in none of its bytes, in no spelling."""

from __future__ import annotations

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
from tests.bundle.redaction.seeding import Markers, a_seeded_package


@pytest.fixture(scope="module")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Package, Markers, Path]:
    """The package, its markers, and a folder with 'full', 'public' and 'public.zip'."""
    folder = tmp_path_factory.mktemp("seeded")
    package, markers = a_seeded_package(folder)
    pack_bundle(package, folder / "full")
    pack(package, folder / "public", edition=PUBLIC)
    pack(package, folder / "public.zip", zipped=True, edition=PUBLIC)
    return package, markers, folder


@pytest.fixture(scope="module")
def searched(seeded: tuple[Package, Markers, Path]) -> dict[str, Haystack]:
    return {name: Haystack(seeded[2] / name) for name in ("full", "public", "public.zip")}


def test_every_sensitive_field_of_every_table_is_seeded(
    seeded: tuple[Package, Markers, Path],
) -> None:
    package, markers, _ = seeded
    placed = {*markers.texts.values(), *markers.numbers.values()}
    for table, one in package.model.every_field():
        links = {name for key in table.foreign_keys for name in key.fields}
        if one.sensitivity != "open" and one.name not in links and table.name not in FULL_ONLY:
            assert f"{table.name}.{one.name}" in placed


def test_the_search_finds_every_marker_in_the_full_edition(
    seeded: tuple[Package, Markers, Path], searched: dict[str, Haystack]
) -> None:
    """Else the test below could not fail."""
    _, markers, _ = seeded
    full = searched["full"]
    assert [where for text, where in markers.texts.items() if not full.of_text(text)] == []
    assert [where for number, where in markers.numbers.items() if not full.of_number(number)] == []


@pytest.mark.parametrize("name", ["public", "public.zip"])
def test_no_marker_is_anywhere_in_the_public_edition(
    seeded: tuple[Package, Markers, Path], searched: dict[str, Haystack], name: str
) -> None:
    _, markers, _ = seeded
    public = searched[name]
    found = {
        f"{where}: {text}": places
        for text, where in markers.texts.items()
        if (places := public.of_text(text))
    } | {
        f"{where}: {number}": places
        for number, where in markers.numbers.items()
        if (places := public.of_number(number))
    }
    assert found == {}


@pytest.mark.parametrize("name", ["public", "public.zip"])
def test_it_is_sound_and_the_check_finds_nothing_that_the_full_edition_has_not(
    seeded: tuple[Package, Markers, Path], name: str, tmp_path: Path
) -> None:
    package, _, folder = seeded
    assert verify_bundle(folder / name).sound
    unpacked = unpack_bundle(folder / name, tmp_path / "unpacked")
    assert {one.rule for one in check_package(unpacked)} <= {
        one.rule for one in check_package(package)
    }


def test_what_was_open_is_still_there(
    seeded: tuple[Package, Markers, Path], searched: dict[str, Haystack]
) -> None:
    """A search that finds nothing in an empty edition would prove nothing."""
    _, _, folder = seeded
    public = searched["public"]
    for text in ("B1-014", "1702p - 1781B", "Tarn Store", "Site 7"):
        assert public.of_text(text)
    assert (folder / "public" / "data" / "files" / "rings.txt").is_file()
    assert len(list((folder / "public" / "data" / "files").glob("*.jpg"))) == 3


@settings(max_examples=30)  # each makes two maps
@given(st.binary(max_size=40), st.binary(min_size=1, max_size=12), st.lists(st.binary(min_size=1)))
def test_the_search_misses_nothing_that_stands_somewhere(
    before: bytes, wanted: bytes, others: list[bytes]
) -> None:
    raw = before + wanted + before
    spellings = [wanted, *others]
    assert Searched(raw).those_in_it(spellings).count(wanted) == spellings.count(wanted)
    assert set(Searched(raw).those_in_it(spellings)) == {one for one in spellings if one in raw}
