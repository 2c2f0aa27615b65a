"""Finding the hole that a worn plug belongs to."""

from __future__ import annotations

import math

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError, UnreadableValue, UnusableInput
from provenance._catalogue.plugs import gather_plugs, index_plugs, stored_plugs
from provenance._cli.locating import locate as locate_command
from provenance._identity.locate import locate_plug
from provenance._identity.plug_fit import Seen
from tests.builders import a_package, pack_bundle


def a_site_with(folder, *stamps, **plug):
    builder = a_package(folder).with_chain()
    for number in stamps:
        builder.with_row("sample", sample_id=number)
        builder.with_row("plug", plug_id=f"P-{number}", sample_id=number, stamp=number, **plug)
    return builder.package


def test_the_plug_that_reads_so_comes_first_with_its_reasons(tmp_path) -> None:
    package = a_site_with(tmp_path, "452", "477")
    found = locate_plug(gather_plugs(package.folder), "4?2")
    first = found.candidates[0]
    assert first.plug.sample_id == "452"
    assert first.plug.where == "North house"
    assert first.probability > 0.9
    assert "seen the right way up" in first.why


def test_all_probabilities_and_that_of_no_record_add_up_to_one(tmp_path) -> None:
    package = a_site_with(tmp_path, "452", "477", "168")
    found = locate_plug(gather_plugs(package.folder), "1?8")
    assert math.isclose(sum(c.probability for c in found.candidates) + found.unrecorded, 1)


@pytest.fixture(scope="module")
def three_plugs(tmp_path_factory):
    return gather_plugs(a_site_with(tmp_path_factory.mktemp("three"), "452", "477", "168").folder)


@settings(max_examples=60)
@given(reading=st.text("0123456789AEIlLOSZhxz?._-[]", min_size=1, max_size=30))
@example(reading="sample_id")
def test_whatever_is_read_is_a_sentence_or_probabilities_that_add_up(three_plugs, reading) -> None:
    """Also what is longer than any number that is struck, which no plug explains."""
    try:
        found = locate_plug(three_plugs, reading)
    except UnreadableValue:
        return
    total = sum(one.probability for one in found.candidates) + found.unrecorded
    assert math.isclose(total, 1), reading


def test_a_number_of_no_record_is_said_to_be_so_and_the_nearest_named(tmp_path) -> None:
    package = a_site_with(tmp_path, "452", "477")
    found = locate_plug(gather_plugs(package.folder), "8063")
    assert found.none_fits
    assert found.candidates


def test_what_else_is_seen_tells_equal_stamps_apart(tmp_path) -> None:
    one = a_site_with(tmp_path / "a", "452", dowel_mm="12.7")
    two = a_site_with(tmp_path / "b", "452", dowel_mm="22.2")
    plugs = gather_plugs(tmp_path)
    found = locate_plug(plugs, "452", Seen(dowel_mm=22.0, place="north house", species="PIPO"))
    assert found.candidates[0].plug.source == str(two.folder)
    assert found.candidates[1].plug.source == str(one.folder)
    assert "not as you measured" in " ".join(found.candidates[1].why)


def test_wood_of_the_same_genus_half_fits(tmp_path) -> None:
    package = a_site_with(tmp_path, "452")
    plugs = gather_plugs(package.folder)
    genera = {"PIPO": "Pinus", "PISP": "Pinus", "QUSP": "Quercus"}

    def chance(species):
        return locate_plug(plugs, "4?2", Seen(species=species), genera=genera).unrecorded

    assert chance("PIPO") < chance("PISP") < chance("QUSP")


