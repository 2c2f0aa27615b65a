"""Turns samples and what is known of them into the rows of a Darwin Core archive.

The core is MaterialSample: one row a sample. An Occurrence core would say that an organism was at
the place on that day, and the tree of a beam grew elsewhere and long before. What hangs on a sample
stands in extensions: species (Identification), sizes and states (MeasurementOrFact), dated rings
(ChronometricAge), the piece of wood that it was taken from (ResourceRelationship).

Source: Darwin Core standard (TDWG), with its chronometric age vocabulary; dwc.tdwg.org/terms.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from provenance._base.resources import shipped
from provenance._base.visible import visible
from provenance._base.yaml_text import read_yaml
from provenance._bundle.describe.citation import keeper, licence_address
from provenance._bundle.describe.editions import Edition
from provenance._bundle.redaction.tables import DATA_GENERALIZATIONS, INFORMATION_WITHHELD
from provenance._model.edtf import is_edtf
from provenance._model.schema import Field, Model
from provenance._record.attempts import gave_nothing
from provenance._record.package import Package
from provenance._record.snapshot import Row

YEARS = "CE, astronomical numbering: year 0 is 1 BCE"
WITHHOLDING = {
    "dataGeneralizations": DATA_GENERALIZATIONS,
    "informationWithheld": INFORMATION_WITHHELD,
}
"""Columns that only the public edition's tables have, by their terms."""

# ISO 8601-1 dates and intervals of them: what is left of EDTF without doubt, season or open end
_PLAIN = r"[0-9]{4}(-(0[1-9]|1[0-2])(-[0-9]{2}(T[0-9:]+(Z|[+-][0-9:]+)?)?)?)?"
_PLAIN_DATE = re.compile(f"{_PLAIN}(/{_PLAIN})?")
# said in the core, or of another extension, or no trait of the sample
_NO_TRAITS = frozenset({"sample_id", "site_id", "element_id", "kind", "species_field"})


@dataclass(frozen=True)
class Part:
    """One file of the archive: what a row is, the term of each column, and the rows.

    The first column is the sample's code, which ties an extension to the core. The rows are made
    while they are asked for, and so once.
    """

    file_name: str
    row_type: str
    terms: tuple[str, ...]
    rows: Iterator[tuple[str, ...]]


def _part(file_name: str, rows: Iterable[Mapping[str, str] | tuple[str, ...]]) -> Part:
    """A part as schemas/darwin_core.yaml has it; a row may name its cells by their terms."""
    known = read_yaml(shipped("schemas") / "darwin_core.yaml")

    def address(term: str) -> str:
        prefix, _, name = term.partition(":")
        return f"{known['namespaces'][prefix]}{name}"

    told = known["files"][file_name]
    names = [term.partition(":")[2] for term in told["terms"]]
    cells = (
        row if isinstance(row, tuple) else [row.get(name, "") for name in names] for row in rows
    )
    return Part(
        file_name,
        address(told["row"]),
        tuple(map(address, told["terms"])),
        (tuple(map(_cell, row)) for row in cells),
    )


def core(package: Package, edition: Edition) -> Part:
    """One row a sample; positions and names of places are those that the package has."""
    return _part("samples.csv", _core_rows(package, edition))


def extensions(package: Package) -> tuple[Part, ...]:
    """What hangs on the samples: species, traits, dated rings, the wood they were taken from."""
    return (
        _part("identifications.csv", _species_rows(package)),
        _part("measurements.csv", _trait_rows(package)),
        _part("ages.csv", _age_rows(package)),
        _part("wood.csv", _wood_rows(package)),
    )


def _core_rows(package: Package, edition: Edition) -> Iterator[dict[str, str]]:
    sites = _rows(package, "site")
    kinds = _labels(package.model, "sample", "kind")
    people = _people(package)
    repository = keeper(package)
    always = {
        "basisOfRecord": "MaterialSample",
        "datasetID": package.name,
        "datasetName": package.title,
        "institutionID": repository.ror if repository else "",
        "accessRights": f"{edition.title}, {edition.store}",
    }
    for key, sample in _samples(package).items():
        site = sites.get(sample["site_id"], {})
        rights = site.get("rights", "")
        name, orcid = people.get(sample["collected_by"], ("", ""))
        yield {
            "materialSampleID": key,
            **always,
            "license": licence_address(rights) if rights else "",
            "materialEntityType": kinds(sample["kind"]),
            "eventDate": _plain_date(sample["collected_on"]),
            "verbatimEventDate": sample["collected_on"],
            "recordedBy": name,
            "recordedByID": orcid,
            **_location(sample, site, edition),
        }


_LOCATION_TERMS = {
    "countryCode": "country",
    "stateProvince": "region",
    "decimalLatitude": "latitude",
    "decimalLongitude": "longitude",
    "coordinateUncertaintyInMeters": "coordinate_uncertainty_m",
}


def _location(
    sample: Mapping[str, str], site: Mapping[str, str], edition: Edition
) -> dict[str, str]:
    location = {term: site.get(name, "") for term, name in _LOCATION_TERMS.items()}
    public_name = site.get("public_name", "")
    location["locality"] = public_name if edition.is_public else site.get("name", "")
    if location["decimalLatitude"] and (code := site.get("geodetic_epsg", "")):
        location["geodeticDatum"] = f"EPSG:{code}"
    for term, name in WITHHOLDING.items():
        said = (row.get(name, "") for row in (sample, site))
        location[term] = "; ".join(text for text in said if text)
    return location


