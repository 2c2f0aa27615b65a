"""What a package says of its deposit: the DOIs of its editions, and an embargo.

All of it stands in the descriptor. `id` is the property that Data Package 2 has for a DOI; it is
that of the edition that the package makes or is.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._record.doi import doi_address, doi_in, read_doi
from provenance._record.package import DESCRIPTOR, Package, open_package

OWN_ID = "id"
PUBLIC_ID = "publicId"
"""In the package of the full edition, the address of the public edition's DOI."""
FULL_ID = "fullId"
"""In the package of a public edition, the address of the full edition's DOI, where released."""
EMBARGO = "embargoUntil"
NONE = "none"
"""What a person writes to take one of them away."""


@dataclass(frozen=True)
class DepositSettings:
    """The DOIs of both editions and the day until which the public one is kept back.

    None leaves one as it is; NONE takes it away.
    Raises UnusableInput for what is no DOI or no day.
    """

    doi: str | None = None
    public_doi: str | None = None
    embargo_until: str | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be cited."""
        self.changes()

    def changes(self) -> dict[str, str | None]:
        """Properties of the descriptor with their new values, None for one that is taken away."""
        found: dict[str, str | None] = {}
        for name, text in ((OWN_ID, self.doi), (PUBLIC_ID, self.public_doi)):
            if text is not None:
                found[name] = None if text == NONE else doi_address(read_doi(text))
        if self.embargo_until is not None:
            found[EMBARGO] = None if self.embargo_until == NONE else _day(self.embargo_until)
        return found


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise UnusableInput(
            f"'{text[:40]}' is not a day; write the day on which the embargo ends as 2030-12-31, "
            f"or '{NONE}' to end it"
        ) from None


def embargo_of(package: Package) -> str:
    """The day until which the public edition is kept back, '' for none.

    An embargo ends when a person takes it away, never by the clock. Raises UnusablePackage for a
    descriptor that says no day.
    """
    said = package.descriptor.get(EMBARGO)
    if said is None:
        return ""
    try:
        return _day(str(said))
    except UnusableInput as error:
        raise UnusablePackage(f"{package.folder / DESCRIPTOR}: '{EMBARGO}' {error}") from None


def change_deposit(package: Package, settings: DepositSettings) -> Package:
    """Write the settings into the descriptor; returns the package as it now is.

    Raises UnusablePackage for a bundle, and UnusableInput when both editions would have one DOI.
    """
    package.finish_writing()
    with package.locked():
        opened = open_package(package.folder)
        changes = settings.changes()
        raw = {**opened.descriptor, **changes}
        own = doi_in(raw.get(OWN_ID))
        if own and own.lower() == doi_in(raw.get(PUBLIC_ID)).lower():
            raise UnusableInput(
                f"{own} cannot be the DOI of both editions: they are two things, so register two"
            )
        return opened.with_descriptor(changes)
