"""Writes the form that a crew fills in on a phone or tablet, made from schema and profile.

Any app that takes XLSForms shows it (xlsform.org; of the standard only what all share is used).
Answers come back through `treenail import` without a mapping, because questions are called as
`_intake.answers.names` says. It asks for nothing that is restricted, personal, computed or on the
site grid, and its lists name places and timbers by code and kind alone.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from hashlib import sha256
from pathlib import Path
from typing import Any

from provenance._base.disk import write_bytes
from provenance._base.languages import SOURCE, _, speaking, unreviewed
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._intake.answers.names import (
    BUILDING,
    CREW,
    DAY,
    FEET,
    FROM_ABOVE,
    INCHES,
    PHOTO,
    PLACE,
    PLUGGED,
    RECORDED,
    ROOM,
    SCANNED,
    SITE,
    SIXTEENTHS,
    TABLES,
    TIMBER,
    TYPED,
    label_text,
    name_of,
)
from provenance._model.measures import FOOT, INCH, MM_PER, fraction_text
from provenance._model.schema import Field, Model, Table, table_as_dict, vocabulary_as_dict
from provenance._model.spoken import in_language
from provenance._printing.workbook import FIXED_DAY
from provenance._record.snapshot import Snapshot

LONG_LIST = 12
"""A list with more choices is folded up."""
PIXELS = 2400
"""The longer side of a photo: a stamp stays legible, and a day's photos fit into one export."""

_DECIMALS = {"mm": 3, "cm": 4, "m": 6}
_CODES = ("identifier", "specimen_number", "site_code", "as_found")
_NOT_ASKED = ("grid", "who")
"""Sections: what would tell the place; what is asked once for all."""
_SAID = ("label", "hint", "constraint_message")
_SURVEY = ("type", "name", "label", "hint", "required", "relevant", "constraint",
           "constraint_message", "calculation", "choice_filter", "appearance", "parameters",
           "default")  # fmt: skip
_CHOICES = ("list_name", "name", "label", SITE, BUILDING, PLACE)

Say = Callable[[Model], str]
"""What is said of a model in the language of its texts, which is spoken meanwhile."""


def write_phone_form(model: Model, name: str, out: Path, *, tables: Snapshot | None = None) -> Path:
    """Write the form to `out` (an XLSX workbook); returns `out`.

    It shows the language of the record, and English as well. `name` goes into the form's id. With
    `tables` its lists offer the sites, places and timbers of the record. Raises UnknownName for a
    language without a catalogue.
    """
    form = _Form(model, tables)
    form.build()
    digest = _digest([form.survey, form.choices])
    (title, *_others) = form.said(form.words("title"))
    settings = {
        "form_title": title,
        "form_id": f"treenail_{re.sub('[^A-Za-z0-9]+', '_', name)}_{schema_digest(form.model)}",
        "version": digest,
        "default_language": form.names[0],
        "instance_name": f"concat(${{{PLACE}}}, ' ', ${{{DAY}}}, ' ', ${{{CREW}}})",
    }
    sheets = {
        "survey": _in_columns(form.survey, _SURVEY, form.names),
        "choices": _in_columns(form.choices, _CHOICES, form.names),
        "settings": [list(settings), list(settings.values())],
    }
    write_bytes(out, _workbook(sheets))
    return out


def schema_digest(model: Model) -> str:
    """Eight hexadecimal digits that say for which fields and lists a form was made."""
    tables = [model.table(one) for one in TABLES]
    used = sorted({one.vocabulary for table in tables for one in table.fields if one.vocabulary})
    lists = [vocabulary_as_dict(model.vocabularies[one]) for one in used]
    terms = [{**one, "terms": [term["code"] for term in one["terms"]]} for one in lists]
    return _digest([model.units, [table_as_dict(table) for table in tables], terms])


def _digest(what: object) -> str:
    return sha256(json.dumps(what, default=dict).encode()).hexdigest()[:8]


def asked_fields(table: Table) -> list[Field]:
    """The fields of a table that the form asks for, in the order of forms."""
    links = {name for key in table.foreign_keys for name in key.fields}
    return [
        one
        for one in table.form_fields()
        if one.sensitivity == "open"
        and one.section not in _NOT_ASKED
        and one.name not in FROM_ABOVE.keys() - set(table.primary_key)
        and one.name not in links
    ]


