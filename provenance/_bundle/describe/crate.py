"""Describes a bundle's payload as an RO-Crate (1.3), and checks such a description.

Written with the rocrate library; sorted, so that the same payload makes the same bytes.
Source: RO-Crate Metadata Specification 1.3 (w3id.org/ro/crate/1.3).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, unquote

from provenance._bag.names import unsafe_because
from provenance._bag.verdict import BundleFinding
from provenance._bundle.describe.citation import (
    Maker,
    funders,
    keeper,
    licence_address,
    licences,
    makers,
)
from provenance._bundle.describe.editions import Edition
from provenance._model.media_types import media_type_of
from provenance._model.schema import TABLE_SCHEMA_PROFILE
from provenance._record.doi import doi_address
from provenance._record.origin import Ancestor
from provenance._record.package import DATA_PACKAGE_PROFILE, DESCRIPTOR, Package

if TYPE_CHECKING:
    from rocrate.model import ContextEntity
    from rocrate.rocrate import ROCrate

CRATE = "ro-crate-metadata.json"
VERSION = "1.3"
_UNDESCRIBED = "No row of the record describes this file."
PROV = "http://www.w3.org/ns/prov#"
"""Namespace of PROV-O (W3C Recommendation 2013); the crate's own context has no prefix for it."""
_DOI = "https://registry.identifiers.org/registry/doi"
PROFILES = "https://w3id.org/ro/crate/"


def describe_crate(
    package: Package,
    edition: Edition,
    *,
    record: Mapping[str, Any],
    files: Mapping[str, int],
    titles: Mapping[str, str],
    standards: Mapping[str, tuple[str, str]] = MappingProxyType({}),
    undescribed: Iterable[str] = (),
    earlier: Sequence[Ancestor] = (),
) -> dict[str, Any]:
    """The RO-Crate metadata of a bundle's payload.

    `files` maps each path under data/ to its bytes, `titles` some of them to what they are,
    `standards` to the address and title of what they follow; `record` is its citation; `earlier`
    are the bundles this one goes on from, newest first. The full edition is for the restricted
    store, so it names everybody who made the record; the public one names those who agreed to it.
    """
    from rocrate.rocrate import ROCrate

    crate: ROCrate = ROCrate(version=VERSION)
    root = crate.root_dataset
    root["name"] = package.title
    root["description"] = record["descriptions"][0]["description"]
    root["datePublished"] = next(
        one["date"] for one in record["dates"] if one["dateType"] == "Issued"
    )
    root["inLanguage"] = record["language"]
    own_name = {"@type": "PropertyValue", "name": "package name", "value": package.name}
    root["identifier"] = _context(crate, "#package-name", own_name)
    if doi := record.get("doi"):
        about = {"@type": "PropertyValue", "name": "DOI", "propertyID": _DOI}
        about |= {"value": f"doi:{doi}", "url": doi_address(doi)}
        root.append_to("identifier", _context(crate, doi_address(doi), about))
    root["license"] = _licence(crate, package, edition)
    may_be_told = [one for one in makers(package) if one.named or not edition.is_public]
    root["author"] = _one_or_all([_maker(crate, one) for one in may_be_told])
    repository = keeper(package)
    if repository and edition.is_public and not repository.named:
        repository = None
    root["publisher"] = _maker(crate, repository) if repository else None
    paid = [one for one in funders(package) if one[0].named or not edition.is_public]
    root["funder"] = _one_or_all([_maker(crate, funder) for funder, _ in paid])
    root["funding"] = _one_or_all(
        [_grant(crate, funder, award) for funder, awards in paid for award in awards]
    )
    if earlier:
        root["prov:wasRevisionOf"] = _earlier(crate, earlier)
    stray = set(undescribed)
    follows = {
        **standards,
        DESCRIPTOR: (DATA_PACKAGE_PROFILE, "Data Package 2"),
        **{
            f"schemas/{name}.json": (TABLE_SCHEMA_PROFILE, "Table Schema 2")
            for name in package.model.tables
        },
    }
    for path, byte_count in sorted(files.items()):
        title = titles.get(path, path)
        properties: dict[str, Any] = {
            "name": title,
            "description": _UNDESCRIBED if path in stray else f"{title} ({path})",
            "encodingFormat": media_type_of(path),
            "contentSize": str(byte_count),
        }
        if standard := follows.get(path):
            address, name = standard
            properties["conformsTo"] = _context(
                crate, address, {"@type": "CreativeWork", "name": name}
            )
        crate.add_file(dest_path=path, properties=properties)
    metadata: dict[str, Any] = crate.metadata.generate()
    for entity in metadata["@graph"]:
        if entity["@id"] == "./":
            entity["hasPart"].sort(key=lambda part: part["@id"])
    metadata["@graph"] = [
        {name: value for name, value in sorted(entity.items()) if value is not None}
        for entity in sorted(metadata["@graph"], key=lambda entity: _order(entity["@id"]))
    ]
    return metadata


def _order(identifier: str) -> tuple[int, str]:
    first = {CRATE: 0, "./": 1}
    return first.get(identifier, 2), identifier


def _one_or_all(values: list[ContextEntity]) -> ContextEntity | list[ContextEntity] | None:
    """A property's value as the specification has it: a list only of several."""
    return values[0] if len(values) == 1 else values or None


def _context(crate: ROCrate, identifier: str, properties: dict[str, Any]) -> ContextEntity:
    from rocrate.model import ContextEntity

    return crate.add(ContextEntity(crate, identifier, properties=properties))


