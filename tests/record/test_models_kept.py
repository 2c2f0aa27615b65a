"""A model is remembered by the bytes of its files, and is never one that they no longer make."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from provenance._base.errors import UnusablePackage
from provenance._bundle.describe.code_book import code_book_html, code_book_markdown
from provenance._model.schema import Model
from provenance._record import package as packages
from provenance._record.package import read_model
from tests.builders import a_package


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return a_package(tmp_path_factory.mktemp("sound")).package.folder


@pytest.fixture
def folder(sound: Path, tmp_path: Path) -> Path:
    """A package whose model was read already."""
    shutil.copytree(sound, tmp_path / "holl")
    read_model(tmp_path / "holl")
    return tmp_path / "holl"


def read_anew(folder: Path) -> Model:
    """The model as a process reads it that has read none before."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(packages, "_MODELS", {})
        return read_model(folder)


def with_text_changed(path: Path) -> None:
    """Change one letter of a description, and neither size nor time of the file."""
    before = path.stat()
    text = path.read_text("utf-8")
    at = text.index('"description": "') + len('"description": "')
    path.write_text(text[:at] + "Q" + text[at + 1 :], "utf-8")
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_size == before.st_size


def test_each_file_counts_whatever_its_size_and_time(folder: Path) -> None:
    for path in sorted((folder / "schemas").glob("*.json")):
        before = read_model(folder)
        with_text_changed(path)
        assert read_model(folder) == read_anew(folder) != before


def without_a_table(schemas: Path) -> None:
    (schemas / "accepted.json").unlink()


def with_another_number(schemas: Path) -> None:
    """1.0 is 1 to Python, and is shown otherwise."""
    raw = json.loads((schemas / "element.json").read_text("utf-8"))
    one = next(one for one in raw["fields"] if one["name"] == "length_m")
    one["constraints"] = {"minimum": 0.0}
    (schemas / "element.json").write_text(json.dumps(raw), "utf-8")


@pytest.mark.parametrize("change", [without_a_table, with_another_number])
def test_code_books_are_those_of_the_files_as_they_are(
    folder: Path, change: Callable[[Path], None]
) -> None:
    for make in (code_book_html, code_book_markdown):
        make(read_model(folder), "Hollin Reach")
    change(folder / "schemas")
    for make in (code_book_html, code_book_markdown):
        assert make(read_model(folder), "Hollin Reach") == make(read_anew(folder), "Hollin Reach")
        assert "<b>Other" not in make(read_model(folder), "<b>Other place")
        assert "Other place" in make(read_model(folder), "<b>Other place")


def test_a_file_called_otherwise_or_gone_is_refused_as_before(folder: Path) -> None:
    schemas = folder / "schemas"
    (schemas / "site.json").rename(schemas / "place_of_work.json")
    with pytest.raises(UnusablePackage, match=r"place_of_work\.json .* describes the table 'site'"):
        read_model(folder)
    (schemas / "place_of_work.json").rename(schemas / "site.json")
    (schemas / "model.json").rename(schemas / "model.txt")
    with pytest.raises(UnusablePackage, match=r"model\.json is missing"):
        read_model(folder)
    (schemas / "model.txt").rename(schemas / "model.json")
    assert read_model(folder) == read_anew(folder)


def test_no_more_than_a_few_are_kept(folder: Path) -> None:
    path = folder / "schemas" / "site.json"
    raw = json.loads(path.read_text("utf-8"))
    for number in range(packages._MODELS_KEPT + 2):
        path.write_text(json.dumps(raw | {"title": f"Site {number}"}), "utf-8")
        assert read_model(folder).table("site").title == f"Site {number}"
    assert len(packages._MODELS) <= packages._MODELS_KEPT