def test_wood_is_told_by_its_name_and_a_place_by_its_kind(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("place", place_id="B2", parent_place_id="B1", name="Top", kind="loft")
    builder.with_row("element", element_id="E", place_id="B2", species_field="QUAL")
    builder.with_row("sample", sample_id="237", element_id="E")
    package = builder.with_row("plug", plug_id="P-237", sample_id="237", stamp="237").package
    plugs, genera = gather_plugs(package.folder), {"QUAL": "Quercus", "QUSP": "Quercus"}
    for seen, why in (
        (Seen(species="oak"), "wood recorded as QUAL"),
        (Seen(place="Attic"), "is in Attic"),
        (Seen(place="b2"), "is in b2"),
    ):
        found = locate_plug(plugs, "23?", seen, genera=genera)
        assert (found.candidates[0].plug.stamp, why in found.candidates[0].why) == ("237", True)
        assert found.unrecorded < locate_plug(plugs, "23?").unrecorded
    assert found.notes == ()
    assert "taken for QUSP" in locate_plug(plugs, "23?", Seen(species="Oak")).notes[0]


def test_a_place_or_wood_that_nobody_knows_is_said_and_changes_nothing(tmp_path) -> None:
    plugs = gather_plugs(a_site_with(tmp_path, "237").folder)
    plain = locate_plug(plugs, "23?")
    found = locate_plug(plugs, "23?", Seen(place="Noth hous", species="balsa wood"))
    assert (found.candidates, found.unrecorded) == (plain.candidates, plain.unrecorded)
    place, wood = found.notes
    assert "no record here has a place 'Noth hous'" in place
    assert "north house" in place
    assert "balsa wood" in wood


def test_a_reserved_number_without_plug_is_told_of(tmp_path) -> None:
    """From the package, an index and a bundle alike; a number whose plug is recorded is no news."""
    builder = a_package(tmp_path / "a").with_chain()
    for number in ("322", "231"):
        row = {"site_id": "HOLL", "crew": "north", "reserved_on": "2024-05-02"}
        builder.with_bare_row("reservation", sample_id=number, orientation_mark="none", **row)
    package = builder.package
    plugs = gather_plugs(package.folder)
    found = locate_plug(plugs, "322")
    best = found.candidates[0]
    assert (best.plug.stamp, best.plug.status) == ("322", "reserved")
    assert "given to the north crew, no plug recorded" in best.why
    assert (found.searched, found.reserved) == (1, 1)
    assert locate_plug(plugs, "231").candidates[0].plug.status == "in_place"
    index_plugs(tmp_path, tmp_path / "index.sqlite")
    assert locate_plug(stored_plugs(tmp_path / "index.sqlite"), "322") == found
    pack_bundle(package, tmp_path / "b.zip", zipped=True)
    shown = CliRunner().invoke(locate_command, [str(tmp_path), "322"])
    assert "a number reserved for HOLL" in shown.output
    assert "1 recorded plugs and 1 reserved numbers" in shown.output
    # an older record does not know yet what a newer one has
    newer = a_site_with(tmp_path / "c", "322")
    both = locate_plug([*plugs, *gather_plugs(newer.folder)], "322")
    assert both.reserved == 0
    assert both.candidates[0].plug.plug_id == "P-322"


def test_a_record_of_an_older_model_is_searched_as_well(tmp_path) -> None:
    """One without the table of reserved numbers, whose places are of no kind."""
    package = a_site_with(tmp_path, "322")
    package.table_path("reservation").unlink()
    package.table_path("place").write_text("place_id,name\nB1,North house\n", "utf-8")
    found = locate_plug(gather_plugs(package.folder), "322", Seen(place="North house"))
    assert found.candidates[0].plug.where == "North house"
    assert (found.reserved, found.notes) == (0, ())


def test_digits_that_may_have_been_exchanged_are_named(tmp_path) -> None:
    package = a_site_with(tmp_path, "207", "270")
    found = locate_plug(gather_plugs(package.folder), "270")
    assert (found.candidates[0].plug.stamp, found.exchanged) == ("270", ("207",))
    assert "if two digits were swapped" in found.candidates[1].why
    shown = CliRunner().invoke(locate_command, [str(package.folder), "270"])
    assert "or digits exchanged: 207" in shown.output


def test_a_hyphen_makes_a_label_only_of_what_can_be_one(tmp_path) -> None:
    package = a_site_with(tmp_path, "207", "20", "A12")
    plugs = gather_plugs(package.folder)
    for text, stamp in (("2-07", "207"), ("2–07", "207"), ("A-12", "A12"), ("2-?7", "207")):
        assert locate_plug(plugs, text).candidates[0].plug.stamp == stamp, text
    for text in ("20-7", "X-207", "HOLL-999", "207-A"):
        with pytest.raises(TreenailError):
            locate_plug(plugs, text)


def test_a_lost_plug_is_less_likely_to_be_met(tmp_path) -> None:
    package = a_site_with(tmp_path, "452")
    package = a_package(tmp_path / "b").with_chain()
    package.with_row("sample", sample_id="452").with_row("sample", sample_id="457")
    package.with_row("plug", plug_id="A", sample_id="452", stamp="452", status="lost")
    package.with_row("plug", plug_id="B", sample_id="457", stamp="457")
    found = locate_plug(gather_plugs(package.package.folder), "45?")
    assert [c.plug.stamp for c in found.candidates[:2]] == ["457", "452"]
    assert "recorded as lost" in found.candidates[1].why


def test_a_loop_of_places_ends_the_walk(tmp_path) -> None:
    package = a_package(tmp_path).with_chain()
    package.with_row("place", place_id="B2", parent_place_id="B3", name="Yard")
    package.with_row("place", place_id="B3", parent_place_id="B2", name="Shed")
    package.with_row("element", element_id="E", place_id="B2")
    package.with_row("sample", sample_id="9", element_id="E")
    package.with_row("plug", plug_id="P-9", sample_id="9", stamp="9")
    assert gather_plugs(package.package.folder)[-1].where == "Yard, Shed"


def test_an_index_is_not_read_again_until_a_source_changes(tmp_path, monkeypatch) -> None:
    a_site_with(tmp_path / "a", "452")
    index = tmp_path / "index.sqlite"
    assert index_plugs(tmp_path, index) == {}
    assert [plug.stamp for plug in stored_plugs(index)] == ["231", "452"]
    monkeypatch.setattr(
        "provenance._catalogue.build.read_entry", lambda path, symbols: pytest.fail("read")
    )
    index_plugs(tmp_path, index)
    monkeypatch.undo()
    a_site_with(tmp_path / "b", "477")
    index_plugs(tmp_path, index)
    assert len(stored_plugs(index)) == 4


def test_the_index_and_a_fresh_look_give_the_same_answer(tmp_path) -> None:
    a_site_with(tmp_path / "a", "452", "168")
    index = tmp_path / "index.sqlite"
    index_plugs(tmp_path, index)
    assert locate_plug(stored_plugs(index), "1?8") == locate_plug(gather_plugs(tmp_path), "1?8")


def test_a_vanished_source_keeps_its_plugs(tmp_path) -> None:
    import shutil

    package = a_site_with(tmp_path / "a", "452")
    a_site_with(tmp_path / "b", "477")
    index = tmp_path / "index.sqlite"
    index_plugs(tmp_path, index)
    shutil.rmtree(package.folder)
    index_plugs(tmp_path, index)
    assert "452" in [plug.stamp for plug in stored_plugs(index)]


def test_a_source_that_cannot_be_read_is_named(tmp_path) -> None:
    package = a_site_with(tmp_path / "a", "452")
    package.table_path("plug").write_bytes(b"plug_id,stamp\n\xff\xfe,1\n")
    unreadable = index_plugs(tmp_path, tmp_path / "index.sqlite")
    assert "plug.csv" in unreadable[str(package.folder)]
    with pytest.raises(UnusableInput, match=r"plug\.csv: row 2 has bytes that are not UTF-8"):
        gather_plugs(tmp_path)


def test_one_source_that_cannot_be_read_does_not_hide_the_others(tmp_path) -> None:
    package = a_site_with(tmp_path / "a", "452")
    a_site_with(tmp_path / "b", "477")
    package.table_path("plug").write_bytes(b"plug_id,stamp\n\xff\xfe,1\n")
    unreadable: dict[str, str] = {}
    assert "477" in [plug.stamp for plug in gather_plugs(tmp_path, unreadable=unreadable)]
    assert list(unreadable) == [str(package.folder)]
    with pytest.raises(UnusableInput, match=r"plug\.csv: row 2 has bytes that are not UTF-8"):
        gather_plugs(package.folder, unreadable={})


def test_copies_of_one_record_count_once(tmp_path) -> None:
    """A bundle beside the package it was packed from does not make its plugs likelier."""
    package = a_site_with(tmp_path / "a", "452", "168")
    alone = locate_plug(gather_plugs(tmp_path), "45?")
    pack_bundle(package, tmp_path / "b.zip", zipped=True)
    found = locate_plug(gather_plugs(tmp_path), "45?")
    assert found.searched == alone.searched
    assert found.candidates[0].probability == alone.candidates[0].probability
    assert found.candidates[0].copies == (str(tmp_path / "b.zip"),)
    assert [one.plug for one in found.candidates] == [one.plug for one in alone.candidates]


def test_an_encrypted_bundle_is_said_to_be_so(tmp_path) -> None:
    bundle = pack_bundle(a_site_with(tmp_path / "a", "452"), tmp_path / "b.zip", zipped=True)
    raw = bytearray(bundle.read_bytes())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        place = -1
        while (place := raw.find(mark, place + 1)) >= 0:
            raw[place + at] |= 1
    bundle.write_bytes(raw)
    with pytest.raises(UnusableInput, match="is encrypted"):
        gather_plugs(bundle)


def test_a_file_that_is_no_index_is_refused(tmp_path) -> None:
    (tmp_path / "index.sqlite").write_text("no database")
    with pytest.raises(TreenailError, match="remove it"):
        stored_plugs(tmp_path / "index.sqlite")


def test_a_folder_without_packages_is_refused(tmp_path) -> None:
    with pytest.raises(UnusableInput, match="neither a package"):
        gather_plugs(tmp_path)


def test_text_of_the_record_cannot_steer_the_terminal(tmp_path) -> None:
    builder = a_package(tmp_path).with_chain()
    builder.with_row("place", place_id="B2", name="Shed\x1b[31m\nforged line")
    builder.with_row("element", element_id="B2-001", place_id="B2")
    builder.with_row("sample", sample_id="452", element_id="B2-001")
    package = builder.with_row("plug", plug_id="P-452", sample_id="452", stamp="452").package
    found = CliRunner().invoke(locate_command, [str(package.folder), "452"])
    assert found.exit_code == 0
    assert "Shed⟨U+001B⟩[31m forged line" in found.output


def test_a_code_of_wood_that_nobody_knows_is_said(tmp_path) -> None:
    package = a_package(tmp_path).with_chain().package
    told = CliRunner().invoke(locate_command, [str(package.folder), "231", "--wood", "PISX"])
    assert "has the wood PISX" in told.stderr
    assert "did you mean PIS" in told.stderr
    known = CliRunner().invoke(locate_command, [str(package.folder), "231", "--wood", "PISY"])
    assert known.stderr == ""
