"""A file name links a picture only where no camera could have written it."""

from __future__ import annotations

from pathlib import Path, PurePath

import pytest

from provenance._identity.identifier import checked_identifier
from provenance._intake.photos.names import Names
from provenance._intake.photos.subjects import Subject, Subjects
from tests.builders import a_package

CORE, BEAM = Subject("sample", "231"), Subject("element", "B1-014")


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> Names:
    builder = a_package(tmp_path_factory.mktemp("names")).with_chain()
    for number in ("12", "7A1", "1011"):
        builder.with_row("sample", sample_id=number)
    builder.with_row("element", element_id="B1-0145").with_row("element", element_id="BEAM")
    return Names(Subjects(builder.package.tables))


@pytest.mark.parametrize(
    ("name", "sure"),
    [
        ("HOLL-231_end.jpg", {CORE}),
        ("img_holl_231.jpg", {CORE}),
        (f"{checked_identifier('HOLL', '231')}.jpg", {CORE}),
        ("231_end.jpg", {CORE}),
        ("core 231.jpg", {CORE}),
        ("B1-014 north.jpg", {BEAM}),
        ("IMG_b1_014.jpg", {BEAM}),
        ("B1-0145.jpg", {Subject("element", "B1-0145")}),
        ("B1-01456.jpg", set()),
        ("7a1.jpg", {Subject("sample", "7A1")}),
        ("B1-014 HOLL-231.jpg", {BEAM, CORE}),
        ("B1-014/IMG_0001.jpg", {BEAM}),
        ("HOLL-231/20240604_101112.jpg", {CORE}),
        ("HOLL-231b.jpg", set()),
        ("north wall.jpg", set()),
    ],
)
def test_a_code_links_where_it_stands_whole(names: Names, name: str, sure: set[Subject]) -> None:
    reading = names.read(PurePath(name))
    assert (reading.sure, reading.doubtful, reading.trouble) == (sure, frozenset(), "")


@pytest.mark.parametrize(
    "name",
    ["IMG_231.jpg", "231.jpg", "DSC231.jpg", "231_copy.jpg", "100_0231.jpg", "231/IMG_0001.jpg",
     "12 north wall.jpg", "P1010231.jpg", "beam.jpg", "north wall 231.jpg",
     "20240604_101100.jpg", "2024-06-04 10.11.00 231.jpg",
     "0F3A9C1B-0231-4012-9231-231231231231.jpg"],
)  # fmt: skip
def test_a_number_that_a_camera_or_a_person_may_count_with_links_nothing(
    names: Names, name: str
) -> None:
    assert names.read(PurePath(name)).sure == frozenset()


def test_a_bare_number_is_asked(names: Names) -> None:
    assert names.read(PurePath("IMG_231.jpg")).doubtful == {CORE}


def test_no_counter_of_a_camera_links_whatever_numbers_the_record_has(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain(sample_id="1")
    path = builder.package.table_path("sample")
    row = path.read_text("utf-8").splitlines()[-1]
    with open(path, "a", encoding="utf-8") as stream:
        stream.writelines(f"{number}{row[1:]}\n" for number in range(2, 3000))
    names = Names(Subjects(builder.package.tables))
    forms = ("IMG_{}", "IMG_{:04}", "DSC{:05}", "DSC_{:04}", "{}", "{:04}", "100_{:04}",
             "P101{:04}", "IMG-20240604-WA{:04}", "photo {}", "IMG_{} (1)",
             "{}-edited")  # fmt: skip
    made = [PurePath(form.format(number)) for form in forms for number in range(1, 3000, 7)]
    assert [str(one) for one in made if names.read(one).sure] == []


def test_a_check_that_does_not_fit_is_said_and_the_likely_number_too(
    names: Names,
) -> None:
    for wrong in (checked_identifier("HOLL", "231")[:-1] + "X", "HOLL-231-X"):
        assert "does not fit its check" in names.read(PurePath(f"{wrong}.jpg")).trouble
    for right in ("HOLL-231-JV", "HOLL-231-H", "HOLL-231-ok"):
        assert names.read(PurePath(f"{right}.jpg")).trouble == ""
    # a small letter counts the pictures of one sample
    assert names.read(PurePath("HOLL-231-a.jpg")).sure == {CORE}


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("IMG_20240604_101112.jpg", "2024-06-04"),
        ("PXL_20240604_101112345.jpg", "2024-06-04"),
        ("IMG-20240604-WA0012.jpg", "2024-06-04"),
        ("2024-06-04 10.11.12.jpg", "2024-06-04"),
        ("north wall 2024-06-04.jpg", "2024-06-04"),
        ("20240604101112.jpg", "2024-06-04"),
        ("20240231.jpg", ""),
        ("04-06-2024.jpg", ""),
        ("1202406041.jpg", ""),
        ("2024-06-04 to 2024-06-05.jpg", ""),
    ],
)
def test_a_day_is_read_where_the_year_stands_in_front(names: Names, name: str, day: str) -> None:
    assert names.read(PurePath(name)).day == day


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("IMG_0042.jpg", ""),
        ("HOLL-231.jpg", ""),
        ("20240604_101112_edited.jpg", ""),
        ("HOLL-231_bark edge.jpg", "HOLL-231 bark edge"),
        ("IMG_0042 north wall.jpg", "north wall"),
        ("Nordwand_außen.jpg", "Nordwand außen"),
    ],
)
def test_the_title_is_what_a_person_wrote(names: Names, name: str, words: str) -> None:
    assert names.read(PurePath(name)).words == words
