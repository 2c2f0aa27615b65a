"""Makes the picture of the desk again that the README shows: `python -m tests.shown demo_output`.

The folder is what `treenail demo` wrote; the page is opened in the system's Chromium.
"""

from __future__ import annotations

import io
import queue
import sys
import threading
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright

from provenance._base.resources import shipped
from provenance._desk.desk import Desk
from provenance._desk.serving import serve
from tests.programs import program

PAGE = "record/hollin-reach/plan/RB"
PICTURE = shipped("demo_package") / "shown" / "desk.png"
_SIZE = {"width": 1280, "height": 800}
_COLORS = 128
_MS_TO_DRAW = 2000
_ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def picture_of(folder: Path, page: str) -> bytes:
    """A page of the desk on this folder, as PNG."""
    told: queue.Queue[str] = queue.Queue()
    desk = Desk(folder.resolve(), by="Tamsel Orrowby")
    options: dict[str, Any] = {"browser": False, "tell": told.put}
    serving = threading.Thread(target=serve, args=(desk,), kwargs=options)
    serving.start()
    address = next(word for word in told.get().split() if word.startswith("http"))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program("chromium"), args=_ARGUMENTS)
        shown = browser.new_page(viewport=_SIZE)
        shown.goto(address)
        shown.wait_for_url("**/")
        shown.goto(f"{shown.url}{page}")
        shown.wait_for_selector(".leaflet-image-layer")
        shown.wait_for_timeout(_MS_TO_DRAW)
        taken: bytes = shown.screenshot()
        browser.close()
    desk.stop()
    serving.join()
    return taken


def main() -> None:
    """Write the picture, in few colors, as small as it can be."""
    image = Image.open(io.BytesIO(picture_of(Path(sys.argv[1]), PAGE))).convert("RGB")
    few = image.quantize(_COLORS, dither=Image.Dither.NONE)
    few.save(PICTURE, optimize=True)
    print(f"wrote {PICTURE} ({PICTURE.stat().st_size:,} bytes)")


if __name__ == "__main__":
    main()
