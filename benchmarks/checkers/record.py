"""Makes linked tables of any size from the real schemas, sound or damaged."""

from __future__ import annotations

import csv
import io
import random
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import polars as pl

from provenance._model.schema import Model
from provenance._record.package import write_model

TABLES = ("site", "party", "place", "element", "sample", "plug", "lab_result")
"""Five linked tables that grow with n, and the two small ones that they point at."""
SHARE = {"place": 0.5, "element": 1, "sample": 1, "plug": 1, "lab_result": 0.5}
"""Rows a table for one n: 4 n in all."""


def bench_model() -> Model:
    """The real tables without the links that lead out of TABLES."""
    # asked for here, because who reads a record needs no profiles
    from provenance._model.profile import load_model

    model = load_model("blank")
    tables = {
        name: replace(
            model.table(name),
            foreign_keys=tuple(k for k in model.table(name).foreign_keys if k.table in TABLES),
        )
        for name in TABLES
    }
    return replace(model, tables=MappingProxyType(tables))


def write_record(folder: Path, n: int, *, damaged: bool, seed: int = 7) -> int:
    """Write 4 n rows in five linked tables (and a few in two more); returns the bytes written.

    About one row in fifty has a quoted note. Damaged, one row in a hundred has a fault: a wrong
    code, a word for a number, a number out of bounds, a blank where there must be something, a
    link to nowhere, a repeated key; one in two thousand is blank, short or long.
    """
    rng = np.random.default_rng(seed)
    model = bench_model()
    write_model(model, folder)
    frames = _frames(n, rng)
    (folder / "tables").mkdir(parents=True, exist_ok=True)
    written = 0
    for name, columns in frames.items():
        table = model.table(name)
        height = len(next(iter(columns.values())))
        full = {c: columns.get(c, pl.repeat("", height, eager=True)) for c in table.names}
        frame = pl.DataFrame(full)
        if damaged and height > 100:
            frame = _damage(name, frame, rng)
        text = io.BytesIO()
        # this writer puts quotes around an empty text, but none around nothing
        frame.with_columns(pl.all().replace("", None)).write_csv(text)
        content = text.getvalue()
        if damaged and height > 100:
            content = _damage_lines(content, seed)
        (folder / "tables" / f"{name}.csv").write_bytes(content)
        written += len(content)
    return written


