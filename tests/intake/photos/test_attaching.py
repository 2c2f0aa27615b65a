"""A folder of pictures becomes rows: matched, dated, kept once, and asked where in doubt."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path

import exifread
import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._base.disk import sha256_of
from provenance._base.errors import AlreadyThere
from provenance._checks.check import check_package
from provenance._cli import treenail
from provenance._identity.payload import compose_code
from provenance._identity.sheet_code import SheetCode, compose_sheet_code
from provenance._intake.photos.attaching import PicturesAttached, attach_pictures
from provenance._record import together
from provenance._record.package import Package, open_package
from tests.builders import SOUND, a_package, code_of_before
from tests.intake.photos.pictures import a_code, a_picture, an_exif, as_jpeg, printed_label, save

TODAY = date(2025, 1, 1)
POSITION = ("51", "28", "26")


def a_label(number: str, site: str = "HOLL") -> str:
    return compose_code(site, number)


def a_record(folder: Path) -> Package:
    """Cores 231 and 240 of one beam, 250 of another in the same house, 260 of another house."""
    builder = a_package(folder).with_chain()
    builder.with_row("sample", sample_id="240")
    builder.with_row("element", element_id="B1-015")
    builder.with_row("sample", sample_id="250", element_id="B1-015")
    builder.with_row("place", place_id="B2").with_row("element", element_id="B2-001", place_id="B2")
    return builder.with_row("sample", sample_id="260", element_id="B2-001").package


def attach(package: Package, *sources: Path, **more: bool) -> PicturesAttached:
    return attach_pictures(package, sources, today=TODAY, **more)


def rows_of(package: Package) -> dict[str, Mapping[str, str]]:
    return {row["path"]: row for row in package.tables.rows("file")}


def said(attached: PicturesAttached) -> dict[str, str]:
    return {
        one.path.removeprefix("files/"): " | ".join(
            other.says for other in attached.remarks if other.path == one.path
        )
        for one in attached.remarks
    }


def test_each_picture_is_linked_by_its_label_or_its_name_or_asked(tmp_path: Path) -> None:
    package, phone = a_record(tmp_path), tmp_path / "phone"

    def codes(name: str, *texts: str) -> None:
        # each a moment of its own: the same moment twice is the same picture saved again
        taken = f"2024:06:04 10:00:{len(list(phone.rglob('*.*'))):02}"
        save(phone / name, a_picture(*map(a_code, texts)), an_exif(taken))

    save(phone / "IMG_0001.jpg", a_picture(printed_label("231", tmp_path)), an_exif())
    codes("IMG_0002.jpg", a_label("231"), a_label("240"))
    # labels of before are read as well, and the label of a box is about no sample
    codes("IMG_0003.jpg", code_of_before("HOLL", "231"), a_label("250"), "TREENAIL HOLL:BOX-12-TD")
    codes("IMG_0004.jpg", a_label("231"), a_label("260"))
    codes("IMG_0005.jpg", compose_sheet_code(SheetCode("element", key="B1-015")))
    codes("IMG_0006.jpg", a_label("999"))
    codes("IMG_0007.jpg", a_label("231", site="ELSE"))
    codes("IMG_0008.jpg", "https://example.org/not-ours")
    codes("240_end.jpg", a_label("231"))
    codes("B1-014.jpg", a_label("231"))
    codes("HOLL-250_end.jpg")
    codes("IMG_260.jpg")
    attached = attach(package, phone)

    rows = rows_of(package)
    links = {
        path.removeprefix("files/"): f"{row['about_table']} {row['about_id']}".strip()
        for path, row in rows.items()
    }
    assert links == {
        "IMG_0001.jpg": "sample 231",
        "IMG_0002.jpg": "element B1-014",
        "IMG_0003.jpg": "place B1",
        "IMG_0004.jpg": "",
        "IMG_0005.jpg": "element B1-015",
        "IMG_0006.jpg": "",
        "IMG_0007.jpg": "",
        "IMG_0008.jpg": "",
        "240_end.jpg": "",
        "B1-014.jpg": "sample 231",
        "HOLL-250_end.jpg": "sample 250",
        "IMG_260.jpg": "",
    }
    questions = said(attached)
    assert questions.keys() == {name for name, link in links.items() if not link}
    assert "no common wood or place" in questions["IMG_0004.jpg"]
    assert '"HOLL-999" is on a label in view' in questions["IMG_0006.jpg"]
    assert '"ELSE-231" is on a label in view' in questions["IMG_0007.jpg"]
    assert "sample 231 in view, but sample 240 in its name" in questions["240_end.jpg"]
    assert "perhaps sample 260" in questions["IMG_260.jpg"]
    assert rows["files/IMG_0002.jpg"]["notes"] == "In view: sample 231, sample 240."
    kinds = {row["kind"] for path, row in rows.items() if path != "files/IMG_0005.jpg"}
    assert (kinds, rows["files/IMG_0005.jpg"]["kind"]) == ({"photo"}, "form")
    # nothing goes into the public edition before a person has looked at it
    assert {row["access"] for row in rows.values()} == {"restricted"}
    errors = [one for one in check_package(package) if one.table == "file"]
    assert {one.severity for one in errors} <= {"warning", "note"}


@pytest.mark.parametrize(
    ("taken", "offset", "name", "expected"),
    [
        ("2024:06:04 10:11:12", "", "a.jpg", "2024-06-04T10:11:12"),
        ("2024:06:04 10:11:12", "-06:00", "a.jpg", "2024-06-04T10:11:12-06:00"),
        ("2024:06:04 10:11:12", "nonsense", "a.jpg", "2024-06-04T10:11:12"),
        ("2024:06:04 25:11:12", "", "a.jpg", "2024-06-04"),
        ("2024:06:31 10:11:12", "", "a.jpg", ""),
        ("0000:00:00 00:00:00", "", "20240605.jpg", "2024-06-05"),
        ("    :  :     :  :  ", "", "a.jpg", ""),
        ("2024:06:04 10:11:12", "", "20240605.jpg", "2024-06-04T10:11:12"),
    ],
)
def test_the_date_and_the_camera_are_what_the_picture_says(
    taken: str, offset: str, name: str, expected: str, tmp_path: Path
) -> None:
    """What exifread reads in the same picture, as EDTF; the file's own time says nothing."""
    package = a_package(tmp_path).package
    photo = save(tmp_path / name, a_picture(), an_exif(taken, offset))
    attach(package, photo)

    (row,) = rows_of(package).values()
    assert row["taken_on"] == expected
    with open(photo, "rb") as stream:
        tags = exifread.process_file(stream)
    if expected.startswith("2024-06-04T"):
        written = str(tags["EXIF DateTimeOriginal"]).replace(":", "-", 2).replace(" ", "T")
        assert expected[:19] == written
    assert row["made_with"] == f"{tags['Image Make']} {tags['Image Model']}" == "Inventa M1"
    assert "GPS GPSLatitude" in tags
    assert not any(all(part in cell for part in POSITION) for cell in row.values())


