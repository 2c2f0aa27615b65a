"""Redacts one table: every cell by the form that its field has in public."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from types import MappingProxyType

import polars as pl

from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.acts import redact_acts
from provenance._bundle.redaction.files import NO_FILES, FileRows
from provenance._bundle.redaction.gathering import GRID_FORMS, Known, sites_of_rows, whole_columns
from provenance._bundle.redaction.harmless import is_harmless, is_long, passes_the_search
from provenance._bundle.redaction.people import Columns, role_names, unnamed
from provenance._bundle.redaction.places import (
    as_decimal,
    cell_radius_m,
    counted_from,
    middle_of_cell,
    outline_from,
)
from provenance._bundle.redaction.release import TEXT
from provenance._bundle.redaction.schemas import public_table
from provenance._disclosure.hits import Hit
from provenance._history.history import ACT, CHANGE
from provenance._model.schema import Field, Table

INFORMATION_WITHHELD = "information_withheld"
DATA_GENERALIZATIONS = "data_generalizations"
DWC = "http://rs.tdwg.org/dwc/terms/"
_LIMITS = {"latitude": 90, "longitude": 180}
_WORDS = "words in {}"
CLOSED = "fields of the profile"
UNDESCRIBED = "columns that no schema describes"
COMPUTED = "derived"
NO_TEXT = ("edtf", "sha256")
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
        public="shown",
        public_because="It says what is withheld, and nothing of that.",
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
        public="shown",
        public_because="It says what is withheld, and nothing of that.",
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
    described = public_table(known.shipped, table, known.forms[name], known.lists, known.release)
    written = whole_columns(known.package, table)
    count = known.package.tables.count(name)
    if name in (ACT, CHANGE):
        columns = redact_acts(known, described, written, account)
        return PublicTable(_public_schema(known, described, (), account), _frame(columns))
    if described.role in ("intake", "history"):
        account.rows_left_out[name] = count
        nothing: dict[str, list[str]] = {column: [] for column in described.names}
        return PublicTable(_public_schema(known, described, (), account), _frame(nothing))
    remarks = _Remarks(count)
    for said, left, counts in (
        (CLOSED, set(table.names) - set(described.names), account.fields_closed),
        (UNDESCRIBED, set(written) - set(table.names), account.columns_left_out),
    ):
        if left:
            counts[name] = len(left)
            filled = [p for p in range(count) if any(written[column][p] for column in left)]
            remarks.add(remarks.withheld, filled, said)
    for column, texts_by_place in files.settled.items():
        if column in described:
            for place, text in texts_by_place.items():
                written[column][place] = text
    for place, reason in files.left_out.items():
        remarks.add(remarks.withheld, [place], f"the file ({reason})")
    cells = _Cells(known, described, written, files.settled, account, remarks)
    columns = {one.name: cells.column(one) for one in described.fields}
    added = []
    for one, kind in zip(ADDED_FIELDS, (remarks.coarse, remarks.withheld), strict=True):
        if any(kind) and one.name not in described:
            columns[one.name] = ["; ".join(texts) for texts in kind]
            added.append(one)
    return PublicTable(_public_schema(known, described, tuple(added), account), _frame(columns))


def _frame(columns: Columns) -> pl.DataFrame:
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _public_schema(known: Known, table: Table, added: tuple[Field, ...], account: Account) -> Table:
    """The schema with what is withheld marked so, and no longer asked for."""
    forms = known.forms[table.name]
    fields = [
        # the file of a row may be left out, and a text that nobody released
        _partly_blank(shown)
        if (table.name, one.name) == ("file", "path") or account.not_released[table.name, one.name]
        else shown
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
    }.get(form, "In this edition counted from another zero.")
    return replace(one, description=f"{one.description} {said}", withheld=form == "stand_in")


def _partly_blank(one: Field) -> Field:
    said = f"{one.description} In this edition only what was released is shown."
    return not_required(replace(one, description=said, withheld=True))


def not_required(one: Field) -> Field:
    """The field, which may now be blank in any number of rows."""
    kept = {k: v for k, v in one.constraints.items() if k not in ("required", "unique")}
    return replace(one, constraints=MappingProxyType(kept))


def _has_room(one: Field, text: str) -> bool:
    """Whether a field can hold a text that is none of its codes, numbers or dates."""
    pattern = one.constraints.get("pattern")
    is_text = one.type == "string" and not one.vocabulary
    return is_text and (pattern is None or bool(re.fullmatch(pattern, text)))


def released_names(known: Known, table: str, names: Sequence[str] | None) -> list[str]:
    """The names that may be published, '' for one that nobody released."""
    count = known.package.tables.count(table)
    if names is None:
        return [""] * count
    filled = [place for place, name in enumerate(names) if name]
    shown = known.release.of_texts(
        TEXT, f"{table}.public_name", [names[place] for place in filled], counted=False
    )
    found = dict(zip(filled, shown, strict=True))
    return [found.get(place) or "" for place in range(count)]


class _Cells:
    """Redacts the columns of one table, one at a time, and says what was done."""

    def __init__(
        self,
        known: Known,
        table: Table,
        written: Columns,
        made: Mapping[str, Mapping[int, str]],
        account: Account,
        remarks: _Remarks,
    ) -> None:
        self.known, self.table, self.written, self.made = known, table, written, made
        self.account, self.remarks = account, remarks
        self.forms = known.forms[table.name]
        self.links = {key.fields[0]: key.table for key in table.foreign_keys if key.fields}
        own = table.primary_key
        self.own_key = own[0] if len(own) == 1 else ""
        self.sites: list[str] | None = None
        self.numbers: dict[str, dict[str, list[Hit]]] | None = None
        self.parties = [name for name, target in self.links.items() if target == "party"]

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
            codes = self.known.renamed[self.table.name]
            names = role_names(self.written, codes, self.known.package.model)
            self._blanked(one, form, texts, names)
            return self._masked(one, names, [a != b for a, b in zip(names, texts, strict=True)])
        if form == "stand_in":
            return self._stand_in(one, texts)
        if form in _LIMITS or form == "radius":
            return self._coarse(one, form, texts)
        if form in GRID_FORMS or form == "site_outline":
            return self._from_new_zero(one, form, texts)
        kept = [""] * len(texts)
        self._blanked(one, form, texts, kept)
        return kept

    # -- forms

    def _stand_in(self, one: Field, texts: Sequence[str]) -> list[str]:
        keys = self.written[self.own_key] if self.own_key else [""] * len(texts)
        public = released_names(self.known, self.table.name, self.written.get("public_name"))
        renamed = self.known.renamed.get(self.table.name, {})
        wanted = [name or renamed.get(key, key) for name, key in zip(public, keys, strict=True)]
        self._blanked(one, "stand_in", texts, wanted)
        return wanted

    def _coarse(self, one: Field, form: str, texts: Sequence[str]) -> list[str]:
        grid = self.account.grid
        by_form = {self.forms[name]: name for name in self.table.names}
        middles: dict[str, list[Decimal | None]] = {}
        for axis, limit in _LIMITS.items():
            name = by_form.get(axis)
            numbers = (
                [as_decimal(text) for text in self.written[name]] if name else [None] * len(texts)
            )
            middles[axis] = [
                None if grid is None or value is None else middle_of_cell(value, grid, limit)
                for value in numbers
            ]
        both = [
            None not in pair for pair in zip(middles["latitude"], middles["longitude"], strict=True)
        ]
        shown = []
        for place, text in enumerate(texts):
            latitude = middles["latitude"][place]
            if not both[place] or grid is None or latitude is None:
                shown.append("")
            elif form == "radius":
                shown.append(str(cell_radius_m(latitude, grid, as_decimal(text))))
            else:
                value = middles[form][place]
                shown.append(f"{value:f}")
        self._made_coarse(
            one,
            texts,
            shown,
            f"latitude and longitude are the middle of a cell of {grid} degree; the uncertainty "
            "holds the whole cell",
        )
        return shown

    def _from_new_zero(self, one: Field, form: str, texts: Sequence[str]) -> list[str]:
        shown = []
        for site, text in zip(self._sites(), texts, strict=True):
            zero = self.known.zeros.get(site)
            if not text or zero is None:
                shown.append("")
            elif form == "site_outline":
                shown.append(outline_from(text, zero[0], zero[1]) or "")
            else:
                shown.append(counted_from(text, zero[GRID_FORMS[form]]) or "")
        said = "coordinates on the site grid are counted from another zero"
        self._made_coarse(one, texts, shown, said)
        return shown

    # -- what is shown

    def _shown(self, one: Field, texts: Sequence[str]) -> list[str]:
        """Keys as they are in public, and of any other text what may be shown."""
        if one.key_of:
            targets = self.written[one.key_of]
        elif target := self.links.get(one.name) or (one.name == self.own_key and self.table.name):
            targets = [target] * len(texts)
        else:
            made = self.made.get(one.name, {})
            return self._allowed(one, texts, [place in made for place in range(len(texts))])
        shown, is_key = [], []
        for target, text in zip(targets, texts, strict=True):
            renamed = self.known.renamed.get(target, {})
            shown.append(renamed.get(text, text))
            # the keys of other tables were not judged
            known = target in self.known.renamed and text in self.known.keys.get(target, ())
            is_key.append(text in renamed or known)
            self.account.renamed[target] += shown[-1] != text
        return self._allowed(one, shown, is_key)

    def _allowed(self, one: Field, texts: Sequence[str], is_made: Sequence[bool]) -> list[str]:
        """What is harmless by type or was released; `is_made` cells stay."""
        if self.table.role == COMPUTED and self.known.shipped.field(self.table.name, one.name):
            return self._masked(one, texts, is_made)
        open_ = [place for place, text in enumerate(texts) if text and not is_made[place]]
        hits = self._hits_in(one, {texts[place] for place in open_})
        harmless = {
            text: not hits.get(text) and self._is_harmless(one, text)
            for text in {texts[place] for place in open_}
        }
        asked = [place for place in open_ if not harmless[texts[place]]]
        # what a list or number field cannot hold is a fault in the record, and no text to read
        is_text = one.type == "string" and not one.vocabulary and one.notation not in NO_TEXT
        answers: Sequence[str | None] = [None] * len(asked)
        if is_text or any(hits.values()):
            answers = self.known.release.of_texts(
                TEXT,
                f"{self.table.name}.{one.name}",
                [texts[place] for place in asked],
                lambda number: self._under(asked[number]),
                hits=hits if hits else None,
            )
        shown = list(texts)
        for place, answer in zip(asked, answers, strict=True):
            shown[place] = answer or ""
        gone = [place for place in asked if not shown[place]]
        if gone:
            self.account.not_released[self.table.name, one.name] += len(gone)
            self.remarks.add(self.remarks.withheld, gone, one.title)
        return shown

    def _is_harmless(self, one: Field, text: str) -> bool:
        known = self.known
        return is_harmless(known.shipped, self.table.name, one, text, known.lists)

    def _under(self, place: int) -> Iterator[str]:
        """The protections and consents that a row comes under."""
        yield f"site:{self._sites()[place]}"
        for name in self.parties:
            yield f"party:{self.written[name][place]}"

    def _sites(self) -> list[str]:
        if self.sites is None:
            self.sites = sites_of_rows(self.table, self.written, self.known.site_of)
        return self.sites

    def _hits_in(self, one: Field, texts: Collection[str]) -> dict[str, list[Hit]]:
        """What the search finds in cells that are harmless by type; empty where it need not look.

        A profile's number is searched together with its heading and the others of its row: one
        that says nothing alone may be a half of a position.
        """
        if not passes_the_search(self.known.shipped, self.table.name, one) or not texts:
            return {}
        if self.known.shipped.field(self.table.name, one.name):
            once = list(texts)
            return dict(zip(once, self.known.masker.hits(once), strict=True))
        if self.numbers is None:
            self.numbers = self._search_rows()
        return {text: self.numbers[one.name].get(text, []) for text in texts}

    def _search_rows(self) -> dict[str, dict[str, list[Hit]]]:
        added = [
            one
            for one in self.table.fields
            if passes_the_search(self.known.shipped, self.table.name, one)
            and not self.known.shipped.field(self.table.name, one.name)
        ]
        found: dict[str, dict[str, list[Hit]]] = {one.name: {} for one in added}
        rows = dict.fromkeys(zip(*(self.written[one.name] for one in added), strict=True))
        lines, spans = [], []
        for row in rows:
            line, parts = "", []
            for one, text in zip(added, row, strict=True):
                line += f"{one.name.replace('_', ' ')} "
                parts.append((one.name, text, len(line)))
                line += f"{text} {one.unit or ''}; "
            lines.append(line)
            spans.append(parts)
        for line_hits, parts in zip(self.known.masker.hits(lines), spans, strict=True):
            for name, text, start in parts:
                here = [
                    Hit(max(hit.start - start, 0), min(hit.end - start, len(text)), hit.what)
                    for hit in line_hits
                    if hit.start < start + len(text) and hit.end > start
                ]
                if is_long(text):
                    here.append(Hit(0, len(text), "long number in a field of the profile"))
                found[name][text] = [*found[name].get(text, []), *here]
        return found

    def _masked(self, one: Field, texts: Sequence[str], keep: Sequence[bool]) -> list[str]:
        """Texts that are no person's own, with every withheld value in them replaced.

        `keep` marks cells that were made here and are taken as they are.
        """
        odd = [text for text in dict.fromkeys(texts) if text and not self._is_harmless(one, text)]
        masked = dict(zip(odd, self.known.masker.masked(odd), strict=True))
        shown = []
        touched = []
        for place, text in enumerate(texts):
            new = masked.get(text, text)
            if keep[place] or (new == text and (text not in masked or _has_room(one, text))):
                shown.append(text)
                continue
            # a code or number that holds such a value is none, and has no room for a remark
            shown.append(new if _has_room(one, new) else "")
            touched.append(place)
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
        renamed = self.known.renamed.get(target, {})
        keys = self.written[self.own_key]
        return [renamed.get(keys[place], keys[place]) for place in places]

    # -- account

    def _made_coarse(self, one: Field, old: Sequence[str], new: list[str], said: str) -> None:
        done = [place for place, text in enumerate(new) if text]
        if done:
            self.account.cells[self.table.name, one.name, self.forms[one.name]] += len(done)
        self.remarks.add(self.remarks.coarse, done, said)
        gone = [place for place, text in enumerate(old) if text and not new[place]]
        self._count_withheld(one, "withheld", gone)

    def _blanked(self, one: Field, form: str, old: Sequence[str], new: Sequence[str]) -> None:
        places = [place for place, (a, b) in enumerate(zip(old, new, strict=True)) if a and a != b]
        self._count_withheld(one, form, places)

    def _count_withheld(self, one: Field, form: str, places: Sequence[int]) -> None:
        if places:
            self.account.cells[self.table.name, one.name, form] += len(places)
            # that every row had a checksum is told once, in WITHHELD.txt
            if one.notation != "sha256":
                self.remarks.add(self.remarks.withheld, places, one.title)
