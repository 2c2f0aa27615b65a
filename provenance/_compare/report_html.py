"""Lays a comparison out as one page that needs nothing else: no network, no scripts."""

from __future__ import annotations

from provenance import __version__
from provenance._base.page_templates import page_templates
from provenance._compare.difference import Difference
from provenance._compare.report import headlines, ledger_sentence

MOST_ON_A_PAGE = 500
"""Lines of one list that a page shows; more make a page that no browser opens gladly."""


def difference_html(found: Difference, *, most: int = MOST_ON_A_PAGE) -> str:
    """The comparison as a page, every value escaped; of each list `most` lines (0: all).

    It says loudly how much it leaves out, and where all of it is.
    """
    environment = page_templates("compare", "bundle")
    tables = [
        {
            "table": one.table,
            "title": one.title,
            "presence": one.presence,
            "old_count": one.old_count,
            "new_count": one.new_count,
            "rewritten": one.rewritten,
            "columns_added": one.columns_added,
            "columns_removed": one.columns_removed,
            "changed": list(one.changes(most or None)),
            "lists": [
                (word, len(rows), one.keys(rows.head(most) if most else rows).to_list())
                for word, rows in (("added", one.added), ("withdrawn", one.withdrawn))
            ],
            "changed_count": len(one.changed),
            "changed_rows": one.changed_rows,
        }
        for one in found.tables
        if not one.same or one.rewritten
    ]
    files = found.files
    renamed = [f"{old} → {new}" for old, new in (files.renamed or {}).items()]
    return environment.get_template("compare.html").render(
        title=f"{found.new.title}: what changed",
        program=f"treenail {__version__}",
        found=found,
        sides=[("Old", found.old), ("New", found.new)],
        remarks=headlines(found),
        ledger=ledger_sentence(found),
        history_broken=bool(found.ledger and not found.ledger.sound),
        numbers=found.broken_numbers[: most or None],
        tables=tables,
        counts={what: found.count(what) for what in ("added", "changed", "withdrawn")},
        files=[
            (word, len(paths), paths[: most or None])
            for word, paths in (
                ("added", files.added),
                ("removed", files.removed),
                ("changed", files.changed),
                ("renamed", renamed),
            )
            if paths
        ],
    )
