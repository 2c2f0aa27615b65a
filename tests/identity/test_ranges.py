"""Copies of a package never give out one number, and one laptop needs to know nothing of it."""

from __future__ import annotations

import random
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

from provenance._base.errors import TreenailError
from provenance._cli.locating import stamps as stamps_command
from provenance._identity.ranges import NotTheOwner, claim_range, grant_range, take_over
from provenance._identity.rotation import turned
from provenance._identity.stamps import NoNumbersLeft, reserve_stamps
from provenance._record.copies import note_copy
from provenance._record.edition_key import EDITION_KEY
from provenance._record.package import Package, open_package
from tests.builders import a_package


@pytest.fixture
def package(tmp_path: Path) -> Package:
    return a_package(tmp_path).with_row("site").package


def a_copy(package: Package, name: str) -> Package:
    there = package.folder.parent / name
    shutil.copytree(package.folder, there)
    return open_package(there)


def season(package: Package, count: int, crew: str = "north") -> list[str]:
    return [
        one.sample_id for one in reserve_stamps(package, count, crew=crew, reserved_on="2024-06-01")
    ]


def test_a_copy_is_refused_numbers_and_told_how_to_get_some(package: Package) -> None:
    copy = a_copy(package, "north laptop")
    assert season(package, 2) == ["101", "102"]
    with pytest.raises(NotTheOwner, match=r"--grant 100 .* --claim CODE.* --take-over --why"):
        season(copy, 1)
    assert copy.tables.count("reservation") == 0
    run = CliRunner().invoke
    options = [str(package.folder), "--grant", "50", "--to", "north laptop"]
    code = run(stamps_command, options, catch_exceptions=False).stdout.strip()
    assert code.startswith("103-152-")
    claimed = run(stamps_command, [str(copy.folder), "--claim", code.lower()])
    assert "103 to 152" in claimed.output
    assert season(copy, 2, "south") == ["103", "104"]
    assert season(package, 2) == ["153", "154"]
    with pytest.raises(
        NoNumbersLeft, match=r"only 48 of 49 .*among those of this copy \(103 to 152\)"
    ):
        season(copy, 49)
    with pytest.raises(NotTheOwner, match=r"'north laptop' \(103 to 152\)"):
        season(a_copy(package, "third"), 1)


@pytest.mark.parametrize("code", ["103-153-ABCDEFGH", "103", "", "104-152-{letters}"])
def test_a_mistyped_code_is_refused(package: Package, code: str) -> None:
    granted = grant_range(package, 50, to="north laptop")
    copy = a_copy(package, "north laptop")
    with pytest.raises(TreenailError, match="is not a code of a range of this record"):
        claim_range(copy, code.format(letters=granted.code[-8:]))
    with pytest.raises(NotTheOwner):
        season(copy, 1)


def test_a_code_is_claimed_once(package: Package) -> None:
    granted = grant_range(package, 50, to="north laptop")
    first = a_copy(package, "first")
    claim_range(first, granted.code)
    claim_range(first, granted.code)
    with pytest.raises(TreenailError, match="claimed by another copy already"):
        claim_range(a_copy(first, "second"), granted.code)


def test_a_moved_folder_is_the_copy_that_it_was(package: Package) -> None:
    assert season(package, 1) == ["101"]
    moved = package.folder.parent / "moved"
    package.folder.rename(moved)
    assert season(open_package(moved), 1) == ["102"]
    with pytest.raises(NotTheOwner):
        season(a_copy(open_package(moved), "holl"), 1)


def test_numbers_stay_given_out_when_an_older_folder_is_put_back(package: Package) -> None:
    backup = a_copy(package, "backup")
    given = season(package, 3)
    shutil.rmtree(package.folder)
    backup.folder.rename(package.folder)
    assert not set(season(open_package(package.folder), 3)) & set(given)


def test_who_takes_over_says_why_and_the_first_copy_gives_out_none_once_it_knows(
    package: Package,
) -> None:
    granted = grant_range(package, 50, to="north laptop")
    copy = a_copy(package, "unpacked")
    with pytest.raises(TreenailError, match="--why"):
        take_over(copy, why=" ")
    take_over(copy, why="the laptop was lost", name="office")
    assert season(copy, 1) == ["151"]  # behind what was granted
    row = copy.tables.rows("number_range")[-1]
    assert (row["reason"], row["owner_name"]) == ("the laptop was lost", "office")
    assert granted.code in [one["range_id"] for one in copy.tables.rows("number_range")]
    shutil.copy(copy.table_path("number_range"), package.table_path("number_range"))
    with pytest.raises(NotTheOwner, match=r"'office' \(all others\)"):
        season(package, 1)


def test_a_package_of_a_version_without_ranges_gives_out_numbers_as_before(
    package: Package,
) -> None:
    (package.folder / "schemas" / "number_range.json").unlink()
    package.table_path("number_range").unlink()
    older = open_package(package.folder).with_descriptor({EDITION_KEY: "0f" * 32})
    copy = a_copy(older, "copy")
    assert season(older, 1) == ["101"]
    with pytest.raises(NotTheOwner):
        season(copy, 1)


@settings(max_examples=8)
@example(201)  # a range was granted that reached into one which the same copy had claimed
@given(st.integers(0, 2**32))
def test_copies_never_give_out_one_number_or_its_like_upside_down(seed: int) -> None:
    """Grants, claims, copies, moves and numbers in any order; nobody knows of what others do."""
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        copies = [a_package(Path(folder)).with_row("site").package]
        codes: list[str] = []
        given: list[str] = []
        for step in range(14):
            one = chance.choice(copies)
            with suppress(TreenailError):
                match chance.randint(0, 5):
                    case 0:
                        copies.append(a_copy(one, f"copy{step}"))
                    case 1:
                        codes.append(grant_range(one, chance.choice([9, 90]), to="x").code)
                    case 2 if codes:
                        claim_range(one, codes.pop())
                    case 3:
                        copies.remove(one)
                        moved = one.folder.parent / f"moved{step}"
                        one.folder.rename(moved)
                        copies.append(open_package(moved))
                    case _:
                        given += season(one, chance.randint(1, 8), chance.choice(["n", "s"]))
        assert len(set(given)) == len(given)
        readings = {turned(one) for one in given if turned(one) != one}
        assert not readings & set(given)


def test_a_range_that_is_none_is_named(package: Package) -> None:
    code = grant_range(package, 50, to="north laptop").code
    frame = package.table("number_range").assign(last="15o")
    package.write_table("number_range", frame)
    with pytest.raises(TreenailError, match=f"the range {code} goes from '101' to '15o'"):
        season(package, 1)


def test_a_copy_is_noted_once(package: Package) -> None:
    assert note_copy(package, began=False) == note_copy(package, began=True)