@dataclass
class _Form:
    """The rows of the sheets 'survey' and 'choices', as they are made."""

    model: Model
    tables: Snapshot | None
    survey: list[dict[str, Any]] = field(default_factory=list)
    choices: list[dict[str, Any]] = field(default_factory=list)
    used: dict[str, None] = field(default_factory=dict)

    @property
    def languages(self) -> list[str]:
        """The languages of the form; the first is the one that is shown."""
        return list(dict.fromkeys((self.model.language, SOURCE)))

    @property
    def names(self) -> list[str]:
        """The languages as XLSForm names them, such as 'English (en)'."""
        names = self.said(self.words("language"))
        return [f"{name} ({code})" for name, code in zip(names, self.languages, strict=True)]

    def said(self, say: Say) -> list[str]:
        """A text in each language."""
        texts = []
        for language in self.languages:
            with speaking(language):
                texts.append(say(in_language(self.model, language)))
        return texts

    def words(self, key: str, **values: Say | str) -> Say:
        """A text of templates/sheets/phone.yaml, with values put in."""
        words = _words()

        def said(model: Model) -> str:
            put = {k: v if isinstance(v, str) else v(model) for k, v in values.items()}
            return _(words[key]).format(**put)

        return said

    def ask(self, kind: str, name: str, **columns: Say | str) -> None:
        """Add a row; what a person reads is said in every language."""
        self.survey.append({"type": kind, "name": name} | self._in_languages(columns))

    def offer(self, list_name: str, name: str, label: Say, **columns: str) -> None:
        """Add a choice to a list."""
        row = {"list_name": list_name, "name": name, **self._in_languages({"label": label})}
        self.choices.append(row | columns)

    def _in_languages(self, columns: Mapping[str, Say | str]) -> dict[str, Any]:
        return {
            key: value if isinstance(value, str) else self.said(value)
            for key, value in columns.items()
        }

    # -- the order of the form -------------------------------------------------------------------

    def build(self) -> None:
        """Make all rows."""
        self.ask("start", "start")
        self.ask("end", "end")
        self._care()
        self._once_for_all()
        self.ask("begin_repeat", "element", label=self.words("element"))
        new = self._timber()
        self._photo("element")
        more = f" or ${{{RECORDED}}} != ''" if new else ""
        taken = f"${{{name_of('element', 'sampled')}}} = 'yes'{more}"
        self.ask("begin_repeat", "sample", label=self.words("sample"), relevant=taken)
        self._number()
        self._sections("sample")
        self._photo("sample")
        self._plug()
        self.ask("end_repeat", "sample")
        self.ask("end_repeat", "element")
        self._lists()

    def _care(self) -> None:
        self.ask("begin_group", "care", label=self._read_first, appearance="field-list")
        for place in range(len(self.model.cautions)):
            self.ask("note", f"care_{place + 1}", label=_caution(place))
        if _words()["permits"] not in self.model.cautions:
            self.ask("note", "care_permits", label=self.words("permits"))
        self.ask("end_group", "care")

    def _read_first(self, model: Model) -> str:
        about = f" ({unreviewed()})" if unreviewed() else ""
        return f"{self.words('care')(model)}{about}"

    def _once_for_all(self) -> None:
        self.ask("begin_group", "where", appearance="field-list", label=self.words("place"))
        self.ask(
            "date", DAY, label=self.words("day"), required="yes", default="today()",
            constraint=". <= today()", constraint_message=self.words("not_yet"),
        )  # fmt: skip
        self._code(CREW, "MB", label=self.words("crew"), hint=self.words("crew_hint"))
        sites = self._rows("site")
        if len(sites) == 1:
            self.ask("calculate", SITE, calculation=f"'{sites[0]['site_id']}'")
        elif sites:
            self.ask("select_one site", SITE, label=self.words("site"), required="yes")
            for row in sites:
                self.offer("site", row["site_id"], _always(row["site_id"]))
        else:
            self._code(SITE, "HOLL", label=self.words("site"), hint=self.words("site_hint"))
        self._where(several_sites=len(sites) > 1)
        self.ask("end_group", "where")

    def _where(self, *, several_sites: bool) -> None:
        rows = {row["place_id"]: row for row in self._rows("place")}
        if not rows:
            self._code(PLACE, "B1-R2", label=self.words("place"), hint=self.words("place_hint"))
            return
        of_site = {"choice_filter": f"{SITE} = ${{{SITE}}}"} if several_sites else {}
        self.ask("select_one building", BUILDING, label=self.words(BUILDING), required="yes",
                 **of_site)  # fmt: skip
        inside = [row for key, row in rows.items() if _building_of(key, rows) != key]
        if inside:
            self.ask(
                "select_one room", ROOM, label=self.words(ROOM), hint=self.words("room_hint"),
                choice_filter=f"{BUILDING} = ${{{BUILDING}}}", appearance="minimal",
            )  # fmt: skip
        here = f"if(${{{ROOM}}} != '', ${{{ROOM}}}, ${{{BUILDING}}})" if inside else ""
        self.ask("calculate", PLACE, calculation=here or f"${{{BUILDING}}}")
        for key, row in rows.items():
            building = _building_of(key, rows)
            if key == building:
                columns = {SITE: row["site_id"]} if several_sites else {}
                self.offer("building", key, self._called("place", "kind", row), **columns)
            else:
                self.offer("room", key, self._called("place", "kind", row), building=building)

    def _timber(self) -> bool:
        """The questions about the timber; whether one of the record can be chosen instead."""
        known = [row for row in self._rows("element") if row["place_id"]]
        if known:
            self.ask(
                "select_one timber", RECORDED, label=self.words("recorded"),
                hint=self.words("recorded_hint"), choice_filter=f"{PLACE} = ${{{PLACE}}}",
                appearance="minimal",
            )  # fmt: skip
            for row in known:
                called = self._called("element", "function", row)
                self.offer("timber", row["element_id"], called, place=row["place_id"])
        relevant = {"relevant": f"${{{RECORDED}}} = ''"} if known else {}
        self.ask("begin_group", "new_timber", label=self.words("new_timber"), **relevant)
        self._sections("element")
        self.ask("end_group", "new_timber")
        own = f"${{{name_of('element', 'element_id')}}}"
        chosen = f"if(${{{RECORDED}}} != '', ${{{RECORDED}}}, {own})"
        self.ask("calculate", TIMBER, calculation=chosen if known else own)
        return bool(known)

    def _number(self) -> None:
        scanned, typed = (name_of("sample", "sample_id", one) for one in (SCANNED, TYPED))
        self.ask("begin_group", "number", label=self.words("sample"), appearance="field-list")
        self.ask("barcode", scanned, label=self.words("scanned"), hint=self.words("scanned_hint"))
        self.ask(
            "text", typed, label=self.words("typed"), hint=self.words("typed_hint"),
            required=f"${{{scanned}}} = ''", constraint=f"regex(., '^{label_text(self.model)}$')",
            constraint_message=self.words("typed_wrong"),
        )  # fmt: skip
        self.ask("end_group", "number")

    def _plug(self) -> None:
        self._yes_no(PLUGGED, label=self.words("plugged"), required="yes")
        self.ask("begin_group", "plug", label=self.words("plug"),
                 relevant=f"${{{PLUGGED}}} = 'yes'")  # fmt: skip
        self._sections("plug")
        self._photo("plug")
        self.ask("end_group", "plug")

    def _photo(self, table: str) -> None:
        more = {"hint": self.words("element_photo_hint")} if table == "element" else {}
        name, label = name_of(table, PHOTO), self.words(f"{table}_photo")
        self.ask("image", name, label=label, parameters=f"max-pixels={PIXELS}", **more)

    # -- one field --------------------------------------------------------------------------------

    def _sections(self, name: str) -> None:
        """The fields of a table, one screen a section."""
        table = self.model.table(name)
        fields = [one for one in asked_fields(table) if one.name not in self._made_here(name)]
        fields.sort(key=lambda one: one.name not in table.primary_key)
        for section in dict.fromkeys(one.section for one in fields):
            label = _section(name, section)
            group = f"{name}_{section}"
            self.ask("begin_group", group, label=label, appearance="field-list")
            for one in fields:
                if one.section == section:
                    self._field(name, one)
            self.ask("end_group", group)

    def _made_here(self, table: str) -> tuple[str, ...]:
        """Keys that are asked in another way, or made of those."""
        return {"sample": ("sample_id",), "plug": ("plug_id",)}.get(table, ())

    def _field(self, table: str, one: Field) -> None:
        name = name_of(table, one.name)
        title = _from_field(table, one.name, "title")
        columns: dict[str, Any] = {"hint": _from_field(table, one.name, "description")}
        if one.required:
            columns["required"] = "yes"
        if one.vocabulary:
            self.used[one.vocabulary] = None
            kind = "select_multiple" if one.separator else "select_one"
            if one.separator:
                # the field's own help says how codes are parted in a cell
                about = _about_list(one.vocabulary)
                columns["hint"] = self.words("several", description=about)
            if len(self.model.vocabularies[one.vocabulary].terms) > LONG_LIST:
                columns["appearance"] = "minimal"
            self.ask(f"{kind} {one.vocabulary}", name, label=title, **columns)
        elif one.type == "boolean":
            self._yes_no(name, label=title, **columns)
        elif one.type in ("number", "integer"):
            style = self.model.unit_of(one)
            if one.unit in MM_PER and style in ("ft-in", "in"):
                self._feet_and_inches(table, one, title, columns, style)
                return
            label = self.words("with_unit", title=title, unit=one.unit) if one.unit else title
            limit, message = self._limits(one)
            columns |= {"constraint": limit, "constraint_message": message} if limit else {}
            self.ask("decimal" if one.type == "number" else "integer", name, label=label, **columns)
        elif one.notation in _CODES:
            needed = columns.pop("required", "")
            self._code(name, self.model.notations[one.notation].example, notation=one.notation,
                       required=needed, label=title, **columns)  # fmt: skip
        else:
            self.ask("text", name, label=title, **columns)

    def _code(
        self, name: str, example: str, *, notation: str = "identifier", required: str = "yes",
        **columns: Say | str,
    ) -> None:  # fmt: skip
        pattern = self.model.notations[notation].pattern
        self.ask(
            "text", name, required=required, constraint=f"regex(., '^{pattern}$')",
            constraint_message=self.words("as_code", example=example), **columns,
        )  # fmt: skip

    def _yes_no(self, name: str, **columns: Say | str) -> None:
        self.used["yes_no"] = None
        self.ask("select_one yes_no", name, **columns)

    def _limits(self, one: Field) -> tuple[str, Say]:
        """The constraint of a number, '' for none, and what is said when it is broken."""
        limits = one.constraints
        unit = f" {one.unit}" if one.unit else ""
        low, above = limits.get("minimum"), limits.get("exclusiveMinimum")
        high = limits.get("maximum")
        parts = [f". >= {low}"] * (low is not None) + [f". > {above}"] * (above is not None)
        parts += [f". <= {high}"] * (high is not None)
        key = {
            (True, False, True): "between", (True, False, False): "at_least",
            (False, True, False): "above", (False, False, True): "at_most",
        }.get((low is not None, above is not None, high is not None), "above_to")  # fmt: skip
        values = {"low": str(above if low is None else low), "high": str(high), "unit": unit}
        return " and ".join(parts), self.words(key, **values)

    def _feet_and_inches(
        self, table: str, one: Field, title: Say, columns: dict[str, Any], style: str
    ) -> None:
        """A question for each part of a reading, and its metric value calculated beside them."""
        assert one.unit is not None
        name = name_of(table, one.name)
        feet, inches, sixteenths = (
            name_of(table, one.name, part) for part in (FEET, INCHES, SIXTEENTHS)
        )
        least = one.constraints.get("minimum", one.constraints.get("exclusiveMinimum", 0))
        most = Fraction(str(one.constraints.get("maximum", 1000))) * MM_PER[one.unit]
        low, high = Fraction(str(least)) * MM_PER[one.unit], most
        in_feet = style == "ft-in"
        if in_feet:
            self._part(feet, "feet", title, low // FOOT, high // FOOT, "ft", **columns)
        first, last = (-11 if low < 0 else 0, 11) if in_feet else (low // INCH, high // INCH)
        # help and star stand at the first part alone
        more = {} if in_feet else columns
        self._part(inches, "inches", title, first, last, "in", **more)
        self.used["sixteenths"] = None
        self.ask(
            "select_one sixteenths", sixteenths, label=self.words("fraction", title=title),
            appearance="minimal",
        )  # fmt: skip
        wholes = [feet, inches] if in_feet else [inches]
        filled = " or ".join(f"${{{part}}} != ''" for part in (*wholes, sixteenths))
        # a reading below zero has its sign at the first part
        sizes = {part: f"coalesce(${{{part}}}, 0)" for part in wholes}
        below = " or ".join(f"{size} < 0" for size in sizes.values())
        if low < 0:
            sizes = {part: f"if({size} < 0, -{size}, {size})" for part, size in sizes.items()}
        total = f"{sizes[inches]} + coalesce(${{{sixteenths}}}, 0) div 16"
        total = f"{sizes[feet]} * 12 + {total}" if in_feet else total
        sign = f"if({below}, -1, 1) * " if low < 0 else ""
        factor = float(INCH / MM_PER[one.unit])
        si = f"round({sign}({total}) * {factor!r}, {_DECIMALS[one.unit]})"
        self.ask("calculate", name, calculation=f"if({filled}, {si}, '')")

    def _part(
        self, name: str, key: str, title: Say, low: int, high: int, unit: str, **columns: Any
    ) -> None:
        between = self.words("between", low=str(low), high=str(high), unit=f" {unit}")
        whole = self.words("whole_inches") if (low, high) == (0, 11) else between
        self.ask(
            "integer", name, label=self.words(key, title=title),
            constraint=f". >= {low} and . <= {high}", constraint_message=whole, **columns,
        )  # fmt: skip

    # -- lists ------------------------------------------------------------------------------------

    def _rows(self, table: str) -> Sequence[Mapping[str, str]]:
        return self.tables.rows(table) if self.tables is not None else ()

    def _called(self, table: str, field: str, row: Mapping[str, str]) -> Say:
        """A row by its code and the word for its kind; names and notes may tell too much."""
        key = row[self.model.table(table).primary_key[0]]

        def said(model: Model) -> str:
            vocabulary = model.vocabulary_of(model.table(table).field(field))
            kind = vocabulary.label(row[field]) if vocabulary and row[field] else ""
            return f"{key} ({kind})" if kind else key

        return said

    def _lists(self) -> None:
        for name in self.used:
            if name == "yes_no":
                for code in ("yes", "no"):
                    self.offer(name, code, self.words(code))
            elif name == "sixteenths":
                for count in range(1, 16):
                    self.offer(name, str(count), _always(fraction_text(Fraction(count, 16))))
            else:
                for code in self.model.vocabularies[name].codes:
                    self.offer(name, code, _of_code(name, code))


def _words() -> dict[str, str]:
    words: dict[str, str] = read_yaml(shipped("templates") / "sheets" / "phone.yaml")
    return words


def _always(text: str) -> Say:
    return lambda model: text


def _from_field(table: str, name: str, what: str) -> Say:
    return lambda model: str(getattr(model.table(table).field(name), what))


def _section(table: str, name: str) -> Say:
    return lambda model: model.table(table).sections[name]


def _caution(place: int) -> Say:
    return lambda model: model.cautions[place]


def _about_list(name: str) -> Say:
    """The first sentence about a list; further ones are for who reads its codes."""
    return lambda model: f"{model.vocabularies[name].description.split('. ')[0].rstrip('.')}."


def _of_code(name: str, code: str) -> Say:
    return lambda model: model.vocabularies[name].label(code)


def _building_of(place: str, rows: Mapping[str, Mapping[str, str]]) -> str:
    """The place that a place lies in and that lies in no other of the record."""
    walked = [place]
    while (above := rows[walked[-1]]["parent_place_id"]) in rows and above not in walked:
        walked.append(above)
    return walked[-1]


def _in_columns(
    rows: Sequence[Mapping[str, Any]], columns: Sequence[str], languages: Sequence[str]
) -> list[list[str]]:
    """The heads, then the rows; a text that is said in several languages has a column for each."""
    used = [one for one in columns if any(one in row for row in rows)]
    heads = [
        head
        for one in used
        for head in ([f"{one}::{name}" for name in languages] if one in _SAID else [one])
    ]
    lines = [heads]
    for row in rows:
        line: list[str] = []
        for one in used:
            said = row.get(one, "")
            line += (said or [""] * len(languages)) if one in _SAID else [said]
        lines.append(line)
    return lines


def _workbook(sheets: Mapping[str, Sequence[Sequence[str]]]) -> bytes:
    import xlsxwriter

    buffer = io.BytesIO()
    as_text = ("strings_to_formulas", "strings_to_numbers", "strings_to_urls")
    book = xlsxwriter.Workbook(buffer, {"in_memory": True, **dict.fromkeys(as_text, False)})
    book.set_properties({"created": FIXED_DAY})
    head = book.add_format({"bold": True, "bg_color": "#E4E4E4", "border": 1})
    for name, lines in sheets.items():
        sheet = book.add_worksheet(name)
        sheet.freeze_panes(1, 2)
        sheet.set_landscape()
        for column, title in enumerate(lines[0]):
            sheet.set_column(column, column, 60 if "::" in title else 30)
            sheet.write_string(0, column, title, head)
        for number, line in enumerate(lines[1:], start=1):
            for column, said in enumerate(line):
                if said:
                    sheet.write_string(number, column, said)
    book.close()
    return buffer.getvalue()
