"""A bundle that means harm: refused with a word, nothing written elsewhere, nothing followed."""

from __future__ import annotations

import hashlib
import io
import json
import os
import stat
import struct
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from provenance._bag.verdict import PARTS, Verdict
from provenance._base.errors import TreenailError, UnusableInput
from provenance._bundle.verdict_text import verdict_text
from provenance._bundle.verify import verify_bundle
from provenance._cli import treenail
from provenance._compare.compare import compare
from provenance._gate.budget import Budget
from tests.builders import unpack_bundle

SMALL = Budget(most_files=200, most_total_bytes=2_000_000, ratio_from_bytes=1_000)


@pytest.fixture(autouse=True)
def scratch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every temporary file lands here, so that a test can see that none stays."""
    folder = tmp_path / "scratch"
    folder.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(folder))
    return folder


def a_zip(path: Path, *members: tuple[str | zipfile.ZipInfo, bytes]) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return path


def a_member(name: str, *, mode: int = 0) -> zipfile.ZipInfo:
    member = zipfile.ZipInfo(name)
    member.create_system = 3
    member.external_attr = mode << 16
    return member


def patched(path: Path, old: bytes, new: bytes, *, count: int = -1) -> Path:
    """The zip with bytes exchanged, as an editor of bytes would."""
    raw = path.read_bytes()
    assert old in raw
    path.write_bytes(raw.replace(old, new, count))
    return path


def rules(verdict: Verdict) -> set[str]:
    return {one.rule for one in verdict.findings}


def refused(bundle: Path, scratch: Path, limits: Budget = SMALL) -> Verdict:
    """The verdict over a bundle that must not be sound; checks that nothing stays or gets out."""
    around = {path for path in scratch.parent.rglob("*") if scratch not in path.parents}
    verdict = verify_bundle(bundle, limits=limits)
    assert not verdict.sound
    assert list(scratch.iterdir()) == []
    with pytest.raises(TreenailError):
        unpack_bundle(bundle, scratch.parent / "out", limits=limits)
    assert list(scratch.iterdir()) == []
    assert {p for p in scratch.parent.rglob("*") if scratch not in p.parents} == around
    return verdict


# -- zips ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "../escaped.txt",
        "b/../../escaped.txt",
        "/absolute.txt",
        "C:/drive.txt",
        "C:drive.txt",
        "b\\..\\..\\escaped.txt",
        "~/home.txt",
        "b//empty.txt",
        "b/./dot.txt",
        "b/line\nbreak.txt",
        "/".join(["deep"] * 40) + "/file.txt",
        "b/" + "long" * 300 + ".txt",
        "b/" + "x" * 256,
    ],
)
def test_a_member_whose_name_leads_astray_is_refused(
    tmp_path: Path, scratch: Path, name: str
) -> None:
    """CWE-22, path traversal; RFC 8493 section 5.1 warns of the same in manifests."""
    bundle = a_zip(tmp_path / "b.zip", ("b/bagit.txt", b"x"), (name, b"x"))
    assert "container.unsafe_name" in rules(refused(bundle, scratch))


def test_a_name_that_is_cut_at_a_nul_is_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = patched(a_zip(tmp_path / "b.zip", ("b/safe_evil.txt", b"x")), b"safe_", b"safe\x00")
    assert "container.unsafe_name" in rules(refused(bundle, scratch))


def test_a_name_that_is_not_utf_8_is_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = patched(a_zip(tmp_path / "b.zip", ("b/ü.txt", b"x")), "ü".encode(), b"\xff\xfe")
    with pytest.raises(UnusableInput, match="cannot be opened"):
        verify_bundle(bundle)
    assert list(scratch.iterdir()) == []


@pytest.mark.parametrize(
    "kind", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFBLK, stat.S_IFIFO, stat.S_IFSOCK]
)
def test_links_and_devices_are_refused(tmp_path: Path, scratch: Path, kind: int) -> None:
    """CWE-59, link following."""
    bundle = a_zip(tmp_path / "b.zip", (a_member("b/plan.png", mode=kind | 0o777), b"/etc/passwd"))
    assert rules(refused(bundle, scratch)) == {"container.link"}


def test_a_member_that_is_there_twice_is_refused(tmp_path: Path, scratch: Path) -> None:
    with pytest.warns(UserWarning, match="Duplicate name"):
        bundle = a_zip(tmp_path / "b.zip", ("b/bagit.txt", b"one"), ("b/bagit.txt", b"two"))
    assert rules(refused(bundle, scratch)) == {"container.duplicate"}


@pytest.mark.parametrize(
    ("one", "other"), [("b/A.txt", "b/a.txt"), ("b/caf\u00e9", "b/cafe\u0301"), ("B/x", "b/y")]
)
def test_members_that_some_systems_take_for_one_are_refused(
    tmp_path: Path, scratch: Path, one: str, other: str
) -> None:
    bundle = a_zip(tmp_path / "b.zip", (one, b"1"), (other, b"2"))
    assert "container.name_collision" in rules(refused(bundle, scratch))


def test_a_member_that_is_both_file_and_folder_is_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = a_zip(tmp_path / "b.zip", ("b/a", b"1"), ("b/a/b", b"2"))
    assert "container.duplicate" in rules(refused(bundle, scratch))


def test_a_zip_bomb_is_refused_by_its_ratio(tmp_path: Path, scratch: Path) -> None:
    """CWE-409; deflate reaches about 1,032 to 1 on zeros."""
    bundle = a_zip(tmp_path / "b.zip", ("b/bomb.txt", bytes(1_500_000)))
    assert rules(refused(bundle, scratch)) == {"container.zip_bomb"}


def test_a_zip_bomb_of_many_members_is_refused_by_its_total(tmp_path: Path, scratch: Path) -> None:
    members = [(f"b/{place}.txt", os.urandom(20_000)) for place in range(150)]
    assert rules(refused(a_zip(tmp_path / "b.zip", *members), scratch)) == {"container.too_big"}


def test_too_many_members_are_refused(tmp_path: Path, scratch: Path) -> None:
    members = [(f"b/{place}.txt", b"") for place in range(201)]
    assert rules(refused(a_zip(tmp_path / "b.zip", *members), scratch)) == {
        "container.too_many_files"
    }


def test_members_that_share_bytes_are_refused(tmp_path: Path, scratch: Path) -> None:
    """A small zip whose members overlap can unpack to far more than any single ratio shows."""
    bundle = a_zip(tmp_path / "b.zip", ("b/a.txt", os.urandom(500)), ("b/b.txt", os.urandom(500)))
    with zipfile.ZipFile(bundle) as archive:
        first, second = (one.header_offset for one in archive.infolist())
    at = (
        bundle.read_bytes().rindex(b"PK\x01\x02") + 42
    )  # offset of the local header, APPNOTE 4.3.12
    raw = bytearray(bundle.read_bytes())
    assert struct.unpack_from("<L", raw, at) == (second,)
    struct.pack_into("<L", raw, at, first + 10)
    bundle.write_bytes(raw)
    assert rules(refused(bundle, scratch)) == {"container.overlap"}


def test_an_encrypted_member_is_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = a_zip(tmp_path / "b.zip", ("b/a.txt", b"x"))
    raw = bytearray(bundle.read_bytes())
    raw[raw.index(b"PK\x01\x02") + 8] |= 1  # general purpose bit 0, APPNOTE 4.4.4
    bundle.write_bytes(raw)
    assert rules(refused(bundle, scratch)) == {"container.encrypted"}


def test_an_unusual_compression_is_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = tmp_path / "b.zip"
    with zipfile.ZipFile(bundle, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("b/a.txt", b"x")
    assert rules(refused(bundle, scratch)) == {"container.method"}


def test_a_member_larger_than_it_declares_is_refused(tmp_path: Path, scratch: Path) -> None:
    """Python's reader stops at the declared size; the checksum of the member then tells."""
    content = os.urandom(3_000)
    bundle = a_zip(tmp_path / "b.zip", ("b/a.txt", content))
    patched(bundle, struct.pack("<L", len(content)), struct.pack("<L", 1_000))
    assert rules(refused(bundle, scratch)) == {"container.damaged"}