def _frames(n: int, rng: np.random.Generator) -> dict[str, dict[str, pl.Series]]:
    places, results = max(n // 2, 1), max(n // 2, 1)
    return {
        "site": _constant(1, site_id="HOLL", name="Hollin Reach (invented)", country="ZZ")
        | _constant(1, kind="mixed", visit_start="2024-06-03", crew_lead_id="MB")
        | _constant(1, permit_number="INV-1", owner_consent="given", protection="none")
        | _constant(1, rights="CC-BY-4.0", public_name="Site 7"),
        "party": {
            "party_id": pl.Series(["MB", "LAB"]),
            "kind": pl.Series(["person", "organisation"]),
            "name": pl.Series(["Mara Birkwood (invented)", "Alder Ring Laboratory (invented)"]),
        },
        "place": {
            "place_id": _codes("P", places),
            "parent_place_id": pl.concat(
                [pl.Series([""]), _picked(_codes("P", max(places // 10, 1)), places - 1, rng)]
            ),
            "name": _codes("Room ", places),
        }
        | _constant(places, site_id="HOLL", kind="room"),
        "element": {
            "element_id": _codes("E", n),
            "place_id": _picked(_codes("P", places), n, rng),
            "function": _picked(["beam", "lintel", "post", "sill", "plank"], n, rng),
            "length_m": _numbers(1, 8, n, rng),
            "diameter_a1_cm": _numbers(8, 40, n, rng),
            "diameter_a2_cm": _numbers(8, 40, n, rng),
            "diameter_b1_cm": _numbers(8, 40, n, rng),
            "diameter_b2_cm": _numbers(8, 40, n, rng),
            "shape": _picked(["round", "hewn", "split"], n, rng),
            "species_field": _picked(["PIPO", "PSME", "ABAL"], n, rng),
            "recorded_on": _days(n, rng),
            "notes": _notes(n, rng),
        }
        | _constant(n, site_id="HOLL", in_place="in_place", sampled="true", recorded_by="MB")
        | _constant(n, outer_surface="bark"),
        "sample": {
            "sample_id": _codes("", n),
            "element_id": _codes("E", n),
            "bore_mm": _picked(["12.7", "15.875"], n, rng),
            "length_mm": _numbers(40, 300, n, rng),
            "along_m": _numbers(0, 1, n, rng),
            "clock": _numbers(0, 12, n, rng),
            "depth_mm": _numbers(40, 300, n, rng),
            "collected_on": _days(n, rng),
            "notes": _notes(n, rng),
        }
        | _constant(n, site_id="HOLL", kind="core", direction="radial", species_field="PIPO")
        | _constant(n, outer_surface="bark", pith_seen="no", condition="whole", collected_by="MB"),
        "plug": {
            "plug_id": _codes("P-", n),
            "sample_id": _codes("", n),
            "stamp": _codes("", n),
            "dowel_mm": _picked(["12.7", "15.875"], n, rng),
            "placed_on": _days(n, rng),
        }
        | _constant(n, orientation_mark="none", status="in_place", placed_by="MB"),
        "lab_result": {
            "result_id": _codes("R-", results),
            "sample_id": _codes("", results),
            "inner_year": _whole(1500, 1600, results, rng),
            "outer_year": _whole(1600, 1800, results, rng),
            "ring_count": _whole(50, 200, results, rng),
            "reported_on": _days(results, rng),
        }
        | _constant(results, laboratory_id="LAB", outcome="dated", method="crossdating")
        | _constant(results, species="PIPO", revision="1"),
    }


def _constant(count: int, **values: str) -> dict[str, pl.Series]:
    return {name: pl.repeat(value, count, eager=True) for name, value in values.items()}


def _codes(before: str, count: int) -> pl.Series:
    return pl.select(pl.lit(before) + pl.int_range(1, count + 1).cast(pl.String)).to_series()


def _picked(codes: list[str] | pl.Series, count: int, rng: np.random.Generator) -> pl.Series:
    return pl.Series(codes).gather(rng.integers(0, len(codes), count))


def _numbers(low: float, high: float, count: int, rng: np.random.Generator) -> pl.Series:
    return pl.Series(np.round(rng.uniform(low, high, count), 2)).cast(pl.String)


def _whole(low: int, high: int, count: int, rng: np.random.Generator) -> pl.Series:
    return pl.Series(rng.integers(low, high, count)).cast(pl.String)


def _days(count: int, rng: np.random.Generator) -> pl.Series:
    days = pl.Series(rng.integers(0, 3650, count)).cast(pl.Int32)
    return (days + 16000).cast(pl.Date).cast(pl.String)


def _notes(count: int, rng: np.random.Generator) -> pl.Series:
    said = pl.Series(["", "seen from the ladder only", 'end "A", near the hearth'])
    return said.gather(rng.choice(3, count, p=[0.9, 0.08, 0.02]))


_FAULTS: dict[str, tuple[tuple[str, str], ...]] = {
    "place": (("place_id", "P1"), ("site_id", "NOPE"), ("kind", "rooom"), ("site_id", "")),
    "element": (
        ("element_id", "E1"),
        ("place_id", "NOPE"),
        ("function", "lintl"),
        ("length_m", "4,2"),
        ("diameter_a1_cm", "2200"),
        ("recorded_on", "3.6.2024"),
        ("sampled", "maybe"),
        ("function", ""),
    ),
    "sample": (
        ("sample_id", "1"),
        ("element_id", "E-none"),
        ("bore_mm", "half inch"),
        ("clock", "13"),
        ("collected_on", "yesterday"),
        ("kind", ""),
    ),
    "plug": (("sample_id", "0"), ("dowel_mm", "-1"), ("status", "lost?"), ("stamp", "23 1")),
    "lab_result": (("ring_count", "80.5"), ("outcome", "datd"), ("species", "pine")),
}


def _damage(name: str, frame: pl.DataFrame, rng: np.random.Generator) -> pl.DataFrame:
    faults = _FAULTS[name]
    rows = rng.choice(np.arange(1, len(frame)), len(frame) // 100, replace=False)
    for number, (column, value) in enumerate(faults):
        hit = np.zeros(len(frame), dtype=bool)
        hit[rows[number :: len(faults)]] = True
        frame = frame.with_columns(
            pl.when(pl.Series(hit)).then(pl.lit(value)).otherwise(pl.col(column)).alias(column)
        )
    return frame


def _damage_lines(content: bytes, seed: int) -> bytes:
    """Blank, cut and lengthen one line in two thousand."""
    random_ = random.Random(seed)
    lines = content.splitlines(keepends=True)
    for at in random_.sample(range(1, len(lines)), max(len(lines) // 2000, 3)):
        cells = next(csv.reader([lines[at].decode()]))
        what = random_.choice(["blank", "short", "long"])
        if what == "blank":
            lines[at] = b"\n"
        elif what == "short":
            lines[at] = ",".join(cells[: len(cells) // 2]).encode() + b"\n"
        else:
            lines[at] = lines[at].rstrip(b"\n") + b",more\n"
    return b"".join(lines)
