"""What a crew answered on phones comes back as rows of the record, without a mapping."""

from __future__ import annotations

import copy
import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import count
from pathlib import Path
from random import Random
from typing import Any

import pytest
from PIL import Image

from provenance._base.disk import sha256_of
from provenance._base.errors import UnusableInput
from provenance._identity.check_character import check_letters
from provenance._identity.payload import compose_code
from provenance._model.measures import FEET_INCHES, METRIC
from provenance._model.profile import load_model
from provenance._printing.phone_form import write_phone_form
from provenance._record.package import Package
from tests.builders import a_package
from tests.intake.forms import bring_in, one_row
from tests.phone import Phone, Turn, as_flat_csv, as_json, as_zip

MM = {"m": 1000, "cm": 10, "mm": 1}
PLACES = {"m": 6, "cm": 4, "mm": 3}


@pytest.fixture(scope="module")
def phones(tmp_path_factory) -> dict[str, Phone]:
    """The form of a record with one chain, metric and in feet and inches."""
    folder = tmp_path_factory.mktemp("forms")
    tables = a_package(folder).with_chain().package.tables
    phones = {}
    for units in (METRIC, FEET_INCHES):
        model = replace(load_model("blank"), units=units)
        form = write_phone_form(model, "holl", folder / units, tables=tables)
        phones[units] = Phone(form.rename(f"{form}.xlsx"))
    return phones


