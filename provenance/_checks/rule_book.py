"""Writes the list of all trade rules, schemas/RULES.md, for `make docs`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from provenance._base.disk import write_text
from provenance._base.resources import shipped
from provenance._checks.language.kinds import structure_kinds
from provenance._checks.language.rule import Rule
from provenance._checks.registry import package_rules

PAGE = "RULES.md"

SUBJECTS = {
    "site": "Site: permit, consent, visit, position",
    "numbering": "Numbers and names as found",
    "party": "People and organizations",
    "place": "Places",
    "relation": "Relations between parts",
    "agreement": "Agreements with owners and communities",
    "element": "Wood",
    "sample": "Samples and their holes",
    "plug": "Plugs",
    "custody": "Ledger",
    "key": "Signing keys",
    "lineage": "What an older bundle had",
    "parcel": "Parcels",
    "result": "Results of laboratories",
    "assumption": "Assumptions",
    "felling": "Fellings that must be one",
    "geometry": "Fixed points and measurements",
    "dates": "Dates",
    "privacy": "What must not become public",
    "files": "Photos, plans and other files",
    "widths": "Measured ring widths",
    "intake": "What was handed in",
    "history": "What several say of one thing",
    "computed": "Computed tables",
}
"""Headings in the order of the work; a rule of any other subject would stop the page."""


def rule_table_markdown() -> str:
    """The page: how to read it, and a table of the rules of each subject."""
    rules = package_rules()
    unlisted = {one.subject for one in rules} - set(SUBJECTS)
    if unlisted:
        raise ValueError(f"give the subjects {', '.join(sorted(unlisted))} a heading in SUBJECTS")
    parts = [
        "# Trade rules of `treenail check`",
        "",
        "Generated from the rules themselves by `make docs`; do not edit.",
        "",
        f"{len(rules)} rules. An **error** breaks the chain or cannot be; a **warning** is likely "
        "wrong; a **note** is worth a look. Names in braces are filled in from the row.",
        "",
        "What a schema says by itself (types, ranges, lists, keys) is checked before these rules; "
        "the findings of that kind are listed last.",
    ]
    for subject, heading in SUBJECTS.items():
        parts += ["", f"## {heading}", "", *_table([r for r in rules if r.subject == subject])]
    parts += ["", "## Structure: what the schemas say", "", *_kinds()]
    return "\n".join(parts) + "\n"


def _kinds() -> list[str]:
    rows = [
        (f"`{one.id}`", one.severity, one.says, one.remedy, one.source) for one in structure_kinds()
    ]
    return _lines(("Finding", "Severity", "What it says", "What to do", "Source"), rows)


def _table(rules: list[Rule]) -> list[str]:
    rows = [
        (
            f"`{one.id}`",
            one.severity,
            one.says,
            " ".join((one.find.__doc__ or "").split()),
            one.remedy,
            one.source,
        )
        for one in rules
    ]
    head = ("Rule", "Severity", "What it says", "Why", "What to do", "Source")
    return _lines(head, rows)


def _lines(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
    lines = [head, tuple("---" for _ in head), *rows]
    return ["| " + " | ".join(cell.replace("|", "\\|") for cell in line) + " |" for line in lines]


def write_rule_book(folder: Path | None = None) -> Path:
    """Write the page into `folder` (the schemas of this checkout); returns its path."""
    path = (folder or shipped("schemas")) / PAGE
    write_text(path, rule_table_markdown())
    return path


if __name__ == "__main__":
    write_rule_book()
