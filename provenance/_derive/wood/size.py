"""Sizes of pieces of wood: ends, taper, volume in place and that of the log, with uncertainty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
import polars as pl

from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._derive.wood import sections
from provenance._derive.wood.reading_error import DIAMETERS, LENGTH, reading_sds
from provenance._derive.wood.sections import Form, Measure
from provenance._model.measures import SI, Measures
from provenance._model.schema import Model, Vocabulary, vocabulary_from
from provenance._record.assumptions import assumptions_of
from provenance._record.cells import float_of
from provenance._record.joined import standing_results
from provenance._record.package import Package
from provenance._record.snapshot import Row, Snapshot

_SHARED_LOGS = frozenset({"half", "quarter", "rectangle", "plank"})
VOLUMES: Mapping[str, Measure] = {"volume": sections.volume_m3, "log": sections.log_m3}
FACES: Mapping[str, Measure] = {"worked": sections.worked_m2, "cut": sections.cut_m2}


@dataclass(frozen=True)
class Total:
    """A sum over pieces of wood with one standard deviation, and how many it is of."""

    value: float
    sd: float
    pieces: int


def total(sizes: pl.DataFrame, measure: str, unit: str = "m3") -> Total:
    """The sum of a measure (`volume`, `log`; `worked`, `cut` with the unit `m2`) and its deviation.

    Errors of the pieces' own readings add up in squares, what all pieces share adds up as it is.
    """
    known = sizes.drop_nulls(f"{measure}_{unit}")
    own = float(known[f"{measure}_sd_{unit}"].pow(2).sum())
    shared = float(known[f"{measure}_bias_{unit}"].sum())
    value = float(known[f"{measure}_{unit}"].sum())
    return Total(value, math.sqrt(own + shared**2), len(known))


def without_volume(sizes: pl.DataFrame) -> str:
    """In words how many pieces have no volume and why not; '' where all have one."""
    labels = {term.code: term.label for term in _shipped("no_volume").terms}
    reasons = sizes.drop_nulls("no_volume").group_by("no_volume").len().sort("no_volume")
    words = [f"{labels.get(code, code).lower()} {count}" for code, count in reasons.iter_rows()]
    return f"Without a volume: {', '.join(words)}." if words else ""


def size_in_words(row: Row, measures: Measures = SI) -> str:
    """What a row of the table `size`, as texts, says of volume and log, in sentences."""
    if why := row["no_volume"]:
        return f"Volume not known: {_shipped('no_volume').label(why).lower()}."
    volume, log = (_with_sd(row, one, measures) for one in ("volume", "log"))
    if not (volume and log):  # written by an older program, or a fault that the check names
        return ""
    section = _shipped("wood_section").label(row["section"]).lower()
    words = f"Volume in place (cross-section {section}): {volume}"
    if row["section"] != "round":
        words += f"; it was worked from a log of at least {log}"
        if row["section"] in _SHARED_LOGS:
            words += ", from which other timbers may have come too"
    return (
        f"{words} (one standard deviation, from reading the sizes alone; how far the wood departs "
        "from its cross-section, shrinkage and bark are not known)."
    )


def _with_sd(row: Row, measure: str, measures: Measures) -> str:
    """A volume with its deviation, to two digits of the latter (JCGM 100:2008, 7.2.6); '' where
    one is missing or is not a number.
    """
    read = [float_of(row[f"{measure}{kind}_m3"]) for kind in ("", "_sd", "_bias")]
    numbers = [one for one in read if one is not None and math.isfinite(one)]
    if len(numbers) < len(read):
        return ""
    volume, sd = numbers[0], math.hypot(*numbers[1:])

    def words(per: float) -> str:
        places = 6 if sd <= 0 else min(max(1 - math.floor(math.log10(sd * per)), 0), 6)
        return f"{volume * per:.{places}f} ± {sd * per:.{places}f}"

    return measures.volume(words)


def derive_sizes(package: Package) -> pl.DataFrame:
    """One row a piece of wood with the columns of the derived table `size`, whatever the package's
    own schema has of them.

    What was not measured is missing. `butt_cm` is the thicker end, `top_cm` the thinner. Formulas
    and their sources stand in `sections`, what deviations rest on in `reading_error`.
    """
    pieces = _pieces(package)
    a, b = pl.col("diameter_a_cm"), pl.col("diameter_b_cm")
    # one measured end alone says nothing of butt and top
    both = a.is_not_null() & b.is_not_null()
    return (
        _estimated(pieces, VOLUMES, "m3")
        .with_columns(_end_cm("diameter_a1_cm", "diameter_a2_cm").alias("diameter_a_cm"))
        .with_columns(_end_cm("diameter_b1_cm", "diameter_b2_cm").alias("diameter_b_cm"))
        .with_columns(
            butt_cm=pl.when(both).then(pl.max_horizontal(a, b)),
            top_cm=pl.when(both).then(pl.min_horizontal(a, b)),
        )
        .with_columns(taper=(pl.col("butt_cm") - pl.col("top_cm")) / pl.col(LENGTH))
        .with_columns(no_volume=_why_none())
        .select(
            *("element_id", "place_id", "function", "section", "species", "length_m"),
            *("diameter_a_cm", "diameter_b_cm", "log_share", "butt_cm", "top_cm", "taper"),
            *("volume_m3", "volume_sd_m3", "volume_bias_m3"),
            *("log_m3", "log_sd_m3", "log_bias_m3", "no_volume"),
        )
    )


def derive_faces(package: Package) -> pl.DataFrame:
    """Worked faces and cut ends of each piece, in the order of the table `element`.

    Columns: element_id; worked_m2, the faces made flat with a tool, whatever the tool; cut_m2, both
    ends as they are now; each with `_sd_`, one standard deviation of the piece's own, and `_bias_`,
    that of what all pieces share. Missing where the volume is.
    """
    columns = [f"{name}{kind}_m2" for name in FACES for kind in ("", "_sd", "_bias")]
    return _estimated(_pieces(package), FACES, "m2").select("element_id", *columns)


def _pieces(package: Package) -> pl.DataFrame:
    """The table `element` with species, what its shape says, and the deviations of its readings."""
    tables = package.tables
    elements = tables["element"]
    if "diagonal_cm" not in elements.columns:
        elements = elements.with_columns(diagonal_cm=pl.lit(None, pl.Float64))
    shapes = _shapes(package.model)
    shares = {
        term.code: float(term.attributes["share"])
        for term in _vocabulary(package.model, "wood_section", "share").terms
    }
    told = (
        elements.hstack(reading_sds(tables))
        .join(_species_of_laboratory(tables), on="element_id", how="left", maintain_order="left")
        .join(shapes, on="shape", how="left", maintain_order="left")
        .with_columns(
            pl.col("hewn_sides").fill_null(0),
            pl.col("wane").fill_null(False),
            species=pl.coalesce("species", "species_field"),
            section=pl.when(
                (pl.col("section") == "rectangle")
                & pl.col("element_id").is_in(_with_pith(tables)).fill_null(False)
            )
            .then(pl.lit("rectangle_boxed"))
            .otherwise(pl.col("section").fill_null("not_known")),
        )
        .with_columns(log_share=pl.col("section").replace_strict(shares, default=0.0))
    )
    return _with_assumed_errors(tables, told)


def _estimated(pieces: pl.DataFrame, measures: Mapping[str, Measure], unit: str) -> pl.DataFrame:
    """The pieces with each measure, its own deviation and the shared one."""
    names = (*DIAMETERS, LENGTH)
    readings = np.array([pieces[one].to_numpy() for one in names], dtype=float)
    # a reading that is no size was found by the check; nothing is computed from it
    with np.errstate(invalid="ignore"):
        readings[~(np.isfinite(readings) & (readings > 0))] = np.nan
    sds = np.array(
        [pieces["diameter_sd_cm"].to_numpy()] * len(DIAMETERS) + [pieces["length_sd_m"].to_numpy()],
        dtype=float,
    )
    shared = pieces["shared_cm"].to_numpy()
    # without the corners nothing is known of wood whose corners are round
    open_corners = pieces["wane"].to_numpy() & np.isnan(readings[sections.CORNERS])
    found = np.full((len(measures), 3, len(pieces)), np.nan)
    forms = pieces.select("section", "hewn_sides")
    for form in forms.unique(maintain_order=True).iter_rows(named=True):
        chosen = (
            (forms["section"] == form["section"]) & (forms["hewn_sides"] == form["hewn_sides"])
        ).to_numpy() & ~open_corners
        for place, measure in enumerate(measures.values()):
            with np.errstate(all="ignore"):
                one = sections.estimate(
                    measure, Form(**form), readings[:, chosen], sds[:, chosen], shared[chosen]
                )
            found[place][:, chosen] = one.value, one.sd, one.bias
    found[~np.isfinite(found)] = np.nan
    return pieces.with_columns(
        pl.Series(f"{name}{kind}_{unit}", column, pl.Float64).fill_nan(None)
        for name, columns in zip(measures, found, strict=True)
        for kind, column in zip(("", "_sd", "_bias"), columns, strict=True)
    )


def _why_none() -> pl.Expr:
    """The code of why a piece has no volume, null where it has one."""
    a1, a2, b1, b2, _ = (pl.col(one).is_not_null() for one in DIAMETERS)
    return (
        pl.when(pl.col("volume_m3").is_not_null())
        .then(None)
        .when(
            (pl.col("section") == "not_known")
            | ((pl.col("section") == "two_sided") & (pl.col("hewn_sides") == 0))
        )
        .then(pl.lit("section"))
        .when(pl.col(LENGTH).is_null())
        .then(pl.lit("length"))
        .when(~((a1 | a2) & (b1 | b2)))
        .then(pl.lit("ends"))
        .when(~(a1 & a2 & b1 & b2))
        .then(pl.lit("second_reading"))
        .when("wane")
        .then(pl.lit("corners"))
        .otherwise(pl.lit("readings"))
    )


def _end_cm(first: str, second: str) -> pl.Expr:
    """Diameter of an end from its two readings: of the stem where the larger one is that, else of
    the circle with the area of the ellipse; with one reading alone it is that one.
    """
    of_stem = pl.col("section").is_in(["two_sided", "half"])
    both = pl.when(of_stem).then(pl.max_horizontal(first, second))
    return pl.coalesce(both, (pl.col(first) * pl.col(second)).sqrt(), first, second)


def _with_assumed_errors(tables: Snapshot, pieces: pl.DataFrame) -> pl.DataFrame:
    """The pieces with the deviation of diameters that the record assumes, where it does so.

    The figure is how far a diameter may be off (a rectangular distribution of that half-width,
    JCGM 100:2008, 4.3.7), and its spread the deviation of an error that all diameters share.
    """
    assumptions = assumptions_of(tables)
    keys = pieces.select("species", "place_id").unique(maintain_order=True)
    rows = [
        assumptions.find("end_error", species=species or "", place=place or "")
        for species, place in keys.iter_rows()
    ]
    assumed = keys.with_columns(
        pl.Series("assumed_cm", [one and one.figure / math.sqrt(3) for one in rows], pl.Float64),
        pl.Series("shared_cm", [one and one.spread for one in rows], pl.Float64),
    )
    return pieces.join(
        assumed, on=["species", "place_id"], how="left", nulls_equal=True, maintain_order="left"
    ).with_columns(
        pl.col("shared_cm").fill_null(0.0),
        diameter_sd_cm=pl.coalesce("assumed_cm", "diameter_sd_cm"),
    )


def _with_pith(tables: Snapshot) -> list[str]:
    """Pieces whose pith is inside, by the word of the crew, else by a sample that has it."""
    elements = tables["element"]
    if "pith_inside" not in elements.columns:
        elements = elements.with_columns(pith_inside=pl.lit(None, pl.String))
    denied = pl.col("element_id").is_in(elements.filter(pith_inside="no")["element_id"].to_list())
    seen = tables["sample"].filter(pl.col("pith_seen") == "yes", ~denied)["element_id"]
    return [*elements.filter(pith_inside="yes")["element_id"], *seen.drop_nulls()]


def _shapes(model: Model) -> pl.DataFrame:
    """What the list of shapes says of each: section, hewn_sides (0 where none are named), wane."""
    terms = _vocabulary(model, "element_shape", "section").terms
    return pl.DataFrame(
        [
            (
                term.code,
                str(term.attributes.get("section", "not_known")),
                int(term.attributes.get("hewn_sides", 0)),
                bool(term.attributes.get("wane", False)),
            )
            for term in terms
        ],
        {"shape": pl.String, "section": pl.String, "hewn_sides": pl.Int64, "wane": pl.Boolean},
        orient="row",
    )


def _vocabulary(model: Model, name: str, attribute: str) -> Vocabulary:
    """A list of the package's own, or the shipped one where an older list lacks the attribute."""
    own = model.vocabularies.get(name)
    if own and any(attribute in term.attributes for term in own.terms):
        return own
    return _shipped(name)


@cache
def _shipped(name: str) -> Vocabulary:
    return vocabulary_from(read_yaml(shipped("schemas") / "vocabularies" / f"{name}.yaml"))


def _species_of_laboratory(tables: Snapshot) -> pl.DataFrame:
    """element_id and species, of the first result that stands and names one."""
    samples = tables["sample"].select("sample_id", "element_id")
    named = standing_results(tables).drop_nulls("species").select("sample_id", "species")
    return (
        named.join(samples, on="sample_id", maintain_order="left")
        .drop_nulls("element_id")
        .unique("element_id", keep="first")
        .select("element_id", "species")
    )
