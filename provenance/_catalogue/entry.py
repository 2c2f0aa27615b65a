"""Reads from one package or bundle what the catalogue keeps of it."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from typing import Any

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._bundle.describe.withdrawn import Withdrawn, withdrawn_by
from provenance._catalogue.joining import JoinedTables, PackedRows, pack_rows
from provenance._catalogue.stores.records import Source, open_source, signature_of
from provenance._identity.plug_fit import RESERVED, PlugRecord
from provenance._ledger.holdings import Holding
from provenance._ledger.seals import BEFORE, SEAL
from provenance._model.schema import Vocabulary
from provenance._record.attempts import gave_nothing
from provenance._record.cells import float_of, whole_of
from provenance._record.joined import split_codes
from provenance._record.remote import Place

Row = Mapping[str, str]


@dataclass(frozen=True)
class Entry:
    """One bundle as the catalogue keeps it.

    `signature` is that before reading; `facts` the columns of the table `bundle` that come from
    inside; `sites` rows of that table without bundle_id; `samples` rows with SAMPLE_COLUMNS and,
    behind them, HELD_BESIDE; `plugs` rows of PlugRecord; `reserved` rows with RESERVED_COLUMNS.
    `withdraws` are the editions whose place it takes; `wood_use` and `architecture` rows with
    WOOD_COLUMNS and ARCHITECTURE_COLUMNS, of a record that was derived; `parties` codes and names
    of those that may be named; `former` rows of the table former_key.
    """

    path: Place
    signature: str
    form: str
    facts: Mapping[str, Any]
    sites: tuple[Mapping[str, Any], ...]
    samples: PackedRows
    plugs: PackedRows
    withdraws: tuple[Withdrawn, ...] = ()
    reserved: tuple[tuple[str, ...], ...] = ()
    wood_use: tuple[tuple[Any, ...], ...] = ()
    architecture: tuple[tuple[Any, ...], ...] = ()
    parties: tuple[tuple[str, str], ...] = ()
    former: tuple[tuple[str, str, str], ...] = ()


def reserved_plug(path: str, row: Sequence[str]) -> PlugRecord:
    """A number that was given out and has no recorded plug, as `locate` compares it.

    `row` has the RESERVED_COLUMNS.
    """
    site, number, mark, crew, day = row
    return PlugRecord(
        path, site, number, "", number, mark, None, RESERVED, "", "", "", "", "", day, crew=crew
    )


def read_symbols() -> Vocabulary:
    """The symbols beside a year, as shipped; needed to tell cutting dates from others."""
    from provenance._model.schema import vocabulary_from

    return vocabulary_from(read_yaml(shipped("schemas") / "vocabularies" / "result_symbol.yaml"))


def read_entry(
    path: Place, symbols: Vocabulary | None = None, *, even_if_damaged: bool = False
) -> Entry:
    """Read one package or bundle; `symbols` as from `read_symbols`, which is called if left out.

    Raises UnusableInput when it cannot be read, or changes while it is read, or when a table in a
    bundle is not what was packed, unless `even_if_damaged`.
    """
    symbols = symbols or read_symbols()
    try:
        before = signature_of(path)
        if before is None:
            raise UnusableInput(f"{path} is neither a package nor a bundle")
        with (
            open_source(path, even_if_damaged=even_if_damaged) as source,
            closing(JoinedTables(TABLE_COLUMNS)) as tables,
        ):
            now = _keys_now(source)
            for name in TABLE_COLUMNS:
                rows = _kept(source, name)
                tables.fill(name, _under_keys_of_now(rows, now) if name == "custody" else rows)
            tables.settle()
            facts = _facts(source) | _lineage(source, tables)
            withdraws = withdrawn_by(source.document("bundle.json"))
            record = _Record(tables, symbols, now.get("sample", {}))
            parties = tuple(record.parties_named())
            former = tuple((t, old, new) for t, keys in now.items() for old, new in keys.items())
            sites = tuple(map(record.site, tables.rows("site")))
            taken = (one for one in tables.samples() if not gave_nothing(one["sample"]))
            samples = pack_rows(map(record.sample, taken))
            plugs = pack_rows(record.plug(str(path), row) for row in tables.plugs())
            reserved = tuple(tables.reserved(RESERVED_COLUMNS))
            wood_use = tuple(map(record.wood_use, tables.rows("wood_use")))
            architecture = tuple(map(_architecture, tables.rows("architecture")))
        after = signature_of(path)
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror or error}") from error
    if before != after:
        raise UnusableInput(f"{path} changed while it was read; it is read again at the next look")
    return Entry(
        path,
        before,
        _form(before),
        facts,
        sites,
        samples,
        plugs,
        withdraws,
        reserved,
        wood_use,
        architecture,
        parties,
        former,
    )


def name_only(path: Place) -> Entry:
    """What a package or bundle is known by, and nothing of the record; raises UnusableInput."""
    try:
        signature = signature_of(path) or ""
        with open_source(path) as source:
            facts = {"identity": source.identity(), "bag": source.bag_digest()}
    except UnusableInput:
        facts = {}  # a bag of others, or one that the audit has more to say of
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror or error}") from error
    none = PackedRows(())
    return Entry(path, signature, _form(signature), facts, (), none, none)


def _form(signature: str) -> str:
    """What lies there, by its signature."""
    return {"zip": "zip", "bag": "folder"}.get(signature.partition(" ")[0], "package")


SAMPLE_COLUMNS = (
    "site_id", "sample_id", "element_id", "use", "where", "kind", "species", "collected_on",
    "outcome", "inner_year", "outer_year", "end_from_year", "end_to_year",
    "felled_from_year", "felled_to_year", "felling_class", "cutting", "keeper_id", "keeper_name",
    "gone",
)  # fmt: skip
HELD_BESIDE = (
    "holder", "holder_name", "on_the_way_to", "place", "lender", "loan", "due_on", "since",
    "disputed",
)  # fmt: skip
"""What the catalogue's table `held` has beside the columns that `sample` has as well."""
RESERVED_COLUMNS = ("site_id", "sample_id", "orientation_mark", "crew", "reserved_on")
WOOD_COLUMNS = (
    "site_id", "place_id", "species", "use", "shape", "origin", "decoration", "pieces",
    "trees_most", "length_m", "volume_m3", "first_year", "last_year",
)  # fmt: skip
_BUILT = ("site_id", "place_id", "construction", "bonding", "roof_type", "floor_type")
ARCHITECTURE_COLUMNS = (*_BUILT, "first_year", "last_year")
TABLE_COLUMNS = {
    "site": (
        "site_id", "name", "public_name", "kind", "country", "region", "latitude", "longitude",
        "coordinate_uncertainty_m", "geodetic_epsg", "grid_epsg", "easting_m", "northing_m",
        "protection", "repository_id",
    ),
    "party": ("party_id", "kind", "name", "may_be_named"),
    "place": ("place_id", "name", "parent_place_id", "kind"),
    "element": ("element_id", "place_id", "function", "species_field"),
    "sample": (
        "sample_id", "site_id", "element_id", "kind", "species_field", "collected_on", "attempt",
    ),
    "reservation": RESERVED_COLUMNS,
    "plug": ("plug_id", "sample_id", "stamp", "orientation_mark", "dowel_mm", "status"),
    "custody": (
        "custody_id", "event", "happened_on", "sample_id", "consignment_id", "from_party_id",
        "to_party_id", "place_held", "state", "corrects_custody_id", "loan_due_on", "reference",
        "parent_sample_id", *BEFORE, SEAL,
    ),
    "act": ("act_id", "parents"),
    "lab_result": (
        "result_id", "sample_id", "outcome", "inner_year", "outer_year", "outer_symbol",
        "felled_from_year", "felled_to_year", "felling_season", "heartwood_year", "sapwood_count",
        "sapwood_least", "sapwood_most", "estimate_source", "species", "reported_on",
        "supersedes_result_id",
    ),
    "felling": ("element_id", "felled_from_year", "felled_to_year", "felling_class"),
    # derived tables, which an older record lacks
    "phase": ("phase_id", "first_year", "last_year"),
    "wood_use": (
        "site_id", "place_id", "phase_id", "species", "function", "shape", "origin", "decoration",
        "piece_count", "trees_most", "total_length_m", "total_volume_m3",
    ),
    "architecture": (*_BUILT, "first_year", "last_year"),
}  # fmt: skip
"""What is kept of each table while a bundle is read: long notes would fill the memory."""


