"""What a package holds that its public edition must withhold."""

from __future__ import annotations

from pathlib import Path

import pytest

from provenance._bundle.redaction.gathering import gather_known
from provenance._bundle.redaction.masking import Masker
from tests.builders import a_package


@pytest.fixture(scope="module")
def masker(tmp_path_factory: pytest.TempPathFactory) -> Masker:
    builder = a_package(tmp_path_factory.mktemp("gathered")).with_chain()
    builder.with_bare_row("party", party_id="XY", kind="person", name="Io Tey of Quen Vale")
    builder.with_row("datum", x_m="310000", y_m="-9999.9", z_m="3")
    builder.with_row("datum", datum_id="D2", x_m="-110000", y_m="9999.9", z_m="4")
    site = builder.package.table("site")
    site["access_notes"] = "the key is at Low Gate, Farm Lane, Brackenhurst; ask there"
    builder.package.write_table("site", site)
    return gather_known(builder.package).masker


@pytest.mark.parametrize(
    ("withheld", "open_"),
    [
        # a coordinate from ten thousand on is one of a map, whatever its sign
        ("grid 310001", "grid 330001"),
        ("grid 110001", "grid 10000"),
        # a word of a name counts from two letters on, and with its capital
        ("Tey was here", "io was here"),
        ("Io was here", "was here"),
        ("Quen was here", "of was here"),
        # a part of a longer text stands alone from two words and eight letters on
        ("at Farm Lane", "at Low Gate"),
        ("at Farm Lane", "at Brackenhurst"),
        ("ask XY", "ask YX"),
    ],
)
def test_what_is_withheld_is_told_from_what_is_too_short_or_too_small(
    masker: Masker, withheld: str, open_: str
) -> None:
    assert not masker.is_clean(withheld)
    assert masker.is_clean(open_)


def test_a_text_without_commas_is_withheld_only_as_a_whole(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    site = builder.package.table("site")
    site["access_notes"] = "Farm Lane Brackenhurst"
    builder.package.write_table("site", site)
    masker = gather_known(builder.package).masker
    assert masker.is_clean("at Farm Lane")
    assert not masker.is_clean("at Farm Lane, Brackenhurst")


@pytest.mark.parametrize("largest", ["9999.9", "10000"])
def test_ten_thousand_metres_are_a_map_and_a_little_less_is_a_site(
    tmp_path: Path, largest: str
) -> None:
    builder = a_package(tmp_path).with_chain().with_row("datum", x_m=largest, y_m="0")
    place = builder.package.table("place")
    place["outline"] = f"0 0, {largest} 0, 5 5"
    builder.package.write_table("place", place)
    masker = gather_known(builder.package).masker
    assert masker.is_clean("grid 10002") is (largest == "9999.9")


def test_people_and_numbers_are_found_however_they_are_written(tmp_path: Path) -> None:
    """Every hit says in which field the value is withheld, and a code becomes its stand-in."""
    builder = a_package(tmp_path).with_chain()
    builder.with_bare_row(
        "party", party_id="JMR", kind="person", name="Jorunn Møllegard",
        postal_address="12 Quern Lane, TB4 7QX Tarnby",
    )  # fmt: skip
    site = builder.package.table("site")
    site["permit_number"], site["elevation_m"] = "4471", "1871.93"
    site["access_notes"] = "gate code 0417; telephone 01632 960417"
    builder.package.write_table("site", site)
    masker = gather_known(builder.package).masker
    found = {
        "mollegard, jorunn": "a name that is withheld",
        "J.M. held it": "initials of someone not named",
        "JMR held it": "the code of someone not named",
        "Quern Lane 12": "a text withheld in party.postal_address",
        "tb47qx": "a text withheld in party.postal_address",
        "44 71": "a number withheld in site.permit_number",
        "0417#": "a number withheld in site.access_notes",
        "+44 1632 960417": "a number withheld in site.access_notes",
        "1.871,93 m": "a number withheld in site.elevation_m",
        "1872 m": "a number withheld in site.elevation_m",
        "to q@post.example": "an e-mail address",
        "+44 1632 960001": "a telephone number",
    }
    for (text, what), hits in zip(found.items(), masker.hits(list(found)), strict=True):
        assert what in {hit.what for hit in hits}, text
    stand_in = masker.mask("JMR")
    assert stand_in not in ("JMR", "[withheld]")
    assert masker.mask("JMR, j.m.r. and J. Møllegard") == f"{stand_in}, {stand_in} and [withheld]"
    for text in ("felled 1871", "plug 417", "4471 mm", "12 lanes"):
        assert masker.is_clean(text), text
