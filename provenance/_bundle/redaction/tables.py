"""Redacts one table: every cell by the form that its field has in public."""

from __future__ import annotations

import re
from collections.abc import Collection, Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import polars as pl

from provenance._bundle.redaction.account import Account
from provenance._bundle.redaction.acts import redact_acts
from provenance._bundle.redaction.files import FILE, FileRows
from provenance._bundle.redaction.gathering import Known, sites_of_rows, whole_columns
from provenance._bundle.redaction.harmless import is_harmless, is_long, passes_the_search
from provenance._bundle.redaction.people import NAME_PARTS, PARTY, Columns, role_names, unnamed
from provenance._bundle.redaction.placed import PLACED_FORMS, placed_columns
from provenance._bundle.redaction.places import Cell, as_decimal, cells_of
from provenance._bundle.redaction.release import TEXT
from provenance._bundle.redaction.schemas import public_table
from provenance._disclosure.hits import Hit
from provenance._history.history import ACT, CHANGE
from provenance._history.projection import in_order, links_of
from provenance._model.schema import PUBLIC_FORMS, Field, Table

INFORMATION_WITHHELD = "information_withheld"
DATA_GENERALIZATIONS = "data_generalizations"
DWC = "http://rs.tdwg.org/dwc/terms/"
_AXES_OF_CELLS = ("latitude", "longitude")
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


def redact_table(known: Known, name: str, account: Account, files: FileRows) -> PublicTable:
    """A table as the public edition has it; what is withheld is counted in `account`.

    `files` has the cells of the table `file` that stand otherwise because of a row's file, and the
    files left out. What was computed from one of these is left out too.
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
    made_of = [key.fields[0] for key in table.foreign_keys if key.table == FILE]
    if described.role == COMPUTED and made_of:
        kept = [place for place in range(count) if written[made_of[0]][place] in files.shown]
        if len(kept) < count:
            account.rows_left_out[name] = count - len(kept)
            written = {column: [texts[at] for at in kept] for column, texts in written.items()}
            count = len(kept)
    if name != FILE:
        files = FileRows({}, {})
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
    own_key = cells.own_key
    added = []
    for one, kind in zip(ADDED_FIELDS, (remarks.coarse, remarks.withheld), strict=True):
        if any(kind) and one.name not in described:
            columns[one.name] = ["; ".join(texts) for texts in kind]
            added.append(one)
    if own_key and columns[own_key] != written[own_key]:
        columns = _in_new_order(columns, columns[own_key], cells.left_out)
    return PublicTable(_public_schema(known, described, tuple(added), account), _frame(columns))


def _in_new_order(columns: Columns, keys: Sequence[str], left_out: Container[int]) -> Columns:
    """The rows in the order of their public keys: that of the others would tell how they begin.

    `left_out` are the places of rows that are not in this edition.
    """
    kept = [place for place in range(len(keys)) if place not in left_out]
    kept.sort(key=lambda place: in_order(keys[place]))
    return {name: [texts[place] for place in kept] for name, texts in columns.items()}


def _frame(columns: Columns) -> pl.DataFrame:
    return pl.DataFrame(columns, schema=dict.fromkeys(columns, pl.String))


def _public_schema(known: Known, table: Table, added: tuple[Field, ...], account: Account) -> Table:
    """The schema with what is withheld marked so, and no longer asked for."""
    forms = known.forms[table.name]
    # the file of a row may be left out, and then the row has no path
    may_be_blank = {"file": {"path"}, CHANGE: {"field"}}.get(table.name, set())
    if known.people.blank:
        may_be_blank |= {name for name, target in links_of(table).items() if target == PARTY}
    fields = [
        # the file of a row may be left out, and a text that nobody released
        not_required(shown)
        if one.name in may_be_blank
        else _partly_blank(shown)
        if account.not_released[table.name, one.name]
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
    }.get(form, f"In this edition {PUBLIC_FORMS[form]}.")
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
        keys = written[self.own_key] if self.own_key else ()
        target = self.links.get(self.own_key, table.name)
        # the rows of those who are blank in public are left out, and not counted either
        self.left_out = {
            at for at, key in enumerate(keys) if key and not known.public_key(target, key)
        }
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
            if self.table.name == PARTY and one.name in NAME_PARTS:
                return self._masked(one, kept, [False] * len(kept))
            return self._shown(one, kept)
        if form == "role":
            codes = self.known.people.codes
            names = role_names(self.written, codes, self.known.package.model)
            self._blanked(one, form, texts, names)
            return self._masked(one, names, [a != b for a, b in zip(names, texts, strict=True)])
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
        public = released_names(self.known, self.table.name, self.written.get("public_name"))
        wanted = [
            name or self.known.public_key(self.table.name, key)
            for name, key in zip(public, keys, strict=True)
        ]
        self._blanked(one, "stand_in", texts, wanted)
        return wanted

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
            # those who are blank are not told from what was never recorded, nor counted
            self.account.renamed[target] += bool(shown[-1]) and shown[-1] != text
        return self._allowed(one, shown, is_key)

    def _allowed(self, one: Field, texts: Sequence[str], is_made: Sequence[bool]) -> list[str]:
        """What is harmless by type or was released; `is_made` cells stay."""
        if self.table.role == COMPUTED and self.known.shipped.field(self.table.name, one.name):
            return self._masked(one, texts, is_made)
        open_ = [
            place
            for place, text in enumerate(texts)
            if text and not is_made[place] and place not in self.left_out
        ]
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