_NEEDED = {"custody": ("custody_id", "event", "happened_on", "sample_id")}
"""Columns without which nothing can be said of a table's rows."""


def _kept(source: Source, table: str) -> Iterator[tuple[str, ...]]:
    text = source.table(table)
    if text is None:
        return iter(())
    for name in _NEEDED.get(table, ()):
        if name not in text.frame.columns:
            raise UnusableInput(f"{source.path}: tables/{table}.csv has no column '{name}'")
    return text.tuples(TABLE_COLUMNS[table])


def _keys_now(source: Source) -> dict[str, dict[str, str]]:
    """Table → what its rows were called before, and what they are called now."""
    text = source.table("former_key")
    found: dict[str, dict[str, str]] = {}
    for table, former, now in text.tuples(("table_name", "former_key", "row_key")) if text else ():
        found.setdefault(table, {})[former] = now
    return found


_NAMED = {
    "sample_id": "sample",
    "consignment_id": "consignment",
    "from_party_id": "party",
    "to_party_id": "party",
}
"""Columns of the ledger that name rows → the table these stand in."""


def _under_keys_of_now(
    rows: Iterator[tuple[str, ...]], now: Mapping[str, Mapping[str, str]]
) -> Iterator[tuple[str, ...]]:
    """Events with the rows that they name under the keys these bear now."""
    renamed = [now.get(_NAMED.get(name, ""), {}) for name in TABLE_COLUMNS["custody"]]
    if not any(renamed):
        return rows
    return (
        tuple(called.get(text, text) for text, called in zip(row, renamed, strict=True))
        for row in rows
    )


