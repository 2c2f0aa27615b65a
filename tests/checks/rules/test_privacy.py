"""What must not become public."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml

from provenance._checks.check import check_package
from tests.builders import a_package
from tests.checks.rules.record import a_sound_record, only

RULES = (
    "privacy.email_in_open_field",
    "privacy.phone_in_open_field",
    "privacy.coordinates_in_open_field",
    "privacy.person_in_open_field",
    "privacy.site_name_in_open_field",
)


def test_an_address_in_a_note_is_an_error() -> None:
    """RFC 2606 reserves example.org."""
    broken = a_sound_record().but("element", notes="ask mara.birkwood@mail.example.org first")
    only(broken.says(RULES[0]), "element 2 notes", "mara.birkwood@mail.example.org")


@pytest.mark.parametrize(
    "note",
    [
        "call 01632 960 001",
        "call +44 1632 960001",
        "tel. +441632960001",
        "(01632) 9600-01",
        "(505) 555-0142",
        "tel.505-555-0142",
    ],
)
def test_a_telephone_number_in_a_note_is_reported(note: str) -> None:
    """Ranges kept free for fiction: 01632 960 000-999 (Ofcom), 555-0100 to 0199 (NANPA); from
    memory. ITU-T E.164 for their length."""
    only(a_sound_record().but("sample", notes=note).says(RULES[1]), "sample 2 notes")


@pytest.mark.parametrize(
    "note",
    [
        "56.0123 N, 3.2104 E",
        "at 56.01234, 3.21043",
        "56° 12' 30\" north",
        "N 56° 12.345",
        "500123 E 6206123 N",
    ],
)
def test_coordinates_in_a_note_are_an_error(note: str) -> None:
    only(a_sound_record().but("place", notes=note).says(RULES[2]), "place 2 notes")


@pytest.mark.parametrize(
    "note",
    [
        "0.42: mortise; 1.10: nail",
        "rings 1702-1781, 0.85 mm wide",
        "sheet 0012 of 2024-06-04",
        "between 12.5 and 14.25 cm",
        "plugs 231 232 233 234 235",
        "0.125, 0.250, 0.375 m",
        "0.42 1.10 2.30",
        "drawing 12.75/14.25 N side",
        "inclined 45°, clock 3.5",
        "from 2024-06-03 to 2024-06-14 12:30",
    ],
)
def test_sizes_dates_and_numbers_give_nothing_away(note: str) -> None:
    sound = a_sound_record().but("element", notes=note, features=note)
    assert [sound.says(rule) for rule in RULES] == [[]] * len(RULES)


@pytest.mark.parametrize("note", ["held by Mara Birkwood", "MARA  BIRKWOOD's ladder"])
def test_a_persons_full_name_in_a_note_is_an_error(note: str) -> None:
    broken = a_sound_record().but("file", "F-1", title=note)
    only(broken.says(RULES[3]), "file 2 title", "full name of MB")


def test_a_person_who_agreed_may_be_named() -> None:
    named = (
        a_sound_record().but("file", "F-1", title="Mara Birkwood").but("party", may_be_named=True)
    )
    assert named.says(RULES[3]) == []


def test_a_persons_name_in_the_name_of_a_file_is_an_error() -> None:
    broken = a_sound_record().but("file", "F-1", path="files/Mara_Birkwood-drilling.jpg")
    only(broken.says(RULES[3]), "file 2 path", "MB")


def test_a_part_of_another_word_is_no_name() -> None:
    sound = a_sound_record().but("element", notes="of tamara birkwoodwork")
    assert sound.says(RULES[3]) == []


def test_the_real_name_of_a_site_in_a_note_is_an_error() -> None:
    broken = a_sound_record().but("episode", title="Fire at Hollin Reach")
    only(broken.says(RULES[4]), "episode 2 title", "site HOLL")


def test_restricted_fields_may_say_everything() -> None:
    told = a_sound_record().but("site", access_notes="Hollin Reach, x@example.org, +44 1632 960001")
    assert [told.says(rule) for rule in RULES] == [[]] * len(RULES)


@pytest.mark.parametrize("public", ["Hollin Reach (invented)", "hollin reach"])
def test_a_public_name_that_is_the_real_one_is_an_error(public: str) -> None:
    broken = a_sound_record().but("site", public_name=public)
    only(broken.says("privacy.public_name_is_the_real_one"), "site 2 public_name", "HOLL")


def test_a_field_of_a_profile_that_nobody_calls_public_is_named_once_with_what_to_do(
    tmp_path: Path,
) -> None:
    shown = {"public": "shown", "publicBecause": "a count tells no one where it is"}
    names = {"course": {}, "bay": shown, "key": {"sensitivity": "restricted"}, "blank": {}}
    added = [
        {"name": name, "type": "string", "title": "T", "description": "D", **more}
        for name, more in names.items()
    ]
    profile = tmp_path / "own.yaml"
    profile.write_text(
        yaml.safe_dump({"name": "own", "title": "T", "description": "D",
                        "add": {"element": added}})
    )  # fmt: skip
    builder = a_package(tmp_path, str(profile)).with_chain()
    builder.with_row("element", element_id="B1-015", course="2", bay="3", key="4")
    found = [o for o in check_package(builder.package) if o.rule == "privacy.field_is_closed"]
    assert [(one.table, one.row, one.field, one.severity) for one in found] == [
        ("element", 3, "course", "note")
    ]
    assert "public: shown" in found[0].remedy


def test_a_column_that_an_older_program_computed_is_of_no_profile(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain()
    folder = builder.package.folder
    path = next((folder / "schemas").rglob("size.json"))
    schema = json.loads(path.read_text("utf-8"))
    schema["fields"].append(
        {"name": "older_m3", "type": "number", "title": "T", "description": "D", "unit": "m3",
         "sensitivity": "open", "section": schema["fields"][0]["section"], "order": 999,
         "obtained": "computed"}
    )  # fmt: skip
    path.write_text(json.dumps(schema), "utf-8")
    (folder / "tables" / "size.csv").write_text("element_id,older_m3\nB1-014,0.1148\n", "utf-8")
    found = check_package(builder.package)
    assert builder.package.tables["size"]["older_m3"].to_list() == [0.1148]
    assert [one for one in found if one.rule == "privacy.field_is_closed"] == []


def test_people_who_were_not_asked_are_noted() -> None:
    broken = a_sound_record().but("party", "MB", may_be_named="")
    only(broken.says("privacy.nobody_asked"), "party 2 may_be_named", "MB")


@pytest.mark.parametrize("kind", ["letter", "form"])
def test_letters_and_filled_sheets_are_not_public(kind: str) -> None:
    broken = a_sound_record().but("file", "F-1", kind=kind)
    only(broken.says("privacy.letter_in_the_open"), "file 2 access", kind)


@pytest.mark.parametrize(("name", "told"), [("Ada Li", True), ("Al Li", False)])
def test_a_name_of_six_letters_is_looked_for_and_a_shorter_one_is_not(
    name: str, told: bool
) -> None:
    record = a_sound_record().but("party", "MB", name=name).but("element", notes=f"by {name} again")
    assert bool(record.says(RULES[3])) is told


def test_a_site_whose_public_name_is_its_own_hides_nothing() -> None:
    shown = a_sound_record().but("site", public_name="Hollin Reach (invented)")
    shown = shown.but("episode", title="Fire at Hollin Reach")
    assert shown.says(RULES[4]) == []
    unsaid = shown.but("site", public_name="")
    only(unsaid.says(RULES[4]), "site HOLL")


def test_an_organisation_may_be_named_in_a_note() -> None:
    named = a_sound_record().but("element", notes="seen at Alder Ring Laboratory")
    assert named.says(RULES[3]) == []


def test_a_letter_kept_back_is_sound() -> None:
    kept = a_sound_record().but("file", "F-1", kind="letter", access="restricted")
    assert kept.says("privacy.letter_in_the_open") == []
