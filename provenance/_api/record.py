"""Opens a record, whatever form it has, and hands out its tables as pandas frames."""

from __future__ import annotations

from collections.abc import Collection
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from provenance._api.decisions import Decisions
from provenance._base.errors import UnusableInput, UnusablePackage
from provenance._record.package import DESCRIPTOR, Package, bag_around, open_package
from provenance._record.remote import Place, place_at

if TYPE_CHECKING:
    import pandas as pd

    from provenance._bag.verdict import Verdict
    from provenance._base.findings import Report
    from provenance._bundle.pack import Packed
    from provenance._bundle.review.review import Review
    from provenance._record.snapshot import Snapshot


class Record(Decisions):
    """The record of one package or bundle; `provenance.open` and `provenance.new` make one.

    A package is read as it stands when a table is asked for, a bundle as it was packed. A table
    is read when it is first asked for. A zip is kept open until `close`, or until the end of a
    `with` block; nothing of it is unpacked to be read.
    """

    def __init__(
        self, path: Place, package: Package, *, opened: ExitStack, verdict: Verdict | None = None
    ):
        self._path = path
        self._package = package
        self._verdict = verdict
        self._opened: ExitStack | None = opened

    @property
    def path(self) -> Place:
        """Where it lies, as a path; for a store as a value that reads as the address."""
        return self._path

    @property
    def name(self) -> str:
        """The machine name of the package."""
        return self._package.name

    @property
    def title(self) -> str:
        """The title for people."""
        return self._package.title

    @property
    def tables(self) -> tuple[str, ...]:
        """The names of its tables, as its own schemas list them."""
        return tuple(self._package.model.tables)

    @property
    def is_bundle(self) -> bool:
        """Whether it is an archive bundle, which is never changed."""
        return self._verdict is not None

    @property
    def verdict(self) -> str:
        """The verdict over the bundle when it was opened, on a line; '' for a package.

        'not anchored: …' is the best there is without an anchor, which `verify` takes; 'not
        verified: …' where the bundle is large or lies in a store, and names and sizes only were
        compared; 'faulty: …' where the record in it has errors; 'DAMAGED: …' where it is not what
        was packed.
        """
        return self._verdict.in_words if self._verdict else ""

    def table(self, name: str, columns: Collection[str] | None = None) -> pd.DataFrame:
        """One table, typed by the record's own schemas.

        Text and dates (EDTF) are `str`, numbers `Float64`, whole numbers `Int64`, truth values
        `boolean`; a cell is NA where nothing is written or what is written does not fit the type.
        Units are in the names (`_mm`, `_m`, `_deg`) and in the code book. The index is the row
        number in the file, by which the check names a row (the header is 1).

        Returns:
            A frame with all columns of the schema, or with `columns` in that order.

        Raises:
            UnusableInput: the record has no such table or column, or is closed.
            UnusablePackage: the table's file is missing or broken.
        """
        model = self._package.model
        if name not in model.tables:
            raise UnusableInput(
                f"{self.path} has no table '{name}'; it has {', '.join(model.tables)}"
            )
        table = model.table(name)
        for column in columns or ():
            if column not in table:
                raise UnusableInput(
                    f"table '{name}' has no column '{column}'; it has {', '.join(table.names)}"
                )
        return self._snapshot().frame(name, columns)

    def chain(self) -> pd.DataFrame:
        """Every sample with its wood, place, plug, laboratory result and holder, joined.

        One row for each row of the table `sample`, in its order and with its row numbers; never
        more, whatever keys are there twice. NA where there is no such thing. New columns may be
        added at the end.

        Returns:
            A frame with the columns

            - `sample_id`, `site_id`, `element_id`, `kind`, `collected_on` (EDTF) of the sample;
            - `place_id`, `place_name`, `place_level` (story, 0 is the ground floor) of the place
              that the wood is in;
            - `wood_function`, `wood_species` (as seen in the field), `in_place` of the wood;
            - `plug_id`, `stamp`, `plug_status` of the standing plug, the one that none replaced
              (of several the last in the table);
            - `result_id`, `reported_on` (EDTF), `inner_year`, `outer_year` (`Int64`, astronomical:
              0 is 1 BC), `outer_symbol` of the newest result that no other supersedes; one with an
              outer year goes before one without, so that a date which one laboratory found is not
              undone by another that found none;
            - `holder_party_id`, `holder_since` (EDTF): who has the sample by the custody ledger,
              and since when; NA while it is on the way, and when it is lost or used up.

        Raises:
            UnusableInput: the record is closed, or the bundle is damaged.
            UnusablePackage: the file of a table is missing or broken.
        """
        from provenance._api.chain import chain_of
        from provenance._base.frames import to_pandas
        from provenance._record.tables import ROW

        return to_pandas(chain_of(self._snapshot()), index=ROW)

    def check(self) -> Report:
        """Say what is wrong in the record, and what to do.

        A zip is unpacked into a temporary folder for it, since rules look at the files too.

        Returns:
            The report; `clean` when there is neither error nor warning, the findings in `frame`.

        Raises:
            UnusablePackage: a schema asks for what Table Schema does not know.
            UnusableInput: the bundle is not safe to read, or lies as a folder in a store.
            TreenailError: a rule broke down, which is a fault of the program.
        """
        from provenance._catalogue.check_many import report_on

        self._refuse_closed()
        return report_on(self.path)

    def review(self) -> Review:
        """Say what waits for a person's word before the public edition shows it.

        Returns:
            What waits and what is decided; `waiting` counts, `frame` lists, `write_list` and
            `write_page` write what a person fills in, for `decided` to read.

        Raises:
            UnusableInput: the record is a bundle or lies in a store.
            UnusablePackage: it is a public edition, or a table cannot be read.
        """
        from provenance._bundle.review.review import review_package

        return review_package(self._to_change())

    def pack(self, out: str | Path, *, edition: str = "full", zipped: bool = False) -> Packed:
        """Write an archive bundle, with everything in it.

        `out` is the folder or, `zipped`, the file to write; `edition` is 'full' or 'public'. The
        same package makes the same bytes on any day. A package in which the check finds errors is
        packed all the same, with the report.

        Returns:
            Where the bundle lies (`path`), the check's `report`, and `differing`, files whose bytes
            are not those that the record has a checksum of. What the public edition withholds
            stands in its WITHHELD.txt.

        Raises:
            AlreadyThere: there is something at `out`.
            UnusableInput: the record is a bundle or lies in a store, or there is no such edition.
            UnusablePackage: a table cannot be read, or a file cannot go into a bundle.
        """
        from provenance._bundle.describe.editions import EDITIONS
        from provenance._bundle.pack import pack

        self._refuse_closed()
        if self.is_bundle:
            raise UnusableInput(
                f"{self.path} is a bundle, packed already; to work on it make a package of it "
                "('treenail unpack'), and pack that"
            )
        if not isinstance(self.path, Path):
            raise UnusableInput(f"{self.path} is in a store; copy it to a disk to pack it")
        if edition not in EDITIONS:
            raise UnusableInput(f"there is no edition '{edition}'; there is {', '.join(EDITIONS)}")
        return pack(self._package, out, edition=EDITIONS[edition], zipped=zipped)

    def close(self) -> None:
        """Let go of what is open; frames that were handed out stay good. Twice does no harm."""
        if self._opened is not None:
            self._opened.close()
            self._opened = None

    def __enter__(self) -> Record:
        """The record itself, to be closed at the end of the block."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it."""
        self.close()

    def __repr__(self) -> str:
        """What a notebook shows."""
        return f"<Record '{self.name}' at {self.path}>"

    def _to_change(self) -> Package:
        self._refuse_closed()
        if self.is_bundle or not isinstance(self.path, Path):
            raise UnusableInput(
                f"{self.path} is a bundle or is in a store, and cannot be changed there; unpack "
                "it with 'treenail unpack' and change the package"
            )
        return self._package

    def _snapshot(self) -> Snapshot:
        self._refuse_closed()
        return self._package.tables

    def _refuse_closed(self) -> None:
        if self._opened is None:
            raise UnusableInput(f"the record at {self.path} is closed; open it again")