def test_a_member_smaller_than_it_declares_is_refused(tmp_path: Path, scratch: Path) -> None:
    content = os.urandom(3_000)
    bundle = a_zip(tmp_path / "b.zip", ("b/a.txt", content))
    patched(bundle, struct.pack("<L", len(content)), struct.pack("<L", 9_000))
    assert rules(refused(bundle, scratch)) == {"container.size_lie"}


def test_two_things_at_the_top_of_a_zip_are_refused(tmp_path: Path, scratch: Path) -> None:
    bundle = a_zip(tmp_path / "b.zip", ("b/bagit.txt", b"x"), ("loose.txt", b"x"))
    assert rules(refused(bundle, scratch)) == {"container.not_one_folder"}


@pytest.mark.parametrize("content", [b"", b"PK", b"no zip at all", bytes(5_000)])
def test_a_file_that_is_no_zip_is_said_to_be_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "b.zip").write_bytes(content)
    with pytest.raises(UnusableInput, match=r"b\.zip cannot be opened"):
        verify_bundle(tmp_path / "b.zip")


def test_a_zip_that_was_cut_off_is_said_to_be(zip_bundle: Path, tmp_path: Path) -> None:
    whole = zip_bundle.read_bytes()
    (tmp_path / "b.zip").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(UnusableInput, match="cut off or damaged"):
        verify_bundle(tmp_path / "b.zip")