def _facts(source: Source) -> dict[str, Any]:
    descriptor = source.document("datapackage.json")
    about = source.document("bundle.json")
    tags = source.bag_info()
    byte_count, _, file_count = tags.get("Payload-Oxum", "").partition(".")
    inside = about.get("accession") or descriptor.get("accession")
    accession = tags.get("Accession-Number") or inside
    return {
        "identity": source.identity(),
        "name": str(descriptor.get("name") or ""),
        "title": str(descriptor.get("title") or ""),
        "edition": str(about.get("edition") or ""),
        "accession": str(accession or ""),
        "record_date": str(about.get("recordDate") or descriptor.get("created") or "")[:10],
        "file_count": _small_integer(file_count),
        "byte_count": _small_integer(byte_count),
    }


def _lineage(source: Source, tables: JoinedTables) -> dict[str, Any]:
    """By what the bundle is held against others of its record; see current.py."""
    acts = sorted((row["act_id"], row["parents"]) for row in tables.rows("act") if row["act_id"])
    seals = [
        (row[SEAL], any(row[name] for name in BEFORE))
        for row in tables.rows("custody")
        if row[SEAL]
    ]
    firsts = [name for name, parents in acts if not parents]
    firsts += sorted(seal for seal, has_before in seals if not has_before)
    known = [name for name, _ in acts] or [seal for seal, _ in seals]
    named = source.document("bundle.json").get("revisionOf")
    said = [
        one.get("tagmanifestSha256") if isinstance(one, dict) else None
        for one in (named if isinstance(named, list) else ())
    ]
    return {
        "bag": source.bag_digest(),
        "marks": " ".join(firsts),
        "follows": " ".join(text for text in said if isinstance(text, str)),
        "acts": b"".join(sorted(hashlib.sha256(one.encode()).digest()[:8] for one in known)),
    }


