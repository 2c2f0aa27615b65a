"""Makes a whole package of any size, ledger and seals included, of which the check finds little."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import polars as pl

from checkers.record import _codes, _constant, _days, _notes, _numbers, _picked
from provenance._record.new import new_package

Columns = dict[str, pl.Series]


def write_whole(folder: Path, n: int, *, damaged: bool, seed: int = 7) -> int:
    """Write a package with n elements, samples, plugs, results and events; returns the bytes.

    Damaged, one row in a hundred of the samples has a word for a number and one in a hundred of the
    results a species of another genus.
    """
    package = new_package(folder, profile="blank", created=datetime(2030, 1, 1, tzinfo=UTC))
    rng = np.random.default_rng(seed)
    written = 0
    for name, columns in _tables(n, rng, damaged=damaged).items():
        table = package.model.table(name)
        height = len(next(iter(columns.values())))
        full = {c: columns.get(c, pl.repeat("", height, eager=True)) for c in table.names}
        path = package.table_path(name)
        pl.DataFrame(full).with_columns(pl.all().replace("", None)).write_csv(path)
        written += path.stat().st_size
    return written


def _tables(n: int, rng: np.random.Generator, *, damaged: bool) -> dict[str, Columns]:
    codes, wood = _codes("", n), _codes("E", n)
    places = max(n // 20, 1)
    lengths = rng.integers(120, 250, n)
    rings = rng.integers(60, 100, n)
    inner = rng.integers(1500, 1700, n)
    species = _constant(n, species="PIPO")["species"]
    measured = pl.Series(lengths).cast(pl.String)
    if damaged:
        bad = pl.Series(rng.random(n) < 0.01)
        species = species.set(bad, "QUSP")
        measured = measured.set(bad, "about six inches")
    return {
        "party": {
            "party_id": pl.Series(["MB", "LAB"]),
            "kind": pl.Series(["person", "organisation"]),
            "name": pl.Series(["Mara Birkwood (invented)", "Alder Ring Laboratory (invented)"]),
        },
        "site": _constant(1, site_id="HOLL", name="Hollin Reach (invented)", country="ZZ")
        | _constant(1, kind="mixed", visit_start="2013-01-01", crew_lead_id="MB")
        | _constant(1, permit_number="INV-1", owner_consent="given", protection="none")
        | _constant(1, rights="CC-BY-4.0", public_name="Site 7"),
        "place": {"place_id": _codes("P", places), "name": _codes("Room ", places)}
        | _constant(places, site_id="HOLL", kind="room"),
        "element": {
            "element_id": wood,
            "place_id": _picked(_codes("P", places), n, rng),
            "function": _picked(["beam", "lintel", "post", "sill"], n, rng),
            "length_m": _numbers(1, 2.4, n, rng),
            "diameter_a1_cm": _numbers(26, 30, n, rng),
            "diameter_a2_cm": _numbers(26, 30, n, rng),
            "recorded_on": _days(n, rng),
            "notes": _notes(n, rng),
        }
        | _constant(n, site_id="HOLL", in_place="in_place", sampled="true", recorded_by="MB")
        | _constant(n, outer_surface="bark", shape="round", species_field="PIPO"),
        "sample": {
            "sample_id": codes,
            "element_id": wood,
            "length_mm": measured,
            "depth_mm": pl.Series(lengths).cast(pl.String),
            "along_m": _numbers(0, 1, n, rng),
            "clock": _numbers(0, 11, n, rng),
        }
        | _constant(n, site_id="HOLL", kind="core", direction="radial", species_field="PIPO")
        | _constant(n, outer_surface="bark", pith_seen="no", condition="whole", collected_by="MB")
        | _constant(n, bore_mm="12.7", collected_on="2024-06-04"),
        "plug": {"plug_id": _codes("P-", n), "sample_id": codes, "stamp": codes}
        | _constant(n, orientation_mark="bar", status="in_place", placed_by="MB")
        | _constant(n, dowel_mm="12.7", placed_on="2024-06-04"),
        "lab_result": {
            "result_id": _codes("R-", n),
            "sample_id": codes,
            "inner_year": pl.Series(inner).cast(pl.String),
            "outer_year": pl.Series(inner + rings - 1).cast(pl.String),
            "ring_count": pl.Series(rings).cast(pl.String),
            "species": species,
        }
        | _constant(n, laboratory_id="LAB", outcome="dated", method="crossdating")
        | _constant(n, outer_symbol="B", revision="1", reported_on="2025-02-01")
        | _constant(n, reference_chronology="Upper valley (invented)"),
        "custody": _sealed_events(codes),
    }


def _sealed_events(codes: pl.Series) -> Columns:
    """One event a sample, sealed as an earlier version did (provenance._ledger.seals says how)."""
    said = {"event": "collected", "happened_on": "2024-06-04", "to_party_id": "MB"}
    said |= {"place_held": "Crate 4", "recorded_on": "2024-06-04T18:00:00Z", "recorded_by": "MB"}
    before, previous, seals = "", [], []
    for number, sample in enumerate(codes, start=1):
        event = {**said, "custody_id": str(number), "sample_id": sample}
        if before:
            event["previous_sha256"] = before
        text = json.dumps(event, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous.append(before)
        before = hashlib.sha256(text.encode()).hexdigest()
        seals.append(before)
    n = len(codes)
    return {
        "custody_id": _codes("", n),
        "sample_id": codes,
        "previous_sha256": pl.Series(previous),
        "event_sha256": pl.Series(seals),
        **_constant(n, **said),
    }
