"""Measures a finding aid of very many records: writing it, its size, opening and searching it.

Run by hand: python benchmarks/finding_aid.py [ELEMENTS] [--keep FOLDER]. With Chromium and
Playwright there, the page is opened from the disk and searched; else that part is left out.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from provenance._bundle.describe.contents import survey_package
from provenance._bundle.describe.editions import FULL
from provenance._bundle.finding_aid.write import write_finding_aid
from provenance._bundle.pack import pack
from provenance._identity.stamps import free_numbers
from provenance._record.new import new_package
from provenance._record.package import Package

WOOD_A_BUILDING, ROOMS, WOOD_A_SAMPLE = 1000, 10, 5
USES = ("beam", "post", "rafter", "wall_log", "joist", "lintel")
SPECIES = ("PSME", "PIPO", "QUAL", "PISY")


def written(package: Package, name: str, columns: dict[str, object]) -> None:
    """Put columns into a table; the others stay blank."""
    blank = dict.fromkeys(package.model.table(name).names, "")
    package.write_table(name, pd.DataFrame({**blank, **columns}))


def many_records(folder: Path, n_elements: int, seed: int = 11) -> Package:
    """Buildings of 1,000 pieces of wood with coordinates, every fifth sampled and dated."""
    chance = np.random.default_rng(seed)
    package = new_package(folder / "many", "blank", title="Many buildings (invented)")
    buildings = -(-n_elements // WOOD_A_BUILDING)
    outer = [f"H{one:02}" for one in range(buildings)]
    rooms = [f"{one}-R{room}" for one in outer for room in range(ROOMS)]
    at = np.arange(n_elements)
    building = at // WOOD_A_BUILDING
    room = at % ROOMS
    elements = np.array([f"{outer[b]}-{i:05}" for b, i in zip(building, at, strict=True)])
    x = 30.0 * building + chance.uniform(0, 20, n_elements)
    y = chance.uniform(0, 15, n_elements)
    written(package, "site", {"site_id": ["MANY"], "name": ["Many buildings (invented)"]})
    written(
        package,
        "party",
        {"party_id": ["CREW", "LAB"], "kind": "organisation",
         "name": ["Crew (invented)", "Laboratory (invented)"]},
    )  # fmt: skip
    written(
        package,
        "place",
        {
            "place_id": outer + rooms,
            "site_id": "MANY",
            "parent_place_id": [""] * len(outer) + [one.split("-")[0] for one in rooms],
            "kind": ["building"] * len(outer) + ["room"] * len(rooms),
            "name": [f"House {one[1:]}" for one in outer] + [f"Room {one[-1]}" for one in rooms],
        },
    )
    written(
        package,
        "element",
        {
            "element_id": elements,
            "site_id": "MANY",
            "place_id": [f"{outer[b]}-R{r}" for b, r in zip(building, room, strict=True)],
            "function": [USES[i % len(USES)] for i in at],
            "species_field": [SPECIES[i % len(SPECIES)] for i in at],
            "length_m": 3.2,
            "recorded_on": "2024-06-03",
            "recorded_by": "CREW",
            "xa_m": x.round(3),
            "ya_m": y.round(3),
            "za_m": 2.4,
            "xb_m": (x + 3.0).round(3),
            "yb_m": (y + chance.uniform(-1, 1, n_elements)).round(3),
            "zb_m": 2.4,
        },
    )
    sampled = at[::WOOD_A_SAMPLE]
    numbers = free_numbers((), first=100, last=10**6)
    stamps = [str(next(numbers)) for _ in sampled]
    outer_years = chance.integers(1650, 1900, len(sampled))
    written(
        package,
        "sample",
        {"sample_id": stamps, "site_id": "MANY", "element_id": elements[sampled], "kind": "core",
         "along_m": 1.0, "collected_on": "2024-06-04", "collected_by": "CREW"},
    )  # fmt: skip
    written(
        package,
        "plug",
        {"plug_id": [f"P-{one}" for one in stamps], "sample_id": stamps, "stamp": stamps,
         "dowel_mm": 12.7, "status": "in_place"},
    )  # fmt: skip
    written(
        package,
        "lab_result",
        {"result_id": [f"R-{one}" for one in stamps], "sample_id": stamps, "laboratory_id": "LAB",
         "outcome": "dated", "notation": [f"{year - 90} - {year}B" for year in outer_years],
         "inner_year": outer_years - 90, "outer_year": outer_years, "revision": 1,
         "reported_on": "2025-01-01"},
    )  # fmt: skip
    return package


def timed(label: str, act) -> float:
    start, used = time.perf_counter(), time.process_time()
    act()
    took = time.perf_counter() - start
    print(f"{label:44} {took:8.2f} s, of them processor {time.process_time() - used:6.2f} s")
    return took


def in_a_browser(index: Path, reading: str) -> None:
    """Open and search the page as its readers do; prints milliseconds."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    if chromium is None:
        print("no Chromium here, so the page was not opened")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page()
        start = time.perf_counter()
        page.goto(index.as_uri())
        page.wait_for_selector("#search:not([hidden])")
        print(f"{'opened, ready to search':44} {1000 * (time.perf_counter() - start):8.0f} ms")
        for field, text in (("#q", "house 07 rafter"), ("#q", "h03-03777"), ("#reading", reading)):
            took = page.evaluate(
                """([field, text]) => new Promise((done) => {
                    const start = performance.now();
                    new MutationObserver((_, watch) => {
                        if (document.querySelector("#count").textContent) {
                            watch.disconnect(); done(performance.now() - start);
                        }
                    }).observe(document.querySelector("#found"), {childList: true});
                    document.querySelector(field).value = text;
                    document.querySelector(field).dispatchEvent(
                        new Event("input", {bubbles: true}));
                })""",
                [field, text],
            )
            said = page.text_content("#count")
            print(f"{f'search for {text!r}':44} {took:8.0f} ms ({said})")
        browser.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("elements", type=int, nargs="?", default=20_000)
    parser.add_argument("--keep", type=Path, help="a folder that the package and pages stay in")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = (options.keep or Path(scratch)).resolve()
        package = many_records(folder, options.elements)
        aid = folder / "aid"
        contents = survey_package(package)

        def write() -> None:
            write_finding_aid(
                package, aid, edition=FULL, facts=(), links=(),
                files=[member.path for member in contents.members],
            )  # fmt: skip

        timed("write the finding aid", write)
        paths = [path for path in aid.rglob("*") if path.is_file()]
        size = sum(path.stat().st_size for path in paths)
        data = (aid / "pages" / "search-data.js").stat().st_size
        print(f"{len(paths)} files, {size / 1e6:.1f} MB; search data {data / 1e6:.2f} MB")
        in_a_browser(aid / "index.html", "1?3")
        timed("pack the whole as a folder", lambda: pack(package, folder / "bundle"))


if __name__ == "__main__":
    main()
