"""A JSON document is read within bounds, and means one thing to every program."""

from __future__ import annotations

import json
import os
from dataclasses import replace

import pytest

from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.documents import json_from, read_json
from provenance._gate.refusal import RefusedInput

SMALL = replace(DEFAULT_BUDGET, most_json_bytes=400, most_json_values=20, deepest_json=4)


def test_what_is_within_bounds_is_read_as_the_library_reads_it() -> None:
    """RFC 8259, section 13, has the first; the others are at their limits."""
    photo = '{"Image": {"Width": 800, "Title": "View from 15th Floor", "IDs": [116, 943, 234]}}'
    for text in (photo, "[[[[]]]]", "[" + "1," * 18 + "1]", '"' + "x" * 398 + '"', "1.5e308",
                 '["\\ud834\\udd1e", "\\u00e9"]', "null"):  # fmt: skip
        assert json_from(text.encode(), "document", SMALL) == json.loads(text)


def test_what_goes_beyond_is_refused_by_file_limit_and_remedy() -> None:
    for text, says in (
        ("[[[[[]]]]]", "nested too deep; values may nest 4 deep"),
        ("[" * 100_000, "nested too deep|holds 100,000 values|has 100,000 bytes"),
        ("[" + "1," * 20 + "1]", "holds 21 values; 20 values may be"),
        ('"' + "x" * 399 + '"', "has 401 bytes; 400 bytes may be"),
        # section 4: what two members of one name mean is for nobody to say
        ('{"a": 1, "b": 2, "a": 3}', "'a' occurs twice"),
        # section 6: numbers that are none, or that Python makes infinite
        ("NaN", "NaN is not a number"),
        ("[-Infinity]", "-Infinity is not a number"),
        ("1e999", "larger than any number"),
        # section 8.2: a surrogate by itself can be written into no file and shown on no screen
        ('["\\ud834"]', "half a character"),
        ('{"\\udd1e": 1}', "half a character"),
        ('"a\\u0000b"', "NUL"),
        ("\ufeff{}", "not readable JSON"),
        ("{", "not readable JSON"),
        ("", "not readable JSON"),
    ):
        with pytest.raises(RefusedInput, match=rf"^bundle\.json .*({says}).*; do it again$"):
            json_from(text.encode(), "bundle.json", SMALL, remedy="do it again")
    with pytest.raises(RefusedInput, match="'utf-8' codec can't decode"):
        json_from(b'"\xff"', "bundle.json")
    # within its size and by the standard limits, as a forger would have it
    with pytest.raises(RefusedInput, match="nested too deep"):
        json_from(b"[" * 2_000_000, "bundle.json")


def test_a_document_that_is_no_plain_file_is_not_waited_for(tmp_path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to("/dev/zero")
    (tmp_path / "folder").mkdir()
    for name, says in (
        ("pipe", "device, pipe"),
        ("link", "is a link"),
        ("folder", "is a folder"),
    ):
        with pytest.raises(RefusedInput, match=says):
            read_json(tmp_path / name)
    with pytest.raises(FileNotFoundError):
        read_json(tmp_path / "nothing")


def test_what_was_read_before_is_read_anew_and_never_under_a_wider_bound() -> None:
    raw = json.dumps({"notes": ["x"] * 20}).encode()
    first = json_from(raw, "document")
    first["notes"].clear()
    assert json_from(raw, "document") == {"notes": ["x"] * 20}
    with pytest.raises(RefusedInput, match="values may be"):
        json_from(raw, "document", SMALL)
