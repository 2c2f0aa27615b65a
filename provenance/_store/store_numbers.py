"""Numbers the samples of an accession: 2026.0003/17 is the 17th sample on its card.

The card of an accession never changes, so that a number on a label says the same for ever.
"""

from __future__ import annotations

from provenance._base.errors import UnusableInput
from provenance._base.spreadsheet import plain_cell
from provenance._store.store import Store
from provenance._store.tables import cells_bytes


def store_numbers(store: Store, accession: str) -> dict[str, str]:
    """Sample → its number in the store, in the order of the card of that accession.

    Raises UnusableInput where there is no such accession, or nothing is known of samples in it.
    """
    samples = store.card(store.accession(accession)).get("sample", {})
    if not samples:
        raise UnusableInput(
            f"no sample is known of {accession}: its card names none (a bag of others, a public "
            "edition), or is not there"
        )
    return {one: f"{accession}/{count}" for count, one in enumerate(samples, start=1)}


def numbers_csv(numbers: dict[str, str]) -> bytes:
    """The table that 'treenail print labels --store-numbers' reads."""
    rows = ({"sample_id": plain_cell(one), "store_number": two} for one, two in numbers.items())
    return cells_bytes(("sample_id", "store_number"), rows)