def open(path: str | Path, *, even_if_damaged: bool = False) -> Record:
    """Open a package, or an archive bundle as a folder or a zip, to read what is recorded.

    `path` may be an address that fsspec reads (`s3://…`, `sftp://…`, `https://…`). It may come from
    a stranger: nothing is unpacked, no link is followed, and a zip that would harm is refused.
    A bundle is verified first, unless it is very large or lies in a store; its `verdict` says so.
    A damaged one is opened only with `even_if_damaged`, as far as it can be read.

    Returns:
        The record. Use it in a `with` block, or `close` it, to let go of a zip.

    Raises:
        UnusablePackage: there is nothing at `path`, or neither package nor bundle.
        UnusableInput: the bundle is damaged, cannot be read, or could do harm.
    """
    from provenance._bundle.answering import verdict_for_answer
    from provenance._bundle.in_place import opened_in_place

    place = place_at(path)
    with ExitStack() as opening:
        if isinstance(place, Path) and not place.is_file():
            place = bag_around(place)
            package = _package_in(place)
            is_bundle = package.folder != place
        else:
            package = opening.enter_context(opened_in_place(place))
            is_bundle = package.folder != Path(str(place))
        verdict = None
        if is_bundle:
            verdict = verdict_for_answer(place, even_if_damaged=even_if_damaged)
        return Record(place, package, opened=opening.pop_all(), verdict=verdict)


def _package_in(folder: Path) -> Package:
    """The package in a folder, or in the payload of a bundle that lies there."""
    from provenance._bundle.verify import open_record

    if (folder / DESCRIPTOR).is_file() or not folder.exists():
        return open_package(folder)
    if (folder / "bagit.txt").is_file() or (folder / "data").is_dir():
        return open_record(folder)
    raise UnusablePackage(
        f"{folder} is neither a package, which has a {DESCRIPTOR}, nor a bundle, which has a "
        "bagit.txt; check the name"
    )


def new(folder: str | Path, profile: str = "blank", *, title: str | None = None) -> Record:
    """Start a package for one kind of site.

    `folder` must not be there yet; `profile` is the name of a kind of place or the path of a YAML
    file, or several joined with '+'; without `title` the folder's name is the title.

    Returns:
        The record of the new package, its tables empty.

    Raises:
        AlreadyThere: the folder exists.
        TreenailError: there is no such profile, or it is faulty.
    """
    from provenance._record.new import new_package

    package = new_package(folder, profile, title=title)
    return Record(package.folder, package, opened=ExitStack())
