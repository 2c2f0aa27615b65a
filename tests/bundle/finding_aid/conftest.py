"""A small record of an invented place, packed once and opened in Chromium."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from PIL import Image

from provenance._record.package import Package
from tests.builders import SOUND, a_package, pack_bundle
from tests.programs import program

STAMPS = ("231", "237", "281", "96", "69", "201", "132", "18", "1027", "23")

CONCLUSIONS: tuple[tuple[str, dict[str, str]], ...] = (
    ("episode", {"episode_id": "E1", "site_id": "HOLL", "place_id": "B1", "kind": "repaired",
                 "title": "Roof <renewed>", "happened": "1785", "certainty": "likely"}),
    ("span", {"sample_id": "231", "element_id": "B1-014", "place_id": "B1", "building_id": "B1",
              "inner_year": "1652", "outer_year": "1781", "outer_symbol": "B",
              "cutting": "cutting", "felled_from_year": "1781", "felled_to_year": "1782"}),
    ("felling", {"element_id": "B1-014", "tree_id": "B1-014", "place_id": "B1",
                 "building_id": "B1", "dated_count": "1", "felled_from_year": "1781",
                 "felled_to_year": "1782", "felling_class": "cutting"}),
    ("phase", {"phase_id": "B1-1781", "site_id": "HOLL", "place_id": "B1", "first_year": "1781",
               "last_year": "1782", "piece_count": "1", "tree_count": "1", "narrow_count": "1",
               "decisive_count": "1", "narrower_count": "1", "wider_count": "1",
               "window_years": "3", "least_pieces": "1", "least_narrow": "1",
               "narrow_years": "10"}),
    ("phase_piece", {"phase_id": "B1-1781", "element_id": "B1-014", "decisive": "yes"}),
    ("phase_event", {"comparison_id": "B1-1781:E1", "phase_id": "B1-1781", "episode_id": "E1",
                     "place_id": "B1", "agreement": "fits", "years_after": "3"}),
    ("tree_bound", {"bound_id": "N1", "place_id": "B1", "bound": "lower", "trees": "1",
                    "bound_reason": "present"}),
)  # fmt: skip
"""A phase of a single tree, as 'treenail derive --least 1' finds it, with what follows."""


def a_record(folder: Path) -> Package:
    """Ten samples of two pieces of wood with coordinates, a photo, results and a pine beside."""
    builder = a_package(folder).with_chain()
    for table in ("consignment", "lab_result", "datum", "file"):
        builder.with_row(table)
    for table, row in CONCLUSIONS:
        builder.with_bare_row(table, **row)
    package = builder.package
    element, sample, plug = (package.table(name) for name in ("element", "sample", "plug"))
    for name, value in zip(("xa_m", "ya_m", "za_m"), ("1", "1", "2"), strict=True):
        element[name] = value
    for name, value in zip(("xb_m", "yb_m", "zb_m"), ("5.2", "1", "2"), strict=True):
        element[name] = value
    other = element.assign(
        element_id="b1/9", species_field="PISY", function="post", place_id="", xa_m="", xb_m=""
    )
    package.write_table("element", pd.concat([element, other]))
    for stamp in STAMPS[1:]:
        on_other = stamp in ("96", "132")
        row = {**SOUND["sample"], "sample_id": stamp}
        row["element_id"] = "b1/9" if on_other else "B1-014"
        row["along_m"] = str(0.5 + STAMPS.index(stamp) * 0.3)
        sample.loc[len(sample) + 2] = {**dict.fromkeys(sample.columns, ""), **row}
        row = {**SOUND["plug"], "plug_id": f"P-{stamp}", "sample_id": stamp, "stamp": stamp}
        row["dowel_mm"] = "" if stamp == "23" else "15.9" if stamp == "281" else "12.7"
        row["status"] = "lost" if stamp == "237" else "in_place"
        row["orientation_mark"] = "dot" if stamp == "96" else "none"
        plug.loc[len(plug) + 2] = {**dict.fromkeys(plug.columns, ""), **row}
    package.write_table("sample", sample)
    package.write_table("plug", plug)
    reservation = package.table("reservation")
    for number in ("231", "322", "A9"):
        row = {"sample_id": number, "site_id": "HOLL", "crew": "north", "orientation_mark": "none"}
        reservation.loc[len(reservation) + 2] = {**row, "reserved_on": "2024-05-02"}
    package.write_table("reservation", reservation)
    former = package.table("former_key")
    former.loc[2] = {"table_name": "sample", "former_key": "199", "row_key": "281"}
    package.write_table("former_key", former)
    Image.new("RGB", (640, 480), "#785030").save(package.folder / "files" / "photo-001.png")
    return package


@pytest.fixture(scope="session")
def record(tmp_path_factory: pytest.TempPathFactory) -> Package:
    return a_record(tmp_path_factory.mktemp("record"))


@pytest.fixture(scope="session")
def data(record: Package, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder data/ of its bundle."""
    return pack_bundle(record, tmp_path_factory.mktemp("packed") / "bundle") / "data"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Closed when the module is done, because it takes time of a core while it waits."""
    chromium = program("chromium")
    if chromium is None:
        pytest.skip("Chromium is not installed (Debian: apt-get install chromium)")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def pages(browser: Any) -> dict[str, tuple[Any, list[str]]]:
    """Pages by the options that they were opened with, and what went wrong in each."""
    return {}


@pytest.fixture
def open_page(browser: Any, data: Path, pages: dict[str, tuple[Any, list[str]]]) -> Iterator[Any]:
    """Opens a page from the disk; fails on any error in it and on any look beyond the disk.

    A new one takes longer than what most tests ask of it, so that one is led on from file to file.
    """

    def open_page(path: str, **options: Any) -> Any:
        if repr(options) not in pages:
            pages[repr(options)] = page, wrong = browser.new_context(**options).new_page(), []
            page.on("console", lambda it: wrong.append(it.text) if it.type == "error" else None)
            page.on("pageerror", lambda error: wrong.append(str(error)))
            page.on(
                "request",
                lambda asked: None if asked.url.startswith("file://") else wrong.append(asked.url),
            )
        page, _ = pages[repr(options)]
        file, _, anchor = path.partition("#")
        # else another anchor of the same file would leave it as the last test did
        page.goto("about:blank")
        page.goto((data / file).as_uri() + (f"#{anchor}" if anchor else ""))
        return page

    yield open_page
    for page, wrong in pages.values():
        page.goto("about:blank")
        said, wrong[:] = [*wrong], []
        assert said == []
