"""Loads the page templates, in which every value is escaped."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

from provenance._base.languages import _, ngettext
from provenance._base.resources import shipped
from provenance._base.visible import visible

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def page_templates(*folders: str) -> Environment:
    """The templates of these folders of templates/, escaping on, unknown names an error.

    Made once a process: compiling them takes longer than filling them.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    def finalize(value: Any) -> Any:
        # plain texts only: a Markup was escaped and made visible where it was built
        return visible(value) if type(value) is str else value

    made = Environment(
        extensions=["jinja2.ext.i18n"],
        loader=FileSystemLoader([shipped("templates") / folder for folder in folders]),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    # marked texts are said in the language that is spoken when the page is filled
    made.install_gettext_callables(_, ngettext, newstyle=True)  # type: ignore[attr-defined]
    return made
