"""Takes the pieces of wood and the holes of a record as numbers, ready for their geometry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from provenance._model.schema import Model
from provenance._survey.adjust.bore import DIRECTIONS, SQUARE_SHAPES, Bores, Sticks, set_bores
from provenance._survey.parts.field_record import FieldRecord
from provenance._survey.parts.observation import Floats, Ints, Precision
from provenance._survey.parts.solve import Bools


@dataclass(frozen=True)
class HoleSet:
    """The holes and cuts whose place can be told: `sample` (n,) are row numbers of the table."""

    sample: Ints
    element: Ints
    bores: Bores
    depth_m: Floats
    bore_m: Floats
    is_hole: Bools


def take_sticks(record: FieldRecord, ends: Floats, covariance: Floats) -> Sticks:
    """Every piece of wood with its ends (2E, 3) as found; sizes fall back on each other.

    A missing second diameter is taken as the first, a missing end as the other end. Wood whose
    heights are not known lies level at height nought.
    """
    size = {
        name: record.numbers("element", f"diameter_{name}_cm") / 100
        for name in ("a1", "a2", "b1", "b2")
    }

    def first_of(*names: str) -> Floats:
        value = size[names[0]]
        for name in names[1:]:
            value = np.where(np.isfinite(value), value, size[name])
        return value

    upright = np.column_stack([first_of("a1", "a2", "b1", "b2"), first_of("b1", "b2", "a1", "a2")])
    level = np.column_stack([first_of("a2", "a1", "b2", "b1"), first_of("b2", "b1", "a2", "a1")])
    a, b = ends[0::2].copy(), ends[1::2].copy()
    flat = np.isnan(a[:, 2]) | np.isnan(b[:, 2])
    a[flat, 2] = b[flat, 2] = 0.0
    return Sticks(
        a,
        b,
        np.nan_to_num(covariance[0::2]),
        np.nan_to_num(covariance[1::2]),
        upright,
        level,
        record.column("element", "shape").is_in(SQUARE_SHAPES).to_numpy(),
    )


def set_holes(
    record: FieldRecord, model: Model, ends: Floats, covariance: Floats, precision: Precision
) -> HoleSet:
    """Place every hole and cut whose wood has both ends and that has a distance along it.

    `ends` (2E, 3) and `covariance` (2E, 3, 3) as the survey found them.
    Depths fall back on the length of the core.
    """
    wood = record.number_of("element", record.column("sample", "element_id"))
    along = record.numbers("sample", "along_m")
    found = np.isfinite(ends[:, 0])
    both = np.append(found[0::2] & found[1::2], False)
    at = np.flatnonzero(both[wood] & np.isfinite(along))
    kinds = model.vocabularies["sample_kind"]
    leaves = [term.code for term in kinds.terms if term.attributes.get("leaves_hole")]
    is_hole = record.column("sample", "kind").is_in(leaves).to_numpy()[at]
    depth = record.numbers("sample", "depth_mm") / 1000
    length = record.numbers("sample", "length_mm") / 1000
    depth = np.where(is_hole, np.where(np.isfinite(depth), depth, length)[at], np.nan)
    code = record.coded("sample", "direction", DIRECTIONS)[at]
    code = np.where(code < 0, DIRECTIONS.index("unknown"), code)
    clock = np.where(is_hole, record.numbers("sample", "clock")[at], np.nan)
    sticks = take_sticks(record, ends, covariance).at(wood[at])
    bores = set_bores(
        sticks,
        along[at],
        clock,
        code,
        record.numbers("sample", "inclination_deg")[at],
        depth,
        precision,
        ~is_hole,
    )
    flat = np.isnan(ends[2 * wood[at], 2]) | np.isnan(ends[2 * wood[at] + 1, 2])
    for points in (bores.entry, bores.bottom, bores.axis_point):
        points[flat, 2] = np.nan
    bore = record.numbers("sample", "bore_mm")[at] / 1000
    return HoleSet(at, wood[at], bores, depth, bore, is_hole)
