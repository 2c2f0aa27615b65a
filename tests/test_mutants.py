"""Planted faults that measure these tests: which are planted, and which are called unnoticed."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests import mutants
from tests.mutants import ALLOWED, TESTS, DoNotRun, Mutant, mutants_of, survivors

ROOT = Path(__file__).parents[1]
TOY = "def is_long(size: int) -> bool:\n    return size > 5\n"
TABLE = {"toy": ["tests"]}


def a_toy(folder: Path, *checks: str) -> list[Mutant]:
    """A module with one limit, a test of it with these checks, and the faults to be planted."""
    (folder / "toy").mkdir()
    (folder / "tests").mkdir()
    (folder / "toy" / "limits.py").write_text(TOY, encoding="utf-8")
    body = "".join(f"    {one}\n" for one in checks or ["pass"])
    test = f"from toy.limits import is_long\n\n\ndef test_a_limit():\n{body}"
    (folder / "tests" / "test_limits.py").write_text(test, encoding="utf-8")
    return list(mutants_of("toy/limits.py", TOY))


def test_a_fault_that_a_test_notices_is_not_called_a_survivor(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    faults = a_toy(tmp_path, "assert is_long(6)", "assert not is_long(4)")
    monkeypatch.chdir(tmp_path)
    left = survivors(faults, TABLE)
    assert [str(one) for one in left] == ["toy/limits.py:2: size > 5 -> (size >= 5)"]
    assert "noticed  toy/limits.py:2: 5 -> (6)" in capsys.readouterr().out
    assert (tmp_path / "toy" / "limits.py").read_text("utf-8") == TOY


def test_a_test_that_fails_on_sound_code_proves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = a_toy(tmp_path, "assert is_long(1)")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DoNotRun, match=r"without a planted fault: tests/test_limits\.py"):
        survivors(faults[:1], TABLE)


def test_tests_that_are_not_there_are_no_silence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    faults = a_toy(tmp_path)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(DoNotRun, match="gone holds no tests"):
        survivors(faults, {"toy": ["gone"]})
    with pytest.raises(DoNotRun, match="add its folder"):
        survivors(faults, {"elsewhere": ["tests"]})
    (tmp_path / "conftest.py").write_text("raise RuntimeError", encoding="utf-8")
    with pytest.raises(DoNotRun, match="without a planted fault: tests/test_limits"):
        survivors(faults, TABLE)


def test_every_kind_of_fault_is_planted_where_behavior_is() -> None:
    source = '''
def é(size: int = 3, *, strict: bool = True) -> bool:
    """Say 5 > 4."""
    if not size or size / 2 < 1.5 and strict:
        raise ValueError(f"{size + 1}" + "x")
    return zip((size,), (size,), strict=True) == "a" + "b"
'''
    found = {(one.old, one.new) for one in mutants_of("m.py", source)}
    assert found == {
        ("3", "(4)"),
        ("True", "(False)"),
        ("not size", "(size)"),
        ("size / 2 < 1.5", "(size / 2 <= 1.5)"),
        ("size / 2", "((size) * (2))"),
        ("2", "(3)"),
        ("1.5", "(3.25)"),
        ("size / 2 < 1.5 and strict", "((size / 2 < 1.5) or (strict))"),
        ("not size or size / 2 < 1.5 and strict", "((not size) and (size / 2 < 1.5 and strict))"),
        (
            'zip((size,), (size,), strict=True) == "a" + "b"',
            '(zip((size,), (size,), strict=True) != "a" + "b")',
        ),
    }


@pytest.mark.parametrize("place", TESTS)
def test_every_planted_fault_is_code_and_has_tests(place: str) -> None:
    """So that a fault is noticed for what it does, and not because it cannot be read."""
    path = ROOT / place
    assert path.exists(), f"{place} was moved: say so in TESTS of tests/mutants.py"
    for module in mutants.files_in([str(path)]):
        source = module.read_text(encoding="utf-8")
        for one in mutants_of(module.name, source):
            was = source.encode()[one.start : one.end].decode()
            assert ast.dump(ast.parse(one.new, mode="eval")) != ast.dump(
                ast.parse(f"({was})", mode="eval")
            )
    table = {place: [str(ROOT / one) for one in tests] for place, tests in TESTS.items()}
    assert mutants.tests_for(place, table)


def test_every_allowed_fault_can_still_be_planted() -> None:
    pool = {
        one.name
        for place in TESTS
        for module in mutants.files_in([str(ROOT / place)])
        for one in mutants_of(module.name, module.read_text(encoding="utf-8"))
    }
    assert set(ALLOWED) <= pool
    assert all(ALLOWED.values())