def _species_rows(package: Package) -> Iterator[tuple[str, ...]]:
    """The species of each sample, as seen in the field and as the laboratory reported it."""
    people = _people(package)
    label = _labels(package.model, "lab_result", "species")
    for key, sample in _samples(package).items():
        if code := sample["species_field"]:
            name = _name(label, code)
            yield key, f"{key} (field)", code, name, "", "", "Seen in the field."
    for key, result in _rows(package, "lab_result").items():
        if code := result["species"]:
            who = people.get(result["laboratory_id"], ("", ""))[0]
            on = _plain_date(result["reported_on"])
            said = _reported(result)
            yield result["sample_id"], key, code, _name(label, code), who, on, said


def _trait_rows(package: Package) -> Iterator[tuple[str, ...]]:
    """Every size, count and coded state of a sample that is open, under the field's title."""
    traits = [
        (one, _labels(package.model, "sample", one.name))
        for one in package.model.table("sample").fields
        if _is_trait(one)
    ]
    for key, sample in _samples(package).items():
        for one, label in traits:
            if value := sample.get(one.name):
                yield key, f"{key} {one.name}", one.title, label(value), one.unit or ""


def _is_trait(one: Field) -> bool:
    if one.sensitivity != "open" or one.name in _NO_TRAITS or one.separator:
        return False
    return one.type in ("number", "integer", "boolean") or bool(one.vocabulary)


def _age_rows(package: Package) -> Iterator[tuple[str, ...]]:
    """The years of the rings that a laboratory dated, every report, with what supersedes it.

    The last ring is not the felling unless the bark is there: the remarks say so.
    """
    people = _people(package)
    results = _rows(package, "lab_result")
    superseded_by = {one["supersedes_result_id"]: key for key, one in results.items()}
    methods = _labels(package.model, "lab_result", "method")
    for key, one in results.items():
        first, last = one["inner_year"], one["outer_year"]
        if one["outcome"] not in ("dated", "tentative") or not (first or last):
            continue
        yield (
            one["sample_id"],
            key,
            one["notation"],
            methods(one["method"]),
            first,
            YEARS if first else "",
            last,
            YEARS if last else "",
            "rings of the wood, from the first to the last that was dated",
            people.get(one["laboratory_id"], ("", ""))[0],
            _plain_date(one["reported_on"]),
            _age_remarks(one, superseded_by.get(key, "")),
        )


def _age_remarks(result: Mapping[str, str], superseded_by: str) -> str:
    remarks = [
        "The tree was felled in or after the last year; the symbols are in the verbatim text."
    ]
    if result["outcome"] == "tentative":
        remarks.append("Tentative.")
    if result["reference_chronology"]:
        remarks.append(f"Dated with {result['reference_chronology']}.")
    if superseded_by:
        remarks.append(f"Superseded by {superseded_by}.")
    return " ".join(remarks)


def _wood_rows(package: Package) -> Iterator[tuple[str, ...]]:
    """The piece of wood that each sample was taken from, with what it is in the building."""
    elements = _rows(package, "element")
    functions = _labels(package.model, "element", "function")
    for key, sample in _samples(package).items():
        if wood := sample["element_id"]:
            function = functions(elements.get(wood, {}).get("function", ""))
            yield key, f"{key} wood", wood, "taken from", function


# -- reading -------------------------------------------------------------------------------------


def _samples(package: Package) -> dict[str, Row]:
    """The samples by their numbers; what gave none is a hole and no material."""
    rows = _rows(package, "sample")
    return {key: row for key, row in rows.items() if not gave_nothing(row)}


def _rows(package: Package, table: str) -> dict[str, Row]:
    """The rows of a table by the text of their key, in the order of the file."""
    (key,) = package.model.table(table).primary_key
    return {row[key]: row for row in package.tables.rows(table)}


def _people(package: Package) -> dict[str, tuple[str, str]]:
    """Name and ORCID address of the parties that may be named, by their code."""
    return {
        key: (row["name"], f"https://orcid.org/{row['orcid']}" if row["orcid"] else "")
        for key, row in _rows(package, "party").items()
        if row["kind"] != "person" or row["may_be_named"] == "true"
    }


def _labels(model: Model, table: str, name: str) -> Callable[[str], str]:
    """What a person reads for a cell of a coded field; the cell itself where it is not coded."""
    vocabulary = model.vocabulary_of(model.table(table).field(name))
    labels = {one.code: one.label for one in vocabulary.terms} if vocabulary else {}
    return lambda code: labels.get(code, code)


def _name(label: Callable[[str], str], code: str) -> str:
    """The botanical name of a species code, '' where the list has none."""
    name = label(code)
    return name if name != code else ""


def _plain_date(text: str) -> str:
    return text if _PLAIN_DATE.fullmatch(text) and is_edtf(text) else ""


def _reported(result: Mapping[str, str]) -> str:
    number = f" (number {result['lab_number']})" if result["lab_number"] else ""
    return f"Reported by the laboratory{number}."


def _cell(text: str) -> str:
    """One line of legible text: common readers cut a file at line ends, quoted or not."""
    return " ".join(visible(text).split())
