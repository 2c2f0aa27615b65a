"""The list of members of a zip is looked at before the library makes anything of it."""

from __future__ import annotations

import io
import struct
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from provenance._base.errors import UnusableInput
from provenance._bundle.in_place import opened_in_place
from provenance._bundle.verify import verify_bundle
from provenance._catalogue.stores.records import open_source
from provenance._gate.budget import DEFAULT_BUDGET
from provenance._gate.refusal import RefusedInput
from provenance._gate.zips import refuse_directory


def a_zip(names: list[str], comment: bytes = b"") -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name in names:
            member = zipfile.ZipInfo("x")
            member.filename = name
            archive.writestr(member, b"")
        archive.comment = comment
    return stream.getvalue()


def test_members_are_counted_whatever_the_end_says() -> None:
    three = replace(DEFAULT_BUDGET, most_files=3)
    for comment in (b"", b"a comment"):
        data = a_zip(["a", "b", "c"], comment)
        refuse_directory(io.BytesIO(data), "b.zip", three)
        lying = bytearray(a_zip(["a", "b", "c", "d"], comment))
        end = lying.index(b"PK\x05\x06")
        lying[end + 8 : end + 12] = b"\x01\x00\x01\x00"
        for given in (bytes(lying), b"before" + bytes(lying)):
            with pytest.raises(RefusedInput, match=r"^b\.zip holds 4 files; 3 files may be"):
                refuse_directory(io.BytesIO(given), "b.zip", three)


def test_a_list_in_the_larger_form_is_counted_too() -> None:
    """APPNOTE 4.3.14 and 4.3.15, as they stand before the end of a zip of many members."""
    data = a_zip(["a", "b", "c", "d"])
    end = data.index(b"PK\x05\x06")
    size, start = struct.unpack_from("<II", data, end + 12)
    larger = struct.pack("<4sQHHIIQQQQ", b"PK\x06\x06", 44, 45, 45, 0, 0, 4, 4, size, start)
    pointer = struct.pack("<4sIQI", b"PK\x06\x07", 0, end, 1)
    last = bytearray(data[end:])
    last[8:20] = b"\xff" * 12
    data = data[:end] + larger + pointer + bytes(last)
    assert len(zipfile.ZipFile(io.BytesIO(data)).namelist()) == 4
    refuse_directory(io.BytesIO(data), "b.zip", replace(DEFAULT_BUDGET, most_files=4))
    with pytest.raises(RefusedInput, match="holds 4 files"):
        refuse_directory(io.BytesIO(data), "b.zip", replace(DEFAULT_BUDGET, most_files=3))
    few = replace(DEFAULT_BUDGET, most_directory_bytes=size - 1)
    with pytest.raises(RefusedInput, match=f"a list of members of {size:,} bytes"):
        refuse_directory(io.BytesIO(data), "b.zip", few)


def test_two_hundred_thousand_empty_files_are_refused_at_once(tmp_path: Path) -> None:
    """As seen; each of them would be looked at one by one."""
    member = b"PK\x01\x02" + bytes(24) + struct.pack("<HHHHHII", 1, 0, 0, 0, 0, 0, 0) + b"x"
    listed = member * (DEFAULT_BUDGET.most_files + 1)
    end = struct.pack("<4sHHHHIIH", b"PK\x05\x06", 0, 0, 1, 1, len(listed), 0, 0)
    path = tmp_path / "b.zip"
    path.write_bytes(listed + end)
    (found,) = verify_bundle(path).findings
    assert found.message == "holds 200,001 files; 200,000 files may be"
    with pytest.raises(RefusedInput, match="200,000 files may be"), open_source(path):
        pass


@pytest.mark.parametrize("name", ["", "/", "//", "b//", "b/"])
def test_a_member_without_a_name_is_a_finding(tmp_path: Path, name: str) -> None:
    """As found by a fuzzer: the library asks for the last letter of the name."""
    path = tmp_path / "b.zip"
    path.write_bytes(a_zip(["b/bagit.txt", name]))
    rules = {one.rule for one in verify_bundle(path).findings}
    assert ("container.unsafe_name" in rules) is (name != "b/")
    with pytest.raises(UnusableInput), opened_in_place(path):
        pass
    with pytest.raises(UnusableInput), open_source(path):
        pass
