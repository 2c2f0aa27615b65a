"""Writes and reads the plain text inside a label's QR code.

The text needs no server and no program: any telephone shows it, and a person understands it.

    treenail 1 HOLL-231 H
    site Hollow Farm
    number 231
    kind core
    date 1987-06-14
    see https://example.org/HOLL-231

The first line is for machines: a fixed word, the version of this layout, the full identifier and
its check character. `site`, `number` and `kind` are always there; `date` and `see` may be missing.
Layout and words are this project's own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from urllib.parse import urlsplit

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import check_character
from provenance._identity.identifier import full_identifier, parse_identifier

MAGIC = "treenail"
LAYOUT_VERSION = 1
LONGEST_TEXT = 40
LONGEST_DATE = 48
LONGEST_ADDRESS = 200
LONGEST_PAYLOAD = 2000

_WORDS = ("site", "number", "kind", "date", "see")
# its line ends made into blanks or left out, as by a cell, a shell or the field of a page
_ON_ONE_LINE = re.compile(
    r"(\S+ \d+ \S+ [0-9A-Za-z])\s*(site .+?)\s*(number \S+?)\s*(kind .+?)"
    r"(?:\s*(date \S+?))?(?:\s*(see \S+))?"
)
_NEXT_CODE = re.compile(rf"(?={MAGIC}\s+\d+\s)", re.IGNORECASE)


@dataclass(frozen=True)
class SampleLabel:
    """What a label says of one sample.

    `site_name` is the name in words, or empty when only the code shall show; `kind` is the label
    of the sample's kind ('core'); `date` is EDTF or empty; `address` an http(s) address or empty.
    """

    site_id: str
    sample_id: str
    kind: str
    date: str = ""
    site_name: str = ""
    address: str = ""

    @property
    def identifier(self) -> str:
        """Site code and sample number, such as 'HOLL-231'."""
        return full_identifier(self.site_id, self.sample_id)

    @property
    def check_character(self) -> str:
        """The check character over `identifier`."""
        return check_character(self.identifier)


def one_line(text: str, longest: int = LONGEST_TEXT) -> str:
    """The text as one printable line of at most `longest` characters.

    Line breaks, tabs and control characters become blanks, so that no text can add a line of its
    own; characters that turn the reading direction or are invisible (Unicode category Cf), lone
    surrogates and unassigned code points are left out; runs of blanks become one; what is too
    long ends in '…'. Composed form (NFC).
    """
    kept: list[str] = []
    for character in unicodedata.normalize("NFC", text):
        category = unicodedata.category(character)
        if category in ("Cc", "Zl", "Zp", "Zs"):
            kept.append(" ")
        elif not category.startswith("C"):
            kept.append(character)
    line = unicodedata.normalize("NFC", " ".join("".join(kept).split()))
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def _address(text: str) -> str:
    address = text.strip()
    if not address:
        return ""
    try:
        parts = urlsplit(address)
        usable = parts.scheme in ("http", "https") and bool(parts.hostname)
    except ValueError:
        usable = False
    if not usable or len(address) > LONGEST_ADDRESS or not address.isascii() or " " in address:
        raise UnreadableValue(
            one_line(text),
            "is not a web address for a label; write https://… in ASCII, without blanks, "
            f"at most {LONGEST_ADDRESS} characters",
        )
    if any(ord(character) < 0x21 or ord(character) == 0x7F for character in address):
        raise UnreadableValue(one_line(text), "is a web address with control characters in it")
    return address


def cleaned(label: SampleLabel) -> SampleLabel:
    """The label as its payload can say it: one printable line a value, codes in capitals.

    Raises UnreadableValue for a code that cannot be an identifier or an unusable address.
    """
    identifier = full_identifier(label.site_id, label.sample_id)
    site_id, sample_id = identifier.split("-")
    site_name = one_line(label.site_name)
    return SampleLabel(
        site_id=site_id,
        sample_id=sample_id,
        kind=one_line(label.kind) or "sample",
        date=one_line(label.date, LONGEST_DATE),
        site_name="" if site_name == site_id else site_name,
        address=_address(label.address),
    )


def compose_payload(label: SampleLabel) -> str:
    r"""The text for a label's QR code, lines parted by '\n', no line break at the end.

    Names are cleaned (`one_line`); codes and the address are refused when they are unusable
    (UnreadableValue), never altered beyond capitals. A usual label takes 60 to 80 bytes of UTF-8.

    >>> print(compose_payload(SampleLabel("HOLL", "231", "core", "1987-06-14")))
    treenail 1 HOLL-231 H
    site HOLL
    number 231
    kind core
    date 1987-06-14
    """
    said = cleaned(label)
    lines = [
        f"{MAGIC} {LAYOUT_VERSION} {said.identifier} {said.check_character}",
        f"site {said.site_name or said.site_id}",
        f"number {said.sample_id}",
        f"kind {said.kind}",
    ]
    if said.date:
        lines.append(f"date {said.date}")
    if said.address:
        lines.append(f"see {said.address}")
    return "\n".join(lines)


def _shown(text: str) -> str:
    return one_line(text, 60)


def _read_first_line(line: str) -> tuple[str, str]:
    """Site code and sample number from the machine-readable line."""
    words = line.split()
    if not words or words[0] != MAGIC:
        raise UnreadableValue(
            _shown(line), f"is not a sample label of this kind; its first word would be '{MAGIC}'"
        )
    if len(words) != 4 or not (words[1].isascii() and words[1].isdigit()):
        raise UnreadableValue(
            _shown(line),
            f"is not whole; it should read '{MAGIC} {LAYOUT_VERSION}', identifier and check "
            "character; scan the label again",
        )
    if int(words[1][:9]) != LAYOUT_VERSION:
        raise UnreadableValue(
            _shown(line),
            f"is a label of layout {words[1][:9]}, and this version reads layout "
            f"{LAYOUT_VERSION}; use a newer version, or type the number by hand",
        )
    parsed = parse_identifier(f"{words[2]}-{words[3]}")
    return parsed.site_id, parsed.sample_id


def read_payload(text: str) -> SampleLabel:
    """Read the text that a scanner gives for a label's QR code.

    Line ends of any system are read, and blank lines passed over. Raises UnreadableValue that
    says which line is not as the layout has it: another kind of code, a newer layout, a check
    character that does not fit, a line missing, twice, or at odds with the first line.
    """
    if len(text) > LONGEST_PAYLOAD:
        raise UnreadableValue(_shown(text), "is far longer than a label; scan the label again")
    lines = [line.strip() for line in text.removeprefix("\ufeff").replace("\r", "\n").split("\n")]
    lines = [line for line in lines if line]
    if not lines:
        raise UnreadableValue("", "is empty; scan the label again")
    site_id, sample_id = _read_first_line(lines[0])
    said: dict[str, str] = {}
    for line in lines[1:]:
        word, _, rest = line.partition(" ")
        if word not in _WORDS or not rest.strip():
            raise UnreadableValue(_shown(line), "is no line of a label's layout 1")
        if word in said:
            raise UnreadableValue(_shown(line), f"is a second line '{word}' on one label")
        said[word] = rest.strip()
    missing = [word for word in ("site", "number", "kind") if word not in said]
    if missing:
        raise UnreadableValue(
            _shown(lines[-1]),
            f"is where the label ends, and its line '{missing[0]}' is missing; scan it again",
        )
    if said["number"].upper() != sample_id:
        raise UnreadableValue(
            _shown(said["number"]), f"is the number in words, and the first line says {sample_id}"
        )
    return cleaned(
        SampleLabel(
            site_id=site_id,
            sample_id=sample_id,
            kind=said["kind"],
            date=said.get("date", ""),
            site_name=said["site"],
            address=said.get("see", ""),
        )
    )


def is_scan(text: str) -> bool:
    """Whether the text begins as a label's code does."""
    return _NEXT_CODE.match(text.lstrip("\ufeff").lstrip()) is not None