class _Record:
    """Puts together the rows of the catalogue; places and parties, of which there are few, are
    held in memory.
    """

    def __init__(
        self, tables: JoinedTables, symbols: Vocabulary, called: Mapping[str, str]
    ) -> None:
        """`called` are former numbers of samples → those of now."""
        self.symbols = symbols
        self.former: dict[str, list[str]] = {}
        for old, now in called.items():
            self.former.setdefault(now, []).append(old)
        self.places = {row["place_id"]: row for row in tables.rows("place")}
        self.parties = {row["party_id"]: row for row in tables.rows("party")}
        self.phases = {row["phase_id"]: row for row in tables.rows("phase")}
        self.disputed = tables.disputed()

    def site(self, row: Row) -> dict[str, Any]:
        """One row of the catalogue's table `site`."""
        names = ("site_id", "name", "public_name", "kind", "country", "region", "protection")
        longitude, latitude = _on_wgs84(row)
        keeper = row.get("repository_id", "")
        return {
            **{name: row.get(name, "") for name in names},
            "latitude": latitude,
            "longitude": longitude,
            "coordinate_uncertainty_m": _number(row.get("coordinate_uncertainty_m", "")),
            "repository_id": keeper,
            "repository_name": self._name(keeper),
        }

    def sample(self, found: Mapping[str, Row]) -> tuple[Any, ...]:
        """One row of the catalogue's table `sample`, and what `held` has beside it."""
        row, element, result = found["sample"], found["element"], found["last_result"]
        holding = Holding(row.get("sample_id", ""))._replace(**found["held"])
        keeper = holding.holder or holding.on_the_way_to
        outer = _small_integer(result.get("outer_year", ""))
        first = _small_integer(result.get("felled_from_year", ""))
        last = _small_integer(result.get("felled_to_year", ""))
        if first is None and last is None:
            first = last = outer
        field = row.get("species_field", "") or element.get("species_field", "")
        values = {
            "site_id": row.get("site_id", ""),
            "sample_id": row.get("sample_id", ""),
            "element_id": row.get("element_id", ""),
            "use": element.get("function", ""),
            "where": _where(self._chain(element)),
            "kind": row.get("kind", ""),
            "species": result.get("species", "") or field,
            "collected_on": row.get("collected_on", ""),
            "outcome": result.get("outcome", ""),
            "inner_year": _small_integer(result.get("inner_year", "")),
            "outer_year": outer,
            "end_from_year": first,
            "end_to_year": last,
            **self._felled(found["felling"], result),
            "cutting": self._cutting(result) if outer is not None else "",
            "keeper_id": keeper,
            "keeper_name": self._name(keeper),
            "gone": holding.gone,
        }
        beside = held_beside(
            holding, self._name, disputed=row.get("sample_id", "") in self.disputed
        )
        return (*(values[name] for name in SAMPLE_COLUMNS), *beside)

    def wood_use(self, row: Row) -> tuple[Any, ...]:
        """One row of the catalogue's table `wood_use`, in the order of WOOD_COLUMNS."""
        names = ("site_id", "place_id", "species", "function", "shape", "origin", "decoration")
        counts = (row["piece_count"], row["trees_most"])
        return (
            *(row[name] for name in names),
            *map(_small_integer, counts),
            _number(row["total_length_m"]),
            _number(row["total_volume_m3"]),
            *_years(self.phases.get(row["phase_id"], {})),
        )

    def plug(self, path: str, found: Mapping[str, Row]) -> tuple[Any, ...]:
        """One plug as `locate` compares it, a PlugRecord as a plain tuple."""
        plug, sample, element = found["plug"], found["sample"], found["element"]
        chain = self._chain(element)
        record = PlugRecord(
            source=path,
            site_id=sample.get("site_id", ""),
            sample_id=plug.get("sample_id", ""),
            plug_id=plug.get("plug_id", ""),
            stamp=plug["stamp"],
            orientation_mark=plug.get("orientation_mark", ""),
            dowel_mm=_number(plug.get("dowel_mm", "")),
            status=plug.get("status", ""),
            element_id=sample.get("element_id", ""),
            function=element.get("function", ""),
            species=element.get("species_field", "") or sample.get("species_field", ""),
            places="\n".join([*_lines(map(_names, chain)), "", *_lines(map(_kinds, chain))]),
            where=_where(chain),
            collected_on=sample.get("collected_on", ""),
            former="\n".join(self.former.get(plug.get("sample_id", ""), ())),
        )
        return tuple(record)

    def _chain(self, element: Row) -> list[Row]:
        """The place and those it lies in, inmost first; a loop in the record ends the walk."""
        chain: list[Row] = []
        seen: set[str] = set()
        place_id = element.get("place_id", "")
        while place_id in self.places and place_id not in seen:
            seen.add(place_id)
            chain.append(self.places[place_id])
            place_id = self.places[place_id].get("parent_place_id", "")
        return chain

    def parties_named(self) -> Iterator[tuple[str, str]]:
        """Code and name of each party that may be named."""
        return ((code, name) for code in self.parties if (name := self._name(code)))

    def _name(self, party_id: str) -> str:
        """The name of an organisation, or of a person who has agreed to be named."""
        party = self.parties.get(party_id, {})
        named = party.get("kind") == "organisation" or party.get("may_be_named") == "true"
        return party.get("name", "") if named else ""

    def _felled(self, felling: Row, result: Row) -> dict[str, Any]:
        """When the tree was felled: by the derived table of the bundle, else by the one result."""
        from provenance._model.determination import estimate_of, notation_of
        from provenance._model.felling import felling_of
        from provenance._model.felling_together import class_of

        if felling:
            kind = felling.get("felling_class", "")
            years = [
                _small_integer(felling.get(f"felled_{one}_year", "")) for one in ("from", "to")
            ]
        else:
            alone = felling_of(notation_of(result, self.symbols), self.symbols, estimate_of(result))
            years = [alone.earliest, alone.latest]
            kind = class_of(alone).value if any(one is not None for one in years) else ""
        return {"felled_from_year": years[0], "felled_to_year": years[1], "felling_class": kind}

    def _cutting(self, result: Row) -> str:
        from provenance._model.felling import cutting_class

        return cutting_class(split_codes(result.get("outer_symbol")), self.symbols).value


