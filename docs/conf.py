"""How Sphinx makes the site of documentation, from docstrings and the repository's own pages."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import provenance
from provenance._bundle.describe.code_book import code_book_markdown
from provenance._cli import COMMANDS
from provenance._model.profile import load_model

ROOT = Path(__file__).resolve().parent.parent

project = "treenail"
version = release = provenance.__version__
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "sphinx_click"]

html_theme = "furo"
html_title = f"treenail {release}"
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_copyright = False

# a word in single backquotes of a docstring is a name or a value, as it is in Markdown
default_role = "code"
autodoc_typehints = "description"
autodoc_member_order = "bysource"
# the values that come back are made by the functions, so how they are made concerns nobody
autodoc_class_signature = "separated"
autodoc_default_options = {"exclude-members": "__init__, __new__"}
myst_heading_anchors = 3

PAGES = {
    "README.md": "index.md",
    "DEVELOPERS.md": "developers.md",
    "CHANGELOG.md": "changelog.md",
    "SECURITY.md": "security.md",
    "schemas/RULES.md": "rules.md",
    "benchmarks/README.md": "benchmarks.md",
}
"""Pages of the repository, and the page of the site that includes each."""


def setup(app: Any) -> None:
    """Have pages changed as they are read, so that nothing has to be copied into docs/."""
    app.connect("include-read", lead_links_to_the_site)
    app.connect("source-read", fill_in)
    for part in ("description", "options"):
        app.connect(f"sphinx-click-process-{part}", show_options_as_code)


def lead_links_to_the_site(app: Any, path: Path, page: str, content: list[str]) -> None:
    """A link between files of the repository leads to the site's page, or to the file itself."""
    folder = (Path(app.srcdir) / path).resolve().parent

    def led(link: re.Match[str]) -> str:
        target = (folder / link[1]).resolve().relative_to(ROOT).as_posix()
        return f"]({PAGES.get(target, f'../{target}')})"

    content[0] = re.sub(r"\]\((?!https?:|#)([^)#]+)\)", led, content[0])


def fill_in(app: Any, page: str, content: list[str]) -> None:
    """What is made at every build and kept nowhere: the code book, the commands in their order."""
    if page == "code_book":
        content[0] = code_book_markdown(load_model("blank"), "any kind of place")
    if page == "commands":
        content[0] = content[0].replace(
            "EVERY COMMAND", ", ".join(one for one in COMMANDS if " " not in one)
        )


def show_options_as_code(app: Any, context: Any, lines: list[str]) -> None:
    """Options inside the help of a command are code, or their two hyphens would become a dash."""
    for number, line in enumerate(lines):
        if not line.lstrip().startswith(".."):
            lines[number] = re.sub(r"(?<![\w`-])--[a-z][a-z-]*", r"``\g<0>``", line)
