"""Judges a bag that anyone made, by RFC 8493 alone or by the older BagIt version that it declares.

What version 1.0 makes an error and the versions before it did not is a warning in their bags. The
files are read where they lie: nothing is unpacked, and nothing that fetch.txt lists is fetched.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

from provenance._bag.bag import tags_in
from provenance._bag.bag_check import ENCODINGS, HEX_DIGITS, MANIFEST, WEAK, compare_sums
from provenance._bag.hashing import ALGORITHMS, NO_CHECKSUMS, Checksums
from provenance._bag.hostile import MOST_SHOWN, HostileBundle
from provenance._bag.hostile_zip import ZipBag
from provenance._bag.names import name_collisions, unsafe_because
from provenance._bag.streaming import Container, hash_members, opened_container, read_whole
from provenance._bag.verdict import BagVerdict, BundleFinding, ToFetch
from provenance._base.progress import Progress, say_nothing
from provenance._gate.budget import DEFAULT_BUDGET, Budget
from provenance._record.remote import Place, place_at

VERSIONS = ("0.93", "0.94", "0.95", "0.96", "0.97", "1.0")
_MORE_ENCODINGS = frozenset(
    {"latin-1", "windows-1252", "cp1252", "iso-8859-15", "utf-16le", "utf-16be", "utf-32"}
)
_DECLARATION = re.compile(
    r"BagIt-Version: (\d+\.\d+)(?:\r\n|\r|\n)Tag-File-Character-Encoding: (\S+)(?:\r\n|\r|\n)?"
)
_WITH_BLANKS = re.compile(
    r"\s*BagIt-Version\s*:\s*\S+\s*[\r\n]\s*Tag-File-Character-Encoding\s*:\s*\S+\s*"
)
_LINE_END = re.compile(r"\r\n|\r|\n")
_FETCH_LINE = re.compile(r"(\S+)[ \t]+(\d{1,18}|-)[ \t]+(.+)")
_ESCAPE = re.compile("%(25|0A|0D)", re.IGNORECASE)
_ASK_AGAIN = "Ask its sender for the bag again; do not repair it by hand."
_HARMLESS = "Nothing needs to be done; a bag that is made anew should be as RFC 8493 has it."
_ODD = {
    "*": "has '*' before {count} of its paths, as the program md5sum writes them",
    "./": "has './' before {count} of its paths",
    "%": "has a '%' in {count} of its paths that is not written as %25",
}
RECORD_MARK = "data/schemas/model.json"
_RECORD = frozenset({"data/datapackage.json", "data/bundle.json"})


def holds_record(paths: Collection[str]) -> bool:
    """Whether these are paths of a bag that holds a record of this program, or once did."""
    return RECORD_MARK in paths or _RECORD.issubset(paths)


def judge_any_bag(
    bag: Place | str,
    *,
    fast: bool = False,
    known: Checksums = NO_CHECKSUMS,
    limits: Budget = DEFAULT_BUDGET,
    progress: Progress = say_nothing,
) -> BagVerdict:
    """Judge a bag, a folder or a zip, by RFC 8493 alone, whatever it holds.

    What could do harm is not opened, and the verdict names it. With `fast` no checksum is computed;
    those in `known` are not computed again.
    Raises UnusableInput when there is nothing at `bag`, or it cannot be read, and OSError.
    """
    bag = place_at(bag)
    paths: Collection[str] = ()
    try:
        with opened_container(bag, limits, twins=True) as container:
            paths = container.sizes
            return judge_container(
                bag, container, fast=fast, known=known, limits=limits, progress=progress
            )
    except HostileBundle as error:
        depth = "fast" if fast else "full"
        return BagVerdict(bag, depth, tuple(error.findings), holds_record=holds_record(paths))


def judge_container(
    bag: Place,
    container: Container,
    *,
    fast: bool,
    known: Checksums,
    limits: Budget,
    progress: Progress,
) -> BagVerdict:
    """Judge a bag that is open; `bag` is what a person knows it by. Otherwise as `judge_any_bag`.

    Raises HostileBundle for a member of a zip that is not of its declared size.
    """
    judging = _Judging(bag, container, limits)
    if judging.declaration_is_read() and judging.manifests_are_read():
        judging.compare_names()
        judging.check_sizes()
        if not fast:
            judging.compare_contents(known, progress)
    return BagVerdict(
        bag,
        "fast" if fast else "full",
        tuple(judging.findings),
        judging.version,
        tuple(judging.to_fetch),
        holds_record({*container.sizes, *judging.wanted}),
        judging.identity,
        len(container.sizes),
        sum(container.sizes.values()),
    )


class _Judging:
    """What is found in one bag while its lists and then its files are read."""

    def __init__(self, bag: Place, container: Container, limits: Budget) -> None:
        self.bag = bag
        self.container = container
        self.limits = limits
        self.sizes = container.sizes
        self.findings = [*(container.stray if isinstance(container, ZipBag) else ())]
        self.version = self.encoding = self.identity = ""
        self.payload: dict[str, dict[str, str]] = {}  # algorithm → path → checksum
        self.wanted: dict[str, dict[str, str]] = {}  # path → algorithm → checksum, of all manifests
        self.to_fetch: list[ToFetch] = []
        self._in_form = {unicodedata.normalize("NFC", path): path for path in self.sizes}

    def _add(self, rule: str, path: str, message: str, remedy: str = _ASK_AGAIN) -> None:
        self.findings.append(BundleFinding("bag", "error", rule, path, message, remedy))

    def _warn(self, rule: str, path: str, message: str, remedy: str = _HARMLESS) -> None:
        self.findings.append(BundleFinding("bag", "warning", rule, path, message, remedy))

    def _add_since_1_0(self, rule: str, path: str, message: str) -> None:
        """An error in a bag of version 1.0, which was the first to forbid it."""
        (self._add if self.version == "1.0" else self._warn)(rule, path, message)

    def _text(self, path: str, encoding: str) -> str | None:
        """A tag file as text, or None when it cannot be read as such, which is a finding."""
        if self.sizes[path] > self.limits.most_manifest_bytes:
            message = f"has {self.sizes[path]} bytes; at most {self.limits.most_manifest_bytes} "
            self._add("bag.tag_file_too_big", path, f"{message}are read")
            return None
        raw = b"".join(read_whole(self.container, self.bag, path))
        try:
            text = raw.decode(encoding)
        except UnicodeError as error:
            self._add("bag.tag_file_unreadable", path, f"cannot be read as {encoding}: {error}")
            return None
        if text.startswith("\ufeff"):
            self._add("bag.byte_order_mark", path, "begins with a byte order mark")
            return None
        return text

    def _lines(self, path: str, text: str) -> Iterator[tuple[int, str]]:
        """The lines that are not blank, with their numbers, until too many of them are wrong."""
        before = len(self.findings)
        for number, line in enumerate(_LINE_END.split(text), start=1):
            if not line.strip():
                continue
            if len(self.findings) - before >= self.limits.most_faults_named:
                message = f"has too many wrong lines; it is not read from line {number} on"
                self._add("bag.wrong_lines", path, message)
                return
            yield number, line

    # -- bagit.txt (RFC 8493 section 2.1.1) ------------------------------------------------------

    def declaration_is_read(self) -> bool:
        """Read version and encoding; False when the rest cannot be read without them."""
        path = "bagit.txt"
        if path not in self.sizes:
            self._add(
                "bag.no_declaration",
                path,
                "is missing, so this is not a BagIt bag",
                "A bag has the files bagit.txt and manifest-….txt beside its folder data/.",
            )
            return False
        text = self._text(path, "utf-8")
        if text is None:
            return False
        tags = {label.strip(): value for label, value in tags_in(text).items()}
        self.version = tags.get("BagIt-Version", "")[:MOST_SHOWN]
        self.encoding = tags.get("Tag-File-Character-Encoding", "").lower()[:MOST_SHOWN]
        if self.version not in VERSIONS:
            message = f"declares the version {self.version!r}; versions of BagIt are "
            self._add("bag.version", path, message + ", ".join(VERSIONS))
        elif self.encoding not in ENCODINGS | _MORE_ENCODINGS:
            self._add("bag.encoding", path, f"declares the encoding {self.encoding!r}")
        else:
            if not _DECLARATION.fullmatch(text):
                told = "is not the two lines 'BagIt-Version: …' and 'Tag-File-Character-Encoding: "
                blanks_alone = _WITH_BLANKS.fullmatch(text)
                add = self._add_since_1_0 if blanks_alone else self._add
                add("bag.declaration", path, f"{told}…' and nothing else")
            return True
        return False

    # -- lists of checksums (sections 2.1.3, 2.2.1 and 2.4) --------------------------------------

    def manifests_are_read(self) -> bool:
        """Read every list of checksums; False when there is none of the payload."""
        for path in sorted(self.sizes):
            if not (found := MANIFEST.fullmatch(path)):
                continue
            of_tags, algorithm = found.groups()
            if algorithm not in HEX_DIGITS:
                message = f"uses the algorithm '{algorithm}', which is not known here"
                self._warn("bag.unknown_checksum", path, f"{message}; it was not compared")
                continue
            if (text := self._text(path, self.encoding)) is None:
                continue
            listed = self._listed(path, text, algorithm, bool(of_tags))
            if not of_tags:
                self.payload[algorithm] = listed
            for name, digest in listed.items():
                self.wanted.setdefault(name, {})[algorithm] = digest
        if not self.payload:
            self._add("bag.no_manifest", "", "the bag has no list of checksums that can be read")
            return False
        self._name_the_list()
        return True

    def _name_the_list(self) -> None:
        first = next(one for one in (*ALGORITHMS, *self.payload) if one in self.payload)
        raw = read_whole(self.container, self.bag, f"manifest-{first}.txt")
        self.identity = hashlib.sha256(b"".join(raw)).hexdigest()
        if self.payload.keys() <= WEAK:
            self._warn(
                "bag.weak_checksums",
                f"manifest-{first}.txt",
                "the only checksums are MD5 or SHA-1, which can be forged",
                "Trust it against accident, not against intent.",
            )

    def _listed(self, manifest: str, text: str, algorithm: str, of_tags: bool) -> dict[str, str]:
        """Path → checksum as a manifest has them."""
        line_form = re.compile(rf"([0-9A-Fa-f]{{{HEX_DIGITS[algorithm]}}})[ \t]+(\*?)(.+)")
        listed: dict[str, str] = {}
        odd: Counter[str] = Counter()
        for number, line in self._lines(manifest, text):
            if not (found := line_form.fullmatch(line)):
                message = f"line {number} is not checksum and path"
                self._add("bag.manifest_line", manifest, message)
                continue
            digest, star, written = found[1].lower(), found[2], found[3]
            path = self._path_of(written, odd)
            odd["*"] += bool(star)
            if not self._may_be_listed(manifest, number, path, of_tags):
                continue
            if path not in listed:
                listed[path] = digest
            elif listed[path] == digest:
                self._add_since_1_0("bag.listed_twice", path, f"is listed twice in {manifest}")
            else:
                self._add("bag.two_checksums", path, f"has two checksums in {manifest}")
        for mark, message in _ODD.items():
            if odd[mark]:
                self._warn("bag.odd_path", manifest, message.format(count=odd[mark]))
        return listed

    def _path_of(self, written: str, odd: Counter[str]) -> str:
        """The path that a list means; what is unusual in how it is written is counted."""
        odd["./"] += written.startswith("./")
        written = written.removeprefix("./")
        if "%" not in written:
            return written

        def meant(found: re.Match[str]) -> str:
            # a percent sign itself is written as %25 since version 1.0 only
            code = found[1]
            return chr(int(code, 16)) if code != "25" or self.version == "1.0" else found[0]

        path = _ESCAPE.sub(meant, written)
        if self.version == "1.0":
            as_written = path not in self.sizes and written in self.sizes
            odd["%"] += as_written or "%" in _ESCAPE.sub("", written)
            return written if as_written else path
        return path

    def _may_be_listed(self, listing: str, number: int, path: str, of_tags: bool) -> bool:
        if reason := unsafe_because(path, self.limits):
            message = f"line {number} names {path[:MOST_SHOWN]!r}, which is not followed: {reason}"
            self._add("bag.unsafe_path", listing, message)
        elif path.startswith("data/") == of_tags:
            where = "outside" if of_tags else "inside"
            message = f"line {number}: {path!r} is not {where} data/"
            self._add("bag.manifest_line", listing, message)
        else:
            return True
        return False

    # -- complete? (sections 2.2.3 and 3) --------------------------------------------------------

    def compare_names(self) -> None:
        """Hold what is listed against what is there, and find what is still to be fetched."""
        # a zip need not list its folders
        if isinstance(self.bag, Path) and self.bag.is_dir() and not (self.bag / "data").is_dir():
            self._add("bag.no_payload_folder", "data", "is missing; a bag must have this folder")
        everything = {path for listed in self.payload.values() for path in listed}
        for algorithm, listed in self.payload.items():
            message = f"is missing from manifest-{algorithm}.txt"
            for path in sorted(everything - listed.keys()):
                self._add_since_1_0("bag.file_unlisted", path, message)
        there = {path for path in map(self._there, self.wanted) if path}
        for path in sorted(self.sizes):
            if path.startswith("data/") and path not in there:
                self._add("bag.file_extra", path, "is in the bag but in no manifest")
        fetched = self._fetch_list(everything)
        for path in sorted(self.wanted):
            if self._there(path):
                continue
            if one := fetched.get(path):
                self.to_fetch.append(one)
            else:
                self._add("bag.file_missing", path, "is in a manifest but is not in the bag")
        self._say_of_fetch(len(fetched))
        self._warn_of_names(there)

    def _there(self, path: str) -> str | None:
        """The file of a listed path: its name may have changed its Unicode form on the way."""
        if path in self.sizes:
            return path
        other = self._in_form.get(unicodedata.normalize("NFC", path))
        return None if other in self.wanted else other

    def _fetch_list(self, everything: Collection[str]) -> dict[str, ToFetch]:
        found: dict[str, ToFetch] = {}
        text = self._text("fetch.txt", self.encoding) if "fetch.txt" in self.sizes else None
        for number, line in self._lines("fetch.txt", text or ""):
            parts = _FETCH_LINE.fullmatch(line)
            if parts is None or not _is_url(parts[1]):
                message = f"line {number} is not address, size or '-', and path"
                self._add("bag.fetch_line", "fetch.txt", message)
                continue
            path = self._path_of(parts[3], Counter())
            if not self._may_be_listed("fetch.txt", number, path, of_tags=False):
                continue
            if path not in everything:
                message = f"line {number}: {path!r} is in no manifest"
                self._add("bag.fetch_line", "fetch.txt", message)
            size = None if parts[2] == "-" else int(parts[2])
            found.setdefault(path, ToFetch(path, parts[1], size))
        return found

    def _say_of_fetch(self, count: int) -> None:
        if self.to_fetch:
            self._warn(
                "bag.incomplete",
                "fetch.txt",
                f"lists files that are not here yet: {len(self.to_fetch)} of {count}; this program "
                "fetches nothing",
                "Ask its sender for the complete bag, or fetch the files and verify it again.",
            )
        elif "fetch.txt" in self.sizes:
            message = f"lists files to be fetched, all of which are here: {count}"
            self._warn("bag.all_fetched", "fetch.txt", message)

    def _warn_of_names(self, listed: Collection[str]) -> None:
        """Tag files without a checksum (section 2.2.1), and names that are one on some systems."""
        tags = [path for path in sorted(self.sizes) if not path.startswith("data/")]
        if any(path.startswith("tagmanifest-") for path in tags):
            for path in tags:
                if not path.startswith("tagmanifest-") and path not in listed:
                    self._warn(
                        "bag.tag_file_unlisted",
                        path,
                        "has no checksum, so it cannot be known whether it was added or changed "
                        "later",
                        "Trust nothing that it says; ask the sender whether it belongs here.",
                    )
        for one, other in name_collisions(self.sizes):
            self._warn(
                "bag.name_twins",
                other[:MOST_SHOWN],
                f"is the same name as {one[:MOST_SHOWN]!r} on some systems",
                "Keep it as a zip, or on a disk that tells the two names apart.",
            )

    # -- sizes and contents (sections 2.2.2 and 3) -----------------------------------------------

    def check_sizes(self) -> None:
        """Hold the payload against the tag Payload-Oxum, once nothing of it is missing."""
        name = "package-info.txt" if self.version <= "0.95" else "bag-info.txt"
        if name not in self.sizes or (text := self._text(name, self.encoding)) is None:
            return
        for number, line in self._lines(name, text):
            if ":" not in line and line[:1] not in (" ", "\t"):
                self._add("bag.tag_line", name, f"line {number} has no colon behind a label")
        tags = {label.strip().lower(): value for label, value in tags_in(text).items()}
        oxum = tags.get("payload-oxum")
        if oxum is None:
            return
        sizes = [size for path, size in self.sizes.items() if path.startswith("data/")]
        here = f"{sum(sizes)}.{len(sizes)}"
        if not re.fullmatch(r"\d+\.\d+", oxum):
            message = f"has the Payload-Oxum {oxum[:MOST_SHOWN]!r}, which is not BYTES.FILES"
            self._add("bag.oxum", name, message)
        elif not self.to_fetch and oxum != here:
            message = f"has the Payload-Oxum {oxum[:MOST_SHOWN]} (bytes.files); here are {here}"
            self._add("bag.oxum", name, message)

    def compare_contents(self, known: Checksums, progress: Progress) -> None:
        """Hold every file that is there against the checksums that it is listed with."""
        wanted = {here: sums for path, sums in self.wanted.items() if (here := self._there(path))}
        left = [
            path
            for path, sums in wanted.items()
            if path not in known.unreadable and not set(sums) <= set(known.digests.get(path, ()))
        ]
        known = known.with_more(hash_members(self.container, left, progress=progress))
        self.findings += known.faults
        # a member that is damaged inside a zip is among the faults
        done = known.digests.keys() | known.unreadable.keys()
        readable = {path: sums for path, sums in wanted.items() if path in done}
        differing = compare_sums(readable, known)
        self.findings += (replace(one, remedy=_ASK_AGAIN) for one in differing)


def _is_url(text: str) -> bool:
    try:
        found = urlsplit(text)
    except ValueError:
        return False
    return bool(found.scheme) and (bool(found.netloc) or found.scheme == "file")
