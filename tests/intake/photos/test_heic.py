"""A HEIC picture is kept as it came, read as any other, and shown through a copy."""

from __future__ import annotations

import io
import sys
from datetime import date
from pathlib import Path

import exifread
import pillow_heif
import pytest
from PIL import Image

from provenance._identity.payload import compose_code
from provenance._intake.photos.attaching import PicturesAttached, attach_pictures
from provenance._intake.photos.picture import COPY_PIXELS, is_heif
from provenance._record.package import Package
from tests.builders import a_package
from tests.intake.photos.pictures import a_code, a_picture, an_exif

LABEL = compose_code("HOLL", "231")


def a_heic(path: Path, picture: Image.Image, orientation: int = 1) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    exif = an_exif("2024:06:04 10:11:12", "-06:00")
    exif[0x0112] = orientation
    pillow_heif.from_pillow(picture).save(path, exif=exif.tobytes(), quality=70)
    return path


def attach(package: Package, source: Path) -> PicturesAttached:
    return attach_pictures(package, [source], today=date(2025, 1, 1))


def test_the_original_is_kept_and_a_copy_is_drawn_beside_it(tmp_path: Path) -> None:
    package = a_package(tmp_path).with_chain().package
    wide = a_picture(a_code(LABEL, 8)).resize((1800, 900))
    wide.paste((0, 0, 250), (0, 0, 100, 100))
    photo = a_heic(tmp_path / "phone" / "IMG_0001.HEIC", wide, orientation=6)
    attached = attach(package, photo.parent)

    original, copy = package.tables.rows("file")
    assert (package.folder / original["path"]).read_bytes() == photo.read_bytes()
    assert (original["about_table"], original["about_id"]) == ("sample", "231")
    assert (original["taken_on"], original["made_with"]) == (
        "2024-06-04T10:11:12-06:00",
        "Inventa M1",
    )
    assert original["media_type"] == "image/heic"
    assert copy["path"] == "files/IMG_0001.converted.jpg"
    assert (copy["about_table"], copy["about_id"]) == ("file", original["file_id"])
    assert (copy["access"], original["file_id"] in copy["title"]) == (original["access"], True)
    drawn = (package.folder / copy["path"]).read_bytes()
    with Image.open(io.BytesIO(drawn)) as shown:
        # Exif orientation 6: the upper left of what is stored is the upper right of the picture
        assert shown.size == (COPY_PIXELS // 2, COPY_PIXELS)
        red, _, blue = shown.getpixel((shown.width - 20, 20))
        assert blue > 200 > 100 > red
    assert not exifread.process_file(io.BytesIO(drawn))
    assert b"Inventa" not in drawn
    assert attached.remarks == ()
    # once more, there is nothing to do
    again = attach(package, photo.parent)
    assert (again.copied, again.drafted, again.converted) == ((), (), ())


def test_the_copy_takes_no_name_that_is_taken(tmp_path: Path) -> None:
    package, phone = a_package(tmp_path).package, tmp_path / "phone"
    for name in ("a.HEIC", "a.heif", "A.converted.jpg"):
        a_heic(phone / name, a_picture(shade=ord(name[2])))
    attach(package, phone)
    paths = {row["path"].removeprefix("files/") for row in package.tables.rows("file")}
    copies = {"a.converted-2.jpg", "a.converted-3.jpg", "A.converted.converted.jpg"}
    # the last is HEIC under the name of a JPEG, as some phones hand it over
    assert paths == {"a.HEIC", "a.heif", "A.converted.jpg"} | copies


def test_a_row_that_a_person_wrote_gets_a_copy_and_stays_as_it_is(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("file", path="files/a.heic", access="open")
    attach(builder.package, a_heic(tmp_path / "a.heic", a_picture()))
    ours, copy = builder.package.tables.rows("file")
    assert (ours["title"], ours["taken_on"]) == ("Beam B1-014 from the south (invented)", "")
    assert (copy["about_id"], copy["access"]) == ("F-1", "open")


def test_without_the_decoder_the_original_is_kept_and_what_to_install_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    package = a_package(tmp_path).package
    photo = a_heic(tmp_path / "a.heic", a_picture())
    with monkeypatch.context() as patched:
        patched.setitem(sys.modules, "pillow_heif", None)
        (remark, _) = attach(package, photo).remarks
    assert "pip install 'treenail[photos]'" in remark.says
    assert (package.folder / "files" / "a.heic").read_bytes() == photo.read_bytes()
    assert len(package.tables.rows("file")) == 1
    assert attach(package, photo).converted == ("files/a.converted.jpg",)


def test_a_damaged_one_is_named_and_kept(tmp_path: Path) -> None:
    package = a_package(tmp_path).package
    whole = a_heic(tmp_path / "whole.heic", a_picture()).read_bytes()
    for length in (8, 12, 40, 300, len(whole) - 50):
        (tmp_path / f"{length}.heic").write_bytes(whole[:length])
        attached = attach(package, tmp_path / f"{length}.heic")
        assert "look for a better copy" in attached.remarks[0].says
        assert attached.converted == ()
    assert len(package.tables.rows("file")) == 5


def test_a_picture_of_another_form_is_not_taken_for_heic(tmp_path: Path) -> None:
    """The brand of an AVIF file is not one of HEVC; a JPEG has none (ISO/IEC 14496-12, 4.3)."""
    (tmp_path / "a").write_bytes(b"\0\0\0\x18ftypavif\0\0\0\0avifmiaf")
    a_picture().save(tmp_path / "b", "JPEG")
    assert [is_heif(tmp_path / name) for name in "ab"] == [False, False]
    assert is_heif(a_heic(tmp_path / "c", a_picture()))
