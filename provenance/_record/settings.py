"""How a record measures, and the language of its forms and labels."""

from __future__ import annotations

from dataclasses import dataclass, replace

from provenance._base.disk import write_text
from provenance._base.errors import UnusableInput
from provenance._base.languages import available_languages
from provenance._model.measures import SYSTEMS
from provenance._model.schema import Model
from provenance._record.package import Package, as_json, model_as_dict, open_package

UNITS = tuple(system.replace("_", "-") for system in SYSTEMS)
"""The ways to measure, as people write them."""


@dataclass(frozen=True)
class Settings:
    """`units` is one of UNITS, `language` one of `available_languages()`; None leaves it as it is.

    Raises UnusableInput for another word.
    """

    units: str | None = None
    language: str | None = None

    def __post_init__(self) -> None:
        """Refuse what the program does not know."""
        for what, word, known in (
            ("units", self.units, UNITS),
            ("language", self.language, available_languages()),
        ):
            if word is not None and word not in known:
                raise UnusableInput(f"{what} '{word}' is not known; write {' or '.join(known)}")

    def of(self, model: Model) -> Model:
        """The model with these settings."""
        units = model.units if self.units is None else self.units.replace("-", "_")
        return replace(model, units=units, language=self.language or model.language)


def change_settings(package: Package, settings: Settings) -> Package:
    """Set how a record measures and its language; returns the package as it now is.

    The tables stay as they are, in metric units. Raises UnusablePackage for a bundle.
    """
    package.finish_writing()
    with package.locked():
        model = settings.of(open_package(package.folder).model)
        # one file, which is written whole or not at all
        write_text(package.folder / "schemas" / "model.json", as_json(model_as_dict(model)))
    return open_package(package.folder)