def _earlier(crate: ROCrate, earlier: Sequence[Ancestor]) -> ContextEntity:
    """The bundle before this one, which names the one before it, and so on (PROV-O)."""
    crate.metadata.extra_terms["prov"] = PROV
    before: ContextEntity | None = None
    for one in reversed(earlier):
        known_by = f"SHA-256 of tagmanifest-sha256.txt: {one.tagmanifest_sha256}"
        before = _context(
            crate,
            f"#bundle-{one.tagmanifest_sha256}",
            {
                "@type": "CreativeWork",
                "name": f"{one.name}, {one.in_words}",
                "description": f"An earlier bundle of this record. {known_by}",
                "dateModified": one.record_date,
                "identifier": one.tagmanifest_sha256,
                "prov:wasRevisionOf": before,
            },
        )
    assert before is not None
    return before


def _maker(crate: ROCrate, maker: Maker) -> ContextEntity:
    """A person or organization, with all that this edition of the record says for a citation.

    Source: RO-Crate 1.3, 'Contextual Entities' (people, organizations, contact information).
    """
    properties: dict[str, Any] = {
        "@type": "Person" if maker.is_person else "Organization",
        "name": maker.name,
        "givenName": maker.given_name or None,
        "familyName": maker.family_name or None,
        "url": None if maker.is_person else maker.address or None,
    }
    own = f"#party-{quote(maker.party_id, safe='')}"
    entity = _context(crate, maker.address or own, properties)
    if maker.employer:
        entity["affiliation"] = _maker(crate, maker.employer)
    if maker.email and not maker.is_person:
        about = {"name": f"Questions to {maker.name}", "contactType": "questions about the record"}
        entity["contactPoint"] = _context(
            crate,
            f"mailto:{quote(maker.email, safe='@')}",
            {"@type": "ContactPoint", **about, "email": maker.email},
        )
    return entity


def _grant(crate: ROCrate, funder: Maker, award: str) -> ContextEntity:
    """A grant by its number (RO-Crate 1.3, 'Funding and grants')."""
    name = f"#grant-{quote(f'{funder.party_id}-{award}', safe='')}"
    who = _maker(crate, funder)
    about = {"@type": "Grant", "name": award, "identifier": award, "funder": who}
    return _context(crate, name, about)


def _licence(crate: ROCrate, package: Package, edition: Edition) -> ContextEntity:
    names = licences(package)
    restricted = f"{edition.title}, {edition.store}. {edition.notice}"
    if len(names) == 1:
        return _context(
            crate,
            licence_address(names[0]),
            {
                "@type": "CreativeWork",
                "name": names[0],
                "description": f"For the public part. {restricted}",
            },
        )
    return _context(
        crate,
        "#rights",
        {
            "@type": "CreativeWork",
            "name": "Rights",
            "description": f"{restricted} Licenses of the sites: {', '.join(names) or 'none'}.",
        },
    )


# -- checking ------------------------------------------------------------------------------------


def check_crate(metadata: object, files: set[str]) -> list[BundleFinding]:
    """What in an RO-Crate metadata document is not true of the payload it describes.

    `files` are the paths under data/. Looked at is what ties the document to the files: the
    descriptor, the root, and that every file described is there and every file there is described.
    """
    if not isinstance(metadata, dict) or not isinstance(metadata.get("@graph"), list):
        return [_finding("crate.no_graph", "holds no list '@graph'")]
    graph = metadata["@graph"]
    entities = {
        one["@id"]: one
        for one in graph
        if isinstance(one, dict) and isinstance(one.get("@id"), str)
    }
    if len(entities) != len(graph):
        return [_finding("crate.no_graph", "has entities without '@id' or with the same one twice")]
    descriptor = entities.get(CRATE, {})
    profiles = [
        one for one in _references(descriptor.get("conformsTo")) if one.startswith(PROFILES)
    ]
    root = entities.get(next(iter(_references(descriptor.get("about"))), ""), {})
    findings = []
    if not profiles:
        findings.append(_finding("crate.no_descriptor", "does not say which RO-Crate it follows"))
    if "Dataset" not in _as_list(root.get("@type")):
        return [*findings, _finding("crate.no_root", "names no root dataset that it describes")]
    for name in ("name", "description", "datePublished", "license"):
        if not root.get(name):
            findings.append(_finding("crate.no_root", f"lacks the root's '{name}'"))
    described = {
        unquote(identifier)
        for identifier, one in entities.items()
        if "File" in _as_list(one.get("@type")) and "://" not in identifier
    }
    for path in sorted(described):
        if reason := unsafe_because(path.removeprefix("./")):
            findings.append(_finding("crate.unsafe_path", f"describes {path[:200]!r}: {reason}"))
        elif path.removeprefix("./") not in files:
            findings.append(_finding("crate.file_missing", f"describes {path}, which is missing"))
    described = {path.removeprefix("./") for path in described} | {CRATE}
    findings += [
        _finding("crate.file_undescribed", f"does not describe {path}")
        for path in sorted(files - described)
    ]
    parts = {unquote(one).removeprefix("./") for one in _references(root.get("hasPart"))}
    findings += [
        _finding(
            "crate.file_unlinked", f"describes {path} but does not list it as part of the record"
        )
        for path in sorted((described & files) - parts - {CRATE})
    ]
    return findings


def _as_list(value: object) -> list[Any]:
    return value if isinstance(value, list) else [] if value is None else [value]


def _references(value: object) -> list[str]:
    return [
        one["@id"]
        for one in _as_list(value)
        if isinstance(one, dict) and isinstance(one.get("@id"), str)
    ]


def _finding(rule: str, message: str) -> BundleFinding:
    return BundleFinding(
        "crate",
        "error",
        rule,
        f"data/{CRATE}",
        message,
        "The description and the files do not match; ask for the bundle again.",
    )
