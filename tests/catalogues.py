"""Makes the message catalogues in templates/languages again: `python tests/catalogues.py`.

Whatever the texts are in now is collected from schemas, profiles, marked Python and templates, and
each catalogue keeps its translations: by place and text, else by text alone, since what is spelled
alike is said alike. What stood in that place before its English changed is kept as 'fuzzy', which
is not said until a person has looked at it. A new language: name it behind the command.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from babel.messages import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from provenance._base.languages import said_in_full
from provenance._base.resources import shipped
from provenance._base.yaml_text import read_yaml
from provenance._model.profile import load_model, shipped_profiles
from provenance._model.schema import Model, read_core
from provenance._model.spoken import said_by

LANGUAGES = shipped("templates") / "languages"
ROOT = Path(__file__).resolve().parents[1]
MARKED = {
    ("provenance", "**.py"): "python",
    ("templates/bundle", "**.html"): "jinja2",
    ("templates/desk", "**.html"): "jinja2",
}
MARKED_YAML = "sheets/*.yaml"
"""Texts that sheets and the workbook print as they stand, keys as well."""


def collected() -> Catalog:
    """Every text that can be translated, as it is in the sources now."""
    found = Catalog()

    def note(context: str, text: str) -> str:
        found.add(text, context=context)
        return text

    for model in models():
        said_by(model, note)
    for path in sorted(shipped("templates").glob(MARKED_YAML)):
        place = [(path.relative_to(ROOT).as_posix(), 0)]

        def marked_text(text: str, place: list[tuple[str, int]] = place) -> str:
            found.add(text, locations=place)
            return text

        said_in_full(read_yaml(path), marked_text)
    for path in sorted(shipped("schemas").glob("store/*.json")):
        table = json.loads(path.read_text(encoding="utf-8"))
        titled(found, path, [table, *table["fields"]])
    for path in sorted(shipped("templates").glob("stock/*.yaml")):
        titled(found, path, [{"title": read_yaml(path)["title"]}])
    path = shipped("schemas") / "repository.schema.json"
    titled(found, path, json.loads(path.read_text(encoding="utf-8"))["properties"].values())
    for (folder, files), method in MARKED.items():
        options = {files: JINJA} if method == "jinja2" else {}
        marked = extract_from_dir(
            ROOT / folder, [(files, method)], options, directory_filter=lambda path: True
        )
        for path, _line, texts, comments, context in marked:
            place = [(f"{folder}/{path}", 0)]
            found.add(texts, locations=place, auto_comments=comments, context=context)
    return found


def titled(found: Catalog, path: Path, described: Iterable[dict[str, Any]]) -> None:
    """Adds the titles and descriptions of fields, as the pages of the desk show them."""
    for one in described:
        for text in filter(None, (one["title"], one.get("description", ""))):
            found.add(text, locations=[(path.relative_to(ROOT).as_posix(), 0)])


JINJA = {"trimmed": "true", "trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"}


def models() -> Iterator[Model]:
    """The core model and what the profiles make of it."""
    yield read_core()
    yield from map(load_model, shipped_profiles())


def updated(old: Catalog, sources: Catalog) -> Catalog:
    """The catalogue with the texts of now and all that was translated."""
    new = Catalog(locale=old.locale, header_comment=old.header_comment, fuzzy=False)
    # with the plural forms for which its translations were written, whatever Babel thinks now
    new.mime_headers = old.mime_headers
    sure = [one for one in old if one.id and any_of(one.string) and not one.fuzzy]
    by_text = {one.id: one.string for one in reversed(sure)}
    # a context with a colon names one place, as 'field:element.length_m.title' does
    placed = [one for one in old if ":" in (one.context or "") and any_of(one.string)]
    by_place = {one.context: one.string for one in placed}
    gone = {
        one.id: one.string
        for one in sure
        if isinstance(one.id, str) and one.context is None and sources.get(one.id) is None
    }
    for one in sources:
        if not one.id:
            continue
        kept = old.get(one.id, one.context)
        string = kept.string if kept is not None and any_of(kept.string) else None
        flags = set(one.flags) | ({"fuzzy"} if string and kept.fuzzy else set())
        string = string or by_text.get(one.id)
        if string is None and isinstance(one.id, str):
            string = by_place.get(one.context) or like(one.id, gone)
            flags |= {"fuzzy"} if string else set()
        new.add(one.id, string, one.locations, flags, one.auto_comments, context=one.context)
    return new


def like(text: str, gone: dict[str, Any]) -> str | None:
    """The translation of the text that is most like this one, of those that are there no more."""
    near = get_close_matches(text, gone, 1, 0.7) if gone else []
    return str(gone[near[0]]) if near else None


def any_of(string: str | tuple[str, ...] | list[str]) -> bool:
    """Whether anything is said."""
    return any(string) if isinstance(string, (tuple, list)) else bool(string)


def read(language: str) -> Catalog:
    """The catalogue of a language as it lies in the folder; an empty one for a new language."""
    path = LANGUAGES / f"{language}.po"
    if not path.is_file():
        return Catalog(locale=language)
    with path.open("rb") as stream:
        return read_po(stream, locale=language)


def as_po(catalog: Catalog) -> bytes:
    """A catalogue as translators edit it."""
    buffer = io.BytesIO()
    write_po(buffer, catalog, width=100, include_lineno=False, sort_output=False)
    return buffer.getvalue()


def as_mo(catalog: Catalog) -> bytes:
    """A catalogue as programs read it, without what is fuzzy."""
    buffer = io.BytesIO()
    write_mo(buffer, catalog)
    return buffer.getvalue()


def main() -> None:
    """Write every catalogue again, and say how much of each is translated."""
    sources = collected()
    for language in sorted({path.stem for path in LANGUAGES.glob("*.po")} | set(sys.argv[1:])):
        catalog = updated(read(language), sources)
        (LANGUAGES / f"{language}.po").write_bytes(as_po(catalog))
        (LANGUAGES / f"{language}.mo").write_bytes(as_mo(catalog))
        done = sum(any_of(one.string) and not one.fuzzy for one in catalog if one.id)
        unsure = sum(one.fuzzy for one in catalog if one.id)
        print(f"{language}: {done} of {len(catalog)} texts translated, {unsure} to be looked at")


if __name__ == "__main__":
    main()