def test_a_date_that_has_not_come_is_left_out_and_named(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    attached = attach(
        package, save(tmp_path / "a.jpg", a_picture(), an_exif("2031:06:04 10:11:12"))
    )
    assert rows_of(package)["files/a.jpg"]["taken_on"] == ""
    assert "2031-06-04T10:11:12, has not come yet" in said(attached)["a.jpg"]


def test_the_same_bytes_are_kept_once_and_a_picture_saved_again_is_named(tmp_path: Path) -> None:
    package, phone = a_package(tmp_path).package, tmp_path / "phone"
    one = save(phone / "IMG_0001.jpg", a_picture(), an_exif())
    shutil.copy(one, phone / "copy.jpg")
    save(phone / "other.jpg", a_picture(), an_exif(model="M2"))
    first = attach(package, phone)
    assert first.duplicates == {phone / "copy.jpg": "files/IMG_0001.jpg"}
    assert not any("saved again" in says for says in said(first).values())

    later = tmp_path / "later"
    (later / "sub").mkdir(parents=True)
    shutil.copy(one, later / "sub" / "renamed.jpg")
    (later / "smaller.jpg").write_bytes(as_jpeg(a_picture(shade=91), an_exif()))
    second = attach(package, later)
    rows = rows_of(package)
    assert second.duplicates == {later / "sub" / "renamed.jpg": "files/IMG_0001.jpg"}
    assert rows.keys() == {"files/IMG_0001.jpg", "files/other.jpg", "files/smaller.jpg"}
    number = rows["files/IMG_0001.jpg"]["file_id"]
    assert f"perhaps the same picture as {number}" in said(second)["smaller.jpg"]
    assert number in rows["files/smaller.jpg"]["notes"]


def test_what_is_damaged_or_too_large_is_named_and_kept(tmp_path: Path) -> None:
    package, phone = a_package(tmp_path).package, tmp_path / "phone"
    whole = as_jpeg(a_picture(a_code(a_label("231"))), an_exif())
    phone.mkdir()
    (phone / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    (phone / "none.png").write_bytes(b"<html>no picture</html>")
    (phone / "empty.tif").touch()
    # a BMP whose header says 20,000 by 15,000 pixels of 24 bits (its own format's description)
    header = b"BM" + bytes(8) + (54).to_bytes(4, "little") + (40).to_bytes(4, "little")
    size = (20_000).to_bytes(4, "little") + (15_000).to_bytes(4, "little")
    (phone / "bomb.bmp").write_bytes(header + size + bytes([1, 0, 24, 0]) + bytes(24))
    attached = attach(package, phone)

    rows, remarks = rows_of(package), said(attached)
    assert len(rows) == 4
    for path in phone.iterdir():
        kept = package.folder / "files" / path.name
        assert kept.read_bytes() == path.read_bytes()
        assert rows[f"files/{path.name}"]["sha256"] == sha256_of(path)
    assert "cannot be read" in remarks["cut.jpg"]
    assert "no picture in a form that is read here" in remarks["none.png"]
    assert "no picture in a form that is read here" in remarks["empty.tif"]
    assert "too many pixels" in remarks["bomb.bmp"]


@pytest.mark.parametrize("ending", ["jpg", "png", "tif", "webp", "gif", "bmp"])
def test_pictures_damaged_at_random_stop_nothing(ending: str, tmp_path: Path) -> None:
    chance = random.Random(ending)
    package, phone = a_package(tmp_path).package, tmp_path / "phone"
    whole = save(tmp_path / f"whole.{ending}", a_picture(a_code("x")), an_exif()).read_bytes()
    phone.mkdir()
    for number in range(25):
        broken = bytearray(whole)
        for _ in range(chance.choice((1, 3, 30))):
            broken[chance.randrange(min(len(broken), 10 ** chance.randint(2, 6)))] = (
                chance.randrange(256)
            )
        (phone / f"{number}.{ending}").write_bytes(
            broken[: chance.choice((None, len(broken) // 2))]
        )
    attached = attach(package, phone)
    assert len(rows_of(package)) + len(attached.duplicates) == 25


PICTURES = {
    "red": as_jpeg(a_picture(shade=250), an_exif()),
    "label": as_jpeg(a_picture(a_code(a_label("231"), 2)), an_exif("2024:06:05 08:00:00")),
    "again": as_jpeg(a_picture(shade=240), an_exif()),
    "bare": as_jpeg(a_picture(shade=10)),
    "cut": as_jpeg(a_picture(shade=11))[:300],
}
NAMES = ("IMG_0001.jpg", "img_0001.JPG", "HOLL-231_end.jpg", "231.jpg", "north wall.jpg",
         "a/IMG_0001.jpg", "B1-014/x.jpg", "20240604_101112.jpg", "described.jpg")  # fmt: skip
FOLDERS = st.dictionaries(st.sampled_from(NAMES), st.sampled_from(sorted(PICTURES)), max_size=7)


@settings(max_examples=10, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(folders=st.lists(FOLDERS.filter(len), min_size=1, max_size=3))
def test_no_picture_is_lost_and_no_row_of_a_person_changed(
    folders: list[dict[str, str]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever comes in whichever order: one row with its bytes, or a duplicate that is named."""
    tmp_path = tmp_path_factory.mktemp("law")
    of_a_person = SOUND["file"] | {"path": "files/described.jpg", "taken_on": "", "notes": "mine"}
    package = a_package(tmp_path).with_chain().with_bare_row("file", **of_a_person).package
    for count, folder in enumerate(folders):
        source = tmp_path / f"source-{count}"
        for name, content in folder.items():
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes(PICTURES[content])
        before = {path: row["sha256"] for path, row in rows_of(package).items()}
        try:
            attached = attach(package, source)
        except AlreadyThere:
            assert {path: row["sha256"] for path, row in rows_of(package).items()} == before
            continue
        rows = rows_of(package)
        for name, content in folder.items():
            path = attached.duplicates.get(source / name, f"files/{name}")
            assert (package.folder / path).read_bytes() == PICTURES[content]
            assert rows[path]["sha256"] == sha256_of(source / name)
        assert attach(package, source).drafted == ()
        assert rows_of(package) == rows
    rows = rows_of(package)
    on_disk = {path.relative_to(package.folder).as_posix()
               for path in (package.folder / "files").rglob("*") if path.is_file()}  # fmt: skip
    assert on_disk | {"files/described.jpg"} == set(rows)
    assert len({row["file_id"] for row in rows.values()}) == len(rows)
    ours = rows["files/described.jpg"]
    assert {name: ours[name] for name in of_a_person} == of_a_person


def test_another_picture_of_a_name_is_refused_all_are_named_and_nothing_is_written(
    tmp_path: Path,
) -> None:
    package = a_package(tmp_path).package
    for phone, shade in (("one", 10), ("two", 20)):
        for name in ("IMG_0001.png", "IMG_0002.png", f"{phone}.png"):
            save(tmp_path / phone / name, a_picture(shade=shade + ord(name[-5])))
    attach(package, tmp_path / "one")
    before = rows_of(package)
    with pytest.raises(AlreadyThere, match=r"(?s)IMG_0001.*IMG_0002.*--under files/FOLDER"):
        attach(package, tmp_path / "two")
    assert rows_of(package) == before
    assert not (package.folder / "files" / "two.png").exists()
    attach_pictures(package, [tmp_path / "two"], "files/two")
    assert len(rows_of(package)) == 6


def test_a_stop_while_files_are_put_in_place_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before the one moment of the staged write nothing counts, after it everything does."""
    package = a_package(tmp_path).package
    real = together.put_in_place
    for moment in range(5):
        phone = tmp_path / str(moment)
        for number in range(3):
            save(phone / f"{number}.png", a_picture(shade=10 * moment + number))
        moves = iter(range(100))

        def stopping(
            source: Path, target: Path, moment: int = moment, moves: Iterator[int] = moves
        ) -> None:
            if next(moves) == moment:
                raise KeyboardInterrupt
            real(source, target)

        monkeypatch.setattr(together, "put_in_place", stopping)
        with pytest.raises(KeyboardInterrupt):
            attach_pictures(package, [phone], f"files/{moment}")
        monkeypatch.undo()
        rows = rows_of(open_package(package.folder))
        ours = [path for path in rows if path.startswith(f"files/{moment}/")]
        # the first move is that of the list of files, which is the one moment
        assert len(ours) == (3 if moment else 0)
        assert {path for path in rows if not (package.folder / path).is_file()} == set()


def test_the_command_previews_drafts_and_asks(tmp_path: Path) -> None:
    package, phone = a_record(tmp_path), tmp_path / "phone"
    save(phone / "HOLL-231_end.jpg", a_picture(), an_exif())
    (phone / "report.txt").write_text("rings")

    def run(*more: str) -> tuple[int, str]:
        words = ["attach", str(package.folder), str(phone), *more]
        done = CliRunner().invoke(treenail, words)
        return done.exit_code, done.output

    code, text = run("--dry-run")
    assert (code, "nothing written" in text, rows_of(package)) == (1, True, {})
    assert "files/HOLL-231_end.jpg: sample 231 (by name)" in text
    assert run("--no-rows")[0] == 1
    assert rows_of(package) == {}
    code, text = run("--access", "open")
    assert (code, rows_of(package)["files/HOLL-231_end.jpg"]["access"]) == (1, "open")
    assert "no row of the table 'file' says what this is:\n  files/report.txt" in text
    (phone / "report.txt").unlink()
    assert run() == (0, "attached: 0 files, 1 there already\n")
