"""Records in a bundle's ledger that samples came to the repository together with it."""

from __future__ import annotations

from pathlib import Path

from provenance._accession.received import Received
from provenance._accession.taking_in import TakingIn
from provenance._base.errors import TreenailError, UnusableInput
from provenance._bundle.pack import pack
from provenance._bundle.unpack import unpack
from provenance._identity.selection import samples_of_package
from provenance._ledger.handover import record_events
from provenance._ledger.holdings import Holding, holdings_of
from provenance._ledger.inside import samples_inside
from provenance._store.settings import Repository


def with_deposit(
    received: Received, asked: TakingIn, number: str, work: Path
) -> tuple[Path, tuple[str, ...]]:
    """The bag to be kept, and the samples whose keeper changed.

    Without samples it is the bag that came in. With them a package is unpacked below `work`, the
    repository takes what was on its way to it ('received') and is given the rest ('deposited'), and
    the package is packed again; what it has already stays as it is.
    Raises TreenailError when the keeper cannot change so.
    """
    if not asked.samples:
        return received.folder, ()
    if received.known_by.edition == "public":
        raise UnusableInput(
            f"{received.bundle} is a public edition, which does not have the entire ledger; record "
            "the samples with the full edition"
        )
    package = unpack(received.bundle, work / "package").package
    chosen = samples_of_package(
        package.tables,
        asked.samples,
        lambda code: samples_inside(package.tables, code).samples,
    )
    taker = asked.repository.party_id or _keeper_of(received, asked.repository)
    if not taker:
        raise UnusableInput(
            "the record names no repository for its site, so it is not known who receives the "
            "samples; enter your code from its table 'party' as party_id in the settings"
        )
    if taker not in set(package.tables.column("party", "party_id")):
        raise UnusableInput(
            f"the record's table 'party' has no {taker}; ask the depositor to enter your "
            "repository, or correct party_id in the settings"
        )
    held = holdings_of(package.tables)
    holdings = {one: held.get(one, Holding(one)) for one in chosen}
    coming = [one for one, holding in holdings.items() if holding.on_the_way_to]
    given = [
        one for one, holding in holdings.items() if one not in coming and holding.holder != taker
    ]
    if not coming and not given:
        raise TreenailError(
            f"all of these samples are with {taker} already; leave out --samples, because the "
            "record already says so"
        )
    for event, numbers in (("received", coming), ("deposited", given)):
        if numbers:
            record_events(
                package,
                event,
                numbers,
                happened_on=asked.on.isoformat(),
                recorded_on=asked.recorded_on,
                to_party_id=taker,
                place_held=asked.place,
                notes=f"accession {number}",
            )
    # the folder inside a zip keeps its name
    name = received.folder.name if received.is_zip else received.bundle.resolve().name
    return pack(package, work / "packed" / name).path, (*coming, *given)


def _keeper_of(received: Received, repository: Repository) -> str:
    """The record's own keeper, unless the settings name another institution than the record."""
    keeper, name = received.keeper_name, repository.name
    if received.keeper_id and name and name.casefold() != keeper.casefold():
        raise UnusableInput(
            f"your settings name '{name}', but the keeper that the record names for its site is "
            f"{received.keeper_id} ('{keeper}'), so the ledger would say "
            "that this one has the samples. Enter the code that the record's table 'party' has for "
            "you as party_id in the settings; if it has none, ask the depositor to enter you"
        )
    return received.keeper_id