def test_a_zip_without_its_beginning_is_said_to_be_damaged(
    zip_bundle: Path, tmp_path: Path
) -> None:
    (tmp_path / "b.zip").write_bytes(zip_bundle.read_bytes()[5_000:])
    with pytest.raises(UnusableInput, match="beginning is missing") as caught:
        verify_bundle(tmp_path / "b.zip")
    assert caught.value.__cause__ is None


def test_every_file_that_is_damaged_inside_a_zip_is_named(zip_bundle: Path, tmp_path: Path) -> None:
    raw = bytearray(zip_bundle.read_bytes())
    names = ["holl-bundle/data/files/photo-001.png", "holl-bundle/data/tables/site.csv"]
    with zipfile.ZipFile(zip_bundle) as archive:
        for name in names:
            raw[archive.getinfo(name).header_offset + 200] ^= 1
    (tmp_path / "b.zip").write_bytes(raw)
    verdict = verify_bundle(tmp_path / "b.zip")
    assert not verdict.sound
    assert rules(verdict) == {"container.damaged"}
    assert [one.path for one in verdict.findings] == names
    text = verdict_text(verdict)
    assert "2 errors" in text
    assert "0 files" not in text


# -- folders -------------------------------------------------------------------------------------


def test_a_link_in_a_folder_is_not_followed(bundle: Path, scratch: Path) -> None:
    photo = bundle / "data" / "files" / "photo-001.png"
    elsewhere = scratch.parent / "same.png"
    elsewhere.write_bytes(photo.read_bytes())  # even with the right bytes behind it
    photo.unlink()
    photo.symlink_to(elsewhere)
    verdict = refused(bundle, scratch, Budget())
    assert [one.path for one in verdict.findings] == ["data/files/photo-001.png"]


def test_a_link_to_a_folder_is_not_followed(bundle: Path, scratch: Path) -> None:
    (bundle / "data" / "more").symlink_to("/")
    assert rules(refused(bundle, scratch, Budget())) == {"container.link"}


def test_a_pipe_is_not_waited_for(bundle: Path, scratch: Path) -> None:
    os.mkfifo(bundle / "data" / "files" / "pipe")
    assert rules(refused(bundle, scratch, Budget())) == {"container.link"}


def test_folders_nested_without_end_are_refused(bundle: Path, scratch: Path) -> None:
    deep = bundle / "data"
    for _ in range(300):
        deep = deep / "d"
    deep.mkdir(parents=True)
    (deep / "x").write_bytes(b"x")
    assert "container.unsafe_name" in rules(refused(bundle, scratch, Budget()))


@pytest.mark.parametrize(
    "path",
    ["data/../../bundle-2/secret.txt", "../bundle-2/secret.txt", "/etc/passwd", "~root/x", "C:/x"],
)
def test_a_manifest_that_points_outside_is_not_followed(
    bundle: Path, scratch: Path, path: str
) -> None:
    """RFC 8493 section 5.1. A folder named like the bundle and then some lies beside it on purpose:
    a comparison of paths letter by letter takes it for the inside."""
    secret = bundle.parent / "bundle-2" / "secret.txt"
    secret.parent.mkdir()
    secret.write_text("secret", encoding="utf-8")
    manifest = bundle / "manifest-sha256.txt"
    manifest.write_text(f"{manifest.read_text('utf-8')}{'0' * 64}  {path}\n", encoding="utf-8")
    verdict = refused(bundle, scratch, Budget())
    assert "bag.unsafe_path" in rules(verdict)


