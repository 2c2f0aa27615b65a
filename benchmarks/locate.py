"""`locate` over many bundles: the time of an answer once indexed, against reading them each time.

python benchmarks/locate.py [--bundles 1000] [--samples 100]
"""

from __future__ import annotations

import argparse
import csv
import json
import tempfile
import time
from pathlib import Path

from provenance._catalogue.plugs import gather_plugs, index_plugs, stored_plugs
from provenance._identity.locate import locate_plug
from provenance._identity.stamps import free_numbers


def write_bundle(folder: Path, site: int, samples: int) -> None:
    """What `locate` reads of a bundle, and no more."""
    tables = folder / "data" / "tables"
    tables.mkdir(parents=True)
    (folder / "manifest-sha256.txt").write_text(f"{site}\n")
    (folder / "data" / "datapackage.json").write_text(json.dumps({"name": f"site-{site}"}))
    stream = free_numbers((), first=100 + site % 700, last=10**6)
    numbers = [next(stream) for _ in range(samples)]
    write(tables / "place.csv", [{"place_id": "B1", "name": "House", "parent_place_id": ""}])
    write(
        tables / "element.csv",
        [
            {"element_id": f"E{n}", "place_id": "B1", "function": "beam", "species_field": "PISY"}
            for n in numbers
        ],
    )
    write(
        tables / "sample.csv",
        [
            {"sample_id": n, "site_id": f"S{site}", "element_id": f"E{n}", "collected_on": "2024"}
            for n in numbers
        ],
    )
    write(
        tables / "plug.csv",
        [
            {
                "plug_id": f"P{n}",
                "sample_id": n,
                "stamp": n,
                "orientation_mark": "none",
                "dowel_mm": "12.7",
                "status": "in_place",
            }
            for n in numbers
        ],
    )


def write(path: Path, rows: list[dict[str, str]]) -> None:
    with open(path, "w", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def timed(label: str, act) -> float:
    start = time.perf_counter()
    act()
    took = time.perf_counter() - start
    print(f"{label:44} {took:8.2f} s")
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundles", type=int, default=1000)
    parser.add_argument("--samples", type=int, default=100)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place, index = Path(folder) / "bundles", Path(folder) / "index.sqlite"
        for site in range(options.bundles):
            write_bundle(place / f"b{site:05}", site, options.samples)
        print(f"{options.bundles} bundles, {options.bundles * options.samples} samples")
        fresh = timed("reading every bundle", lambda: locate_plug(gather_plugs(place), "2?1"))
        timed("making the index", lambda: index_plugs(place, index))
        timed("looking whether anything changed", lambda: index_plugs(place, index))
        asked = timed("an answer from the index", lambda: locate_plug(stored_plugs(index), "2?1"))
        print(f"index against reading: {fresh / asked:.1f} times faster")


if __name__ == "__main__":
    main()
