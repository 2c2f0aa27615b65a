"""How a record measures and numbers, and the language of its forms and labels."""

from __future__ import annotations

from dataclasses import dataclass, replace

from provenance._base.errors import UnusableInput
from provenance._base.languages import available_languages
from provenance._model.measures import SYSTEMS
from provenance._model.schema import NUMBERINGS, Model, table_as_dict, with_numbering
from provenance._record.package import Package, as_json, model_as_dict, open_package
from provenance._record.together import writing_together

UNITS = tuple(system.replace("_", "-") for system in SYSTEMS)
"""The ways to measure, as people write them."""
NUMBERED = tuple(one.replace("_", "-") for one in NUMBERINGS)
"""The numberings, as people write them."""


@dataclass(frozen=True)
class Settings:
    """What a person sets; None leaves it as it is.

    `units` is one of UNITS, `language` one of `available_languages()`, `numbering` one of NUMBERED.
    Raises UnusableInput for another word.
    """

    units: str | None = None
    language: str | None = None
    numbering: str | None = None

    def __post_init__(self) -> None:
        """Refuse what the program does not know."""
        for what, word, known in (
            ("units", self.units, UNITS),
            ("language", self.language, available_languages()),
            ("numbering", self.numbering, NUMBERED),
        ):
            if word is not None and word not in known:
                raise UnusableInput(f"{what} '{word}' is not known; write {' or '.join(known)}")

    def of(self, model: Model) -> Model:
        """The model with these settings."""
        units = model.units if self.units is None else self.units.replace("-", "_")
        set_so = replace(model, units=units, language=self.language or model.language)
        if self.numbering is None:
            return set_so
        return with_numbering(set_so, self.numbering.replace("-", "_"))


def change_settings(package: Package, settings: Settings) -> Package:
    """Set how a record measures, its language and numbering; returns the package as it now is.

    The tables stay as they are, in metric units and with the numbers they have. Raises
    UnusablePackage for a bundle.
    """
    package.finish_writing()
    with package.locked():
        before = open_package(package.folder).model
        model = settings.of(before)
        with writing_together(package.folder) as staging:
            staging.write("schemas/model.json", as_json(model_as_dict(model)).encode())
            for name, table in model.tables.items():
                if table != before.tables[name]:
                    text = as_json(table_as_dict(table))
                    staging.write(f"schemas/{name}.json", text.encode())
    return open_package(package.folder)