def test_a_tag_file_larger_than_sense_is_refused(bundle: Path, scratch: Path) -> None:
    with open(bundle / "bag-info.txt", "ab") as stream:
        stream.truncate(2**30)
    assert "bag.tag_file_too_big" in rules(refused(bundle, scratch, Budget()))


def test_files_to_be_fetched_are_not_fetched(bundle: Path, scratch: Path) -> None:
    """RFC 8493 section 5.2: a fetch.txt may point anywhere."""
    (bundle / "fetch.txt").write_text("http://127.0.0.1:9/x 5 data/x\n", encoding="utf-8")
    assert "bag.incomplete" in rules(refused(bundle, scratch, Budget()))


@pytest.mark.parametrize("encoding", ["punycode", "zlib_codec", "unknown-8", ""])
def test_an_encoding_that_is_a_trap_is_refused(bundle: Path, scratch: Path, encoding: str) -> None:
    (bundle / "bagit.txt").write_text(
        f"BagIt-Version: 1.0\nTag-File-Character-Encoding: {encoding}\n", encoding="utf-8"
    )
    assert "bag.encoding" in rules(refused(bundle, scratch, Budget()))


@pytest.mark.parametrize(
    "line", ["Payload-Oxum: x", "Payload-Oxum: 1", "Payload-Oxum: -1.-1", "no colon in it"]
)
def test_tags_that_make_no_sense_are_a_finding(bundle: Path, scratch: Path, line: str) -> None:
    (bundle / "bag-info.txt").write_text(line + "\n", encoding="utf-8")
    assert "bag.invalid" in rules(refused(bundle, scratch, Budget()))


def sealed_anew(bundle: Path) -> None:
    """Give the bundle manifests that fit what now lies in it, as a forger would."""
    from provenance._bag.bag import write_bag

    for path in bundle.glob("*manifest-*.txt"):
        path.unlink()
    write_bag(bundle, {})


@pytest.mark.parametrize(
    "name", ["datapackage.json", "ro-crate-metadata.json", "schemas/model.json", "bundle.json"]
)
@pytest.mark.parametrize(
    "content",
    [
        "[" * 200_000,
        '{"a":' * 200_000,
        "[]",
        "{}",
        "null",
        "NaN",
        '"text"',
        "{",
        "\ud800",
        '{"@graph": [{"@id": {"@id": []}}, 3]}',
        '{"name": "x", "resources": [{"name": {"a": 1}, "path": ["/etc/passwd"]}]}',
        '{"vocabularies": 3, "notations": [[]], "profile": {}, "version": [], "cautions": 1}',
    ],
)
def test_a_document_of_any_shape_is_a_finding_and_no_crash(
    bundle: Path, name: str, content: str
) -> None:
    (bundle / "data" / name).write_bytes(content.encode("utf-8", "surrogatepass"))
    sealed_anew(bundle)
    verdict = verify_bundle(bundle)
    if name != "bundle.json":
        assert not verdict.sound
    assert json.dumps(verdict.as_dict())


@pytest.mark.parametrize("name", ["../../../../etc/passwd", "/etc/passwd", "a/b", "", 7, None])
def test_a_schema_that_names_a_file_elsewhere_is_not_followed(
    bundle: Path, scratch: Path, name: object
) -> None:
    path = bundle / "data" / "schemas" / "plug.json"
    schema = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**schema, "name": name}), encoding="utf-8")
    sealed_anew(bundle)
    assert "descriptor.unsafe_name" in rules(refused(bundle, scratch, Budget()))


@pytest.mark.parametrize("key", ["fields", "primaryKey", "order", "sections", "foreignKeys"])
@pytest.mark.parametrize("value", [3, None, [3], {"a": []}, ["x"], [{"name": []}]])
def test_a_schema_of_any_shape_is_a_finding_and_no_crash(
    bundle: Path, key: str, value: object
) -> None:
    path = bundle / "data" / "schemas" / "plug.json"
    schema = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**schema, key: value}), encoding="utf-8")
    sealed_anew(bundle)
    assert json.dumps(verify_bundle(bundle).as_dict())


