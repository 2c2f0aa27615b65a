"""Attaches files and drafts a row for every picture that has none, in one step."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path, PurePosixPath

from provenance._base.disk import sha256_of
from provenance._base.portable import folded, unportable_because
from provenance._base.progress import Progress, say_nothing, stretch
from provenance._intake.attachments import (
    KEPT_IN,
    TABLE,
    Copy,
    copies_of,
    file_number,
    paths_kept,
    put_files,
    refuse_others,
)
from provenance._intake.photos.drafting import RESTRICTED, Seen, draft_row
from provenance._intake.photos.matching import match
from provenance._intake.photos.names import Names
from provenance._intake.photos.picture import (
    INSTALL,
    Look,
    can_read_codes,
    is_heif,
    is_picture,
    look_at,
    look_for_camera,
)
from provenance._intake.photos.subjects import Subjects
from provenance._record.package import Package
from provenance._record.snapshot import Row

CONVERTED = ".converted"
NO_LOOK = Look()


@dataclass(frozen=True)
class Remark:
    """What a person should look at, about one file; `path` is the one in the package."""

    path: str
    says: str


@dataclass(frozen=True)
class PicturesAttached:
    """What came of attaching; paths are those in the package.

    `copied` are new; `unchanged` were there already under the same name; `duplicates` map a file
    that was not copied to the path at which the same bytes are kept; `drafted` are the new rows of
    the table 'file', and `told_by` says by path what linked each; `converted` are copies drawn for
    pages; `undescribed` have no row yet.
    """

    copied: tuple[str, ...]
    unchanged: tuple[str, ...]
    duplicates: Mapping[Path, str]
    drafted: tuple[Mapping[str, str], ...]
    told_by: Mapping[str, str]
    converted: tuple[str, ...]
    undescribed: tuple[str, ...]
    remarks: tuple[Remark, ...]


@dataclass
class _Plan:
    """What is to be done with each file that was handed in."""

    keep: list[Copy] = field(default_factory=list)
    draft: list[Copy] = field(default_factory=list)
    convert: list[Copy] = field(default_factory=list)
    undescribed: list[str] = field(default_factory=list)
    duplicates: dict[Path, str] = field(default_factory=dict)


def attach_pictures(
    package: Package,
    sources: Sequence[Path],
    under: str = KEPT_IN,
    *,
    access: str = RESTRICTED,
    draft: bool = True,
    today: date | None = None,
    trial: bool = False,
    progress: Progress = say_nothing,
) -> PicturesAttached:
    """Copy files, or all files below folders, and draft a row for every picture that has none.

    A row is drafted from the camera's data, the codes in view and the name; where these do not tell
    what the picture is about, the link stays blank and a remark asks. Rows that are there are left
    as they are, but for media type, size and checksum. The same bytes are kept once. A HEIC picture
    gets a converted copy beside it, which pages show. `access` is that of the new rows; without
    `draft` there are none; a `trial` writes nothing. Raises as `attach_files`, and then nothing is
    copied.
    """
    copies = copies_of(sources, under)
    sums = {copy.source: sha256_of(copy.source) for copy in copies if is_picture(copy.source)}
    # looking takes long, so it is done before the package is held against others
    plan = _plan(package, copies, sums, draft)
    looks = {copy.source: NO_LOOK for copy in (*plan.draft, *plan.convert)}
    for done, source in enumerate(looks):
        stretch(progress, 0, 2)(done, len(looks))
        looks[source] = look_at(source)
    package.finish_writing()
    with package.locked():
        plan = _plan(package, copies, sums, draft)
        unchanged = refuse_others(package, plan.keep)
        drafts = _Drafts(package, access, today or date.today(), looks)
        drafts.add_rows(plan.draft, sums)
        drafts.add_converted(plan.convert, {copy.path for copy in plan.keep})
        if not trial:
            put_files(
                package,
                plan.keep,
                made=drafts.made,
                new_rows=drafts.rows,
                progress=stretch(progress, 1, 2),
            )
    if plan.draft and not can_read_codes():
        drafts.remark(under, f"labels in view were not read: {INSTALL} brings what reads them")
    return PicturesAttached(
        copied=tuple(sorted({copy.path for copy in plan.keep} - unchanged)),
        unchanged=tuple(sorted(unchanged)),
        duplicates=plan.duplicates,
        drafted=tuple(drafts.rows),
        told_by=drafts.told_by,
        converted=tuple(drafts.made),
        undescribed=tuple(sorted(plan.undescribed)),
        remarks=tuple(drafts.remarks),
    )


def _plan(package: Package, copies: Sequence[Copy], sums: Mapping[Path, str], draft: bool) -> _Plan:
    plan = _Plan()
    described = set(package.tables.column(TABLE, "path"))
    kept = _Kept(package)
    rows = package.tables.rows(TABLE)
    have_copies = {row["about_id"] for row in rows if row["about_table"] == TABLE}
    without_copy = {row["path"] for row in rows if row["file_id"] not in have_copies}
    first: dict[str, str] = {}
    # a row asks for its file under that name, whatever else has the same bytes
    for copy in sorted(copies, key=lambda one: one.path not in described):
        digest = sums.get(copy.source)
        if copy.path in described:
            plan.keep.append(copy)
            first.setdefault(digest or "", copy.path)
        elif digest is None:
            plan.keep.append(copy)
            plan.undescribed.append(copy.path)
        else:
            where = first.get(digest) or kept.path_of(copy.source, digest, copy.path) or copy.path
            first.setdefault(digest, where)
            if where != copy.path:
                plan.duplicates[copy.source] = where
                continue
            plan.keep.append(copy)
            if draft:
                plan.draft.append(copy)
            else:
                plan.undescribed.append(copy.path)
    drafted = {copy.path for copy in plan.draft}
    plan.convert = [
        copy
        for copy in plan.keep
        if draft
        and copy.source in sums
        and copy.path in without_copy | drafted
        and is_heif(copy.source)
    ]
    return plan


class _Kept:
    """The files that a package holds already, found by their bytes."""

    def __init__(self, package: Package) -> None:
        self._folder = package.folder
        self._sizes: dict[int, list[str]] = defaultdict(list)
        self._sums: dict[str, str] = {}
        for path in paths_kept(package):
            self._sizes[(package.folder / path).stat().st_size].append(path)

    def path_of(self, source: Path, digest: str, wanted: str) -> str:
        """Where the same bytes lie, at `wanted` if they do so there; '' for nowhere."""
        same = []
        for path in self._sizes.get(source.stat().st_size, ()):
            if path not in self._sums:
                self._sums[path] = sha256_of(self._folder / path)
            if self._sums[path] == digest:
                same.append(path)
        return wanted if wanted in same else next(iter(same), "")


class _Drafts:
    """The rows and converted copies that are to be added, and what is to be said of them."""

    def __init__(self, package: Package, access: str, today: date, looks: dict[Path, Look]) -> None:
        self.package, self.access, self.today = package, access, today
        self._looks = looks
        self.rows: list[dict[str, str]] = []
        self.made: dict[str, bytes] = {}
        self.told_by: dict[str, str] = {}
        self.remarks: list[Remark] = []
        self._before = package.tables.rows(TABLE)
        self._numbers = {row["file_id"] for row in self._before}

    def remark(self, path: str, says: str) -> None:
        """Say something of a file, once."""
        if (one := Remark(path, says)) not in self.remarks:
            self.remarks.append(one)

    def _look(self, source: Path) -> Look:
        # a file that somebody took out of the package while the others were looked at is new
        if source not in self._looks:
            self._looks[source] = look_at(source)
        return self._looks[source]

    def add_rows(self, copies: Sequence[Copy], sums: Mapping[Path, str]) -> None:
        """Draft the rows of pictures that have none."""
        subjects = Subjects(self.package.tables)
        names = Names(subjects)
        marks: dict[tuple[object, ...], str] | None = None
        for copy in copies:
            look = self._look(copy.source)
            name = names.read(PurePosixPath(copy.path).relative_to(KEPT_IN))
            digest = sums[copy.source]
            seen = Seen(copy.path, digest, look, name, match(look.codes, name, subjects))
            number = file_number(digest, self._numbers)
            twin = ""
            if mark := look.camera.mark:
                if marks is None:
                    marks = self._marks_before()
                twin = marks.setdefault(mark, number)
            row, remarks = draft_row(
                seen,
                number,
                self.package.model,
                access=self.access,
                today=self.today,
                twin="" if twin == number else twin,
            )
            self._add(row)
            self.told_by[copy.path] = seen.match.by
            for says in remarks:
                self.remark(copy.path, says)

    def _marks_before(self) -> dict[tuple[object, ...], str]:
        """What the cameras wrote into the pictures that have a row already."""
        marks: dict[tuple[object, ...], str] = {}
        kept = set(paths_kept(self.package))
        for row in self._before:
            path = self.package.folder / row["path"]
            if row["path"] in kept and is_picture(path) and (mark := look_for_camera(path).mark):
                marks.setdefault(mark, row["file_id"])
        return marks

    def add_converted(self, copies: Sequence[Copy], paths: Iterable[str]) -> None:
        """Add a copy for pages of each HEIC picture, beside it; `paths` are those of new files."""
        rows: dict[str, Row] = {row["path"]: row for row in [*self._before, *self.rows]}
        names = {folded(one) for one in (*paths_kept(self.package), *paths)}
        for copy in copies:
            look, row = self._look(copy.source), rows[copy.path]
            if not look.copy:
                self.remark(copy.path, look.trouble)
                continue
            path = _free_name(copy.path, names)
            if why := unportable_because(path):
                self.remark(copy.path, f"a copy for pages would be {path}, and {why}; rename it")
                continue
            self.made[path] = look.copy
            names.add(folded(path))
            self._add(
                {
                    "file_id": self._copy_number(row["file_id"]),
                    "path": path,
                    "kind": row["kind"],
                    "title": f"Converted copy of {row['file_id']}",
                    "about_table": TABLE,
                    "about_id": row["file_id"],
                    "taken_on": row["taken_on"],
                    "taken_by": row.get("taken_by", ""),
                    "access": row["access"],
                    "notes": "Made smaller and upright for pages, without what the camera wrote.",
                }
            )

    def _add(self, row: dict[str, str]) -> None:
        self.rows.append(row)
        self._numbers.add(row["file_id"])

    def _copy_number(self, of: str) -> str:
        number, count = f"{of[:40]}-JPG", 1
        while number in self._numbers:
            count += 1
            number = f"{of[:40]}-JPG{count}"
        return number


def _free_name(path: str, taken: set[str]) -> str:
    """A name for the copy of a picture, beside it."""
    stem, count = f"{PurePosixPath(path).with_suffix('')}{CONVERTED}", 1
    name = f"{stem}.jpg"
    while folded(name) in taken:
        count += 1
        name = f"{stem}-{count}.jpg"
    return name
