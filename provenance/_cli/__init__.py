"""The command line: one name a move of the work, each loaded only when it is called."""

from __future__ import annotations

import gc
import importlib
import io
import sys

import click

from provenance import __version__
from provenance._base.errors import TreenailError
from provenance._cli.terminal import Terminal

COMMANDS: dict[str, tuple[str, str]] = {
    # name: (module in provenance._cli : function, one line for the overview)
    "desk": ("desking:desk", "Do all of this in your browser."),
    "new": ("importing:new", "Start a package for one kind of site."),
    "settings": ("settings:settings", "Show or set units, language, DOIs and embargo."),
    "stamps": ("locating:stamps", "Reserve stamp numbers that cannot be misread."),
    "labels": ("printing:labels", "Print labels for samples, boxes and drawers."),
    "tags": ("printing:tags", "Print custody tags, consignment lists and receipts."),
    "cards": ("printing:cards", "Print one card per hole for the building file."),
    "sheets": ("forms:sheets", "Print the record sheets that a crew fills in by hand."),
    "workbook": ("forms:workbook", "Write the spreadsheet that a crew fills in."),
    "phone": ("forms:phone", "Write the form that a crew fills in on a phone."),
    "import": ("importing:import_", "Import field exports and answers from phones."),
    "attach": ("importing:attach", "Put photos, plans and reports into a package."),
    "correct": ("deciding:correct", "Correct or blank cells of a row."),
    "settle": ("deciding:settle", "Settle a conflict between two sources."),
    "rename": ("deciding:rename", "Change the key of a row, everywhere."),
    "remove": ("deciding:remove", "Remove a row, or put it back."),
    "split": ("deciding:split", "Separate two things that share one number."),
    "join": ("deciding:join", "Join two rows into one."),
    "accept": ("deciding:accept", "Accept a finding, with a reason."),
    "undo": ("deciding:undo", "Undo an act."),
    "history": ("history:history", "Show who said what, and open conflicts."),
    "merge": ("merging:merge", "Merge two copies of one record."),
    "finish": ("merging:finish", "Finish work that stopped halfway on another computer."),
    "day": ("day:day", "Sum up a day of fieldwork, and what to do tomorrow."),
    "check": ("checking:check", "Report what is wrong in a package, and what to do."),
    "handover": ("custody:handover", "Record who gave which sample to whom; in a store, too."),
    "keys": ("signing:keys", "Manage signing keys."),
    "custody": ("custody:custody", "Show where samples are and have been."),
    "consign": ("laboratory:consign", "Prepare a parcel for a laboratory, with list and form."),
    "results": ("laboratory:results", "Import a laboratory's results."),
    "reconcile": ("laboratory:reconcile", "Compare results with parcel and field record."),
    "survey": ("surveying:survey", "Compute positions from tapes, offsets and bearings."),
    "plan": ("surveying:plan", "Draw scaled plans, or write them for a GIS."),
    "trace": ("tracing:trace", "Trace timbers and holes on a scanned plan."),
    "derive": ("deriving:derive", "Derive volumes, trees, fellings and phases; draw figures."),
    "review": ("reviewing:review", "Read and release what the public edition may show."),
    "pack": ("bundling:pack", "Write an archive bundle, with everything in it."),
    "verify": ("bundling:verify", "Verify whether a bundle is sound, and list what is not."),
    "deposit": ("bundling:deposit", "Write the DOI of a bundle into it."),
    "unpack": ("bundling:unpack", "Turn a bundle back into a package."),
    "accession": ("accessioning:accession", "Accession a bundle: number, register, receipt."),
    "compare": ("bundling:compare", "List what changed between two bundles of one record."),
    "store": ("storing:store", "Show a store; withdraw, merge, split, print its anchor."),
    "catalogue": ("cataloguing:catalogue", "List and search many bundles."),
    "audit": ("cataloguing:audit", "Check many bundles for damage and loss, in rotation."),
    "loans": ("collecting:loans", "List loans and requests of a store; print their papers."),
    "places": ("places:places", "List the places of a store, and print their labels."),
    "stocktake": ("stocktaking:stocktake", "Compare what was scanned in a store with its record."),
    "year": ("places:year", "Count what came, went and was asked of a store, year by year."),
    "locate": ("locating:locate", "Find the hole that a worn stamp belongs to."),
    "relocate": ("surveying:relocate", "Print the page for finding a hole again."),
    "demo": ("demo:demo", "Run the whole workflow on invented data."),
}
"""Every command with where it lives; the order is the order of the work."""


class Moves(click.Group):
    """A group that imports a command's module when that command is called, and not before."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands in the order of the work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        if cmd_name not in COMMANDS:
            return None
        module, function = COMMANDS[cmd_name][0].split(":")
        command = getattr(importlib.import_module(f"provenance._cli.{module}"), function)
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does, with the nearest command named when there is none of that name."""
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            raise click.UsageError(f"there is no command '{args[0]}'.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The overview, from the table above, so that help imports no command."""
        with formatter.section("Commands, in the order of the work"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=Moves, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", prog_name="treenail")
def treenail() -> None:
    """Keep site, timber, sample, plug stamp and laboratory result linked for decades.

    Exit codes: 0 clean, 1 findings, 2 unusable input or usage, 70 a fault in the program.
    """


def main() -> None:
    """Run the command line; what a person can mend becomes one sentence and an exit code."""
    # what a record holds is held to the end; to look it over for garbage takes a tenth of the time
    gc.set_threshold(50_000, 20, 50)
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is not None and stream.isatty():
            setattr(sys, name, Terminal(stream))
        elif isinstance(stream, io.TextIOWrapper):
            # Windows writes into files and pipes in an old code page, which lacks most letters
            stream.reconfigure(encoding="utf-8")
    try:
        # click hands the code of an Exit back here instead of raising it; a command itself
        # returns None
        sys.exit(treenail(standalone_mode=False))
    except click.Abort:
        click.echo("stopped", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except TreenailError as error:
        click.echo(f"treenail: {error}", err=True)
        sys.exit(error.exit_code)
    except OSError as error:
        from provenance._base.disk import disk_trouble

        click.echo(f"treenail: {disk_trouble(error)}", err=True)
        sys.exit(2)
    except MemoryError:
        # a table may be within every limit, and the machine a small one
        click.echo(
            "treenail: there is not enough memory for this here; close other programs, or do it on "
            "a larger machine. Nothing is half-written",
            err=True,
        )
        sys.exit(2)
    except (SystemExit, KeyboardInterrupt):
        raise
    except BaseException as error:  # a panic of the table engine is no Exception
        from provenance._base.fault import SOFTWARE, fault_in_words

        click.echo(f"treenail: {fault_in_words(error)}", err=True)
        sys.exit(SOFTWARE)