def read_scan(text: str) -> SampleLabel:
    """Read a label's code as it comes out of a scanner, a cell or a shell.

    That is whole, on one line, or its first line alone, which says the sample by itself. Raises
    UnreadableValue as `read_payload` does.

    >>> read_scan("treenail 1 HOLL-231 H site HOLL number 231 kind core").sample_id
    '231'
    """
    line = text.removeprefix("\ufeff").strip()
    if "\n" in line or "\r" in line:
        return read_payload(line)
    if len(line.split()) == 4:
        site_id, sample_id = _read_first_line(line)
        return SampleLabel(site_id, sample_id, kind="")
    parts = _ON_ONE_LINE.fullmatch(line)
    return read_payload("\n".join(filter(None, parts.groups())) if parts else line)


def split_scans(text: str) -> Iterator[tuple[int, str]]:
    """What stands in a scanner's lines, one thing at a time, with the number of its first line.

    A label's code may take one line or several, and follow the one before it without a break; every
    other line is a thing of its own. Blank lines are passed over.

    >>> list(split_scans("231\\ntreenail 1 HOLL-232 F\\nsite HOLL"))
    [(1, '231'), (2, 'treenail 1 HOLL-232 F\\nsite HOLL')]
    """
    begun: tuple[int, str] | None = None
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
        for part in filter(None, (one.strip() for one in _NEXT_CODE.split(line))):
            if begun and is_scan(begun[1]) and part.partition(" ")[0] in _WORDS:
                begun = (begun[0], f"{begun[1]}\n{part}")
                continue
            if begun:
                yield begun
            begun = (number, part)
    if begun:
        yield begun
