"""Photos dropped at the desk are attached as by the command, and linked where a person says so."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pillow_heif
from PIL import Image

from provenance._identity.payload import compose_code
from provenance._intake.photos.attaching import attach_pictures
from provenance._record.package import open_package
from tests.desk.sitting import Sitting, text_of
from tests.intake.photos.pictures import a_code, a_picture, an_exif, as_jpeg
from tests.intake.photos.test_attaching import a_record, rows_of

PHOTOS = "/record/holl/photos"


def test_photos_come_in_as_by_the_command_and_are_linked_by_hand(tmp_path: Path) -> None:
    heic = io.BytesIO()
    pillow_heif.from_pillow(a_picture(shade=200)).save(heic)
    label = as_jpeg(a_picture(a_code(compose_code("HOLL", "231"))), an_exif())
    files = {
        "IMG_0001.jpg": label,
        "IMG_0002.jpg": as_jpeg(a_picture(shade=20), an_exif("2024:06:05 10:00:00")),
        "IMG_0003.heic": heic.getvalue(),
        "HOLL-240_end.jpg": as_jpeg(a_picture(shade=60), an_exif("2024:06:05 11:00:00")),
        "svg.jpg": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    }
    (tmp_path / "work").mkdir()
    for folder in ("work", "by-command"):
        a_record(tmp_path / folder)
    phone = tmp_path / "phone"
    phone.mkdir()
    for name, body in files.items():
        (phone / name).write_bytes(body)
    by_command = open_package(tmp_path / "by-command" / "holl")
    attach_pictures(by_command, [phone / name for name in files])

    sitting = Sitting(tmp_path / "work")
    page = sitting.do(PHOTOS, files=[("files", (f"a/../{n}", body)) for n, body in files.items()])
    text = text_of(page)
    assert "sample 231 told by its label or sheet in view" in text
    assert "sample 240 told by its name" in text
    assert not rows_of(open_package(tmp_path / "work" / "holl")), "looking writes nothing"
    for source in re.findall(r'<img src="([^"]+)"', page):
        answer = sitting.client.get(source)
        if source.endswith("/4"):
            assert answer.status_code == 404, "what is no picture is not shown"
            continue
        assert answer.headers["content-type"] == "image/jpeg"
        with Image.open(io.BytesIO(answer.content)) as drawn:
            # nothing that the camera wrote, where it stood least of all
            assert (drawn.format, dict(drawn.getexif())) == ("JPEG", {})
            assert max(drawn.size) <= 320
    to = re.findall(rf'hx-post="({PHOTOS}/[\w-]+)/attach"', page)[0]
    assert "names no site, place" in sitting.refused(f"{to}/attach", {"about|1": "NO-1"})
    assert not rows_of(open_package(tmp_path / "work" / "holl"))
    page = sitting.do(f"{to}/attach", {"about|1": "timber B1-015", "about|0": "260"})
    ours, theirs = rows_of(open_package(tmp_path / "work" / "holl")), rows_of(by_command)
    linked = theirs["files/IMG_0002.jpg"] | {"about_table": "element", "about_id": "B1-015"}
    assert ours == {**theirs, "files/IMG_0002.jpg": linked}

    # what stayed blank is listed, and linked by a scanned label
    assert "files/IMG_0003.heic" in text_of(page)
    file_id = ours["files/IMG_0003.heic"]["file_id"]
    sitting.do(f"{PHOTOS}/link/{file_id}", {"about": compose_code("HOLL", "250")})
    row = rows_of(open_package(tmp_path / "work" / "holl"))["files/IMG_0003.heic"]
    assert (row["about_table"], row["about_id"]) == ("sample", "250")
    sitting.page("/record/holl/thumbnail/F-NONE", 404)
    sent = [("files", ("a.jpg", label))]
    assert "below files/" in sitting.refused(PHOTOS, {"under": "../../x"}, files=sent)
