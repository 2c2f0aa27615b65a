"""The desk says everything in the language that was chosen, not only what someone marked."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

from provenance._record.new import new_package
from tests.desk.sitting import Sitting
from tests.desk.test_store_pages import SETTINGS

SAID = {"aria-label", "placeholder", "alt", "title"}
"""Attributes that a person reads; so are those that hold words for a script, in data-*."""


class Words(HTMLParser):
    """Every text of a page that a person reads, and the pages that it leads to."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.ways: list[str] = []
        self._within = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._within = tag
        for name, value in attrs:
            if value and (name in SAID or (name.startswith("data-") and " " in value)):
                self.texts.append(value)
            if tag == "a" and name == "href" and value and value.startswith("/"):
                self.ways.append(value.partition("#")[0])

    def handle_endtag(self, tag: str) -> None:
        self._within = ""

    def handle_data(self, data: str) -> None:
        if self._within == "script" and data.strip():
            self.texts += [one for one in json.loads(data).values() if isinstance(one, str)]
        elif self._within not in ("style", "script", "code"):
            self.texts.append(" ".join(data.split()))


def test_no_text_of_the_pages_stays_english(tmp_path: Path) -> None:
    print(len(list(crawled(tmp_path))))
