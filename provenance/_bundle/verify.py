"""Gives one verdict over a bundle: container, bag, descriptor, tables, crate and custody chain."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any

from provenance._bag.bag import payload_files, tags_in
from provenance._bag.bag_check import judge_bag
from provenance._bag.hashing import NO_CHECKSUMS, Checksums, hash_files
from provenance._bag.hostile import MOST_SHOWN, HostileBundle, listed_folder
from provenance._bag.hostile_zip import unpack_zip
from provenance._bag.names import unsafe_because
from provenance._bag.streaming import RECORDED, BroughtOut, bring_out, opened_container
from provenance._bag.verdict import SEALS_WITHHELD, BundleFinding, Verdict
from provenance._base.errors import TreenailError, UnusableInput, UnusablePackage
from provenance._base.findings import Finding, SecondOpinion
from provenance._base.portable import unportable_because
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._base.standing import BROKEN, CONTRADICTS, Standing
from provenance._base.standing import SEALS_WITHHELD as LEDGER_WITHHELD
from provenance._bundle.describe.contents import described_sums
from provenance._bundle.describe.crate import CRATE, check_crate
from provenance._bundle.describe.editions import PUBLIC
from provenance._bundle.describe.lineage import LEDGER_TAG
from provenance._bundle.statement import judged_statement
from provenance._bundle.table_check import check_tables
from provenance._checks.language import lineage
from provenance._checks.language.rule import worded
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._gate.documents import read_json
from provenance._gate.refusal import RefusedInput
from provenance._history.history import fault_in_acts
from provenance._ledger.anchors import Anchor, anchor_of, standing
from provenance._ledger.custody import TABLE as LEDGER
from provenance._ledger.custody import last_seal, seals_withheld, verify_ledger
from provenance._ledger.keys import TABLE as KEYS
from provenance._ledger.keys import is_vouched, key_faults, keys_of
from provenance._ledger.signing import SignaturesNotTested, verify_signed
from provenance._ledger.statement import STATEMENT, Pins
from provenance._record.package import DESCRIPTOR, Package, read_model
from provenance._record.remote import Place, Remote, place_at

BUNDLE_FACTS = "bundle.json"
NO_PINS: Pins = MappingProxyType({})
_TABLE_NAME = re.compile(r"[a-z][a-z0-9_]{0,62}")
_ASK_AGAIN = "Ask for the bundle again; do not repair it by hand."


def verify_bundle(
    bundle: Place | str,
    *,
    fast: bool = False,
    second_opinion: bool = False,
    known: Checksums = NO_CHECKSUMS,
    anchors: Sequence[Anchor] = (),
    pins: Pins = NO_PINS,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> Verdict:
    """Verify a bundle, a folder or a zip, and name everything that is wrong with it.

    `bundle` is a path or an fsspec address. It may come from a stranger: no link is followed and
    nothing is written but below a temporary folder of its own (TMPDIR), where tables and
    descriptions of a zip are brought out to; the rest is hashed as it streams by, in flat memory.
    `fast` compares names and sizes instead of checksums and does not read the tables' contents.
    `second_opinion` asks the reference library of Table Schema about the tables as well; a fault
    that it alone names makes the bundle unsound. Files of which `known` has
    the checksums are not read again (see bundle/portions.py). The custody ledger is held against
    `anchors`, and a signature over the bundle against `pins`, the keys that the reader trusts.
    Raises UnusableInput when there is nothing at `bundle`, or it is neither folder nor zip.
    """
    bundle = place_at(bundle)
    try:
        with _brought_out(bundle, fast, known, limits, progress) as bag:
            return judge_folder(
                bundle,
                bag.folder,
                fast=fast,
                second_opinion=second_opinion,
                known=bag.known,
                findings=bag.findings,
                anchors=anchors,
                pins=pins,
                limits=limits,
                progress=stretch(progress, 1, 2) if bag.is_copy else progress,
            )
    except HostileBundle as error:
        depth = "fast" if fast else "full"
        return Verdict(bundle, depth, tuple(error.findings), ("container",), 0, 0)


@contextmanager
def _brought_out(
    bundle: Place, fast: bool, known: Checksums, limits: Budget, progress: Progress
) -> Iterator[BroughtOut]:
    """The bag as a folder in which names, sizes and all that must be read are right."""
    if isinstance(bundle, Path) and bundle.is_dir():
        _refuse_other_folders(bundle)
        if known.faults:
            raise HostileBundle(bundle, list(known.faults))
        yield BroughtOut(bundle.resolve(), known)
        return
    _refuse_nothing(bundle)
    with (
        tempfile.TemporaryDirectory(prefix="treenail-") as scratch,
        opened_container(bundle, limits) as container,
    ):
        yield bring_out(
            container,
            bundle,
            Path(scratch).resolve(),
            fast=fast,
            known=known,
            limits=limits,
            progress=stretch(progress, 0, 2),
        )


def _refuse_nothing(bundle: Place) -> None:
    if not (bundle.exists() if isinstance(bundle, Remote) else bundle.is_file()):
        raise UnusableInput(f"{bundle} is not there, or is neither a folder nor a file")


@contextmanager
def opened_bundle(
    bundle: Place, *, limits: Budget = DEFAULT_BUDGET, progress: Progress = say_nothing
) -> Iterator[Path]:
    """The folder of a bundle's bag: itself, or where a zip was unpacked to while the block runs.

    For those who need the files themselves; `verify_bundle` does not unpack. Raises HostileBundle.
    """
    if isinstance(bundle, Path) and bundle.is_dir():
        _refuse_other_folders(bundle)
        yield bundle.resolve()
        return
    _refuse_nothing(bundle)
    if isinstance(bundle, Remote) and bundle.is_dir():
        raise UnusableInput(f"{bundle} is a folder in a store; copy it to a local disk first")
    with tempfile.TemporaryDirectory(prefix="treenail-") as scratch:
        folder = Path(scratch).resolve()
        yield unpack_zip(bundle, folder, limits=limits, progress=stretch(progress, 0, 2))


def _refuse_other_folders(folder: Path) -> None:
    """Raise UnusableInput for a folder that never was a bundle."""
    if any((folder / name).exists() for name in ("bagit.txt", "data", "manifest-sha256.txt")):
        return
    if (folder / DESCRIPTOR).is_file():
        raise UnusableInput(
            f"{folder} is a package, not a bundle; 'treenail check' checks it, and "
            "'treenail pack' makes a bundle of it"
        )
    raise UnusableInput(f"{folder} is not a bundle: it holds neither bagit.txt nor data/")


def judge_folder(
    bundle: Place,
    folder: Path,
    *,
    fast: bool,
    limits: Budget,
    second_opinion: bool = False,
    known: Checksums = NO_CHECKSUMS,
    findings: Iterable[BundleFinding] = (),
    anchors: Sequence[Anchor] = (),
    pins: Pins = NO_PINS,
    progress: Progress = say_nothing,
) -> Verdict:
    """The verdict over a bag that lies in `folder`; `bundle` is what a person knows it by.

    `known` are checksums of files that need not be read, `findings` what is known of the container;
    `anchors` and `pins` as in `verify_bundle`.
    Raises HostileBundle when a link, device or name in it could do harm.
    """
    sizes = listed_folder(folder, limits)
    looked_at = ["container", "bag"]
    opinion = ledger = None
    bag = judge_bag(folder, fast=fast, known=known, limits=limits, progress=progress)
    findings = [*findings, *_unportable_names(sizes), *bag.findings]
    data = folder / "data"
    if data.is_dir():
        looked_at.append("descriptor")
        documents, faults = _read_documents(data, limits)
        findings += faults
        looked_at.append("crate")
        files = {path.removeprefix("data/") for path in payload_files(folder)}
        if CRATE in documents:
            findings += check_crate(documents[CRATE], files)
        elif CRATE not in files:
            findings.append(_finding("crate", "crate.missing", f"data/{CRATE}", "is missing"))
        package = None if faults else _open(data, documents, findings)
        if package:
            opinion, ledger = _judge_record(
                package,
                documents,
                findings,
                looked_at,
                sums=None if fast else bag.sums,
                anchors=anchors,
                pins=pins,
                limits=limits,
                second_opinion=second_opinion,
            )
    order = {part: place for place, part in enumerate(looked_at)}
    findings.sort(key=lambda one: order.get(one.part, 0))
    depth = "fast" if fast else "full"
    return Verdict(
        bundle,
        depth,
        tuple(findings),
        tuple(looked_at),
        len(sizes),
        sum(sizes.values()),
        opinion,
        ledger,
    )


def _judge_record(
    package: Package,
    documents: dict[str, Any],
    findings: list[BundleFinding],
    looked_at: list[str],
    *,
    sums: Checksums | None,
    anchors: Sequence[Anchor],
    pins: Pins,
    limits: Budget,
    second_opinion: bool,
) -> tuple[SecondOpinion | None, Standing | None]:
    """Tables and ledger, as far as each can be read; without `sums` no contents are compared."""
    looked_at.append("tables")
    faults, opinion = check_tables(
        package, limits=limits, contents=sums is not None, second_opinion=second_opinion
    )
    findings += faults
    if any(one.rule == "tables.unreadable" for one in faults):
        return opinion, None
    try:
        if sums is not None:
            findings += _compare_sums(package, sums)
            findings += _check_acts(package)
            findings += _check_lineage(package)
        ledger = _judge_ledger(package, documents, findings, anchors, pins, limits)
    except UnusablePackage as error:
        findings.append(_finding("tables", "tables.unreadable", "data/tables", str(error)))
        return opinion, None
    looked_at.append("custody")
    return opinion, ledger


def _unportable_names(paths: Iterable[str]) -> Iterator[BundleFinding]:
    """Names that some desktop cannot hold: other programs, and this one once, pack them."""
    for path in paths:
        if reason := unportable_because(path.removeprefix("data/")):
            yield BundleFinding(
                "container",
                "warning",
                "container.unportable_name",
                path[:MOST_SHOWN],
                f"cannot be opened on every system: {reason}",
                "Unpack it on Linux or macOS, rename the file and its path in the record, and pack "
                "again.",
            )


def _finding(part: str, rule: str, path: str, message: str) -> BundleFinding:
    return BundleFinding(part, "error", rule, path, message, _ASK_AGAIN)


# -- descriptor ----------------------------------------------------------------------------------


def _read_documents(data: Path, limits: Budget) -> tuple[dict[str, Any], list[BundleFinding]]:
    """The JSON documents that describe the record, read under bounds, and their faults."""
    documents: dict[str, Any] = {}
    findings = []
    paths = [data / name for name in (DESCRIPTOR, CRATE, "datacite.json", BUNDLE_FACTS)]
    paths += sorted((data / "schemas").glob("*.json"))
    for path in paths:
        name = path.relative_to(data).as_posix()
        part = "crate" if name == CRATE else "descriptor"
        if not path.is_file():
            if name in (DESCRIPTOR, BUNDLE_FACTS):
                findings.append(_finding(part, "descriptor.missing", f"data/{name}", "is missing"))
            continue
        if path.stat().st_size > limits.most_json_bytes:
            message = f"is larger than {limits.most_json_bytes} bytes, which is too many"
            findings.append(_finding(part, f"{part}.too_big", f"data/{name}", message))
            continue
        try:
            documents[name] = read_json(path, limits)
        except RefusedInput as error:
            message = "; ".join(part for part in (error.found, error.limit) if part)
            findings.append(_finding(part, f"{part}.unreadable", f"data/{name}", message))
    return documents, findings


def _open(data: Path, documents: dict[str, Any], findings: list[BundleFinding]) -> Package | None:
    """The package inside, once its own words name nothing outside it."""
    faults = [*_hidden_entries(data), *_unsafe_names(documents)]
    findings += faults
    if faults:
        return None
    descriptor = documents[DESCRIPTOR]
    if not isinstance(descriptor, dict) or not isinstance(descriptor.get("name"), str):
        findings.append(_descriptor_fault("is not the descriptor of a package: it has no name"))
        return None
    try:
        # not open_package, which finishes a stopped write: nothing is written into a bundle
        package = Package(data, MappingProxyType(descriptor), read_model(data), bundle=data.parent)
    except TreenailError as error:
        findings.append(_finding("descriptor", "descriptor.unusable", DESCRIPTOR, str(error)))
        return None
    findings += _compare_resources(package)
    return package


def open_record(
    folder: Path, limits: Budget = DEFAULT_BUDGET, *, with_tables: bool = True
) -> Package:
    """The package in the bag in `folder`, once it is safe to read, whatever its checksums say.

    Without `with_tables` its tables are not looked at, for those who read them elsewhere.
    Nothing is written into it. Raises UnusableInput with the first reason why it is not safe.
    """
    listed_folder(folder, limits)
    data = folder / "data"
    documents, faults = _read_documents(data, limits)
    package = None if faults else _open(data, documents, faults)
    if package and with_tables:
        faults += check_tables(package, limits=limits, contents=False)[0]
    if package is None or any(one.rule == "tables.unreadable" for one in faults):
        first = faults[0]
        raise UnusableInput(f"{folder.name}: {first.path} {first.message}; {first.remedy}")
    return package


def _hidden_entries(data: Path) -> Iterator[BundleFinding]:
    """Hidden entries at the top, which pack never writes: among them would be staged writes."""
    for path in sorted(data.iterdir()):
        if path.name.startswith("."):
            message = "is hidden; no bundle of this program holds such a thing"
            yield _finding("descriptor", "descriptor.hidden", f"data/{path.name}", message)


def _unsafe_names(documents: dict[str, Any]) -> Iterator[BundleFinding]:
    """Names in schemas and descriptor that would lead to a file elsewhere."""
    for path, document in documents.items():
        if path.startswith("schemas/") and path != "schemas/model.json":
            name = document.get("name") if isinstance(document, dict) else None
            if not isinstance(name, str) or not _TABLE_NAME.fullmatch(name):
                message = f"names its table {str(name)[:80]!r}, which is not the name of a table"
                yield _finding("descriptor", "descriptor.unsafe_name", f"data/{path}", message)
            elif path != f"schemas/{name}.json":
                message = f"is the schema of another table, '{name}'"
                yield _finding("descriptor", "descriptor.unsafe_name", f"data/{path}", message)


def _compare_resources(package: Package) -> Iterator[BundleFinding]:
    """Whether descriptor and schemas speak of the same tables, at the places where they lie."""
    resources = package.descriptor.get("resources")
    if not isinstance(resources, list):
        yield _descriptor_fault("has no list of resources")
        return
    listed = set()
    for one in resources:
        name = one.get("name") if isinstance(one, dict) else None
        if not isinstance(name, str) or name not in package.model.tables:
            yield _descriptor_fault(f"lists {str(name)[:80]!r}, which has no schema")
        elif one.get("path") != f"tables/{name}.csv":
            yield _descriptor_fault(f"looks for '{name}' at {str(one.get('path'))[:200]!r}")
        elif one.get("schema") != f"schemas/{name}.json":
            yield _descriptor_fault(f"looks for the schema of '{name}' elsewhere")
        else:
            listed.add(name)
    for name in package.model.tables:
        if name not in listed:
            yield _descriptor_fault(f"does not list the table '{name}'")


def _descriptor_fault(message: str) -> BundleFinding:
    return _finding("descriptor", "descriptor.resources", f"data/{DESCRIPTOR}", message)


# -- record against files ------------------------------------------------------------------------


def _compare_sums(package: Package, known: Checksums) -> Iterator[BundleFinding]:
    """Files whose bytes are not those that a row of the record has the checksum of."""
    wanted = {
        path: (digest, table, key)
        for path, digest, table, key in described_sums(package)
        if not unsafe_because(path) and (package.folder / path).is_file()
    }
    digests = {path: known.digests.get(f"data/{path}", {}).get(RECORDED) for path in wanted}
    # a bag that lists other checksums than the record has its files read for this
    left = [path for path, found in digests.items() if found is None]
    left = [path for path in left if f"data/{path}" not in known.unreadable]
    more = hash_files(package.folder, dict.fromkeys(left, (RECORDED,))).digests
    for path, (digest, table, key) in wanted.items():
        found = digests[path] or more.get(path, {}).get(RECORDED)
        if found and found != digest:
            yield BundleFinding(
                "tables",
                "error",
                "tables.file_differs",
                f"data/{path}",
                f"is not the file that row {key} of tables/{table}.csv has the checksum of",
                "Find out which is right, the file or the row, and pack again.",
            )


_WITHOUT_SEALS = BundleFinding(
    "custody",
    "note",
    SEALS_WITHHELD,
    f"data/tables/{LEDGER}.csv",
    "has no seals, as the public edition never has: they cover what is withheld",
    "To prove custody, ask for the full edition; 'treenail verify PUBLIC --against FULL' compares.",
)


def _check_acts(package: Package) -> Iterator[BundleFinding]:
    """Who said what is proved by the names of the acts; in the public edition by their digests."""
    if said := fault_in_acts(package):
        yield BundleFinding(
            "tables",
            "error",
            "history.act_edited",
            "data/tables/act.csv",
            f"The acts of the record cannot be relied on: {said.rpartition('/tables/')[2]}.",
            "Ask the sender for the bundle again.",
        )


def _check_lineage(package: Package) -> Iterator[BundleFinding]:
    """What the bundle tells of those before it, against its own tables and ledger."""
    for one in lineage.RULES:
        found = one.find(package.tables)
        told = found.select(worded(one.says, found.columns)).to_series()
        named = found["table"] if "table" in found.columns else [one.table] * len(found)
        for table, said in zip(named, told, strict=True):
            path = f"data/tables/{table or one.table}.csv"
            yield BundleFinding("tables", one.severity, one.id, path, said, one.remedy)


def _seals_withheld(package: Package, facts: object) -> bool:
    """Whether this is a public edition, whose ledger bears no seals to be judged."""
    public = isinstance(facts, dict) and facts.get("edition") == PUBLIC.name
    return public and seals_withheld(package.tables)


def _judge_ledger(
    package: Package,
    documents: dict[str, Any],
    findings: list[BundleFinding],
    anchors: Sequence[Anchor],
    pins: Pins,
    limits: Budget,
) -> Standing:
    """How far the ledger can be relied on; what is wrong with it goes into `findings`."""
    facts = documents.get(BUNDLE_FACTS)
    edition = str(facts.get("edition", "")) if isinstance(facts, dict) else ""
    bag = package.folder.parent
    statement, faults = judged_statement(
        bag, package.name, edition, _trusted(package, pins), limits
    )
    findings += faults
    if LEDGER not in package.model.tables:
        findings += _of_the_anchors(found := standing(package.tables, anchors, faults=()))
        return found
    if _seals_withheld(package, facts):
        findings.append(_WITHOUT_SEALS)
        return Standing(LEDGER_WITHHELD, statement.said if statement else ())
    judged = verify_ledger(package.tables)
    keys: list[Finding] = []
    try:
        judged += verify_signed(package.tables)
        # that nobody vouches for a key is for the reader's list of keepers to say
        keys = [one for one in key_faults(package.tables) if one.severity != "note"]
    except SignaturesNotTested as error:
        findings.append(_not_tested(error))
    findings += (_of_the_ledger(one) for one in (*judged, *keys))
    findings += _compare_end(package, facts)
    found = standing(package.tables, anchors, statement, faults=judged)
    if found.word == BROKEN and not judged:
        findings.append(
            _finding("custody", "custody.statement_of_another", STATEMENT, found.said[-1])
        )
    findings += _of_the_anchors(found)
    return found


def _trusted(package: Package, pins: Pins) -> Pins:
    """The keys that the reader trusts, and those in use that one of them vouches for here."""
    if not pins or KEYS not in package.model.tables:
        return pins
    keys = keys_of(package.tables).values()
    vouched = (one for one in keys if is_vouched(one, pins) and not one.until)
    return {one.key_id: one.party_id for one in vouched} | dict(pins)


def _of_the_anchors(found: Standing) -> Iterator[BundleFinding]:
    if found.word == CONTRADICTS:
        yield BundleFinding(
            "custody",
            "error",
            "custody.contradicts_anchor",
            f"data/tables/{LEDGER}.csv",
            " ".join(found.said),
            "Ask whoever packed it; do not use it as evidence.",
        )


def _not_tested(error: SignaturesNotTested) -> BundleFinding:
    return BundleFinding(
        "custody",
        "warning",
        "custody.signature_not_tested",
        f"data/tables/{LEDGER}.csv",
        f"has signatures that were not tested: {error}",
        "Install that package and verify again.",
    )


def _of_the_ledger(one: Finding) -> BundleFinding:
    """A finding of the ledger; in a bundle an event without a seal is a fault (see `faults_of`)."""
    severity = "error" if one.rule == "custody.not_sealed" else one.severity
    where = f"data/tables/{one.table}.csv"
    return BundleFinding(
        "custody", severity, one.rule, where, f"line {one.row}: {one.message}", one.remedy
    )


def _compare_end(package: Package, facts: object) -> Iterator[BundleFinding]:
    known = facts.get("lastSeal") if isinstance(facts, dict) else None
    if not isinstance(known, str):
        yield _finding(
            "custody",
            "custody.end_unknown",
            f"data/{BUNDLE_FACTS}",
            "does not say with which seal ('lastSeal') the ledger ends, so events may be cut off",
        )
    elif known != last_seal(package) or not _is_at_end(package):
        yield _finding(
            "custody",
            "custody.end_differs",
            f"data/tables/{LEDGER}.csv",
            "does not end with the event that bundle.json and bag-info.txt name: events were removed "
            "or added",
        )


def _is_at_end(package: Package) -> bool:
    """Whether the ledger ends as bag-info.txt says; bundles of older versions do not say."""
    path = package.folder.parent / "bag-info.txt"
    said = tags_in(path.read_text("utf-8", errors="replace")) if path.is_file() else {}
    end = anchor_of(package.tables, "")
    return LEDGER_TAG not in said or (
        end is not None and said[LEDGER_TAG] == f"{end.count} {end.head}"
    )
