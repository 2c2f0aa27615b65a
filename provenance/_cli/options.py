"""Options that mean the same in every command, and the progress bar."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import click

from provenance._base.errors import TreenailError
from provenance._base.login import login_name
from provenance._base.progress import Progress, say_nothing
from provenance._record.remote import Place, place_at

if TYPE_CHECKING:
    from provenance._record.package import Package
    from provenance._record.snapshot import Snapshot

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


package_argument: Decorator = click.argument(
    "package", type=click.Path(path_type=Path), default=Path()
)
named_package_argument: Decorator = click.argument("package", type=click.Path(path_type=Path))
"""For commands with a further argument: with PACKAGE left out, that would be taken for it."""


optional_package_argument: Decorator = click.argument(
    "package", type=click.Path(path_type=Path), required=False
)


MOST_SCANNED_BYTES = 16 << 20
EXISTING_FILE = click.Path(path_type=Path, exists=True, dir_okay=False)


class PlaceParam(click.ParamType[Place]):
    """A path of this machine that is there, or an fsspec address; `must_exist` as for a path."""

    name = "place"

    def __init__(self, *, must_exist: bool = True) -> None:
        self._path = click.Path(path_type=Path, exists=must_exist)

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> Place:
        """The place; a path that is not there is an error of usage."""
        place = place_at(value)
        return self._path.convert(place, param, ctx) if isinstance(place, Path) else place


class Number(click.FloatRange):
    """A number of at least `min`; 'nan' and 'inf', which Python takes for numbers, are none."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number; anything else is an error of usage."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value} is not a number that can be worked with.", param, ctx)
        return number


out_option: Decorator = click.option(
    "--out", type=click.Path(path_type=Path), default=None, help="Output file or folder."
)


def settings_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """--units, --language and --numbering of a record."""
    command = click.option(
        "--numbering",
        help="strict, or as-found for a collection whose old numbers and names must stay.",
    )(command)
    command = click.option("--language", help="Language of forms and labels, such as en.")(command)
    return click.option("--units", help="How the record measures: metric or feet-inches.")(command)


def format_option(*shapes: str, says: str = "Output format.") -> Decorator:
    """--format for what is said on the terminal or to a program; the first shape is the usual."""
    return click.option(
        "--format",
        "shape",
        type=click.Choice(shapes),
        default=shapes[0],
        show_default=True,
        help=says,
    )


def most_option(usual: int, what: str) -> Decorator:
    """--most: how many there are of `what`, such as "Findings to show"; 0 is all."""
    return click.option(
        "--most",
        type=click.IntRange(0),
        default=usual,
        show_default=True,
        help=f"{what}; 0 for all.",
    )


paper_option: Decorator = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper size.",
)
workers_option: Decorator = click.option(
    "--workers", type=click.IntRange(1), default=1, show_default=True, help="Number of processes."
)
scheduler_option: Decorator = click.option(
    "--scheduler",
    default=None,
    metavar="ADDRESS",
    help="Dask cluster to use, tcp://host:8786; abandoned if it has no worker for a minute.",
)
_MARKED_SO = "Also answer from a damaged bundle; the answer is marked."
even_if_damaged_option: Decorator = click.option(
    "--even-if-damaged",
    is_flag=True,
    help=_MARKED_SO,
)
_EVEN_IF_DAMAGED = f"{__name__}.even_if_damaged"


def _keep_flag(context: click.Context, _: click.Parameter, value: bool) -> None:
    context.meta[_EVEN_IF_DAMAGED] = value


def reads_package(argument: Decorator = package_argument) -> Decorator:
    """PACKAGE of a command that only reads it, which `asked` opens; its help says so."""

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        function.__doc__ = (
            f"{(function.__doc__ or '').rstrip()}\n\n"
            "    PACKAGE may be a bundle (folder or zip). It is verified first, never changed, and "
            "the\n"
            "    verdict follows the answer.\n    "
        )
        flag = click.option(
            "--even-if-damaged",
            is_flag=True,
            expose_value=False,
            callback=_keep_flag,
            help=_MARKED_SO,
        )
        return argument(flag(function))

    return decorated