class Crew:
    """Answers what must not be left to chance: codes, how many, and what is photographed."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.media: dict[str, bytes] = {}
        self.numbers = count(301)

    def __call__(self, one: Any, choices: Any, known: dict[str, Any]) -> Any:
        if one.type == "begin_repeat":
            return self.random.randint(1, 2)
        if one.type == "image" and self.random.random() < 0.7:
            name = f"{len(self.media) + 1700000000000}.jpg"
            self.media[name] = a_photo(len(self.media))
            return name
        return {
            "day": lambda: "2031-05-04",
            "crew": lambda: "MB",
            "recorded": lambda: self.random.choice(["", "B1-014"]),
            "element__element_id": lambda: f"B1-{next(self.numbers)}",
            "sample__sample_id__scanned": self.scanned,
            "sample__sample_id__typed": lambda: self.typed(known),
            "plug__stamp": lambda: "7",
        }.get(one.name, lambda: None)()

    def scanned(self) -> str:
        self.number = str(next(self.numbers))
        return self.random.choice(["", compose_code("HOLL", self.number)])

    def typed(self, known: dict[str, Any]) -> str:
        checked = f"{self.number}-{check_letters(f'HOLL-{self.number}')}"
        scanned = known["sample__sample_id__scanned"]
        return self.random.choice(["", checked, self.number]) if scanned else self.number


def a_photo(shade: int) -> bytes:
    buffer = io.BytesIO()
    Image.new("L", (8, 8), shade).save(buffer, "JPEG")
    return buffer.getvalue()


def expected(turn: Turn, model: Any) -> Iterator[tuple[str, dict[str, str]]]:
    """The rows that answers come to, worked out from the answers alone."""
    top = turn.flat()
    asked = {"day": top["day"], "crew": top["crew"]}
    for timber in turn.below["element"]:
        said = timber.flat()
        if said.get("element__element_id"):
            who = {"recorded_on": asked["day"], "recorded_by": asked["crew"]}
            own = {"site_id": "HOLL", "place_id": "B1", **who}
            yield "element", values(said, model, "element") | own
        for sample in timber.below["sample"]:
            said = sample.flat()
            text = said["sample__sample_id__typed"] or said["sample__sample_id__scanned"]
            number = text.removeprefix("TREENAIL HOLL-").partition("-")[0]
            who = {"collected_on": asked["day"], "collected_by": asked["crew"]}
            own = {"sample_id": number, "site_id": "HOLL", "element_id": timber.flat()["timber"]}
            yield "sample", values(said, model, "sample") | own | who
            if said["plugged"] == "yes":
                who = {"placed_on": asked["day"], "placed_by": asked["crew"]}
                own = {"plug_id": f"P-{number}", "sample_id": number}
                yield "plug", values(said, model, "plug") | own | who


def values(said: dict[str, str], model: Any, table: str) -> dict[str, str]:
    found = {}
    for one in model.table(table).fields:
        name = f"{table}__{one.name}"
        parts = [said.get(f"{name}__{part}", "") for part in ("ft", "in", "frac")]
        if any(parts):
            feet, inches, sixteenths = (Fraction(part or 0) for part in parts)
            sign = -1 if feet < 0 or inches < 0 else 1
            mm = sign * (abs(feet) * 12 + abs(inches) + sixteenths / 16) * Fraction(254, 10)
            found[one.name] = f"{float(round(mm / MM[one.unit], PLACES[one.unit])):.6f}"
        elif text := said.get(name, ""):
            found[one.name] = text
            if one.separator:
                found[one.name] = text.replace(" ", "; ")
            elif one.type == "boolean":
                found[one.name] = str(text == "yes").lower()
        if one.type == "number" and one.name in found:
            found[one.name] = f"{float(found[one.name]):.6f}".rstrip("0").rstrip(".")
    return found


def in_order(rows: list[dict[str, str]]) -> list[list[tuple[str, str]]]:
    return sorted(sorted(row.items()) for row in rows)


def rows_of(package: Package, table: str) -> list[dict[str, str]]:
    return [{k: v for k, v in row.items() if v} for row in package.tables.rows(table)]


@pytest.mark.parametrize("units", [METRIC, FEET_INCHES])
def test_answers_come_back_as_exactly_the_rows_that_were_given(phones, tmp_path, units) -> None:
    """Whatever was answered, and however the app exports it."""
    ways: dict[str, Callable[..., Path]] = {"zip": as_zip, "csv": as_flat_csv, "json": as_json}
    for seed, (suffix, export) in enumerate([*ways.items()] * 2):
        random = Random(seed)
        crew = Crew(random)
        answers = {f"uuid:{n}": phones[units].fill(random, crew) for n in range(2)}
        folder = tmp_path / str(seed)
        package = a_package(folder).with_chain().package
        before = {table: rows_of(package, table) for table in ("element", "sample", "plug")}
        path = export(folder / f"a.{suffix}", answers, crew.media)
        result = bring_in(package, path, mapping=None)
        assert (result.unread, result.conflicts) == (0, ()), (seed, result.findings)
        wanted = [row for turn in answers.values() for row in expected(turn, package.model)]
        for table, rows in before.items():
            rows += [row for name, row in wanted if name == table]
            now = rows_of(package, table)
            assert in_order(now) == in_order(rows), (seed, table)
        photos = rows_of(package, "file")
        assert len(photos) == len(crew.media), seed
        for row in photos:
            assert sha256_of(package.folder / row["path"]) == row["sha256"], seed
            assert any(row["about_id"] in str(one) for name, one in wanted) or "B1-014" in str(row)
        # what was handed in is kept, and the same again changes nothing
        again = bring_in(package, path, mapping=None)
        assert (again.added, again.changes, again.acts) == ({}, (), {}), seed


def one_answer(phones, units: str = METRIC, **texts: str) -> tuple[Turn, Crew]:
    """An answer with one new timber and one plugged sample with all photos; texts by name."""
    crew = Crew(Random(1))
    usual = {"recorded": "", "element__sampled": "yes", "plugged": "yes"}
    usual |= {"sample__sample_id__scanned": "", "sample__sample_id__typed": "301"}

    def answer(one: Any, choices: Any, known: dict[str, Any]) -> Any:
        if one.type == "begin_repeat":
            return 1
        if one.type == "image":
            name = f"{one.name}.jpg"
            crew.media[name] = a_photo(len(one.name))
            return name
        said = {**usual, **texts}.get(one.name)
        return crew(one, choices, known) if said is None else said

    return phones[units].fill(Random(1), answer, filled=0), crew


def test_a_reading_is_kept_as_it_was_given(phones, tmp_path) -> None:
    answer, crew = one_answer(
        phones, FEET_INCHES, element__length_m__ft="12", element__length_m__in="6",
        element__length_m__frac="8", sample__bore_mm__frac="10", sample__height_m__ft="-2",
    )  # fmt: skip
    package = a_package(tmp_path).with_chain().package
    bring_in(package, as_zip(tmp_path / "a.zip", {"uuid:1": answer}, crew.media), mapping=None)
    kept = {row["field"]: row["written"] for row in package.tables.rows("change")}
    assert kept["length_m"] == "12' 6 1/2\""
    assert kept["bore_mm"] == '5/8"'
    assert kept["height_m"] == "-2'"
    (timber,) = [row for row in rows_of(package, "element") if row["element_id"] != "B1-014"]
    assert timber["length_m"] == "3.8227"  # 150.5 in at 25.4 mm


def test_an_answer_that_is_sent_again_is_the_same_answer(phones, tmp_path) -> None:
    """In an export of some answers only: what it lacks stays, and no timber comes twice."""
    first, crew = one_answer(phones, element__element_id="B1-401", sample__sample_id__typed="401")
    other, _ = one_answer(phones, element__element_id="B1-402", sample__sample_id__typed="402")
    package = a_package(tmp_path).with_chain().package
    both = as_zip(tmp_path / "a.zip", {"uuid:1": first, "uuid:2": other}, crew.media)
    bring_in(package, both, mapping=None)
    edited = copy.deepcopy(first)
    (timber,) = edited.below["element"]
    timber.answers["new_timber/element_what/element__element_id"] = "B1-403"
    timber.answers["timber"] = "B1-403"
    timber.below["sample"] = []
    again = as_zip(tmp_path / "b.zip", {"uuid:1": edited}, crew.media)
    result = bring_in(package, again, mapping=None)
    assert result.conflicts == ()
    assert package.tables.column("element", "element_id") == ["B1-014", "B1-402", "B1-403"]
    assert package.tables.column("sample", "sample_id") == ["231", "402"]
    assert "intake.answers_again" in {one.rule for one in result.findings}
    # the older export does not come back, and its other answer was never gone
    older = bring_in(package, both, mapping=None)
    assert (older.changes, older.added) == ((), {})
    assert "intake.older_copy" in {one.rule for one in older.findings}


def test_a_label_that_is_not_the_number_that_was_typed_is_named_with_it(phones, tmp_path) -> None:
    scan = compose_code("HOLL", "307")
    cases = {
        "another number": (scan, "308", "is of 307, and 308 was typed"),
        "a wrong check": (scan, "307-AB", "307-AB"),
        "a damaged code": (scan.replace("307", "301"), "", "does not fit its check"),
        "a label of another site": (compose_code("MOOR", "307"), "", "is of site MOOR"),
        "no label of ours": ("4006381333931", "", "is not the code of a label"),
    }
    for place, (case, (scanned, typed, why)) in enumerate(cases.items()):
        answer, crew = one_answer(
            phones, sample__sample_id__scanned=scanned, sample__sample_id__typed=typed
        )
        folder = tmp_path / str(place)
        package = a_package(folder).with_chain().package
        path = as_zip(folder / "a.zip", {"uuid:1": answer}, crew.media)
        result = bring_in(package, path, mapping=None)
        assert package.tables.column("sample", "sample_id") == ["231"], case
        mine = [one for one in result.findings if one.field == "sample_id"]
        (said,) = [one for one in mine if why in one.message]
        assert said.origin.startswith("a.zip/form-sample.csv, sheet 'uuid:1', row 2"), case
        assert all(text in said.value for text in (scanned, typed)), case
        # nothing that was answered is lost
        kept = {row["cell_text"] for row in package.tables.rows("unread")}
        assert "MB" in kept, case


def test_a_photo_that_did_not_come_is_said_until_it_comes(phones, tmp_path) -> None:
    answer, crew = one_answer(phones)
    package = a_package(tmp_path).with_chain().package
    path = as_zip(tmp_path / "a.zip", {"uuid:1": answer}, {})
    result = bring_in(package, path, mapping=None)
    assert sorted(one["cell_text"] for one in package.tables.rows("unread")) == sorted(crew.media)
    assert (result.unread, rows_of(package, "file")) == (3, [])
    result = bring_in(package, as_zip(path, {"uuid:1": answer}, crew.media), mapping=None)
    assert (result.unread, result.settled) == (0, 3)
    about = {(row["about_table"], row["about_id"]) for row in rows_of(package, "file")}
    number = package.tables.column("plug", "plug_id")[-1].removeprefix("P-")
    timber = one_row(package, "sample", number)["element_id"]
    assert about == {("element", timber), ("sample", number), ("plug", f"P-{number}")}


def test_what_was_changed_in_the_file_is_asked_about(phones, tmp_path) -> None:
    size = "new_timber/element_size/element__length_m"
    cases = {
        "a size beside its parts": ({size: "3.9"}, "length_m", "differs from the 3.9 m"),
        "no size at all": ({size: "1e999"}, "length_m", "differs from the 1e999 m"),
        "parts that make another foot": ({f"{size}__in": "15"}, "length_m", "more in than make"),
        "a part that is no number": ({f"{size}__ft": "12½"}, "length_m", "not a whole number"),
        "a picture that may run": ({"element__photo": "x.svg"}, "path", "is not a picture"),
    }
    for place, (case, (changes, field, why)) in enumerate(cases.items()):
        answer, crew = one_answer(phones, FEET_INCHES, element__length_m__ft="12")
        answer.below["element"][0].answers |= changes
        crew.media["x.svg"] = b"<svg/>"
        package = a_package(tmp_path / str(place)).with_chain().package
        path = as_zip(tmp_path / f"{place}.zip", {"uuid:1": answer}, crew.media)
        result = bring_in(package, path, mapping=None)
        (row,) = package.tables.rows("unread")
        assert (row["field"], result.unread) == (field, 1), case
        assert why in row["why"], case


def test_an_export_that_is_not_whole_or_may_do_harm_is_refused(phones, tmp_path) -> None:
    answer, crew = one_answer(phones)
    package = a_package(tmp_path).with_chain().package
    path = tmp_path / "a.zip"

    def without(name: str) -> None:
        whole = zipfile.ZipFile(as_zip(path, {"uuid:1": answer}, crew.media))
        members = {one: whole.read(one) for one in whole.namelist() if one != name}
        with zipfile.ZipFile(path, "w") as archive:
            for one, content in members.items():
                archive.writestr(one, content)

    def with_member(name: str, content: bytes) -> None:
        as_zip(path, {"uuid:1": answer}, crew.media)
        with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(name, content)

    def in_a_circle() -> None:
        without("")
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("a.csv", "sample__kind,KEY,PARENT_KEY\ncore,x,y\ncore,y,x\n")

    faults = {
        "without the form's own file": (lambda: without("form.csv"), "which is not in this export"),
        "a way out": (lambda: with_member("../x.csv", b"KEY\n"), "climbs out of the folder"),
        "a bomb": (lambda: with_member("media/x.jpg", bytes(32 << 20)), "would grow"),
        "in a circle": (in_a_circle, "which is not in this export"),
    }
    before = sorted(package.folder.rglob("*"))
    for fault, (make, says) in faults.items():
        make()
        with pytest.raises(UnusableInput, match=says):
            bring_in(package, path, mapping=None)
        assert sorted(package.folder.rglob("*")) == before, fault


def test_an_unpacked_export_is_read_too_and_one_without_a_timber_takes_back_its_own(
    phones, tmp_path
) -> None:
    answer, crew = one_answer(phones)
    package = a_package(tmp_path).with_chain().package
    whole = zipfile.ZipFile(as_zip(tmp_path / "a.zip", {"uuid:1": answer}, crew.media))
    whole.extractall(tmp_path / "unpacked")
    result = bring_in(package, tmp_path / "unpacked", mapping=None)
    assert (result.unread, result.added["file"]) == (0, 3)
    answer.below.clear()
    bring_in(package, as_zip(tmp_path / "b.zip", {"uuid:1": answer}, {}), mapping=None)
    assert package.tables.column("element", "element_id") == ["B1-014"]
    assert rows_of(package, "file") == []


def test_answers_to_the_form_of_another_profile_are_refused_by_name(phones, tmp_path) -> None:
    answer, crew = one_answer(phones)
    answer.below["element"][0].answers["element__course"] = "3"
    package = a_package(tmp_path).with_chain().package
    path = as_zip(tmp_path / "a.zip", {"uuid:1": answer}, crew.media)
    with pytest.raises(UnusableInput, match=r"has no element\.course"):
        bring_in(package, path, mapping=None)
