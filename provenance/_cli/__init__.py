"""The command line: one name a move of the work, each loaded only when it is called."""

from __future__ import annotations

import gc
import importlib
import io
import sys
from collections import ChainMap
from typing import Any

import click

from provenance import __version__
from provenance._base.errors import TreenailError
from provenance._cli.terminal import Terminal

SECTIONS: dict[str, dict[str, tuple[str, str]]] = {
    # heading: {words of the command: (module in provenance._cli : function, one line of help)}
    "Start here": {
        "desk": ("desking:desk", "Do all of this as pages in your browser."),
        "new": ("importing:new", "Start a package for one kind of site."),
        "settings": ("settings:settings", "Show or set units, language, DOIs and embargo."),
        "demo": ("demo:demo", "Run the whole workflow on invented data."),
    },
    "In the field": {
        "stamps": ("locating:stamps", "Reserve stamp numbers that cannot be misread."),
        "print": ("", "Print labels, tags, cards, forms, plans; write workbooks."),
        "print labels": ("printing:labels", "Print labels for samples, boxes and drawers."),
        "print tags": ("printing:tags", "Print custody tags, consignment lists and receipts."),
        "print cards": ("printing:cards", "Print one card per hole for the building file."),
        "print sheets": ("forms:sheets", "Print the record sheets that a crew fills in by hand."),
        "print workbook": ("forms:workbook", "Write the spreadsheet that a crew fills in."),
        "print phone": ("forms:phone", "Write the form that a crew fills in on a phone."),
        "print plan": ("surveying:plan", "Draw scaled plans, or write them for a GIS."),
        "import": ("importing:import_", "Import field exports and answers from phones."),
        "attach": ("importing:attach", "Put photos, plans and reports into a package."),
        "survey": ("", "Compute positions from tapes, or trace a scanned plan."),
        "survey compute": ("surveying:compute", "Compute positions from tapes, offsets, bearings."),
        "survey trace": ("tracing:trace", "Trace timbers and holes on a scanned plan."),
        "check": ("checking:check", "Report what is wrong in a package, and what to do."),
        "day": ("day:day", "Sum up a day of fieldwork, and what to do tomorrow."),
        "change": ("", "Correct, add, settle, rename, remove, join, accept, undo."),
        "change correct": ("deciding:correct", "Correct or blank cells of a row."),
        "change add": ("deciding:add", "Add a row to a table."),
        "change settle": ("deciding:settle", "Settle a conflict between two sources."),
        "change rename": ("deciding:rename", "Change the key of a row, everywhere."),
        "change remove": ("deciding:remove", "Remove a row, or put it back."),
        "change split": ("deciding:split", "Separate two things that share one number."),
        "change join": ("deciding:join", "Join two rows into one."),
        "change accept": ("deciding:accept", "Accept a finding, with a reason."),
        "change undo": ("deciding:undo", "Undo an act."),
        "change finish": ("merging:finish", "Finish changes that stopped on another computer."),
        "history": ("history:history", "Show who said what, and open conflicts."),
        "merge": ("merging:merge", "Merge two copies of one record."),
    },
    "With the laboratory": {
        "custody": ("", "Hand samples over, prepare parcels, show who holds what."),
        "custody handover": ("custody:handover", "Record who gave which sample to whom."),
        "custody consign": ("laboratory:consign", "Prepare a parcel, with list and form."),
        "custody show": ("custody:show", "Show where samples are and have been."),
        "results": ("", "Import a laboratory's results, and reconcile them."),
        "results import": ("laboratory:import_", "Import a laboratory's results."),
        "results reconcile": (
            "laboratory:reconcile",
            "Compare results with parcel and field record.",
        ),
        "derive": ("deriving:derive", "Derive volumes, trees, fellings and phases; draw figures."),
    },
    "In the archive": {
        "review": ("reviewing:review", "Read and release what the public edition may show."),
        "pack": ("bundling:pack", "Write an archive bundle, with everything in it."),
        "custody keys": ("signing:keys", "Manage signing keys."),
        "verify": ("bundling:verify", "Verify whether a bundle is sound, and list what is not."),
        "deposit": ("bundling:deposit", "Write the DOI of a bundle into it."),
        "unpack": ("bundling:unpack", "Turn a bundle back into a package."),
        "compare": ("bundling:compare", "List what changed between two bundles of one record."),
    },
    "Finding a hole again": {
        "locate": ("locating:locate", "Find the hole that a worn stamp belongs to."),
        "print relocation": ("surveying:relocation", "Print the page for finding a hole again."),
    },
    "In the store": {
        "accession": ("accessioning:accession", "Accession a bundle: number, register, receipt."),
        "store": ("", "Show a store; its places, loans, stocktakes and years."),
        "store show": ("storing:show", "Say what a store is, and what is due."),
        "store settings": ("storing:settings", "Give a store its settings; start one."),
        "store enter": ("storing:enter", "Enter places, people, enquiries and terms."),
        "store places": ("places:places", "List the places of a store, and print their labels."),
        "store loans": ("collecting:loans", "List loans and requests; print their papers."),
        "store stocktake": ("stocktaking:stocktake", "Compare what was scanned with the record."),
        "store year": ("places:year", "Count what came, went and was asked, year by year."),
        "store numbers": ("storing:numbers", "Write store numbers for the samples of a record."),
        "store anchor": ("storing:anchor", "Print the end of the register, to keep on paper."),
        "store lift": ("storing:lift", "Lift a restriction or an embargo."),
        "store withdraw": ("storing:withdraw", "Withdraw an accession."),
        "store merge": ("storing:merge", "Take over what was done in a copy of a store."),
        "store split": ("storing:split", "Make a new store of some accessions."),
        "store events": ("storing:events", "Write the preservation events of a store (CSV)."),
        "store take-over": ("storing:take_over", "Take over a store of an older version."),
        "catalogue": ("cataloguing:catalogue", "List and search many bundles."),
        "audit": ("cataloguing:audit", "Check many bundles for damage and loss, in rotation."),
    },
}
"""Every command with where it lives, under the heading of those who use it; the order is that of
the help. Commands of one kind share their first word, which has a line of its own, without a place.
The overview names them by that word, and one that stands under another heading by both words."""

