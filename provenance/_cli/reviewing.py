"""`treenail review`: what a person reads and decides before a public edition is packed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from provenance._cli.options import (
    by_option,
    counted,
    format_option,
    package_argument,
    progress_bar,
)

if TYPE_CHECKING:
    from provenance._bundle.review.review import Review

_KINDS = {
    "text": ("text", "texts"),
    "key": ("code of a row", "codes of rows"),
    "list": ("code of a list", "codes of a list"),
    "profile": ("text of the profile", "texts of the profile"),
    "package": ("text about the package", "texts about the package"),
    "picture": ("photo", "photos"),
    "file": ("file", "files"),
}
"""What each kind is called, one and many."""


@click.command("review")
@package_argument
@click.option(
    "--list",
    "listed",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the waiting items as a list to fill in (.xlsx or .csv).",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the waiting items as a page with photos (.html), which saves the decisions as a "
    "list.",
)
@click.option(
    "--decided",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Read a filled list back.",
)
@click.option(
    "--release",
    metavar="TABLE.FIELD",
    help="Release the items waiting in this field that have no findings.",
)
@click.option("--withhold", metavar="TABLE.FIELD", help="Withhold the items waiting in this field.")
@click.option(
    "--like", default="", metavar="SHAPE", help="Only texts like this; digits stand for any digits."
)
@click.option("--known-words", is_flag=True, help="Only texts whose words the program knows.")
@by_option
@click.option("--because", default="", help="Reason, in your own words.")
@format_option("text", "json")
def review(
    package: Path,
    listed: Path | None,
    page: Path | None,
    decided: Path | None,
    release: str | None,
    withhold: str | None,
    like: str,
    known_words: bool,
    by: str,
    because: str,
    shape: str,
) -> None:
    """List what a person must release before PACKAGE can be public, and record the decisions.

    The public edition shows numbers, dates and codes by themselves; texts, photos, files, captions,
    titles and doubtful codes only after someone releases them. Anything changed since, or in which
    the search finds more than before, must be released again.

    \b
    1. treenail review hollin --page review.html     read, decide, save; or --list review.xlsx
    2. treenail review hollin --decided FILE --by "Your Name"
    3. treenail pack hollin --edition public

    --release and --withhold decide about everything waiting in a field. With --like or
    --known-words they make a rule that also applies to later texts:

    \b
    treenail review hollin --release lab_result.lab_number --like "ORR-23-000" \\
        --because "laboratory numbers"

    A rule never releases a text in which the search finds something. Each use is one act; 'treenail
    change undo PACKAGE last' undoes it. Exit codes: 0 nothing waits, 1 something does.
    """
    from provenance._bundle.review.deciding import decide_one_by_one
    from provenance._bundle.review.page import write_page
    from provenance._bundle.review.review import review_package
    from provenance._bundle.review.sheet import read_list, write_list
    from provenance._record.package import open_to_change

    if sum(one is not None for one in (listed, page, decided, release or withhold)) > 1:
        raise click.UsageError("--list, --page, --decided and --release or --withhold: one a time")
    if (like or known_words) and not (release or withhold):
        raise click.UsageError("--like and --known-words go with --release or --withhold")
    opened = open_to_change(package)
    if release or withhold:
        _decide_field(package, release, withhold, like, known_words, by, because)
        found = review_package(open_to_change(package))
    else:
        found = review_package(opened)
    if decided:
        words = read_list(found, decided)
        count = decide_one_by_one(found, words, by=by, why=because or f"review: {decided.name}")
        click.echo(f"recorded {counted(count, 'decision')} of {by}")
        found = review_package(open_to_change(package))
    elif listed:
        count = write_list(found, listed)
        click.echo(f"{listed}: {counted(count, 'row')} to decide; read it back with --decided")
    elif page:
        with progress_bar("drawing photos") as progress:
            count = write_page(found, page, progress=progress)
        click.echo(f"{page}: {counted(count, 'thing')} to decide; open it in a browser")
    _say(found, shape)
    sys.exit(1 if found.waiting else 0)


def _decide_field(
    package: Path,
    release: str | None,
    withhold: str | None,
    like: str,
    known_words: bool,
    by: str,
    because: str,
) -> None:
    from provenance._bundle.redaction.decisions import RELEASE, WITHHOLD
    from provenance._bundle.review.deciding import decide_by_rule, decide_field
    from provenance._record.package import open_to_change

    if release and withhold:
        raise click.UsageError("--release and --withhold: one a time")
    where = release or withhold or ""
    decision = RELEASE if release else WITHHOLD
    opened = open_to_change(package)
    if like or known_words:
        count = decide_by_rule(
            opened, where, decision, by=by, reason=because, like=like, known_words=known_words
        )
        click.echo(f"a rule to {decision} {counted(count, 'text')} of {where} now, and such later")
    else:
        count = decide_field(opened, where, decision, by=by, reason=because)
        click.echo(f"{decision}: {counted(count, 'text')} of {where}, one by one")


def _say(found: Review, shape: str) -> None:
    counts = found.counts()
    if shape == "json":
        import json

        fields = [
            {"kind": kind, "where": where, **dict(states)}
            for (kind, where), states in counts.items()
        ]
        click.echo(json.dumps({"waiting": found.waiting, "fields": fields}, indent=2))
        return
    from provenance._bundle.redaction.release import WAITING
    from provenance._bundle.review.review import OLDER
    from provenance._record.agreements import before_release

    for asked in before_release(found.package.tables):
        click.echo(asked, err=True)
    if not found.can_be_decided:
        click.echo(f"{found.package.folder}: {OLDER}", err=True)
    waiting = {place: one for place, one in counts.items() if one[WAITING]}
    for (kind, where), one in sorted(waiting.items(), key=lambda pair: -pair[1]["hits"]):
        hits = f", {one['hits']} with findings" if one["hits"] else ""
        told = f"{one[WAITING]:>6,} {_KINDS[kind][one[WAITING] > 1]}"
        click.echo(f"{told} in {where}{hits}")
    decided = len(found.items) - found.waiting
    if found.waiting:
        click.echo(
            f"{found.waiting:,} wait, {found.with_hits:,} with findings; {decided:,} are decided. "
            "Undecided, they are left out of the public edition. --page or --list FILE shows them"
        )
    else:
        click.echo(f"nothing waits; {counted(decided, 'thing')} decided")
