"""Redacts one table: every cell by the form that its field has in public."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import polars as pl

from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.acts import redact_acts
from provenance._bundle.redaction.files import NO_FILES, FileRows
from provenance._bundle.redaction.gathering import Known, whole_columns
from provenance._bundle.redaction.people import PARTY, Columns, role_names, unnamed
from provenance._bundle.redaction.placed import PLACED_FORMS, placed_columns
from provenance._bundle.redaction.places import Cell, as_decimal, cells_of
from provenance._bundle.redaction.plain import is_plain
from provenance._history.history import ACT, CHANGE
from provenance._history.projection import in_order, links_of
from provenance._model.schema import PUBLIC_FORMS, Field, Table

INFORMATION_WITHHELD = "information_withheld"
DATA_GENERALIZATIONS = "data_generalizations"
DWC = "http://rs.tdwg.org/dwc/terms/"
_AXES_OF_CELLS = ("latitude", "longitude")
_WORDS = "words in {}"
ADDED_FIELDS = (
    Field(
        name=DATA_GENERALIZATIONS,
        type="string",
        title="Made coarse in this edition",
        description="What in this row is less exact here than in the full edition.",
        section="",
        order=0,
        sensitivity="open",
        obtained="computed",
        rdf_type=DWC + "dataGeneralizations",
    ),
    Field(
        name=INFORMATION_WITHHELD,
        type="string",
        title="Withheld in this edition",
        description="What the full edition holds in this row that this one does not.",
        section="",
        order=0,
        sensitivity="open",
        obtained="computed",
        rdf_type=DWC + "informationWithheld",
    ),
)


@dataclass(frozen=True)
class PublicTable:
    """A redacted table: its schema, and its rows as `Package.write_table` takes them."""

    table: Table
    frame: pl.DataFrame


class _Remarks:
    """What is said of each row in the two columns that Darwin Core has for it."""

    def __init__(self, row_count: int) -> None:
        self.withheld: list[list[str]] = [[] for _ in range(row_count)]
        self.coarse: list[list[str]] = [[] for _ in range(row_count)]

    def add(self, kind: list[list[str]], places: Sequence[int], text: str) -> None:
        for place in places:
            if text not in kind[place]:
                kind[place].append(text)


def redact_table(
    known: Known, name: str, account: Account, files: FileRows = NO_FILES
) -> PublicTable:
    """A table as the public edition has it; what is withheld is counted in `account`.

    `files` has the cells that stand otherwise because of a row's file, and the files left out.
    """
    table = known.package.model.table(name)
    written = whole_columns(known.package, table)
    count = known.package.tables.count(name)
    if table.name in (ACT, CHANGE):
        columns = redact_acts(known, table, written, account)
        return PublicTable(_public_schema(known, table, ()), _frame(columns))
    if table.role in ("intake", "history"):
        account.rows_left_out[name] = count
        nothing: dict[str, list[str]] = {column: [] for column in table.names}
        return PublicTable(_public_schema(known, table, ()), _frame(nothing))
    extra = [column for column in written if column not in table.names]
    if extra:
        account.columns_left_out[name] = len(extra)
    remarks = _Remarks(count)
    for column, texts_by_place in files.settled.items():
        if column in table:
            for place, text in texts_by_place.items():
                written[column][place] = text
    for place, reason in files.left_out.items():
        remarks.add(remarks.withheld, [place], f"the file ({reason})")
    cells = _Cells(known, table, written, account, remarks)
    columns = {one.name: cells.column(one) for one in table.fields}
    own_key = cells.own_key
    if extra:
        for texts in remarks.withheld:
            texts.append("columns that no schema describes")
    added = []
    for one, kind in zip(ADDED_FIELDS, (remarks.coarse, remarks.withheld), strict=True):
        if any(kind) and one.name not in table:
            columns[one.name] = ["; ".join(texts) for texts in kind]
            added.append(one)
    if own_key and columns[own_key] != written[own_key]:
        columns = _in_new_order(columns, columns[own_key], cells.left_out)
    return PublicTable(_public_schema(known, table, tuple(added)), _frame(columns))


def _in_new_order(columns: Columns, keys: Sequence[str], left_out: Container[int]) -> Columns:
    """The rows in the order of their public keys: that of the others would tell how they begin.

    `left_out` are the places of rows that are not in this edition.
    """
    kept = [place for place in range(len(keys)) if place not in left_out]
    kept.sort(key=lambda place: in_order(keys[place]))
    return {name: [texts[place] for place in kept] for name, texts in columns.items()}


def _frame(columns: Columns) -> pl.DataFrame:
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _public_schema(known: Known, table: Table, added: tuple[Field, ...]) -> Table:
    """The schema with what is withheld marked so, and no longer asked for."""
    forms = known.forms[table.name]
    # the file of a row may be left out, and then the row has no path
    may_be_blank = {"file": {"path"}, CHANGE: {"field"}}.get(table.name, set())
    if known.people.blank:
        may_be_blank |= {name for name, target in links_of(table).items() if target == PARTY}
    fields = [
        not_required(shown) if one.name in may_be_blank else shown
        for one in table.fields
        for shown in [_public_field(one, forms[one.name])]
    ]
    last_section = list(table.sections)[-1]
    order = max(one.order for one in table.fields)
    fields += [
        replace(one, section=last_section, order=order + 10 * place)
        for place, one in enumerate(added, start=1)
    ]
    return replace(table, fields=tuple(fields))


def _public_field(one: Field, form: str) -> Field:
    if form in ("withheld", "if_agreed"):
        said = "Withheld in this edition" + (
            "." if form == "withheld" else " for those who have not agreed."
        )
        return not_required(
            replace(one, description=f"{said} {one.description}", withheld=form == "withheld")
        )
    if form == "shown":
        return one
    said = {
        "role": "A role, for those who have not agreed to be named.",
        "stand_in": "In this edition the name that may be published, or the code.",
        "radius": "In this edition it holds the whole cell that the coordinates were made.",
        "latitude": "In this edition the middle of a grid cell.",
        "longitude": "In this edition the middle of a grid cell.",
    }.get(form, f"In this edition {PUBLIC_FORMS[form]}.")
    return replace(one, description=f"{one.description} {said}", withheld=form == "stand_in")


def not_required(one: Field) -> Field:
    """The field, which may now be blank in any number of rows."""
    kept = {k: v for k, v in one.constraints.items() if k not in ("required", "unique")}
    return replace(one, constraints=MappingProxyType(kept))


class _Cells:
    """Redacts the columns of one table, one at a time, and says what was done."""

    def __init__(
        self, known: Known, table: Table, written: Columns, account: Account, remarks: _Remarks
    ) -> None:
        self.known, self.table, self.written = known, table, written
        self.account, self.remarks = account, remarks
        self.forms = known.forms[table.name]
        self.links = {key.fields[0]: key.table for key in table.foreign_keys if key.fields}
        own = table.primary_key
        self.own_key = own[0] if len(own) == 1 else ""
        keys = written[self.own_key] if self.own_key else ()
        target = self.links.get(self.own_key, table.name)
        # the rows of those who are blank in public are left out, and not counted either
        self.left_out = {
            at for at, key in enumerate(keys) if key and not known.public_key(target, key)
        }

    def column(self, one: Field) -> list[str]:
        """One column as the public edition has it."""
        texts = self.written[one.name]
        form = self.forms[one.name]
        if form == "shown":
            return self._shown(one, texts)
        if form == "if_agreed":
            pairs = zip(texts, unnamed(self.written), strict=True)
            kept = ["" if hidden else text for text, hidden in pairs]
            self._blanked(one, form, texts, kept)
            return self._shown(one, kept)
        if form == "role":
            codes = self.known.people.codes
            names = role_names(self.written, codes, self.known.package.model)
            self._blanked(one, form, texts, names)
            return self._shown(one, names, keep=[a != b for a, b in zip(names, texts, strict=True)])
        if form == "stand_in":
            return self._stand_in(one, texts)
        if form in (*_AXES_OF_CELLS, "radius"):
            return self._coarse(one, form, texts)
        if form in PLACED_FORMS:
            return self._on_own_grid(one, form, texts)
        kept = [""] * len(texts)
        self._blanked(one, form, texts, kept)
        return kept

    # -- forms

    def _stand_in(self, one: Field, texts: Sequence[str]) -> list[str]:
        keys = self.written[self.own_key] if self.own_key else [""] * len(texts)
        public = self.written.get("public_name", keys)
        wanted = [
            name or self.known.public_key(self.table.name, key)
            for name, key in zip(public, keys, strict=True)
        ]
        self._blanked(one, "stand_in", texts, wanted)
        return self.known.masker.masked(wanted)

    @cached_property
    def _cells(self) -> list[Cell | None]:
        """The cell that each row is shown in."""
        by_form = {self.forms[name]: name for name in self.table.names}
        if self.account.grid is None or not set(_AXES_OF_CELLS) <= set(by_form):
            return [None] * len(self.written[self.table.names[0]])
        numbers = ([as_decimal(t) for t in self.written[by_form[one]]] for one in _AXES_OF_CELLS)
        return cells_of(list(zip(*numbers, strict=True)), self.account.grid)

    def _coarse(self, one: Field, form: str, texts: Sequence[str]) -> list[str]:
        grid = self.account.grid
        shown = []
        for cell, text in zip(self._cells, texts, strict=True):
            if cell is None or grid is None:
                shown.append("")
            elif form == "radius":
                shown.append(str(cell.radius_m(grid, as_decimal(text))))
            else:
                shown.append(f"{cell.latitude if form == 'latitude' else cell.longitude:f}")
        self._made_coarse(
            one,
            texts,
            shown,
            f"latitude and longitude are the middle of a cell of {grid} degree; the uncertainty "
            "holds the whole cell",
        )
        return shown

    @cached_property
    def _placed(self) -> Columns:
        known = self.known
        details = self.account.inference.details
        return placed_columns(self.table, self.written, self.forms, known.grids, details)

    def _on_own_grid(self, one: Field, form: str, texts: Sequence[str]) -> list[str]:
        shown = list(self._placed[one.name])
        changed = [bool(new) and new != old for old, new in zip(texts, shown, strict=True)]
        self._made_coarse(one, texts, shown, "positions are on the building's own grid", changed)
        return shown

    # -- what is shown

    def _shown(self, one: Field, texts: Sequence[str], keep: list[bool] | None = None) -> list[str]:
        """Keys as they are in public, and any other text without withheld values.

        `keep` marks cells that were made here and are taken as they are.
        """
        renamed: Mapping[str, str] = {}
        if one.name == self.own_key and one.name not in self.links:
            renamed = self.known.renamed.get(self.table.name, {})
        elif one.name in self.links:
            renamed = self.known.renamed.get(self.links[one.name], {})
        elif one.key_of:
            texts = self._keys_of_any_table(one.key_of, texts)
        if renamed:
            changed = [renamed.get(text, text) for text in texts]
            made = set(renamed.values())
            # those who are blank are not told from what was never recorded, nor counted
            self.account.renamed[self.table.name] += sum(
                bool(new) and new != old for new, old in zip(changed, texts, strict=True)
            )
            return self._masked(one, changed, [text in made for text in changed])
        return self._masked(one, texts, keep)

    def _keys_of_any_table(self, table_field: str, texts: Sequence[str]) -> list[str]:
        return [
            self.known.public_key(table, text)
            for table, text in zip(self.written[table_field], texts, strict=True)
        ]

    def _masked(self, one: Field, texts: Sequence[str], keep: list[bool] | None) -> list[str]:
        odd = [text for text in dict.fromkeys(texts) if text and not is_plain(one, text)]
        masked = dict(zip(odd, self.known.masker.masked(odd), strict=True))
        is_free = one.type == "string" and not one.vocabulary and "pattern" not in one.constraints
        shown = []
        touched = []
        for place, text in enumerate(texts):
            new = masked.get(text, text)
            if new == text or (keep and keep[place]):
                shown.append(text)
                continue
            # a code or number that holds such a value is none, and has no room for a remark
            shown.append(new if is_free else "")
            touched.append(place)
        touched = [place for place in touched if place not in self.left_out]
        if touched:
            keys = self._row_keys(touched)
            self.account.words.setdefault((self.table.name, one.name), []).extend(keys)
            self.remarks.add(self.remarks.withheld, touched, _WORDS.format(one.title))
        return shown

    def _row_keys(self, places: Sequence[int]) -> list[str]:
        """Keys of rows as the public edition has them, or their numbers."""
        if not self.own_key:
            return [f"row {place + 2}" for place in places]
        target = self.links.get(self.own_key, self.table.name)
        keys = self.written[self.own_key]
        return [self.known.public_key(target, keys[place]) for place in places]

    # -- account

    def _made_coarse(
        self,
        one: Field,
        old: Sequence[str],
        new: list[str],
        said: str,
        changed: Sequence[bool] | None = None,
    ) -> None:
        """Count what is shown otherwise (all of `new`, or where `changed`), and what is blank."""
        done = [p for p, text in enumerate(new) if (changed[p] if changed else text)]
        if done:
            self.account.cells[self.table.name, one.name, self.forms[one.name]] += len(done)
        self.remarks.add(self.remarks.coarse, done, said)
        gone = [place for place, text in enumerate(old) if text and not new[place]]
        self._count_withheld(one, "withheld", gone)

    def _blanked(self, one: Field, form: str, old: Sequence[str], new: Sequence[str]) -> None:
        places = [place for place, (a, b) in enumerate(zip(old, new, strict=True)) if a and a != b]
        self._count_withheld(one, form, places)

    def _count_withheld(self, one: Field, form: str, places: Sequence[int]) -> None:
        places = [place for place in places if place not in self.left_out]
        if places:
            self.account.cells[self.table.name, one.name, form] += len(places)
            # that every row had a checksum is told once, in WITHHELD.txt
            if one.notation != "sha256":
                self.remarks.add(self.remarks.withheld, places, one.title)