def test_a_staged_write_in_a_bundle_is_not_carried_out(bundle: Path, scratch: Path) -> None:
    """A package finishes a write that was stopped when it is opened; a bundle must never be."""
    from provenance._record.together import COMMIT, is_unfinished

    staging = bundle / "data" / ".together.0123456789ab.part"
    staging.mkdir()
    (staging / COMMIT).write_text('["tables/plug.csv"]', encoding="utf-8")
    (staging / "0").write_text("plug_id\n", encoding="utf-8")
    sealed_anew(bundle)
    assert is_unfinished(bundle / "data")
    assert "descriptor.hidden" in rules(refused(bundle, scratch, Budget()))
    assert is_unfinished(bundle / "data")


def test_a_table_with_an_endless_line_is_refused(bundle: Path) -> None:
    path = bundle / "data" / "tables" / "element.csv"
    with open(path, "ab") as stream:
        stream.write(b"x" * 3_000_000 + b"\n")
    sealed_anew(bundle)
    verdict = verify_bundle(bundle, limits=Budget(longest_line_bytes=2**20))
    assert "tables.unreadable" in rules(verdict)


def test_a_table_that_is_no_text_is_refused(bundle: Path) -> None:
    (bundle / "data" / "tables" / "plug.csv").write_bytes(bytes(3_000))
    sealed_anew(bundle)
    assert "tables.unreadable" in rules(verify_bundle(bundle))


def test_what_a_stranger_wrote_cannot_move_the_cursor_of_a_terminal(bundle: Path) -> None:
    from provenance._bundle.verdict_text import verdict_text

    path = bundle / "data" / "datapackage.json"
    descriptor = json.loads(path.read_text("utf-8"))
    descriptor["resources"][0]["name"] = "\x1b[2Jall is well"
    path.write_text(json.dumps(descriptor), encoding="utf-8")
    sealed_anew(bundle)
    assert "\x1b" not in verdict_text(verify_bundle(bundle))


# -- bytes that are not the bundle's ---------------------------------------------------------------


def test_a_program_put_before_a_zip_is_found_and_all_else_is_still_judged(
    zip_bundle: Path, tmp_path: Path
) -> None:
    """A self-extracting zip: every reader takes it for the same bundle, and it can be run."""
    (tmp_path / "b.zip").write_bytes(b"MZ" + bytes(900) + zip_bundle.read_bytes())
    verdict = verify_bundle(tmp_path / "b.zip")
    assert rules(verdict) == {"container.foreign_bytes"}
    assert "902 bytes before its first member" in verdict.findings[0].message
    assert not verdict.intact
    assert set(verdict.looked_at) == set(PARTS)
    with pytest.raises(UnusableInput, match="902 bytes before"):
        unpack_bundle(tmp_path / "b.zip", tmp_path / "out")