def held_beside(
    holding: Holding, name_of: Callable[[str], str], *, disputed: bool
) -> tuple[Any, ...]:
    """What the table `held` says of a holding, in the order of HELD_BESIDE."""
    on_loan = bool(holding.lender)
    return (
        holding.holder,
        name_of(holding.holder),
        holding.on_the_way_to,
        holding.place_held,
        holding.lender or None,
        holding.loan if on_loan else None,
        holding.due_on or None,
        holding.since,
        int(disputed),
    )


def _architecture(row: Row) -> tuple[Any, ...]:
    """One row of the catalogue's table `architecture`, in the order of ARCHITECTURE_COLUMNS."""
    return (*(row[name] for name in _BUILT), *_years(row))


def _years(row: Row) -> tuple[int | None, int | None]:
    return _small_integer(row.get("first_year", "")), _small_integer(row.get("last_year", ""))


def _on_wgs84(row: Row) -> tuple[float | None, float | None]:
    """(longitude, latitude) of a site on WGS 84; (None, None) where it is not known.

    Another system is carried over by pyproj; a site on a map grid only is, too.
    """
    east, north, system = row.get("longitude"), row.get("latitude"), row.get("geodetic_epsg")
    if not (east and north):
        east, north, system = row.get("easting_m"), row.get("northing_m"), row.get("grid_epsg")
        if not system:
            return None, None
    x, y = _number(east or ""), _number(north or "")
    if x is None or y is None:
        return None, None
    if system and system != "4326":
        from pyproj import Transformer
        from pyproj.exceptions import ProjError

        try:
            to_wgs84 = Transformer.from_crs(int(system), 4326, always_xy=True)
            x, y = to_wgs84.transform(x, y)
        except (ProjError, ValueError):
            return None, None  # a system that nobody knows; the check names it
    if not (math.isfinite(x) and math.isfinite(y) and abs(x) <= 180 and abs(y) <= 90):
        return None, None
    return x, y


def _where(chain: list[Row]) -> str:
    return ", ".join(row.get("name") or row.get("place_id", "") for row in chain)


def _names(row: Row) -> list[str]:
    return [text for text in (row.get("place_id", ""), row.get("name", "")) if text]


def _kinds(row: Row) -> Sequence[str]:
    """What such a place is commonly called: its kind and the other names of the kind."""
    return _names_of_kinds().get(row.get("kind", ""), ())


@cache
def _names_of_kinds() -> Mapping[str, Sequence[str]]:
    terms = read_yaml(shipped("schemas") / "vocabularies" / "place_kind.yaml")["terms"]
    return {one["code"]: [one["label"], *one.get("synonyms", ())] for one in terms}


def _lines(names: Iterable[Sequence[str]]) -> list[str]:
    return sorted({name.lower() for some in names for name in some})


def _number(text: str) -> float | None:
    number = float_of(text)
    return number if number is not None and math.isfinite(number) else None


def _small_integer(text: str) -> int | None:
    """A whole number that a database can hold, else None."""
    number = whole_of(text)
    return number if number is not None and abs(number) < 2**62 else None
