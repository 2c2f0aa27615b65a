"""`treenail stamps` and `treenail locate`: numbers before the field day, and holes long after."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from pathlib import Path

import click

from provenance._base.languages import speaking
from provenance._base.visible import visible
from provenance._cli.options import (
    even_if_damaged_option,
    most_option,
    named_package_argument,
    out_option,
    paper_option,
    progress_bar,
    site_option,
)


@click.command("stamps")
@named_package_argument
@click.argument("count", type=click.IntRange(1), required=False)
@click.option("--crew", help="Who may use the numbers.")
@site_option
@click.option("--first", type=click.IntRange(0), help="First number of the crew's range.")
@click.option("--last", type=click.IntRange(0), help="Last number of the crew's range.")
@click.option("--dies", default="0123456789", show_default=True, help="Digits per die set.")
@click.option(
    "--mark",
    type=click.Choice(["none", "bar", "dot"]),
    default="none",
    show_default=True,
    help="Count on without gaps, and punch this mark below numbers that mislead upside down.",
)
@click.option(
    "--grant",
    type=click.IntRange(1),
    help="Grant this many numbers to another copy of the package.",
)
@click.option("--claim", metavar="CODE", help="Claim the range granted with this code.")
@click.option(
    "--take-over",
    is_flag=True,
    help="Give out numbers here because the original copy no longer does.",
)
@click.option("--to", "name", default="", help="Name of the copy that gets the numbers.")
@click.option("--why", default="", help="Reason, with --take-over.")
@paper_option
@out_option
def stamps(
    package: Path,
    count: int | None,
    crew: str | None,
    site: str | None,
    first: int | None,
    last: int | None,
    dies: str,
    mark: str,
    grant: int | None,
    claim: str | None,
    take_over: bool,
    name: str,
    why: str,
    paper: str,
    out: Path | None,
) -> None:
    """Reserve COUNT stamp numbers in PACKAGE that cannot be mistaken for one another.

    Shows one number per line, with the mark to punch if one is needed; --out writes them as a
    checklist (PDF). A number is never given out twice, used or not.

    Only the original copy of the package gives out numbers. For a second laptop, --grant a range
    there and --claim it in the laptop's copy.
    """
    from datetime import date

    from provenance._base.errors import AlreadyThere
    from provenance._identity.stamps import reserve_stamps
    from provenance._record.package import open_to_change

    asked = [count is not None, grant is not None, claim is not None, take_over]
    if sum(asked) != 1:
        raise click.UsageError("ask for one thing: COUNT, --grant, --claim or --take-over")
    if count is None:
        _share_numbers(package, grant, claim, name, why)
        return
    if crew is None:
        raise click.UsageError("say with --crew who may use the numbers")
    if out is not None and out.exists():
        # numbers cannot be given back, so look before reserving
        raise AlreadyThere(f"{out} is already there; choose another with --out")
    opened = open_to_change(package)
    reserved = reserve_stamps(
        opened,
        count,
        crew=crew,
        site_id=site,
        first=first,
        last=last,
        dies=dies,
        orientation_mark=mark,
        reserved_on=date.today().isoformat(),
    )
    for one in reserved:
        needs = "" if one.orientation_mark == "none" else f"\t{one.orientation_mark} below"
        click.echo(f"{one.sample_id}{needs}")
    click.echo(f"reserved {len(reserved)} for crew '{crew}'", err=True)
    if out is not None:
        from provenance._drawing.paper import paper_named
        from provenance._printing.papers.strike_list import print_strike_list

        with speaking(opened.model.language):
            printed = print_strike_list(reserved, paper_named(paper), out, title=opened.title)
        click.echo(f"wrote {', '.join(map(str, printed.paths))}", err=True)


def _share_numbers(
    package: Path, grant: int | None, claim: str | None, name: str, why: str
) -> None:
    from provenance._identity.ranges import claim_range, grant_range, take_over
    from provenance._record.package import open_to_change

    opened = open_to_change(package)
    if grant is not None:
        granted = grant_range(opened, grant, to=name)
        click.echo(granted.code)
        click.echo(
            f"{granted.first} to {granted.last} are for '{name}'; there say "
            f"'treenail stamps FOLDER --claim {granted.code}'",
            err=True,
        )
    elif claim is not None:
        claimed = claim_range(opened, claim, name=name)
        click.echo(f"this copy gives out {claimed.first} to {claimed.last} from now on")
    else:
        take_over(opened, why=why, name=name)
        click.echo("this copy gives out all numbers from now on that no range gives to another")


@click.command("locate")
@click.argument("place", type=click.Path(path_type=Path, exists=True))
@click.argument("reading")
@click.option("--in", "room", help="Building or room: code, name or kind (attic).")
@click.option("--dowel", help="Dowel size as measured: '5/8 in', '16 mm'.")
@click.option("--wood", help="Species of the timber: code or name (oak).")
@click.option("--upright", is_flag=True, help="The reading is certainly right way up.")
@click.option("--index", type=click.Path(path_type=Path), help="Keep an index in this file.")
@even_if_damaged_option
@most_option(10, "Candidates to show")
@click.option(
    "--format", "shape", type=click.Choice(["text", "json"]), default="text", show_default=True
)
def locate(
    place: Path,
    reading: str,
    room: str | None,
    dowel: str | None,
    wood: str | None,
    upright: bool,
    index: Path | None,
    even_if_damaged: bool,
    most: int,
    shape: str,
) -> None:
    """Find the hole of a worn plug: PLACE is a package, a bundle, or a folder of them.

    READING is what you can read: 231, '2?1' (one cannot be read), '2[38]1' (3 or 8), '2..', '..31'
    or '2..1' (some may be missing there), '66.' (with its orientation dot), or '6 or 8'. Write a
    letter where you see one: L0E is 307 upside down. It may also be the text of a label,
    HOLL-231-JV or 231-JV, or its scanned code: the check letters must then match. Several copies of
    one record count once. Reserved numbers without a recorded plug are listed too.

    Each bundle is verified first, and its answers carry the verdict; a damaged one gives none. With
    --index, the verdict is that of the last audit.

    Exit codes: 0 candidates, 1 no recorded plug fits well, 2 nothing that can be read.
    """
    from provenance._catalogue.plugs import (
        gather_plugs,
        index_plugs,
        read_genera,
        seen_around,
        stored_plugs,
    )
    from provenance._identity.locate import Found, locate_plug

    seen = seen_around(room or "", dowel or "", wood or "", upright=upright)
    with progress_bar("reading") as progress:
        unreadable: dict[str, str] = {}
        if index is None:
            verdicts: dict[str, str] = {}
            plugs = gather_plugs(
                place,
                unreadable=unreadable,
                verdicts=verdicts,
                even_if_damaged=even_if_damaged,
                progress=progress,
            )
        else:
            unreadable = index_plugs(place, index, progress=progress)
            plugs = stored_plugs(index, even_if_damaged=even_if_damaged)
            verdicts = _verdicts_of_audits(index, even_if_damaged)
    for why in unreadable.values():
        click.echo(f"not read: {why}", err=True)
    found: Found = locate_plug(plugs, reading, seen, genera=read_genera(), limit=most or len(plugs))
    for note in found.notes:
        click.echo(visible(note), err=True)
    if shape == "json":
        raw = {
            "reading": found.reading.text,
            "searched": found.searched,
            "reserved": found.reserved,
            "unrecorded": found.unrecorded,
            "exchanged": found.exchanged,
            "candidates": [
                {
                    "probability": one.probability,
                    **one.plug._asdict(),
                    "copies": one.copies,
                    "why": one.why,
                    "verdict": verdicts.get(one.plug.source),
                }
                for one in found.candidates
            ],
        }
        click.echo(json.dumps(raw, indent=2, ensure_ascii=False))
    else:
        _show(found, verdicts)
    sys.exit(1 if found.none_fits else 0)


def _verdicts_of_audits(index: Path, even_if_damaged: bool) -> dict[str, str]:
    """Path → verdict in words, by the last audit; says which bundles are left out as damaged."""
    from provenance._bag.verdict import WORDS
    from provenance._catalogue.query import verdicts_in

    found = verdicts_in(index)
    for path, word in found.items():
        if word == "damaged" and not even_if_damaged:
            click.echo(
                visible(f"not asked: {path} was damaged at the last audit; --even-if-damaged"),
                err=True,
            )
    return {path: f"{word}: {WORDS[word]}" for path, word in found.items()}


def _show(found: object, verdicts: Mapping[str, str]) -> None:
    from provenance._identity.locate import Found
    from provenance._identity.plug_fit import RESERVED

    assert isinstance(found, Found)
    beside = f" and {found.reserved} reserved numbers" if found.reserved else ""
    click.echo(visible(f"'{found.reading.text}' among {found.searched} recorded plugs{beside}"))
    if found.none_fits:
        nearest = " well; the nearest are:" if found.candidates else "."
        click.echo(f"No recorded plug fits{nearest}")
    for one in found.candidates:
        plug = one.plug
        named = f"sample {plug.sample_id} of {plug.site_id}"
        if plug.status == RESERVED:
            named = f"a number reserved for {plug.site_id}"
        elif plug.element_id:
            named += f", {plug.function.replace('_', ' ')} {plug.element_id}".replace("  ", " ")
        where = f" ({plug.where})" if plug.where else ""
        lines = [f"{one.probability:6.1%}  {plug.stamp:>6}  {named}{where}"]
        indent = " " * 16
        if one.why:
            lines.append(f"{indent}{'; '.join(one.why)}")
        verdict = verdicts.get(plug.source, "").partition(":")[0]
        lines.append(f"{indent}{plug.source}{f' ({verdict})' if verdict else ''}")
        if one.copies:
            lines.append(f"{indent}the same in {', '.join(one.copies)}")
        for line in lines:
            click.echo(visible(line).replace("\n", " "))
    click.echo(f"{found.unrecorded:6.1%}  that the plug is in none of these records")
    if found.exchanged:
        click.echo(f"or digits exchanged: {', '.join(found.exchanged)}")
    told = dict.fromkeys(verdicts.get(one.plug.source) for one in found.candidates)
    for verdict in filter(None, told):
        click.echo(visible(verdict).replace("\n", " "))
