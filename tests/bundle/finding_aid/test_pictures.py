"""Previews: small, bare of metadata, and never of what could harm."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

from PIL import Image

from provenance._bundle.finding_aid.cells import Cells
from provenance._bundle.finding_aid.pictures import PREVIEW_PIXELS, Attachment, Pictures
from provenance._bundle.finding_aid.record import Record
from tests.builders import a_package


def attached(folder: Path, name: str, content: bytes, kind: str = "photo") -> Attachment:
    path = f"files/{name}"
    builder = a_package(folder).with_chain().with_row("file", path=path, kind=kind)
    package = builder.package
    (package.folder / path).write_bytes(content)
    cells = Cells(Record(package), frozenset({path}))
    (found,) = Pictures(cells, package.folder, folder / "out").about("element", "B1-014")
    return found


def a_picture(folder: Path, size: tuple[int, int]) -> bytes:
    path = folder / "made.jpg"
    exif = Image.Exif()
    exif[0x010E] = "at the secret spring"
    Image.new("RGB", size, "#405060").save(path, exif=exif)
    return path.read_bytes()


def test_a_preview_is_small_and_bare_of_metadata(tmp_path: Path) -> None:
    found = attached(tmp_path, "a.jpg", a_picture(tmp_path, (1600, 800)))
    assert found.preview == "pages/preview/~66~69~6C~65~73~2F~61.~6A~70~67.jpg"
    with Image.open(tmp_path / "out" / found.preview) as preview:
        assert preview.size == (PREVIEW_PIXELS, PREVIEW_PIXELS // 2)
        assert not preview.getexif()
    assert b"secret" not in (tmp_path / "out" / found.preview).read_bytes()


def test_a_photo_that_no_page_can_show_is_shown_by_its_converted_copy(tmp_path: Path) -> None:
    builder = a_package(tmp_path).with_chain().with_row("file", path="files/a.heic")
    copy = {"path": "files/a.converted.jpg", "about_table": "file", "about_id": "F-1"}
    package = builder.with_row("file", file_id="F-1-JPG", **copy).package
    (package.folder / "files" / "a.heic").write_bytes(b"\0\0\0\x18ftypheic")
    (package.folder / copy["path"]).write_bytes(a_picture(tmp_path, (1600, 800)))

    def shown(*there: str) -> Attachment:
        cells = Cells(Record(package), frozenset(there))
        (one,) = Pictures(cells, package.folder, tmp_path / "out").about("element", "B1-014")
        return one

    both = shown("files/a.heic", copy["path"])
    assert (both.href, both.shown_by) == ("files/a.heic", copy["path"])
    assert both.preview
    assert both.without_preview == ""
    # as in a public edition, which leaves out what cannot be drawn anew
    copy_alone = shown(copy["path"])
    assert (copy_alone.href, copy_alone.shown_by) == (None, copy["path"])
    assert copy_alone.preview == both.preview
    assert shown("files/a.heic").preview is None


def test_a_photo_that_is_none_is_named_and_linked(tmp_path: Path) -> None:
    found = attached(tmp_path, "a.jpg", b"<html>no photo</html>")
    assert found.preview is None
    assert found.href == "files/a.jpg"
    assert "not a picture in a form" in found.without_preview


def test_a_plan_in_an_unknown_form_is_named_and_linked(tmp_path: Path) -> None:
    found = attached(tmp_path, "a.dwg", b"AC1032\x00", kind="plan")
    assert found.href == "files/a.dwg"
    assert found.preview is None


def test_what_a_browser_could_run_is_shown_as_a_picture_or_named_and_never_linked(
    tmp_path: Path,
) -> None:
    """A disk has no origin that would keep one file from the others: a script in it reads them."""
    script = b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"
    for name in ("plan.svg", "a.HTML", "b.xhtml", "c.xml", "d.svgz", "e", "f.unheard-of"):
        found = attached(tmp_path / name, name, script, kind="plan")
        assert found.may_run, name
        assert (found.href, found.shown_by) == (None, ""), name
        # inside an img element scripts do not run (HTML Standard and SVG 2, 2.2.1 from memory)
        assert found.preview == ("files/plan.svg" if name == "plan.svg" else None), name


def test_a_photo_cut_off_is_named_and_linked(tmp_path: Path) -> None:
    found = attached(tmp_path, "a.jpg", a_picture(tmp_path, (1600, 800))[:900])
    assert found.preview is None
    assert "damaged" in found.without_preview


def test_a_picture_of_300_million_pixels_is_never_decoded(tmp_path: Path) -> None:
    """A PNG of one line whose header says 20,000 by 15,000 (PNG, third edition, 11.2.1)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(
            ">I", zlib.crc32(name + body)
        )  # fmt: skip

    header = struct.pack(">IIBBBBB", 20_000, 15_000, 8, 2, 0, 0, 0)
    png = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0"))
    found = attached(tmp_path, "a.png", png + chunk(b"IEND", b""))
    assert found.preview is None
    assert "pixels" in found.without_preview
    assert found.href == "files/a.png"