COMMANDS = ChainMap(*reversed(SECTIONS.values()))
"""The same without headings."""

FORMER = {"relocate": "print relocation"}
"""A word that stands in no command any more → the command that it was."""


def command_named(name: str) -> click.Command:
    """The command of these words, imported now; a group where a further word must follow."""
    where, line = COMMANDS[name]
    if not where:
        return Moves(name.rpartition(" ")[2], words=name, help=line)
    module, function = where.split(":")
    command = getattr(importlib.import_module(f"provenance._cli.{module}"), function)
    assert isinstance(command, click.Command)
    return command


class Moves(click.Group):
    """The commands behind `words`; a command's module is imported when it is called, not before."""

    def __init__(self, *args: Any, words: str = "", **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.words = words

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The words that may follow, in the order of the help."""
        split = (name.rpartition(" ") for name in COMMANDS)
        return [last for before, _, last in split if before == self.words]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name behind `words`."""
        name = f"{self.words} {cmd_name}".strip()
        return command_named(name) if name in COMMANDS else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does; a word that is not a command here is told which may be meant."""
        here = self.list_commands(ctx)
        if args and args[0] not in here and not args[0].startswith("-"):
            import difflib

            # where two commands end in one word, the one that stands first is meant
            full = {name.rpartition(" ")[2]: name for name in reversed([*COMMANDS])} | FORMER
            full |= {last: f"{self.words} {last}".strip() for last in here}
            near = difflib.get_close_matches(args[0], here if self.words else full, 1, 0.7)
            words = f"{self.words} {args[0]}".strip()
            told = f"there is no command '{words}'."
            if meant := full.get(args[0]) or full.get(*near or [""]):
                told += f" Did you mean 'treenail {meant}'?"
            if self.words:
                told += f" After '{self.words}' comes one of: {', '.join(here)}."
            raise click.UsageError(told, ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The words that may follow, from the table above, so that help imports no command."""
        lines = {name: COMMANDS[f"{self.words} {name}"][1] for name in self.list_commands(ctx)}
        with formatter.section("Commands"):
            formatter.write_dl(list(lines.items()))


class Overview(Moves):
    """All commands, whose help fits one screen."""

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Nothing of the two options, which the text names, but the commands by who uses them."""
        under = {name: heading for heading, section in SECTIONS.items() for name in section}
        formatter.write_paragraph()
        for heading, section in SECTIONS.items():
            formatter.write(f"{heading}\n")
            for name, (_, line) in section.items():
                first = name.partition(" ")[0]
                if name == first or under[first] != heading:
                    formatter.write(f"  {name:18}{line}\n")


@click.group(cls=Overview, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", prog_name="treenail")
def treenail() -> None:
    """\b
    Keep site, timber, sample, stamp and laboratory result linked for decades.
    'treenail COMMAND --help' tells more of one, 'treenail --version' of all.
    Exit codes: 0 clean, 1 findings, 2 unusable input, 70 a fault in the program.
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
