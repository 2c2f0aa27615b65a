"""A package whose own words are damaged is refused in a sentence, whatever the damage."""

from __future__ import annotations

import contextlib
import json
import shutil
import sys
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError, UnknownName, UnusablePackage, UnusableSchema
from provenance._cli import main
from provenance._intake.mapping.mapping_file import read_mapping
from provenance._model.profile import load_model
from provenance._printing.labels.stock import load_stock
from provenance._record.package import Package, open_package, read_model
from provenance._store.settings import read_repository
from tests.builders import a_package

COMMANDS = (
    ("check", "{package}"),
    ("check", "{package}", "--format", "html"),
    ("locate", "{package}", "2?1"),
    ("print", "labels", "{package}", "--out", "{out}/labels.pdf"),
    ("print", "tags", "{package}", "--out", "{out}/tags.pdf"),
    ("print", "cards", "{package}", "--out", "{out}/cards.pdf"),
    ("print", "sheets", "{package}", "--out", "{out}/sheets.pdf"),
    ("print", "workbook", "{package}", "--filled", "--out", "{out}/book.xlsx"),
    ("custody", "show", "{package}"),
    ("stamps", "{package}", "3", "--crew", "north"),
    ("derive", "{package}", "--out", "{out}/figures"),
    ("survey", "compute", "{package}"),
    ("print", "plan", "{package}", "--out", "{out}/plans"),
    ("print", "relocation", "{package}", "231", "--out", "{out}/pages"),
    ("pack", "{package}", "--out", "{out}/bundle"),
    ("pack", "{package}", "--edition", "public", "--out", "{out}/public"),
    ("compare", "{package}", "{package}"),
    ("catalogue", "{package}"),
)
ODD = ([], {}, None, True, 7, -1.5, "", "no such thing", ["x"], {"x": "y"}, "../../away", "(")


def places_in(raw: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every value in a JSON document."""
    yield path
    items = (
        raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    )
    for key, value in items:
        yield from places_in(value, (*path, key))


def damaged(raw: Any, path: tuple[Any, ...], how: str, odd: Any) -> Any:
    """The document with the value at `path` dropped, replaced, renamed or doubled."""
    if not path:
        return odd
    raw = deepcopy(raw)
    parent = raw
    for key in path[:-1]:
        parent = parent[key]
    key = path[-1]
    if how == "replace":
        parent[key] = odd
    elif how == "drop":
        del parent[key]
    elif isinstance(parent, list):
        parent.append(deepcopy(parent[key]))
    else:
        parent[f"{key}_"] = parent.pop(key)
    return raw


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Package:
    """A small whole record."""
    builder = a_package(tmp_path_factory.mktemp("sound")).with_chain().with_row("lab_result")
    return builder.with_row("custody").package


def run(*words: str) -> int:
    """The exit code of a command, through the same door as from a shell."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["treenail", *words])
        with pytest.raises(SystemExit) as stop:
            main()
    return int(stop.value.code or 0)


def json_files(folder: Path) -> list[str]:
    found = [*folder.glob("*.json"), *folder.glob("schemas/*.json")]
    return sorted(path.relative_to(folder).as_posix() for path in found)


@st.composite
def damages(draw: st.DrawFn, sound: Package) -> tuple[str, str]:
    """A file of the package and what stands in it now."""
    folder = sound.folder
    name = draw(st.sampled_from(json_files(folder)))
    text = (folder / name).read_text("utf-8")
    how = draw(st.sampled_from(["drop", "replace", "rename or double", "cut off", "another file"]))
    if how == "cut off":
        return name, text[: draw(st.integers(0, len(text) - 2))]
    if how == "another file":
        return name, (folder / draw(st.sampled_from(json_files(folder)))).read_text("utf-8")
    raw = json.loads(text)
    path = draw(st.sampled_from(list(places_in(raw))))
    return name, json.dumps(damaged(raw, path, how, draw(st.sampled_from(ODD))))


@given(data=st.data())
@settings(
    max_examples=30,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_whatever_is_damaged_every_command_ends_in_a_sentence(
    sound: Package, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """0, 1 or 2, and never 70, which is a fault of the program."""
    place = tmp_path_factory.mktemp("damaged")
    shutil.copytree(sound.folder, place / "holl")
    name, text = data.draw(damages(sound))
    (place / "holl" / name).write_text(text, "utf-8")
    words = [
        word.format(package=place / "holl", out=place)
        for word in data.draw(st.sampled_from(COMMANDS))
    ]
    assert run(*words) in (0, 1, 2)
    shutil.rmtree(place)


@pytest.mark.parametrize("command", ["survey compute", "print cards", "print plan"])
def test_a_schema_of_positions_that_lacks_how_they_were_found(
    sound: Package, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    shutil.copytree(sound.folder, tmp_path / "holl")
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "holl/schemas/position.json"
    path.write_text(path.read_text("utf-8").replace('"found_by"', '"found_by_"'), "utf-8")
    assert run(*command.split(), "holl") in (0, 1, 2)


@pytest.fixture
def package(tmp_path: Path) -> Package:
    return a_package(tmp_path).with_chain().package


def changed(package: Package, name: str, change: Any) -> str:
    """What opening says after `change` of a JSON file."""
    path = package.folder / name
    raw = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps(change(raw) or raw), "utf-8")
    with pytest.raises(UnusablePackage) as refused:
        open_package(package.folder)
    assert str(path) in str(refused.value)
    assert "restore it" in str(refused.value)
    return str(refused.value)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda raw: raw.pop("vocabularies") and None, "the top lacks 'vocabularies'"),
        (lambda raw: raw.update(cautions="none"), "cautions is a text, and a list belongs there"),
        (lambda raw: raw["notations"].__setitem__(0, None), "notations/1 is null"),
        (lambda raw: raw["notations"][0].pop("pattern") and None, "notations/1 lacks 'pattern'"),
        (
            lambda raw: raw["vocabularies"][0]["terms"].append(raw["vocabularies"][0]["terms"][0]),
            "twice",
        ),
    ],
)
def test_a_model_that_is_none_names_the_place(package: Package, change: Any, says: str) -> None:
    assert says in changed(package, "schemas/model.json", change)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda raw: raw.pop("fields") and None, "the top lacks 'fields'"),
        (lambda raw: raw["fields"][1].pop("title") and None, "fields/2 lacks 'title'"),
        (lambda raw: raw["fields"][0].update(order=True), "fields/1/order is true or false"),
        (lambda raw: raw["fields"][0].update(type="colour"), "type is 'colour'; there are string"),
        (lambda raw: raw["fields"].append(raw["fields"][0]), "two fields of the name 'sample_id'"),
        (lambda raw: raw["fields"][0].update(vocabulary="x"), "model.json has no vocabulary 'x'"),
        (lambda raw: raw["fields"][0].update(notation="x"), "model.json has no notation 'x'"),
        (lambda raw: raw["fields"][0].update(section="x"), "section is 'x'"),
        (lambda raw: raw["fields"][0].update(name="../x"), "lower case letters"),
        (lambda raw: raw.update(primaryKey=["x"]), "primaryKey names 'x'"),
        (lambda raw: raw["foreignKeys"][0]["reference"].update(resource="x"), "into 'x'"),
        (lambda raw: raw["foreignKeys"][0].update(fields=["x"]), "names 'x'"),
        (lambda raw: raw.update(name="element"), "describes the table 'element'"),
    ],
)
def test_a_schema_that_is_none_names_the_place(package: Package, change: Any, says: str) -> None:
    assert says in changed(package, "schemas/sample.json", change)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda raw: raw.pop("name") and None, "the top lacks 'name'"),
        (lambda raw: raw.update(name="../away"), "cannot be a part of a file's name"),
        (lambda raw: raw.update(resources={}), "resources is an object, and a list belongs there"),
    ],
)
def test_a_descriptor_that_is_none_names_the_place(
    package: Package, change: Any, says: str
) -> None:
    assert says in changed(package, "datapackage.json", change)


