"""The site of documentation is built without a warning, and loads nothing from elsewhere."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from provenance._cli import COMMANDS
from provenance._model.profile import load_model

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def site(tmp_path_factory) -> Path:
    """The site, as 'make docs' builds it; a warning would stop it."""
    pytest.importorskip("sphinx")
    pytest.importorskip("furo")
    folder = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "sphinx", "--quiet", "--fail-on-warning", "-b", "html"]
    command += ["-d", str(folder / "doctrees"), str(ROOT / "docs"), str(folder / "pages")]
    ran = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert ran.returncode == 0, ran.stderr
    return folder / "pages"


def test_no_page_loads_anything_from_the_network(site) -> None:
    """Scripts, styles, pictures and frames by their tags (HTML Living Standard), fonts by CSS."""
    elsewhere = re.compile(
        r"<(?:script|img|iframe|source|link|object)\b[^>]*\b(?:src|href|data)=[\"'](?:https?:)?//"
    )
    for page in site.rglob("*.html"):
        assert not elsewhere.search(page.read_text("utf-8")), page.name
    for style in site.rglob("*.css"):
        text = style.read_text("utf-8")
        assert not re.search(r"(?:url\(|@import)\s*[\"']?(?:https?:)?//", text), style.name


def test_links_between_files_of_the_repository_lead_to_pages_of_the_site(site) -> None:
    index = (site / "index.html").read_text("utf-8")
    for page in ("rules.html", "developers.html", "changelog.html", "benchmarks.html"):
        assert f'href="{page}"' in index
    for page in site.glob("*.html"):
        for link in re.findall(r'<a [^>]*href="(?![a-z0-9]+:)([^"#]+)', page.read_text("utf-8")):
            assert (site / link).exists(), f"{page.name}: {link}"


def test_every_command_table_and_list_of_codes_is_told(site) -> None:
    commands = (site / "commands.html").read_text("utf-8")
    places = [commands.find(f'id="treenail-{name.replace(" ", "-")}"') for name in COMMANDS]
    assert -1 not in places
    first = [place for name, place in zip(COMMANDS, places, strict=True) if " " not in name]
    assert first == sorted(first)
    code_book = (site / "code_book.html").read_text("utf-8")
    model = load_model("blank")
    assert [name for name in model.tables if f"tables/{name}.csv" not in code_book] == []
    assert [name for name in model.vocabularies if name not in code_book] == []
