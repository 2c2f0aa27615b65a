"""The desk says everything in the language that was chosen, marked by someone or not."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

from provenance._model.schema import read_core
from provenance._record.new import new_package
from tests.builders import a_package
from tests.desk.sitting import Sitting, text_of

STORE = {
    "name": "Old Timber (invented)",
    "postal_address": "1 Moss Lane",
    "contact": "",
    "number_pattern": "{year}.{serial:04}",
    "party_id": "REPO",
    "notice": "",
}
READ = {"aria-label", "placeholder", "alt", "title"}
"""Attributes that a person reads; so are those that hold words for a script, in data-*."""
FIRST = ("/", "/new", "/record/r", "/record/r/tables/element", "/record/r/tables/element/row?",
         "/store/store")  # fmt: skip
PLAN = "/record/holl/plan/LH"
ALIKE = {
    "r", "store", "holl", "holl · holl", "Hollin Reach (invented)", "Hollin Reach (invented) · r",
    "Old Timber (invented), 1 Moss Lane", "Old Timber (invented), 1 Moss Lane · store",
    "CSV", "JSON", "HTML", "DOI", "Español", "English",
    # said alike in both
    "Error", "Local", "A4",
    # tables that no one fills in are not said
    "Acts: who did what, and when", "Acts: who did what, and when: Why (1)",
    "Decisions by rule", "Decisions one by one",
    # codes, as files and the command line have them
    "opened", "letter", "person", "organization", "building", "room", "cabinet", "shelf",
    "drawer", "box", "other", "full", "public", "register 12 3f2a 91c0 …",
}  # fmt: skip
"""What a page in Spanish may share with the same page in English."""


class Words(HTMLParser):
    """Every text of a page that a person reads, and the pages that it leads to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: set[str] = set()
        self.ways: set[str] = set()
        self._within = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._within = tag
        for name, value in attrs:
            if value and (name in READ or (name.startswith("data-") and " " in value)):
                self.texts.add(value)
            if tag == "a" and name == "href" and value and value.startswith("/"):
                self.ways.add(value.partition("#")[0])

    def handle_endtag(self, tag: str) -> None:
        self._within = ""

    def handle_data(self, data: str) -> None:
        if self._within == "script" and data.strip():
            words = json.loads(data).values()
            self.texts |= {one for one in words if isinstance(one, str)}
        elif self._within not in ("script", "style", "code"):
            self.texts.add(" ".join(data.split()))


def test_no_text_of_the_pages_stays_english(tmp_path: Path) -> None:
    """Of a record and a store with little in them; findings and codes are English everywhere."""
    folder = tmp_path / "desk"
    folder.mkdir()
    new_package(folder / "r", "blank", title="Hollin Reach (invented)")
    a_package(folder).with_row("site").with_row("place", place_id="LH")
    sitting = Sitting(folder)
    sitting.do("/start-store", {"folder": "store", **STORE})
    alike = ALIKE | {one.label for one in read_core().vocabularies["species"].terms}
    to_see, seen, stayed = {*FIRST, PLAN}, set(), {}
    while to_see:
        path = to_see.pop()
        said = {}
        for language in ("en", "es"):
            sitting.desk.language = language
            answer = sitting.client.get(path)
            if answer.status_code != 200 or "text/html" not in answer.headers["content-type"]:
                break
            said[language] = Words(answer.text)
        else:
            seen.add(path)
            assert "Traducción no revisada por hablante nativo" in text_of(answer.text), path
            both = said["en"].texts & said["es"].texts
            stayed |= {one: path for one in both - alike if re.search("[A-Za-z]{3}", one)}
            if path in FIRST:
                to_see |= said["en"].ways - seen
    assert not stayed, "\n".join(f"{one}: {text}" for text, one in sorted(stayed.items()))
    assert PLAN in seen
    assert len(seen) > 40
