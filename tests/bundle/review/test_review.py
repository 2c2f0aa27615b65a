"""What waits for a person's word before it is public, and what the word does."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
import yaml
from click.testing import CliRunner, Result
from PIL import Image

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.pack import pack
from provenance._bundle.redaction.release import Asked
from provenance._bundle.review.deciding import (
    Word,
    decide_by_rule,
    decide_field,
    decide_one_by_one,
)
from provenance._bundle.review.review import Review, review_package
from provenance._bundle.review.sheet import read_list, write_list
from provenance._cli import treenail
from provenance._history.deciding import Refused, correct, decide, undo
from provenance._merging.merge import merge_packages
from provenance._model.profile import load_model
from provenance._record.new import new_package, update_package
from provenance._record.package import Package, open_package, write_model
from tests.builders import a_package

WHO = "Ansa Reviewer (invented)"
NOTE, MORE = "bark left on one side", "a peg and two nails"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(treenail, [str(one) for one in arguments])


@pytest.fixture
def holl(tmp_path: Path) -> Package:
    """A chain with notes that say nothing, one that names the place, a photo, and a data file."""
    builder = a_package(tmp_path).with_chain()
    element = builder.package.table("element")
    element[["notes", "features"]] = [NOTE, MORE]
    builder.package.write_table("element", element)
    builder.with_row("element", element_id="B1-015", notes="beam 12 of the north row")
    builder.with_row("element", element_id="B1-016", notes="seen from Hollin Reach")
    builder.with_row("file").with_row("file", file_id="F-2", kind="data", path="files/sizes.csv")
    folder = builder.package.folder / "files"
    Image.new("RGB", (20, 10), (90, 60, 30)).save(folder / "photo-001.png")
    (folder / "sizes.csv").write_text("size,count\n12,3\n", encoding="utf-8")
    return builder.package


def asked(package: Package, where: str, text: str = "") -> Asked:
    found = [
        one
        for one in review_package(open_package(package.folder)).items
        if one.where == where and text in one.text
    ]
    assert len(found) == 1, found
    return found[0]


def say(package: Package, one: Asked, decision: str, replacement: str = "") -> None:
    decide_one_by_one(package, [Word(one.identity, decision, replacement)], by=WHO)


def public(package: Package, out: Path) -> Package:
    packed = pack(open_package(package.folder), out, edition=PUBLIC)
    return open_package(packed.path / "data")


# -- what goes out ---------------------------------------------------------------------------------


def test_nothing_that_a_person_must_read_goes_out_before_one_did(
    holl: Package, tmp_path: Path
) -> None:
    before = public(holl, tmp_path / "before")
    assert set(before.table("element")["notes"]) == {""}
    assert set(before.table("file")["path"]) == {""}
    # what a core schema calls harmless by its type goes out by itself
    assert set(before.table("element")["length_m"]) == {"4.2"}
    assert "review" not in before.model.tables
    notice = (tmp_path / "before/data/WITHHELD.txt").read_text("utf-8")
    assert "had not been reviewed when this edition was made" in " ".join(notice.split())
    photo, sizes = asked(holl, "file.path", "photo"), asked(holl, "file.path", "sizes")
    assert (photo.kind, sizes.kind) == ("picture", "file")
    for one in (asked(holl, "element.notes", NOTE), photo, sizes):
        say(holl, one, "release")
    say(holl, asked(holl, "element.notes", "Hollin"), "replace", "seen from the road")
    say(holl, asked(holl, "element.notes", "north row"), "withhold")
    after = public(holl, tmp_path / "after")
    assert list(after.table("element")["notes"]) == [NOTE, "", "seen from the road"]
    files = after.table("file").set_index("file_id")["path"]
    assert dict(files) == {"F-1": "files/F-1.png", "F-2": "files/F-2.csv"}
    assert (after.folder / "files" / "F-2.csv").read_bytes().startswith(b"size")
    assert WHO not in "".join(
        path.read_text("utf-8", "replace") for path in after.folder.rglob("*") if path.is_file()
    )


def test_a_data_file_in_which_the_search_finds_something_stays_out_whoever_released_it(
    holl: Package, tmp_path: Path
) -> None:
    say(holl, asked(holl, "file.path", "sizes"), "release")
    (holl.folder / "files" / "sizes.csv").write_text("at Hollin Reach\n", encoding="utf-8")
    assert set(public(holl, tmp_path / "b").table("file")["path"]) == {""}


def test_fields_of_a_profile_are_closed_until_it_says_why_everybody_may_see_them(
    tmp_path: Path,
) -> None:
    def a_profile(**more: str) -> Path:
        fields = [
            {"name": "gps_lat", "type": "number", "title": "Latitude", "description": "Degrees."},
            {"name": "course", "type": "integer", "title": "Course", "description": "Counted."},
        ]
        added = {"element": [one | more for one in fields]}
        path = tmp_path / "own.yaml"
        path.write_text(
            yaml.safe_dump({"name": "own", "title": "T", "description": "D", "add": added}),
            encoding="utf-8",
        )
        return path

    builder = a_package(tmp_path, str(a_profile())).with_chain()
    element = builder.package.table("element")
    element[["gps_lat", "course"]] = ["51.4739", "3"]
    builder.package.write_table("element", element)
    assert "gps_lat" not in public(builder.package, tmp_path / "closed").model.table("element")
    shown = {"public": "shown", "publicBecause": "tells no one where the building is"}
    update_package(builder.package, str(a_profile(**shown)))
    # a number too short for a position goes out, and a position waits
    row = public(builder.package, tmp_path / "shown").table("element").iloc[0]
    assert (row["course"], row["gps_lat"]) == ("3", "")
    with pytest.raises(Exception, match="publicBecause"):
        load_model(str(a_profile(public="shown")))


def test_a_package_of_an_older_version_shows_nothing_that_needs_a_word_and_is_told_what_to_do(
    tmp_path: Path,
) -> None:
    holl = a_package(tmp_path).with_chain().package
    element = holl.table("element")
    element["notes"] = NOTE
    holl.write_table("element", element)
    tables = {name: table for name, table in holl.model.tables.items() if table.role != "review"}
    for name in ("review", "review_rule"):
        (holl.folder / "schemas" / f"{name}.json").unlink()
        (holl.folder / "tables" / f"{name}.csv").unlink()
    write_model(replace(holl.model, tables=tables), holl.folder)
    packed = run("pack", holl.folder, "--edition", "public", "--out", tmp_path / "b")
    assert "new --update" in packed.stderr
    assert open_package(tmp_path / "b" / "data").table("element")["notes"].item() == ""
    with pytest.raises(UnusablePackage, match="new --update"):
        decide_field(open_package(holl.folder), "element.notes", "release", by=WHO, reason="r")
    update_package(open_package(holl.folder), "blank")
    assert decide_field(holl, "element.notes", "release", by=WHO, reason="read") == 1


# -- what comes up again ---------------------------------------------------------------------------


def _changed_text(holl: Package) -> None:
    decide(holl, correct("element", "B1-014", {"notes": NOTE + " now"}), who=WHO, why="seen")


def _named_in_a_restricted_field(holl: Package) -> None:
    decide(holl, correct("site", "HOLL", {"permit_number": NOTE}), who=WHO, why="seen")


def _protected(holl: Package) -> None:
    decide(holl, correct("site", "HOLL", {"protection": "sacred"}), who=WHO, why="told")


def _consent_withdrawn(holl: Package) -> None:
    decide(holl, correct("party", "MB", {"may_be_named": "false"}), who=WHO, why="asked")


@pytest.mark.parametrize(
    ("happens", "why"),
    [
        (_changed_text, "no one has decided"),
        (_named_in_a_restricted_field, "finds more"),
        (_protected, "protection or consent"),
        (_consent_withdrawn, "protection or consent"),
    ],
)
def test_what_was_released_waits_again_when_what_it_rests_on_has_changed(
    holl: Package, happens: Callable[[Package], None], why: str
) -> None:
    decide(holl, correct("party", "MB", {"may_be_named": "true"}), who=WHO, why="asked")
    say(holl, asked(holl, "element.notes", NOTE), "release")
    assert asked(holl, "element.notes", NOTE).state == "release"
    happens(open_package(holl.folder))
    again = asked(holl, "element.notes", NOTE)
    assert again.state == "waiting"
    assert why in again.why


def test_the_same_text_in_another_field_is_asked_for_by_itself(holl: Package) -> None:
    say(holl, asked(holl, "element.features", MORE), "release")
    decide(holl, correct("element", "B1-014", {"notes": MORE}), who=WHO, why="seen")
    assert asked(holl, "element.features", MORE).state == "release"
    assert asked(holl, "element.notes", MORE).state == "waiting"


# -- rules -----------------------------------------------------------------------------------------


def test_withhold_beats_release_and_one_word_beats_a_rule(holl: Package) -> None:
    decide_by_rule(holl, "element.notes", "release", by=WHO, reason="plain", known_words=True)
    assert asked(holl, "element.notes", NOTE).state == "release"
    decide_by_rule(holl, "element.notes", "withhold", by=WHO, reason="no", like=NOTE)
    assert asked(holl, "element.notes", NOTE).state == "withhold"
    say(holl, asked(holl, "element.notes", NOTE), "release")
    assert asked(holl, "element.notes", NOTE).state == "release"


def test_a_rule_releases_no_text_with_a_finding_and_none_of_another_form(holl: Package) -> None:
    count = decide_by_rule(
        holl, "element.notes", "release", by=WHO, reason="rows", like="beam 99 of the north row"
    )
    assert count == 1
    assert asked(holl, "element.notes", "beam 12").state == "release"
    assert asked(holl, "element.notes", NOTE).state == "waiting"
    with pytest.raises(Refused, match="no text of"):
        decide_by_rule(
            holl, "element.notes", "release", by=WHO, reason="r", like="seen from Hollin Reach"
        )
    with pytest.raises(Refused, match=r"did you mean element\.notes"):
        decide_by_rule(holl, "element.note", "release", by=WHO, reason="r", like=NOTE)


def test_a_text_of_several_phrases_needs_a_rule_for_each_and_none_against_any(
    holl: Package,
) -> None:
    both = f"{NOTE}; beam 7 of the north row"
    decide(holl, correct("element", "B1-016", {"notes": both}), who=WHO, why="seen")
    for like in (NOTE, "beam 12 of the north row", "beam 7 of the north row"):
        assert asked(holl, "element.notes", both).state == "waiting"
        decide_by_rule(holl, "element.notes", "release", by=WHO, reason="plain", like=like)
    assert asked(holl, "element.notes", both).state == "release"
    decide_by_rule(holl, "element.notes", "withhold", by=WHO, reason="no", like=NOTE)
    assert asked(holl, "element.notes", both).state == "withhold"


def test_a_rule_that_covers_over_twice_its_count_asks_again(holl: Package) -> None:
    like = "beam 12 of the north row"
    decide_by_rule(holl, "element.notes", "release", by=WHO, reason="rows", like=like)
    for number, states in ((13, {"release"}), (14, {"waiting"})):
        text = f"beam {number} of the north row"
        key = "B1-016" if number == 13 else "B1-014"
        decide(holl, correct("element", key, {"notes": text}), who=WHO, why="seen")
        found = review_package(open_package(holl.folder)).items
        notes = [one for one in found if one.where == "element.notes" and "row" in one.text]
        assert {one.state for one in notes} == states
    assert "more than 2 times the 1 texts" in notes[0].why


def test_a_field_is_decided_at_once_but_for_findings_and_photos(holl: Package) -> None:
    assert decide_field(holl, "element.notes", "release", by=WHO, reason="read") == 2
    assert asked(holl, "element.notes", "Hollin").state == "waiting"
    assert decide_field(holl, "file.path", "release", by=WHO, reason="read") == 1
    assert asked(holl, "file.path", "photo").state == "waiting"
    # a text that comes later waits
    _changed_text(open_package(holl.folder))
    assert asked(holl, "element.notes", "now").state == "waiting"


# -- acts ------------------------------------------------------------------------------------------


def test_a_decision_is_an_act_that_can_be_undone(holl: Package) -> None:
    say(holl, asked(holl, "element.notes", NOTE), "release")
    row = open_package(holl.folder).tables.rows("review")[0]
    assert (row["by"], row["decision"], row["text"]) == (WHO, "release", NOTE)
    assert row["on"].endswith("Z")
    decide(open_package(holl.folder), undo("last"), who=WHO)
    assert asked(holl, "element.notes", NOTE).state == "waiting"


def test_of_what_two_people_decide_in_two_copies_withholding_wins_and_nothing_is_to_settle(
    holl: Package, tmp_path: Path
) -> None:
    shutil.copytree(holl.folder, tmp_path / "other" / "holl")
    other = open_package(tmp_path / "other" / "holl")
    say(holl, asked(holl, "element.notes", NOTE), "release")
    say(holl, asked(holl, "element.features", MORE), "release")
    for where, text, decision in (
        ("element.notes", NOTE, "withhold"),
        ("element.features", MORE, "release"),
    ):
        word = Word(asked(other, where, text).identity, decision)
        decide_one_by_one(open_package(other.folder), [word], by="Bo (invented)")
    merge_packages(open_package(holl.folder), open_package(other.folder), who=WHO)
    merged = open_package(holl.folder)
    assert asked(holl, "element.notes", NOTE).state == "withhold"
    assert asked(holl, "element.features", MORE).state == "release"
    assert merged.tables.rows("conflict") == []
    assert len(merged.tables.rows("review")) == 4
    # who decides it anew decides for both
    say(merged, asked(holl, "element.notes", NOTE), "release")
    assert asked(holl, "element.notes", NOTE).state == "release"


def test_what_one_decision_says_differently_in_two_copies_waits_until_it_is_settled(
    holl: Package, tmp_path: Path
) -> None:
    shutil.copytree(holl.folder, tmp_path / "other" / "holl")
    other = open_package(tmp_path / "other" / "holl")
    say(holl, asked(holl, "element.notes", NOTE), "release")
    say(other, asked(other, "element.notes", NOTE), "withhold")
    merge_packages(open_package(holl.folder), open_package(other.folder), who=WHO)
    assert asked(holl, "element.notes", NOTE).state == "waiting"


def test_a_decision_that_nobody_signed_is_none(holl: Package) -> None:
    one = asked(holl, "element.notes", NOTE)
    with pytest.raises(Refused, match="needs a name"):
        decide_one_by_one(holl, [Word(one.identity, "release")], by=" ")
    say(holl, one, "release")
    path = holl.table_path("review")
    path.write_text(path.read_text("utf-8").replace(WHO, ""), encoding="utf-8")
    assert asked(holl, "element.notes", NOTE).state == "waiting"


# -- lists -----------------------------------------------------------------------------------------


def filled(path: Path, words: dict[str, tuple[str, str]]) -> Path:
    """The list with decisions behind texts, as a person fills it in."""
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        sheet = book.active
        assert sheet is not None
        names = [cell.value for cell in sheet[1]]
        for row in sheet.iter_rows(min_row=2):
            word = words.get(str(row[names.index("Text")].value))
            if word:
                row[0].value, row[1].value = word
        book.save(path)
        return path
    rows = list(csv.reader(path.read_text("utf-8-sig").splitlines()))
    for row in rows[1:]:
        row[:2] = words.get(row[rows[0].index("Text")], row[:2])
    with open(path, "w", encoding="utf-8-sig", newline="") as stream:
        csv.writer(stream).writerows(rows)
    return path


@pytest.mark.parametrize("name", ["list.csv", "list.xlsx"])
def test_a_list_is_filled_in_and_read_back(holl: Package, tmp_path: Path, name: str) -> None:
    formula = "=12 nails, see -3"
    decide(holl, correct("element", "B1-014", {"features": formula}), who=WHO, why="seen")
    out = tmp_path / name
    review = review_package(open_package(holl.folder))
    assert write_list(review, out) == review.waiting
    shown = "'" + formula if name.endswith("csv") else formula
    filled(
        out,
        {
            NOTE: ("release", ""),
            shown: ("Withhold", ""),
            "seen from Hollin Reach": ("replace", "seen from [withheld]"),
        },
    )
    words = read_list(review, out)
    assert decide_one_by_one(holl, words, by=WHO) == 3
    assert asked(holl, "element.features").state == "withhold"
    assert asked(holl, "element.notes", "Hollin").shown == "seen from [withheld]"


def test_a_list_that_cannot_be_read_is_named_row_by_row_and_nothing_is_recorded(
    holl: Package, tmp_path: Path
) -> None:
    review: Review = review_package(holl)
    out = tmp_path / "list.csv"
    heads = "Decision,Shown instead,Kind,Where,Text,Identity"
    one = asked(holl, "element.notes", "Hollin")
    for line, said in (
        (f"relese,,text,element.notes,{NOTE},", "row 2, column 'Decision': 'relese'"),
        ("release,,text,element.notes,gone,", "no text 'gone' in element.notes"),
        (f"release,,text,element.notes,other words,{one.identity}", "is not what the record says"),
        (f"replace,,text,element.notes,,{one.identity}", "needs the words"),
        (f"replace,from Hollin,text,element.notes,,{one.identity}", 'still holds "Hollin"'),
        (f"release,,,,,{'0' * 64}", "changed since the list was written"),
    ):
        out.write_text(f"{heads}\n{line}\n", encoding="utf-8")
        with pytest.raises((UnusableInput, Refused), match="nothing was recorded") as refused:
            decide_one_by_one(holl, read_list(review, out), by=WHO)
        assert said in str(refused.value)
        assert "row 2" in str(refused.value)
    out.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(UnusableInput, match="has no row with the headings"):
        read_list(review, out)
    assert open_package(holl.folder).tables.rows("review") == []


# -- the command -----------------------------------------------------------------------------------


def test_a_curator_comes_from_what_waits_to_an_edition_without_a_file_of_settings(
    holl: Package, tmp_path: Path
) -> None:
    first = run("review", holl.folder)
    assert first.exit_code == 1
    assert "3 texts in element.notes, 1 with findings" in first.stdout
    assert run("review", holl.folder, "--list", tmp_path / "l.xlsx").exit_code == 1
    filled(tmp_path / "l.xlsx", {NOTE: ("release", "")})
    decided = run("review", holl.folder, "--decided", tmp_path / "l.xlsx", "--by", WHO)
    assert "recorded 1 decision of" in decided.stdout
    fields = json.loads(run("review", holl.folder, "--format", "json").stdout)["fields"]
    for where in dict.fromkeys(one["where"] for one in fields):
        run("review", holl.folder, "--withhold", where, "--by", WHO, "--because", "not ours")
    last = run("review", holl.folder)
    assert (last.exit_code, last.stdout[:13]) == (0, "nothing waits")
    packed = run("pack", holl.folder, "--edition", "public", "--out", tmp_path / "b")
    assert "not reviewed" not in packed.stdout
    assert open_package(tmp_path / "b/data").table("element")["notes"].iloc[0] == NOTE


def test_a_command_that_says_two_things_or_no_reason_is_refused(holl: Package) -> None:
    for arguments, said in (
        (("--release", "element.notes", "--withhold", "element.notes"), "one a time"),
        (("--like", NOTE), "go with"),
        (("--release", "element.notes", "--like", NOTE, "--by", WHO), "needs a reason"),
    ):
        result = run("review", holl.folder, *arguments)
        assert said in str(result.exception) + result.output
        assert result.exit_code != 0
    assert new_package(holl.folder.parent / "n").tables.rows("review") == []
