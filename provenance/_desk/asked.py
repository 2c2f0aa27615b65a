"""What a page is asked: the addressed thing, what a person filled in, who it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlencode

from provenance._base.errors import UnusableInput
from provenance._base.languages import _
from provenance._desk.things import BUNDLE, RECORD, STORE, NotHere

if TYPE_CHECKING:
    from provenance._desk.desk import Desk
    from provenance._desk.record.open_record import OpenRecord
    from provenance._model.schema import Table
    from provenance._record.package import Package


@dataclass(frozen=True)
class Asked:
    """A request as the pages see it.

    `address` holds the named parts of the path, `query` what stands behind '?' (`queries` where a
    name may stand there twice), `form` the fields as filled in (a field that was left out is not
    there), `files` the uploaded files of a field, in scratch under harmless names, `value` the
    JSON that a script sent.
    """

    desk: Desk
    path: str
    address: Mapping[str, str]
    query: Mapping[str, str] = field(default_factory=dict)
    queries: Sequence[tuple[str, str]] = ()
    form: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, Sequence[Path]] = field(default_factory=dict)
    value: Any = None

    @property
    def by(self) -> str:
        """Who enters what is entered."""
        return self.desk.by

    @cached_property
    def record(self) -> Package:
        """The record of the address, all that was entered in its tables, to read or to change.

        Raises NotHere and UnusablePackage.
        """
        return self.open_record.package

    @property
    def open_record(self) -> OpenRecord:
        """The record of the address as it is worked on; raises as `record`."""
        return self.desk.open_record(self.desk.path(self.address["record"], RECORD))

    @property
    def table(self) -> Table:
        """The table of the address, in the record of the address; raises NotHere."""
        model, name = self.open_record.model, self.address["table"]
        if name not in model.tables:
            raise NotHere(_("There is no table {name}.").format(name=name))
        return model.table(name)

    @property
    def bundle(self) -> Path:
        """Where the bundle of the address lies; raises NotHere."""
        return self.desk.path(self.address["bundle"], BUNDLE)

    @property
    def store(self) -> Path:
        """Where the store of the address lies; raises NotHere."""
        return self.desk.path(self.address["store"], STORE)

    def text(self, name: str, usual: str = "") -> str:
        """What stands in a field, without blanks around it; of several the last."""
        return self.form.get(name, (usual,))[-1].strip()

    def needed(self, name: str, called: str) -> str:
        """What stands in a field that must be filled in; raises UnusableInput."""
        if not (text := self.text(name)):
            raise UnusableInput(f"{called} is blank; fill it in")
        return text

    def texts(self, name: str) -> list[str]:
        """All that was checked or chosen under a name."""
        return [one for one in self.form.get(name, ()) if one]

    def queried(self, name: str, usual: str = "") -> str:
        """What stands under a name behind '?', without blanks around it; blank is `usual`."""
        return self.query.get(name, "").strip() or usual

    def at(self, /, *steps: str, **query: str | None) -> str:
        """An address below the thing that the page is about: `at('tables', 'element')`.

        What stands behind '?' goes by name, but for what is None.
        """
        for kind in (RECORD, BUNDLE, STORE):
            if kind in self.address:
                steps = (kind, self.address[kind], *steps)
        path = "/" + "/".join(quote(step, safe="") for step in steps)
        named = urlencode({name: text for name, text in query.items() if text is not None})
        return f"{path}?{named}" if named else path
