"""Bounds the number of trees behind a record's wood, as a whole, by building and by phase."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from provenance._derive.wood.trees import (
    END_ERROR_CM,
    Certificate,
    Piece,
    likely_count,
    lower_bound_by_species,
    of_trees,
    upper_bound,
)
from provenance._derive.wood.wood_use import like_pieces
from provenance._record.assumptions import Assumption, Assumptions, assumptions_of
from provenance._record.joined import outermost_places
from provenance._record.package import Package
from provenance._record.same_trees import same_trees
from provenance._record.snapshot import Snapshot
from provenance._record.tables import laid_out

SHARE_KNOWN = frozenset({"round", "two_sided", "half", "quarter", "rectangle_boxed"})
"""Cross-sections of which the share of the log is known, and not only the least share."""


@dataclass(frozen=True)
class _Wood:
    """A piece as the bounds take it, where it is, and what was assumed for it."""

    piece: Piece
    place_id: str
    share_known: bool
    longest: Assumption | None
    end_error: Assumption | None


@dataclass(frozen=True)
class _Scope:
    """Which wood is counted: all of the record, of a building, or of a phase."""

    wood: tuple[_Wood, ...]
    keys: dict[str, str] = field(default_factory=dict)


def derive_tree_bounds(
    package: Package, derived: Mapping[str, pl.DataFrame], *, end_error_cm: float = END_ERROR_CM
) -> dict[str, pl.DataFrame]:
    """The derived tables tree_bound and tree_bound_piece; none for an older package without them.

    They are made from the derived tables `size` and, where these are there, `felling`, `phase` and
    `phase_piece`. Each end is drawn in by `end_error_cm` where the record assumes no `end_error`
    with a source.
    """
    tables = package.tables
    if not {"tree_bound", "tree_bound_piece"} <= set(tables.model.tables):
        return {}
    assumed, genera = assumptions_of(tables), _genera(tables)
    wood = _wood_of(tables, derived, assumed, end_error_cm)
    counts: list[dict[str, Any]] = []
    pieces: list[dict[str, Any]] = []
    for scope in _scopes(tables, wood, derived):
        for counted, certificate in _counted(scope, genera, assumed):
            bound_id = {"bound_id": f"N{len(counts) + 1}"}
            counts.append(bound_id | scope.keys | counted)
            pieces += (bound_id | one for one in _pieces_of(certificate))
    return {
        "tree_bound": _framed(package, "tree_bound", counts),
        "tree_bound_piece": _framed(package, "tree_bound_piece", pieces),
    }


def _framed(package: Package, name: str, rows: list[dict[str, Any]]) -> pl.DataFrame:
    return laid_out(pl.DataFrame(rows, infer_schema_length=None), package.model.table(name))


# -- the wood --------------------------------------------------------------------------------------


def _wood_of(
    tables: Snapshot,
    derived: Mapping[str, pl.DataFrame],
    assumed: Assumptions,
    end_error_cm: float,
) -> list[_Wood]:
    trees, genera = same_trees(tables), _genera(tables)
    seen = _seen(tables)
    felled = {}
    if "felling" in derived:
        years = derived["felling"].select("element_id", "felled_from_year", "felled_to_year")
        felled = {code: (first, last) for code, first, last in years.drop_nulls().iter_rows()}
    every_species = {row.species for row in assumed.rows} | {""}
    figures: dict[tuple[str, str, str], Assumption | None] = {}

    def figure(kind: str, species: str, place: str) -> Assumption | None:
        key = (kind, species, place)
        if key not in figures:
            figures[key] = assumed.find(kind, species=species, place=place)
        return figures[key]

    def longest(species: str, place: str) -> Assumption | None:
        one = figure("longest_stem", species, place)
        if species or one is None:
            return one
        # wood of unknown species may be of any, so the longest of all holds for it
        each = (figure("longest_stem", other, place) for other in sorted(every_species))
        return max((found for found in each if found), key=lambda found: found.figure)

    elements = tables["element"]
    like = dict(elements.select("element_id", like_pieces(elements)).iter_rows())
    wood = []
    named = (
        derived["size"]
        .drop_nulls("element_id")
        .unique("element_id", keep="first", maintain_order=True)
    )
    for row in named.iter_rows(named=True):
        code, place = row["element_id"], row["place_id"] or ""
        species = row["species"] if row["species"] in genera else ""
        section = row.get("section") or ""
        base, both_readings = seen.get(code, (False, False))
        # of two readings of hewn wood the larger is that of the stem, of one alone nobody knows
        outside = section == "round" or (section == "two_sided" and both_readings)
        error, cap = figure("end_error", species, place), longest(species, place)
        piece = Piece(
            code,
            trees.get(code, code),
            species,
            row["length_m"] or 0.0,
            row.get("log_share") or 0.0,
            row["butt_cm"] if outside else None,
            row["top_cm"] if outside else None,
            felled.get(code),
            base,
            error.figure if error else end_error_cm,
            cap.figure if cap else None,
            like.get(code, 1),
        )
        known = section in SHARE_KNOWN and bool(row["length_m"])
        wood.append(_Wood(piece, place, known, cap, error))
    wood.sort(key=lambda one: one.piece.element_id)
    joined = of_trees(one.piece for one in wood)
    return [replace(one, piece=piece) for one, piece in zip(wood, joined, strict=True)]


def _seen(tables: Snapshot) -> dict[str, tuple[bool, bool]]:
    """Of each piece whether it shows the base of the stem, and whether both readings of both ends
    were taken.
    """
    wood = tables["element"].drop_nulls("element_id")
    base = (pl.col("stem_base") == "yes").fill_null(False)
    readings = (f"diameter_{place}_cm" for place in ("a1", "a2", "b1", "b2"))
    found = wood.select(
        "element_id",
        base if "stem_base" in wood.columns else pl.lit(False),
        pl.all_horizontal(pl.col(one).is_not_null() for one in readings).alias("readings"),
    )
    return {code: (based, whole) for code, based, whole in found.iter_rows()}


def _genera(tables: Snapshot) -> Mapping[str, tuple[str, bool]]:
    """Of each species its genus, and whether it tells more than that."""

    def read(tables: Snapshot) -> dict[str, tuple[str, bool]]:
        terms = tables.model.vocabularies["species"].terms
        return {
            term.code: (str(term.attributes["genus"]), not term.code.endswith("SP"))
            for term in terms
            if "genus" in term.attributes
        }

    found: Mapping[str, tuple[str, bool]] = tables.once("genera of species", read)
    return found


def _scopes(
    tables: Snapshot, wood: list[_Wood], derived: Mapping[str, pl.DataFrame]
) -> Iterator[_Scope]:
    yield _Scope(tuple(wood))
    outermost = outermost_places(tables)
    sites = {row["place_id"]: row["site_id"] for row in tables.rows("place")}
    inside: dict[str, list[_Wood]] = {}
    for one in wood:
        if one.place_id in outermost:
            inside.setdefault(outermost[one.place_id], []).append(one)
    by_code = {one.piece.element_id: one for one in wood}
    phases = _phases(derived)
    for building in sorted(inside):
        keys = {"site_id": sites[building], "place_id": building}
        yield _Scope(tuple(inside[building]), keys)
        for phase, codes in phases.get(building, {}).items():
            members = tuple(by_code[code] for code in codes if code in by_code)
            yield _Scope(members, keys | {"phase_id": phase})


def _phases(derived: Mapping[str, pl.DataFrame]) -> dict[str, dict[str, list[str]]]:
    """Place → its phases with the pieces of each."""
    found: dict[str, dict[str, list[str]]] = {}
    if "phase" in derived:
        of = dict(derived["phase"].select("phase_id", "place_id").iter_rows())
        for phase, code in derived["phase_piece"].select("phase_id", "element_id").iter_rows():
            found.setdefault(of.get(phase, ""), {}).setdefault(phase, []).append(code)
    return {place: dict(sorted(phases.items())) for place, phases in found.items()}


# -- the counts ------------------------------------------------------------------------------------


def _counted(
    scope: _Scope, genera: Mapping[str, tuple[str, bool]], assumed: Assumptions
) -> Iterator[tuple[dict[str, Any], Certificate | None]]:
    """Rows of one scope, those of all its wood before those of each species."""
    if not scope.wood:
        return
    each, total = lower_bound_by_species((one.piece for one in scope.wood), genera)
    by_code = {one.piece.element_id: one for one in scope.wood}
    place = scope.keys.get("place_id", "")
    for species, certificate in [("", total), *each.items()]:
        wood = [one for one in scope.wood if species in ("", one.piece.species)]
        row = {"species": species or None, "piece_count": sum(one.piece.like for one in wood)}
        most = upper_bound(one.piece for one in wood)
        yield row | _lower_row(certificate, by_code), certificate
        yield row | {"bound": "upper", "trees": most, "bound_reason": "pieces"}, None
        likely = _likely_row(wood, certificate.trees, most, assumed, place)
        if likely:
            yield row | likely, None


def _lower_row(certificate: Certificate, by_code: Mapping[str, _Wood]) -> dict[str, Any]:
    leaves = list(_leaves(certificate))
    caps = [by_code[c].longest for one in leaves if one.reason == "length" for c in one.pieces]
    measured = [by_code[c] for one in leaves if one.reason == "overlap" for c in one.pieces]
    return {
        "bound": "lower",
        "trees": certificate.trees,
        "bound_reason": certificate.reason,
        "at_diameter_cm": certificate.at_diameter_cm,
        "log_length_m": certificate.log_length_m,
        "assumption_id": _the_one(caps),
        "end_error_cm": max((one.piece.end_error_cm for one in measured), default=None),
        "end_error_assumption_id": _the_one([one.end_error for one in measured]),
    }


def _leaves(certificate: Certificate) -> Iterator[Certificate]:
    if not certificate.parts:
        yield certificate
    for part in certificate.parts:
        yield from _leaves(part)


def _the_one(assumed: Iterable[Assumption | None]) -> str | None:
    found = {one.assumption_id if one else None for one in assumed}
    return found.pop() if len(found) == 1 else None


def _likely_row(
    wood: list[_Wood], least: int, most: int, assumed: Assumptions, place: str
) -> dict[str, Any] | None:
    """A likely count with its range; None where nothing gives one, a share is not known, or the
    bounds leave no room for it.
    """
    if least == most or not all(one.share_known for one in wood):
        return None
    by_figure: dict[tuple[Assumption, Assumption | None], float] = {}
    for one in wood:
        species, at = one.piece.species, place or one.place_id
        yielded = assumed.find("meters_per_tree", species=species, place=at)
        if yielded is None or yielded.spread is None:
            return None
        between = assumed.find("tree_spread", species=species, place=at)
        key = (yielded, between)
        by_figure[key] = by_figure.get(key, 0.0) + one.piece.length_m * one.piece.share * (
            one.piece.like
        )
    trees = variance = 0.0
    for (yielded, between), meters in by_figure.items():
        count, _, high = likely_count(
            meters,
            yielded.figure,
            (yielded.spread or 0.0) / yielded.figure,
            between.figure if between else 0.0,
        )
        trees, variance = trees + count, variance + (high - count) ** 2
    half = variance**0.5
    if trees - half > most or trees + half < least:
        return None
    low, count, high = (
        min(max(one, float(least)), float(most)) for one in (trees - half, trees, trees + half)
    )
    return {
        "bound": "likely",
        "trees": count,
        "trees_low": low,
        "trees_high": high,
        "bound_reason": "yield",
        "log_length_m": sum(by_figure.values()),
        "assumption_id": _the_one(one for one, _ in by_figure),
        "between_trees_assumption_id": _the_one(between for _, between in by_figure),
    }


def _pieces_of(certificate: Certificate | None) -> Iterator[dict[str, Any]]:
    """Rows of tree_bound_piece; the pieces of a sum over species stand with those species."""
    if certificate is None:
        return
    yield from ({"element_id": code} for code in certificate.pieces if not certificate.parts)
    if certificate.reason == "periods":
        for part in certificate.parts:
            first, last = part.years or (None, None)
            period: dict[str, Any] = {
                "period_from_year": first,
                "period_to_year": last,
                "period_trees": part.trees,
                "period_reason": part.reason,
            }
            yield from (period | {"element_id": code} for code in part.pieces)
