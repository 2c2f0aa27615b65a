"""Writes and reads the short text inside the QR code of a label, a tag, a box or a parcel.

    TREENAIL HOLL-231-JV
    TREENAIL HOLL:BOX-12-TD
    TREENAIL HOLL-231-JV see https://example.org/HOLL-231

It says what finds the record and no more, because a short code has large squares and reads from a
worn label where a long one does not: a fixed word, the site, the number, and the check letters.
Behind a colon stands the code of what samples lie in, made from the words for it (`inside_code`).
Capitals, digits and `- : . /` are what a QR code packs closest (alphanumeric mode); the blank keeps
phones from taking the text for an address. An address is added only for a package with a resolver.

    TREENAIL 2 2026.0003/17 WD

is layout 2, of a sample that bears the number of a store: the number of its accession, its own
running number in that accession, and check letters over all of it, the signs between them too. It
is for numbers as found, two of which ('AF-11', 'AF1-1') may share their check letters.

Labels of before say `treenail 1 HOLL-231 H` and behind it, on lines of their own, `site`, `number`,
`kind` and perhaps `date` and `see`. They are read for ever. Words and layouts are this project's
own.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import urlsplit

from provenance._base.errors import UnreadableValue
from provenance._identity.check_character import LETTERS, check_letters, is_check, letters_over
from provenance._identity.identifier import (
    as_coded,
    as_said,
    checked_identifier,
    parse_identifier,
    refuse_misfit,
)
from provenance._model.schema import STRICT

MAGIC = "TREENAIL"
LONGEST_TEXT = 40
LONGEST_ADDRESS = 200
LONGEST_INSIDE = 60
LONGEST_SCAN = 2000

_WORDS = ("site", "number", "kind", "date", "see")
_NEXT_CODE = re.compile(rf"(?={MAGIC}\s+(?:\d+\s|[0-9A-Z._/%]+[-:]\S))", re.IGNORECASE)
# without its word only where it ends as check letters do: a crew's own 'LAB:2023-1' is no code
_INSIDE = re.compile(
    rf"({MAGIC}\s+[0-9A-Z._/%]+:\S+|[0-9A-Z._/]+:[0-9A-Z]+(-[0-9A-Z]+)*-[{LETTERS}]{{2}})",
    re.IGNORECASE,
)
_STORE_NUMBER = re.compile(r"\S(?:.*\S)?/[0-9]{1,9}")
LONGEST_STORE_NUMBER = 80
# of layout 1, its line ends made into blanks or left out, as by a cell, a shell or a page's field
_LAYOUT_1 = re.compile(rf"{MAGIC} (\d+) (\S+) ([0-9A-Z])(?: ?(site .+))?", re.IGNORECASE)


@dataclass(frozen=True)
class Scanned:
    """What a code says: the number of a sample, or `inside`, the code of what samples lie in.

    Or `store_number` alone, which the store knows and the record does not.
    """

    site_id: str
    sample_id: str = ""
    inside: str = ""
    store_number: str = ""

    @property
    def identifier(self) -> str:
        """'HOLL-231', 'HOLL:BOX-12' or '2026.0003/17'."""
        if self.store_number:
            return self.store_number
        between = ":" if self.inside else "-"
        return f"{self.site_id}{between}{self.inside or self.sample_id}"


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


def compose_code(
    site_id: str, sample_id: str, address: str = "", *, numbering: str = STRICT
) -> str:
    """The text for a sample's code; with an http(s) `address` behind it where one is given.

    Raises UnreadableValue for a code that cannot be an identifier or an unusable address.

    >>> compose_code("HOLL", "201")
    'TREENAIL HOLL-201-AY'
    """
    return _with_address(checked_identifier(site_id, sample_id, numbering), address)


def compose_store_code(store_number: str, address: str = "") -> str:
    """The text for the code of a sample with a store number (layout 2).

    Raises UnreadableValue for what is no store number or an unusable address.

    >>> compose_store_code("2026.0003/17")
    'TREENAIL 2 2026.0003/17 WD'
    """
    check_store_number(store_number)
    return _with_address(f"2 {as_coded(store_number)} {store_check(store_number)}", address)


def check_store_number(store_number: str) -> None:
    """Raise UnreadableValue for what is no accession number, '/' and running number in it."""
    if not _STORE_NUMBER.fullmatch(store_number) or len(store_number) > LONGEST_STORE_NUMBER:
        raise UnreadableValue(
            _shown(store_number),
            "is not a store number; write the accession number, '/' and the running number, such "
            f"as 2026.0003/17, at most {LONGEST_STORE_NUMBER} characters",
        )


def store_check(number: str) -> str:
    """The check letters of a store number.

    >>> store_check("2026.0003/17"), store_check("2026.00031/7")
    ('WD', 'UE')
    """
    # signs between the parts are covered too: 2026.0003/17 is not 2026.00031/7
    return letters_over(
        re.sub("[^0-9A-Z]", lambda sign: sign[0].encode().hex().upper(), number.upper())
    )


def _with_address(text: str, address: str) -> str:
    text = f"{MAGIC} {text}"
    address = _address(address)
    return f"{text} see {address}" if address else text


@lru_cache(maxsize=4096)
def inside_code(words: str) -> str:
    """The code of what samples lie in, from the words for it; '' where it would be too long.

    Letters of other scripts as anyascii has them. Two boxes whose words differ only in case, blanks
    and marks have one code, as they would for a reader.

    >>> inside_code("Shelf 7, box 12")
    'SHELF-7-BOX-12'
    """
    if not words.isascii():
        from anyascii import anyascii

        words = anyascii(words)
    code = "-".join(re.findall("[0-9A-Z]+", words.upper()))
    return code if len(code) <= LONGEST_INSIDE else ""


def parcel_code(consignment_id: str) -> str:
    """The code of a parcel: 'PARCEL-C-2023-1'."""
    return inside_code(f"Parcel {consignment_id}")


def compose_inside(site_id: str, code: str) -> str:
    """The text for the code of a box, drawer or parcel with samples of that site.

    >>> compose_inside("HOLL", inside_code("Box 12"))
    'TREENAIL HOLL:BOX-12-TD'
    """
    site = site_id.upper()
    # a site as found is coded; its case makes no box another one
    return f"{MAGIC} {as_coded(site)}:{code}-{check_letters(f'{site}-{code}')}"


def _shown(text: str) -> str:
    return one_line(text, 60)


def is_scan(text: str) -> bool:
    """Whether the text begins as a code does, or is one of a box or parcel without its word."""
    text = text.lstrip("\ufeff").strip()
    return _NEXT_CODE.match(text) is not None or is_inside(text)


def is_inside(text: str) -> bool:
    """Whether the text is the code of a box, drawer or parcel.

    >>> is_inside("TREENAIL HOLL:BOX-12-TD"), is_inside("TREENAIL HOLL-231-JV")
    (True, False)
    """
    return _INSIDE.fullmatch(text.lstrip("\ufeff").strip()) is not None


def read_scan(text: str) -> Scanned:
    """Read a code as it comes out of a scanner, a cell or a shell.

    Of either layout, on one line or several; of layout 1 the first line alone will do. Raises
    UnreadableValue that says what is wrong: another kind of code, a layout of a newer version, one
    that is not whole, or check letters that do not fit, with what was likely meant.

    >>> read_scan("treenail 1 HOLL-231 H site HOLL number 231 kind core").sample_id
    '231'
    """
    if len(text) > LONGEST_SCAN:
        raise UnreadableValue(_shown(text), "is far longer than a label; scan the label again")
    line = " ".join(text.removeprefix("\ufeff").split())
    if is_inside(line):
        return _read_inside(line)
    words = line.split()
    if not words or words[0].upper() != MAGIC:
        raise UnreadableValue(
            _shown(line), f"is not a label of this kind; its first word would be '{MAGIC}'"
        )
    if words[1:] and words[1].isdigit():
        if words[1].lstrip("0") == "2":
            return _read_layout_2(line, words[2:])
        return _read_layout_1(line, words[1])
    if len(words) != 2 and not (len(words) == 4 and words[2].lower() == "see"):
        raise UnreadableValue(
            _shown(line),
            f"is not complete; it should read {MAGIC}, site, number and check letters, as in "
            f"'{MAGIC} {checked_identifier('HOLL', '231')}'; scan the label again",
        )
    return Scanned(*parse_identifier(words[1]))


def _read_inside(line: str) -> Scanned:
    site, _, rest = line.split()[-1].upper().partition(":")
    site = as_said(site).upper()
    code, _, check = rest.rpartition("-")
    if len(check) != 2 or not is_check(check):
        raise UnreadableValue(_shown(line), "does not end in two check letters; scan it again")
    refuse_misfit(_shown(line), f"{site}-{code}", check)
    return Scanned(site, inside=code)


def _read_layout_2(line: str, words: list[str]) -> Scanned:
    if len(words) != 2 and not (len(words) == 4 and words[2].lower() == "see"):
        raise UnreadableValue(
            _shown(line),
            "is not complete; a label of layout 2 has a store number and two check letters, as in "
            f"'{compose_store_code('2026.0003/17')}'; scan the label again",
        )
    number, check = as_said(words[0]), words[1].upper()
    if not _STORE_NUMBER.fullmatch(number) or check != store_check(number):
        raise UnreadableValue(
            _shown(line),
            f"does not fit: {number} with its check {check} is no store number; compare it with "
            "the label",
        )
    return Scanned("", store_number=number)


def _read_layout_1(line: str, layout: str) -> Scanned:
    if layout[:9].lstrip("0") != "1":
        raise UnreadableValue(
            _shown(line),
            f"is a label of layout {layout[:9]}, which this version does not know; use a newer "
            "version, or type the number by hand",
        )
    parts = _LAYOUT_1.fullmatch(line)
    if parts:
        site, _, number = parts[2].upper().partition("-")
        if "-" in number:  # of a record whose numbers were not yet refused; its site has no hyphen
            refuse_misfit(_shown(line), f"{site}-{number}", parts[3].upper())
            said = Scanned(site, number)
        else:
            said = Scanned(*parse_identifier(f"{parts[2]}-{parts[3]}"))
        same = rf"number {re.escape(said.sample_id)} ?kind "
        if not parts[4] or re.search(same, parts[4], re.IGNORECASE):
            return said
    raise UnreadableValue(
        _shown(line),
        "is not complete; behind its check character it should say site, number and kind, and the "
        "same number as before it; scan the label again",
    )


def split_scans(text: str) -> Iterator[tuple[int, str]]:
    """What stands in a scanner's lines, one thing at a time, with the number of its first line.

    A code may follow the one before it without a break, and one of layout 1 take several lines;
    every other line is a thing of its own. Blank lines are passed over.

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