def test_bytes_behind_a_zip_are_found(zip_bundle: Path, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(zip_bundle.read_bytes() + b"and more")
    verdict = verify_bundle(tmp_path / "b.zip")
    assert rules(verdict) == {"container.foreign_bytes"}
    assert "goes on for 8 bytes behind its end" in verdict.findings[0].message


def test_bytes_hidden_between_two_members_are_found(zip_bundle: Path, tmp_path: Path) -> None:
    """The directory passes over them, so no program that unpacks shows them."""
    bundle = tmp_path / "b.zip"
    with zipfile.ZipFile(zip_bundle) as old, zipfile.ZipFile(bundle, "w") as new:
        for place, member in enumerate(old.infolist()):
            new.writestr(member, old.read(member))
            if place == 3:
                new.fp.write(b"hidden")  # type: ignore[union-attr]
                new.start_dir = new.fp.tell()  # type: ignore[union-attr]
    verdict = verify_bundle(bundle)
    assert rules(verdict) == {"container.foreign_bytes"}
    assert "followed by 6 bytes" in verdict.findings[0].message


def test_the_comment_of_a_zip_is_a_warning(zip_bundle: Path, tmp_path: Path) -> None:
    (tmp_path / "b.zip").write_bytes(zip_bundle.read_bytes())
    with zipfile.ZipFile(tmp_path / "b.zip", "a") as archive:
        archive.comment = b"call this number"
    verdict = verify_bundle(tmp_path / "b.zip")
    assert verdict.sound
    assert rules(verdict) == {"container.comment"}


def test_a_zip_written_by_a_program_that_could_not_go_back_has_no_foreign_bytes(
    zip_bundle: Path, tmp_path: Path
) -> None:
    """Sizes then stand behind each member (APPNOTE 4.3.9, data descriptor)."""

    class Pipe(io.RawIOBase):
        def __init__(self, path: Path) -> None:
            self.stream = open(path, "wb")  # noqa: SIM115 - closed below

        def writable(self) -> bool:
            return True

        def write(self, content) -> int:  # type: ignore[no-untyped-def,override]
            return self.stream.write(content)

        def close(self) -> None:
            self.stream.close()
            super().close()

    with (
        zipfile.ZipFile(zip_bundle) as old,
        Pipe(tmp_path / "b.zip") as pipe,
        zipfile.ZipFile(pipe, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for member in old.infolist():
            new.writestr(member.filename, old.read(member))
    assert verify_bundle(tmp_path / "b.zip").findings == ()


def test_a_table_that_lost_the_heading_of_its_key_is_not_taken_in(
    bundle: Path, zip_bundle: Path, tmp_path: Path
) -> None:
    """As seen: the numbers in it would count as never given out."""
    for table, key in (("plug", "plug_id"), ("sample", "sample_id"), ("element", "element_id")):
        path = bundle / "data" / "tables" / f"{table}.csv"
        sound = path.read_bytes()
        for heading in (b"", b"number"):
            path.write_bytes(sound.replace(key.encode(), heading, 1))
            sealed_anew(bundle)
            line = ["accession", bundle, "--store", tmp_path / "store"]
            for words in (
                ["unpack", bundle, "--out", tmp_path / "out"],
                [*line, "--pattern", "{serial}", "--depositor", "north crew"],
            ):
                done = CliRunner().invoke(
                    treenail, [str(one) for one in words], standalone_mode=False
                )
                assert isinstance(done.exception, TreenailError), done.output
                assert f"{table}.csv has no column '{key}'" in str(done.exception)
                assert done.exception.exit_code == 2
            assert not (tmp_path / "out").exists()
            assert not (tmp_path / "store" / "register.csv").exists()
        path.write_bytes(sound)


def test_a_table_of_a_million_columns_is_refused_before_it_is_read(
    bundle: Path, zip_bundle: Path
) -> None:
    path = bundle / "data" / "tables" / "plug.csv"
    path.write_bytes(b",".join(b"c%d" % n for n in range(1_000_000)) + b"\n")
    sealed_anew(bundle)
    with pytest.raises(TreenailError, match="1,000,000 columns"):
        compare(zip_bundle, bundle)
    (found,) = [one for one in verify_bundle(bundle).findings if one.part == "tables"]
    assert (found.rule, found.path) == ("tables.unreadable", "data/tables/plug.csv")


def test_a_list_of_nonsense_is_told_once_and_not_by_the_line(bundle: Path) -> None:
    (bundle / "manifest-sha256.txt").write_text("nonsense\n" * 200_000, encoding="utf-8")
    found = verify_bundle(bundle).findings
    assert len(found) < 2_000
    assert any("1000 wrong lines and more" in one.message for one in found)


def test_a_bag_in_another_encoding_is_given_no_number(bundle: Path, tmp_path: Path) -> None:
    """RFC 8493 section 2.1.1 lets a bag say in which encoding its tag files are."""
    (bundle / "bag-info.txt").write_bytes("Contact: Zoë\n".encode("iso-8859-1"))
    declared = "BagIt-Version: 1.0\nTag-File-Character-Encoding: ISO-8859-1\n"
    (bundle / "bagit.txt").write_text(declared, encoding="utf-8")
    tags = [one for one in bundle.iterdir() if one.is_file() and "tagmanifest" not in one.name]
    for kind in ("sha256", "sha512"):
        sums = [f"{hashlib.new(kind, one.read_bytes()).hexdigest()}  {one.name}\n" for one in tags]
        (bundle / f"tagmanifest-{kind}.txt").write_text("".join(sums), encoding="utf-8")
    assert verify_bundle(bundle).sound
    assert unpack_bundle(bundle, tmp_path / "out")
    line = ["accession", bundle, "--store", tmp_path / "store"]
    words = [*line, "--pattern", "{serial}", "--depositor", "north crew"]
    done = CliRunner().invoke(treenail, [str(one) for one in words], standalone_mode=False)
    assert isinstance(done.exception, TreenailError), done.output
    assert "bag-info.txt is not in UTF-8 (byte 12)" in str(done.exception)