def test_a_table_that_the_record_lacks_is_told_in_a_sentence(package: Package) -> None:
    model = read_model(package.folder)
    with pytest.raises(UnknownName, match=r"^this record has no table 'moon'; there are site"):
        model.table("moon")
    with pytest.raises(UnknownName, match=r"^the table 'site' of this record has no field 'moon'"):
        model.table("site").field("moon")


ROOT = Path(__file__).resolve().parent.parent
READERS: dict[str, Callable[[Path], object]] = {
    "templates/profiles": lambda path: load_model(str(path)),
    "demo_package/mappings": lambda path: read_mapping(path, load_model()),
    "templates/repository": read_repository,
    "templates/stock": lambda path: load_stock(str(path)),
}
YAML_FILES = [path for folder in READERS for path in sorted((ROOT / folder).glob("*.yaml"))]


@given(data=st.data())
@settings(max_examples=100)
def test_a_damaged_yaml_file_is_read_or_refused_in_a_sentence(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Profiles, mappings, label stocks and the settings of a repository."""
    source = data.draw(st.sampled_from(YAML_FILES))
    raw = yaml.safe_load(source.read_text("utf-8"))
    path = data.draw(st.sampled_from(list(places_in(raw))))
    how = data.draw(st.sampled_from(["drop", "replace", "rename or double"]))
    raw = damaged(raw, path, how, data.draw(st.sampled_from([*ODD, {1: 2}, [{None: 1}]])))
    given_file = tmp_path_factory.mktemp("yaml") / source.name
    given_file.write_text(yaml.safe_dump(raw), "utf-8")
    with contextlib.suppress(TreenailError):
        READERS[source.parent.relative_to(ROOT).as_posix()](given_file)


def test_a_key_that_yaml_takes_for_a_number_is_to_be_quoted(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text("name: own\ntitle: Own\ndescription: x\nnarrow: {1: [x]}\n", "utf-8")
    with pytest.raises(UnusableSchema, match="at narrow: write '1' in quotes"):
        load_model(str(path))
