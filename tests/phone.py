"""A phone with our form on it: fills it in at random and exports the answers in three ways.

It knows nothing of the program but the form. How exports look (a CSV file a repeat with KEY and
PARENT_KEY, one flat CSV file, nested JSON; media/ beside) is from memory of how apps that take
XLSForms export; no published source.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import openpyxl


@dataclass
class Turn:
    """The form, or one turn of a repeat: answers by path of groups and name, and turns below."""

    answers: dict[str, str] = field(default_factory=dict)
    below: dict[str, list[Turn]] = field(default_factory=dict)

    def flat(self) -> dict[str, str]:
        return {path.rpartition("/")[2]: text for path, text in self.answers.items()}


@dataclass
class Question:
    row: Mapping[str, str]
    inside: list[Question] = field(default_factory=list)

    def __getattr__(self, name: str) -> str:
        return self.row.get(name, "")


class Phone:
    """`answer(question, choices, values)` may return an answer; None leaves it to chance."""

    def __init__(self, form: Path) -> None:
        book = openpyxl.load_workbook(form)
        survey, choices = (list(_lines(book[name])) for name in ("survey", "choices"))
        self.lists: dict[str, list[Mapping[str, str]]] = {}
        for row in choices:
            self.lists.setdefault(row["list_name"], []).append(row)
        top = Question({})
        stack = [top]
        for row in survey:
            one = Question(row)
            if row["type"].startswith("end_"):
                stack.pop()
                continue
            stack[-1].inside.append(one)
            if row["type"].startswith("begin_"):
                stack.append(one)
        assert stack == [top]
        self.top = top

    def fill(self, random: Random, answer: Any, filled: float = 0.7) -> Turn:
        turn = Turn()
        self._walk(self.top, turn, "", {}, random, answer, filled)
        return turn

    def _walk(
        self, group: Question, turn: Turn, path: str, known: dict[str, Any], random: Random,
        answer: Any, filled: float,
    ) -> None:  # fmt: skip
        for one in group.inside:
            relevant = not one.relevant or evaluated(one.relevant, known)
            if one.type == "begin_repeat":
                turns = turn.below.setdefault(one.name, [])
                for _ in range(answer(one, (), known) if relevant else 0):
                    turns.append(Turn())
                    self._walk(one, turns[-1], "", dict(known), random, answer, filled)
            elif one.type == "begin_group":
                if relevant:
                    self._walk(one, turn, f"{path}{one.name}/", known, random, answer, filled)
            elif one.type != "note":
                text = self._answer(one, known, random, answer, filled) if relevant else ""
                turn.answers[f"{path}{one.name}"] = text
                known[one.name] = float(text) if re.fullmatch(r"-?[0-9.]+", text) else text

    def _answer(
        self, one: Question, known: dict[str, Any], random: Random, answer: Any, filled: float
    ) -> str:
        if one.type == "calculate":
            value = evaluated(one.calculation, known)
            return format(value, ".6f").rstrip("0").rstrip(".") if _is_number(value) else value
        kind, _, list_name = one.type.partition(" ")
        choices = [row["name"] for row in self.lists.get(list_name, ()) if _passes(one, row, known)]
        said = answer(one, choices, known)
        if said is not None:
            return str(said)
        required = one.required == "yes" or (one.required and evaluated(one.required, known))
        if not required and random.random() > filled:
            return ""
        if kind == "select_one":
            return random.choice(choices)
        if kind == "select_multiple":
            return " ".join(random.sample(choices, random.randint(1, min(3, len(choices)))))
        if kind in ("integer", "decimal"):
            low, high, open_below = _limits(one.constraint)
            number = random.randint(round(low * 10), round(high * 10)) / 10
            number = round(number) if kind == "integer" else number
            return f"{min(high, max(low + open_below, number)):g}"
        assert kind in ("text", "barcode", "image", "date", "start", "end"), kind
        return f"{one.name} in words, {random.randint(1, 999)}" if kind == "text" else ""


def _lines(sheet: Any) -> Iterator[dict[str, str]]:
    heads, *rows = sheet.iter_rows(values_only=True)
    for row in rows:
        yield {head: str(cell) for head, cell in zip(heads, row, strict=True) if cell is not None}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float)


def _passes(one: Question, row: Mapping[str, str], known: Mapping[str, Any]) -> bool:
    column, _, wanted = one.choice_filter.partition(" = ")
    return not column or row.get(column) == evaluated(wanted, known)


def _limits(constraint: str) -> tuple[float, float, float]:
    found = dict(re.findall(r"\. (>=?|<=) (-?[0-9.]+)", constraint))
    low, above = float(found.get(">=", found.get(">", -50))), ">" in found
    return low, float(found.get("<=", 999)), 0.1 * above


_FUNCTIONS = {
    "_if": lambda condition, so, otherwise: so if condition else otherwise,
    "coalesce": lambda value, other: other if value == "" else value,
    "round": round,
}


def evaluated(expression: str, known: Mapping[str, Any]) -> Any:
    """An expression of the form (XPath 1.0, as far as the form uses it), reckoned by Python."""
    said = re.sub(r"\$\{(\w+)\}", lambda name: repr(known.get(name[1], "")), expression)
    said = re.sub(r"(?<![<>!])=", "==", said)
    said = re.sub(r"\bif\(", "_if(", said).replace(" div ", " / ")
    return eval(said, {"__builtins__": {}}, _FUNCTIONS)


# -- exports ---------------------------------------------------------------------------------------


def as_zip(
    path: Path, answers: Mapping[str, Turn], media: Mapping[str, bytes], between: str = "-"
) -> Path:
    """A CSV file for the form and one for each repeat, and the photos, in a ZIP."""
    tables: dict[str, list[dict[str, str]]] = {"form": []}

    def add(turn: Turn, name: str, inside: str, key: str, parent: str) -> None:
        line = {one.replace("/", between): text for one, text in turn.answers.items()}
        line = {f"{inside}{head}": text for head, text in line.items()}
        keys = {"PARENT_KEY": parent} if parent else {}
        tables.setdefault(name, []).append(line | keys | {"KEY": key})
        for repeat, turns in turn.below.items():
            for place, below in enumerate(turns, start=1):
                down = f"{key}/{repeat}[{place}]"
                add(below, f"form-{repeat}", f"{inside}{repeat}{between}", down, key)

    for instance, turn in answers.items():
        add(turn, "form", "", instance, "")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, lines in tables.items():
            archive.writestr(f"{name}.csv", "\ufeff" + _csv(lines))
        for name, content in media.items():
            archive.writestr(f"media/{name}", content)
    return path


def as_flat_csv(path: Path, answers: Mapping[str, Turn], media: Mapping[str, bytes]) -> Path:
    """One line an answer, turns of repeats as element[1]/…, and a folder with the photos."""
    lines = []

    def cells(turn: Turn, inside: str) -> Iterator[tuple[str, str]]:
        for one, text in turn.answers.items():
            yield f"{inside}{one}", text
        for repeat, turns in turn.below.items():
            for place, below in enumerate(turns, start=1):
                yield from cells(below, f"{inside}{repeat}[{place}]/")

    for instance, turn in answers.items():
        lines.append(dict(cells(turn, "")) | {"meta/instanceID": instance})
    path.write_text(_csv(lines), "utf-8")
    _media(path, media)
    return path


def as_json(path: Path, answers: Mapping[str, Turn], media: Mapping[str, bytes]) -> Path:
    """Nested objects, groups and repeats by name."""

    def nested(turn: Turn) -> dict[str, Any]:
        said: dict[str, Any] = {}
        for one, text in turn.answers.items():
            *groups, name = one.split("/")
            here = said
            for group in groups:
                here = here.setdefault(group, {})
            here[name] = float(text) if re.fullmatch(r"[0-9]+\.[0-9]+", text) else text or None
        turns = {repeat: [nested(one) for one in below] for repeat, below in turn.below.items()}
        return said | turns

    said = [nested(turn) | {"meta": {"instanceID": one}} for one, turn in answers.items()]
    path.write_text(json.dumps(said), "utf-8")
    _media(path, media)
    return path


def _csv(lines: list[dict[str, str]]) -> str:
    heads = list(dict.fromkeys(head for line in lines for head in line))
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, heads, restval="")
    writer.writeheader()
    writer.writerows(lines)
    return buffer.getvalue()


def _media(path: Path, media: Mapping[str, bytes]) -> None:
    folder = path.parent / "media"
    folder.mkdir(exist_ok=True)
    for name, content in media.items():
        (folder / name).write_bytes(content)
