"""Ledger and reconciliation at size, against simple ways to do the same.

python benchmarks/laboratory.py [--events 100000] [--results 100000]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd

from provenance._lab.reconcile import reconcile_results
from provenance._ledger.custody import append_events, verify_chain
from provenance._record.new import new_package
from provenance._record.package import Package

STARTED = datetime(2030, 1, 1, tzinfo=UTC)


def timed(label: str, act):
    start, busy = time.perf_counter(), time.process_time()
    value = act()
    took, busy = time.perf_counter() - start, time.process_time() - busy
    print(f"{label:48} {took:8.2f} s, of them processor {busy:7.2f} s")
    return took, value


def filled(package: Package, table: str, count: int, **columns) -> None:
    frame = package.table(table).reindex(range(2, count + 2), fill_value="")
    for name, values in columns.items():
        frame[name] = values
    package.write_table(table, frame)


def a_package(folder: Path, samples: int) -> Package:
    package = new_package(folder / f"p{samples}", created=STARTED)
    codes = [str(number) for number in range(1, samples + 1)]
    filled(package, "party", 2, party_id=["MB", "LAB"], kind=["person", "organisation"], name="x")
    filled(package, "site", 1, site_id="HOLL", name="Hollin Reach (invented)")
    filled(package, "element", samples, element_id=codes, site_id="HOLL", function="beam",
           sampled="true", species_field="PISY", length_m="3", diameter_a1_cm="20")  # fmt: skip
    filled(package, "sample", samples, sample_id=codes, site_id="HOLL", element_id=codes,
           kind="core", length_mm="98", collected_on="2024-06-04", collected_by="MB")  # fmt: skip
    return package


def ledger(folder: Path, events: int) -> None:
    package = a_package(folder, events // 2)
    codes = list(package.table("sample")["sample_id"])
    rows = pd.DataFrame(
        {
            "event": ["collected"] * len(codes) + ["stored"] * len(codes),
            "happened_on": ["2024-06-04"] * len(codes) + ["2024-07-01"] * len(codes),
            "sample_id": codes * 2,
            "to_party_id": ["MB"] * len(codes) + [""] * len(codes),
        }
    )
    timed(f"seal {len(rows)} custody events", lambda: append_events(package, rows))
    _, found = timed(f"verify {len(rows)} custody events", lambda: verify_chain(package))
    assert found == []


def reconciliation(folder: Path, results: int) -> None:
    package = a_package(folder, results + 1)
    codes = list(package.table("sample")["sample_id"])[:results]
    filled(package, "consignment", 1, consignment_id="C-1", from_party_id="MB", to_party_id="LAB",
           purpose="dating", sent_on="2024-06-16")  # fmt: skip
    rows = pd.DataFrame(
        {
            "event": "packed",
            "happened_on": "2024-06-15",
            "sample_id": codes,
            "consignment_id": "C-1",
        }
    )
    append_events(package, rows)
    random = np.random.default_rng(7)

    def some(first: int, last: int) -> list[str]:
        return [str(number) for number in random.integers(first, last, results)]

    filled(package, "lab_result", results, result_id=[f"R{c}" for c in codes], sample_id=codes,
           laboratory_id="LAB", consignment_id="C-1", outcome="dated",
           inner_year=some(1500, 1700), outer_year=some(1701, 1900), inner_symbol="p",
           outer_symbol=["B", "vv", "v", "r"] * (results // 4) + ["B"] * (results % 4),
           ring_count=some(40, 90), species="PISY", reported_on="2025-02-01")  # fmt: skip
    timed(f"reconcile {results} results", lambda: reconcile_results(package, "C-1"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--results", type=int, default=100_000)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        ledger(Path(folder), options.events)
        reconciliation(Path(folder), options.results)


if __name__ == "__main__":
    main()