def asked(package: Path, *, writes: bool = True) -> Package:
    """The package at that path, or the one in the bundle there, open until the command ends.

    The verdict over a bundle is told then; beside the answer where a program reads that. A command
    with --out `writes` where one is, if not told where, which must not be inside the bundle.
    """
    from provenance._base.visible import visible
    from provenance._bundle.answering import opened_to_ask
    from provenance._record.edition_key import is_public

    context = click.get_current_context()
    opened = context.with_resource(
        opened_to_ask(package, even_if_damaged=context.meta[_EVEN_IF_DAMAGED])
    )
    if isinstance(opened.bundle, Path):
        out = context.params.get("out") or Path()
        if (
            writes
            and "out" in context.params
            and out.resolve().is_relative_to(opened.bundle.resolve())
        ):
            raise click.UsageError(
                f"a bundle is never changed, and {out.resolve()} is in {opened.bundle}; say with "
                "--out where else to write"
            )
        by_program = context.params.get("shape") in ("json", "csv")
        context.call_on_close(lambda: click.echo(visible(opened.verdict), err=by_program))
    if is_public(opened):
        click.echo(
            "This is a public edition: what it withholds, above all exact places, is not in the "
            "answer. Ask for the full edition where that is needed.",
            err=True,
        )
    return opened


site_option: Decorator = click.option("--site", default=None, help="Only this site code.")


second_opinion_option: Decorator = click.option(
    "--second-opinion",
    is_flag=True,
    help="Also run the reference library of Table Schema, and report differences. Slow: about a "
    "minute per million rows.",
)


samples_option: Decorator = click.option(
    "--samples",
    default=None,
    help="Field specimen numbers: 231,233-240, or all; or a label (HOLL-231-JV), its scanned "
    "code, or the code of a box, drawer or parcel that holds them.",
)
scanned_option: Decorator = click.option(
    "--scanned",
    type=click.File("rb"),
    help="Scanned codes of samples, boxes, drawers and parcels: a file, or - for standard input.",
)


def samples_meant(
    tables: Snapshot, samples: str | None, scanned: BinaryIO | None
) -> list[str] | None:
    """The samples that --samples or --scanned names, None for neither; says which came twice."""
    from provenance._ledger.meant import samples_named, samples_scanned

    if samples and scanned:
        raise click.UsageError("give --samples or --scanned, not both")
    if scanned is None and not samples:
        return None
    if scanned is None:
        meant = samples_named(tables, samples or "")
    else:
        meant = samples_scanned(tables, scanned_text(scanned))
    for note in meant.notes:
        click.echo(f"note: {note}", err=True)
    if scanned is not None:
        click.echo(f"scanned {counted(len(meant.samples), 'sample')}", err=True)
    return list(meant.samples)


def scanned_text(scanned: BinaryIO) -> str:
    """What a scanner gave; raises TreenailError for what is no text."""
    try:
        # a box holds some hundreds of samples; whatever never ends is not read to its end
        return scanned.read(MOST_SCANNED_BYTES).decode("utf-8")
    except UnicodeDecodeError as error:
        raise TreenailError(
            f"the scanned input is not UTF-8 text (byte {error.start + 1}); set the scanner to "
            "UTF-8, or type the numbers with --samples"
        ) from None


def note_renamed(tables: Snapshot, selection: str) -> None:
    """Say which of the numbers named are former ones."""
    from provenance._identity.selection import renamed_in

    for old, now in renamed_in(tables, selection).items():
        click.echo(f"note: {old} is called {now} now", err=True)


by_option: Decorator = click.option(
    "--by",
    envvar="TREENAIL_BY",
    default=login_name,
    show_default="your login name",
    help="Your code or name (or set TREENAIL_BY).",
)


def counted(number: int, noun: str) -> str:
    """How many of what: '1 cell', '1,200 cells'."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def show_or_write(text: str, out: Path | None, told: str = "") -> None:
    """Show a text on the terminal, or write it to the file `out` and say there what is `told`."""
    if out is None:
        click.echo(text, nl=False)
        return
    from provenance._base.disk import write_text

    write_text(out, text)
    if told:
        click.echo(told, err=True)


@contextmanager
def progress_bar(label: str) -> Iterator[Progress]:
    """A progress bar on standard error when a person watches it; silent when piped."""
    if not sys.stderr.isatty():
        yield say_nothing
        return
    bar: Any = None

    def advance(done: int, total: int) -> None:
        nonlocal bar
        if bar is None:
            terminal = getattr(sys.stderr, "stream", sys.stderr)
            bar = click.progressbar(length=total or None, label=label, file=terminal)
            bar.__enter__()
        bar.update(done - bar.pos)

    try:
        yield advance
    finally:
        if bar is not None:
            bar.__exit__(None, None, None)
