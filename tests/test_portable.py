"""Names that one of the three desktops cannot hold are told, and all others are let be."""

from __future__ import annotations

import itertools
from pathlib import PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pathvalidate import is_valid_filename

from provenance._base.disk import building_folder
from provenance._base.errors import UnusableInput
from provenance._base.portable import LONGEST_PATH, folded, is_reserved, unportable_because
from provenance._intake.attachments import attach_files
from provenance._intake.originals import safe_name
from provenance._survey.plan.plan_content import file_name_parts
from tests.builders import a_package

# Microsoft, 'Naming Files, Paths, and Namespaces', as read by the author of this test
DEVICES = ["CON", "PRN", "AUX", "NUL"] + [
    f"{port}{number}" for port in ("COM", "LPT") for number in "123456789\u00b9\u00b2\u00b3"
]


@pytest.mark.parametrize("device", DEVICES)
def test_every_device_of_windows_is_known_in_any_case_and_with_any_ending(device: str) -> None:
    for name in (device, device.lower(), f"{device}.txt", f"{device.title()}.tar.gz"):
        assert is_reserved(name)
        assert unportable_because(f"files/{name}/photo.jpg")
    assert not is_reserved(f"{device}A")
    assert not is_reserved(f"A{device}")


@pytest.mark.parametrize("sign", list('<>:"|?*\\') + [chr(code) for code in range(32)])
def test_every_sign_that_windows_keeps_is_told(sign: str) -> None:
    """Microsoft, 'Naming Files, Paths, and Namespaces': reserved characters, and 0 to 31."""
    assert repr(sign) in str(unportable_because(f"files/north{sign}wall.jpg"))


@pytest.mark.parametrize("path", ["files/wall.", "files/wall ", "files /wall", "files./wall"])
def test_a_dot_or_blank_at_the_end_is_told(path: str) -> None:
    assert "dot or blank" in str(unportable_because(path))


def test_a_path_may_be_as_long_as_it_says_and_no_longer() -> None:
    assert unportable_because("x" * LONGEST_PATH) is None
    assert "longer than 200" in str(unportable_because("x" * (LONGEST_PATH + 1)))
    # outside the first plane a character is two units of UTF-16
    assert unportable_because("\U00010300" * (LONGEST_PATH // 2 + 1))


@given(
    st.text(
        alphabet=st.one_of(
            st.sampled_from('aCONulx1. -_:*?"<>|/\u00b9\u200b\u202e\x7f'),
            st.characters(codec="utf-8"),
        ),
        max_size=12,
    )
)
def test_what_the_reference_library_refuses_is_refused(name: str) -> None:
    """pathvalidate (PyPI), for all systems at once: what it does not pass as a name, nor do we."""
    if "/" in name or name in ("", ".", ".."):
        return  # a path, or none: asked elsewhere
    if not is_valid_filename(name, platform="universal"):
        assert unportable_because(name), name
    assert ("\u202e" in name) <= bool(unportable_because(name)), "a name that shows another"


@pytest.mark.parametrize(
    "path",
    ["files/\u0434\u0432\u0435\u0440\u044c 3.png", "files/.hidden", "a/b (2)/c - d.e.f", "CONSOLE"],
)
def test_names_in_other_scripts_and_with_blanks_within_are_let_be(path: str) -> None:
    assert unportable_because(path) is None


@given(st.text(st.characters(codec="utf-8", exclude_characters="/\0"), min_size=1, max_size=30))
def test_what_is_let_be_is_no_device_to_the_standard_library_either(name: str) -> None:
    """pathlib knows the devices of Windows on every system."""
    if unportable_because(name) is None:
        assert not PureWindowsPath(name).is_reserved()
        assert PureWindowsPath(name).name == name


@given(st.text(max_size=80))
def test_the_name_that_an_import_gives_is_good_everywhere(name: str) -> None:
    assert unportable_because(f"originals/0123456789ab/{safe_name(name)}") is None


@given(st.sets(st.text("aA/_.\u00e9E\u0301~", max_size=5), max_size=12), st.text(max_size=120))
def test_sheets_of_different_codes_have_different_names(codes: set[str], long: str) -> None:
    parts = file_name_parts(codes | {long})
    for one, other in itertools.combinations(parts.values(), 2):
        assert folded(one) != folded(other)
    assert [part for part in parts.values() if unportable_because(f"sheet-{part}.pdf")] == []


def test_a_sheet_keeps_its_name_when_a_code_that_is_not_alike_comes() -> None:
    before = file_name_parts(["231", "12a", "12A"])
    assert file_name_parts(["232", "231", "12A", "12a"]).items() >= before.items()
    assert before["231"] == "231"


def test_files_with_such_names_are_not_attached_and_all_are_named(tmp_path) -> None:
    source = tmp_path / "photos"
    source.mkdir()
    for name in ("wall: north.jpg", "aux.jpg", "good.jpg"):
        (source / name).write_bytes(b"x")
    package = a_package(tmp_path).package
    with pytest.raises(UnusableInput, match=r"(?s)aux\.jpg.*wall: north\.jpg") as refused:
        attach_files(package, source)
    assert "good.jpg" not in str(refused.value)
    assert list((package.folder / "files").iterdir()) == []


@pytest.mark.parametrize("name", ["aux", "Hollin: first season", "hollin."])
def test_a_folder_is_not_begun_under_such_a_name(tmp_path, name: str) -> None:
    with (
        pytest.raises(UnusableInput, match="not a valid name on every desktop"),
        building_folder(tmp_path / name),
    ):
        pass
    assert list(tmp_path.iterdir()) == []
