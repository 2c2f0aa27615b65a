"""Photos drawn anew, looked at with a library that had no part in it."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path

import exifread
import pytest
from PIL import Image, ImageCms

from provenance._bundle.redaction.pictures import NotRedrawn, redraw
from tests.bundle.redaction.seeding import Markers, a_jpeg, a_png


def tags_of(path: Path) -> dict[str, object]:
    with open(path, "rb") as stream:
        return dict(exifread.process_file(stream, details=True))


def test_a_photo_with_a_position_loses_it_and_all_else_beside_its_pixels(tmp_path: Path) -> None:
    """ExifRead reads the bytes itself, before and after."""
    (tmp_path / "a.jpg").write_bytes(a_jpeg(Markers()))
    before = tags_of(tmp_path / "a.jpg")
    assert {"GPS GPSLatitude", "GPS GPSLongitude", "Image Artist"} <= set(before)
    redraw(tmp_path / "a.jpg", tmp_path / "b.jpg")
    assert tags_of(tmp_path / "b.jpg") == {}
    with Image.open(tmp_path / "b.jpg") as picture:
        assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        # upright: the orientation that went with the tags was turned into pixels first
        assert picture.size == (40, 80)


def test_the_pixels_stay(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(a_png(Markers()))
    redraw(tmp_path / "a.png", tmp_path / "b.png")
    with Image.open(tmp_path / "a.png") as one, Image.open(tmp_path / "b.png") as other:
        assert one.tobytes() == other.tobytes()
        assert other.info == {}


@pytest.mark.parametrize("mode", ["1", "L", "LA", "RGB", "RGBA", "P", "I;16"])
def test_every_kind_ofa_png_can_be_drawn_anew(tmp_path: Path, mode: str) -> None:
    grey = Image.linear_gradient("L").resize((16, 16))
    picture = Image.new("I;16", (16, 16), 40_000) if mode == "I;16" else grey.convert(mode)
    picture.save(tmp_path / "a.png")
    redraw(tmp_path / "a.png", tmp_path / "b.png")
    with Image.open(tmp_path / "a.png") as one, Image.open(tmp_path / "b.png") as other:
        if mode == "I;16":
            assert other.getpixel((3, 3)) == 40_000
        else:
            assert one.convert("RGBA").tobytes() == other.convert("RGBA").tobytes()


def test_under_an_erased_part_nothing_stands(tmp_path: Path) -> None:
    """Erasing makes a part clear and often leaves its colors there."""
    secret = (12, 34, 56)
    erased = Image.new("RGBA", (4, 4), (*secret, 0))
    erased.putpixel((3, 3), (200, 0, 0, 255))
    kinds = {
        "rgba.png": (erased, {}),
        "rgba.webp": (erased, {"lossless": True, "exact": True}),
        "grey.png": (erased.convert("LA"), {}),
        "palette.png": (Image.new("P", (4, 4), 0), {"transparency": 0}),
        "one_color.png": (Image.new("RGB", (4, 4), secret), {"transparency": secret}),
    }
    for name, (picture, how) in kinds.items():
        picture.save(tmp_path / name, **how)
        redraw(tmp_path / name, tmp_path / f"drawn-{name}")
        with Image.open(tmp_path / f"drawn-{name}") as other:
            assert other.convert("RGBA").getpixel((0, 0)) == (255, 255, 255, 255), name
            assert "transparency" not in other.info, name


def test_a_large_picture_takes_hardly_more_memory_than_its_pixels(tmp_path: Path) -> None:
    """A file of a few kilobytes that unfolds to 22 million clear pixels of four bytes."""
    Image.new("RGBA", (4_700, 4_700)).save(tmp_path / "a.png", compress_level=1)
    code = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_DATA, (3 * 10**8,) * 2);"
        "from pathlib import Path; from provenance._bundle.redaction.pictures import redraw;"
        "redraw(Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    subprocess.run([sys.executable, "-c", code, tmp_path / "a.png", tmp_path / "b.png"], check=True)


def test_a_printers_photo_is_brought_to_screen_colours(tmp_path: Path) -> None:
    Image.new("CMYK", (8, 8), (0, 255, 255, 0)).save(tmp_path / "a.jpg")
    redraw(tmp_path / "a.jpg", tmp_path / "b.jpg")
    with Image.open(tmp_path / "b.jpg") as picture:
        assert picture.mode == "RGB"


def test_a_colour_profile_is_applied_and_left_out(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    picture = Image.new("RGB", (8, 8), (200, 30, 40))
    picture.save(tmp_path / "a.png", icc_profile=profile)
    redraw(tmp_path / "a.png", tmp_path / "b.png")
    picture.save(tmp_path / "c.png", icc_profile=b"no profile")
    redraw(tmp_path / "c.png", tmp_path / "d.png")
    for name in ("b.png", "d.png"):
        with Image.open(tmp_path / name) as other:
            assert "icc_profile" not in other.info
            assert other.getpixel((0, 0)) == pytest.approx((200, 30, 40), abs=1)


def test_what_is_no_photo_is_not_drawn(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"not a photo")
    with pytest.raises(NotRedrawn, match="not a JPEG picture"):
        redraw(tmp_path / "a.jpg", tmp_path / "b.jpg")
    whole = a_jpeg(Markers())
    (tmp_path / "cut.jpg").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(NotRedrawn, match="cannot be read"):
        redraw(tmp_path / "cut.jpg", tmp_path / "b.jpg")
    stream = io.BytesIO()
    Image.new("RGB", (4, 4)).save(stream, "TIFF")
    (tmp_path / "a.tif").write_bytes(stream.getvalue())
    (tmp_path / "tiff.png").write_bytes(stream.getvalue())
    for name in ("a.tif", "tiff.png"):
        with pytest.raises(NotRedrawn):
            redraw(tmp_path / name, tmp_path / "b.png")
    assert not (tmp_path / "b.jpg").exists()


def test_a_picture_too_large_to_unfold_is_not_unfolded(tmp_path: Path) -> None:
    """20,000 by 15,000 pixels in a file of a few hundred kilobytes: 300 megapixels."""
    Image.new("1", (20_000, 15_000)).save(tmp_path / "a.png")
    with pytest.raises(NotRedrawn, match=r"pixels|cannot be read"):
        redraw(tmp_path / "a.png", tmp_path / "b.png")
