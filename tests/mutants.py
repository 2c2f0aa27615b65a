"""Plants small faults in the code, one at a time, and lists those that no test notices.

    python tests/mutants.py --seed 1 --most 40 provenance/_survey provenance/_intake/values/units.py

Faults are planted in a copy of the tree, so that a run that is broken off leaves nothing behind.
Without places all of `TESTS` are meant; the same seed and code give the same sample. Exit code 1: a
fault stayed unnoticed; 2: the tests cannot run, or fail on the sound code too.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

TESTS = {
    "provenance/_checks/rules": ["tests/checks/rules"],
    "provenance/_bundle/redaction": ["tests/bundle/redaction"],
    "provenance/_bundle/verify.py": ["tests/bundle/test_verify.py", "tests/bundle/test_bag.py"],
    "provenance/_bag/any_bag.py": ["tests/bundle/test_any_bag.py"],
    "provenance/_survey": ["tests/survey"],
    "provenance/_intake/values/units.py": ["tests/intake/test_units.py"],
    "provenance/_bundle/review": ["tests/bundle/review"],
    "provenance/_disclosure": ["tests/disclosure"],
    "provenance/_gate": ["tests/gate"],
    "provenance/_ledger": ["tests/ledger"],
    "provenance/_history": ["tests/history", "tests/intake/test_importing.py"],
}
"""The tests that should notice a fault in a folder or module."""
ALLOWED = {
    "bore.py: up[:, 2][:, None] * up + right[:, 2][:, None] * right -> "
    "((up[:, 2][:, None] * up) - (right[:, 2][:, None] * right))": "`right` is level in wood "
    "that is not upright, and in upright wood the steepest line is not used",
    "bore.py: np.abs(slope) <= np.arcsin(np.minimum(most, 1.0)) + np.radians(_SLOPE_SLACK_DEG) -> "
    "(np.abs(slope) < np.arcsin(np.minimum(most, 1.0)) + np.radians(_SLOPE_SLACK_DEG))": "both "
    "sides are rounded, so that no reading makes them equal",
}
"""Faults that change nothing that can be seen, as `Mutant.name` has them, and why."""
SWAPPED: dict[type[ast.AST], str] = {
    **{ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "=="},
    **{ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*", ast.BitAnd: "|", ast.BitOr: "&"},
    **{ast.And: "or", ast.Or: "and"},
}
PROMISES = {"maintain_order", "strict"}
"""Keywords whose promise is mostly kept by chance too, or that guard against faults of our own."""
SECONDS = 300
"""Tests that take longer are taken to have noticed something."""


class DoNotRun(Exception):
    """The tests say nothing about a fault: there are none, or they fail without one."""


class Mutant(NamedTuple):
    """One planted fault: bytes `start` to `end` of `path` replaced by `new`."""

    path: str
    line: int
    start: int
    end: int
    old: str
    new: str

    @property
    def name(self) -> str:
        """The fault without folder and line, so that it stays when code is moved."""
        return f"{Path(self.path).name}: {self.old} -> {self.new}"

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.old} -> {self.new}"


def mutants_of(path: str, source: str) -> Iterator[Mutant]:
    """Every fault that can be planted in a module."""
    tree, encoded = ast.parse(source), source.encode()
    starts = [0]
    for line in encoded.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    skipped = _not_behavior(tree)

    def span(node: ast.expr) -> tuple[int, int]:
        end = starts[(node.end_lineno or 0) - 1] + (node.end_col_offset or 0)
        return starts[node.lineno - 1] + node.col_offset, end

    def text(node: ast.expr) -> str:
        return " ".join(encoded[slice(*span(node))].decode().split())

    for node in ast.walk(tree):
        new = ""
        match node:
            case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in SWAPPED:
                new = f"{text(left)} {SWAPPED[type(op)]} {text(right)}"
            case (
                ast.BinOp(left=ast.Constant(value=str()))
                | ast.BinOp(right=ast.Constant(value=str()))
            ):
                continue  # texts are joined with the same sign
            case ast.BinOp(left=left, op=op, right=right) if type(op) in SWAPPED:
                new = f"({text(left)}) {SWAPPED[type(op)]} ({text(right)})"
            case ast.BoolOp(op=op, values=values):
                new = f" {SWAPPED[type(op)]} ".join(f"({text(one)})" for one in values)
            case ast.UnaryOp(op=ast.Not() | ast.Invert(), operand=operand):
                new = text(operand)
            case ast.Constant(value=bool() as value):
                new = repr(not value)
            case ast.Constant(value=int() | float() as value):
                new = repr(value + 1 if isinstance(value, int) else value * 1.5 + 1)
        if isinstance(node, ast.expr) and new and node not in skipped:
            # brackets keep what stands round the place as it was
            yield Mutant(path, node.lineno, *span(node), text(node), f"({new})")


def _not_behavior(tree: ast.AST) -> set[ast.AST]:
    """Nodes in which a change shows nowhere: annotations, decorators, messages."""
    roots: list[ast.AST | None] = []
    for node in ast.walk(tree):
        roots += getattr(node, "decorator_list", [])
        roots += [getattr(node, name, None) for name in ("returns", "annotation")]
        if isinstance(node, ast.Raise | ast.JoinedStr) or getattr(node, "arg", "") in PROMISES:
            roots.append(node)
    return {one for root in roots if root is not None for one in ast.walk(root)}


def files_in(places: Iterable[str], pattern: str = "*.py") -> list[Path]:
    """The files of these places, each a file or a folder."""
    paths = [Path(one) for one in places]
    return sorted({p for one in paths for p in ([one] if one.is_file() else one.rglob(pattern))})


def tests_for(path: str, table: Mapping[str, list[str]]) -> list[list[str]]:
    """The test file that speaks most of a module, its own first of all, and then the others."""
    known = max((one for one in table if Path(path).is_relative_to(one)), key=len, default=None)
    if known is None:
        raise DoNotRun(f"No tests are named for {path}: add its folder to TESTS.")
    files = files_in(table[known], "test_*.py")
    if not files:
        raise DoNotRun(f"{', '.join(table[known])} holds no tests for {path}: set TESTS right.")
    stem = Path(path).stem

    def telling(one: Path) -> tuple[bool, int]:
        words = re.findall(rf"\b{stem}\b", one.read_text(encoding="utf-8"))
        return one.stem == f"test_{stem}", len(words)

    ranked = [one.as_posix() for one in sorted(files, key=telling, reverse=True)]
    return [ranked[:1], ranked[1:]] if ranked[1:] else [ranked]


def _failing(tree: Path, tests: Sequence[str]) -> set[str]:
    """The first test that fails in this tree, or all if they do not start or end; none if sound."""
    told = tree / ".pytest_cache/v/cache/lastfailed"
    told.unlink(missing_ok=True)
    # a seed, because the same sample must have the same outcome
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--hypothesis-seed=0", *tests]
    environment = os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        run = subprocess.run(
            command, cwd=tree, env=environment, capture_output=True, timeout=SECONDS, text=True
        )
    except subprocess.TimeoutExpired:
        return set(tests)
    if run.returncode == 0:
        return set()
    return set(json.loads(told.read_text(encoding="utf-8"))) if told.is_file() else set(tests)


def survivors(chosen: Sequence[Mutant], table: Mapping[str, list[str]]) -> list[Mutant]:
    """Plant each fault in a copy of the working folder; those that no test noticed."""
    left = []
    noticing: set[str] = set()
    with tempfile.TemporaryDirectory() as scratch:
        tree = Path(scratch) / "tree"
        shutil.copytree(".", tree, ignore=shutil.ignore_patterns(".*", "__pycache__", "*_output"))
        for one in sorted(chosen):
            target = tree / one.path
            sound = target.read_bytes()
            target.write_bytes(sound[: one.start] + one.new.encode() + sound[one.end :])
            stages = (_failing(tree, tests) for tests in tests_for(one.path, table))
            failed = next(filter(None, stages), set())
            target.write_bytes(sound)
            print("noticed " if failed else "SURVIVED", one, flush=True)
            noticing |= failed
            left += [] if failed else [one]
        if noticing and (failed := _failing(tree, sorted(noticing))):
            raise DoNotRun(f"These fail without a planted fault: {', '.join(sorted(failed))}")
    return left


def main() -> int:
    """Plant a sample and say what became of each fault."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("places", nargs="*", default=[*TESTS])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=20)
    given = parser.parse_args()
    pool = [
        one
        for path in files_in(given.places)
        for one in mutants_of(path.as_posix(), path.read_text(encoding="utf-8"))
        if one.name not in ALLOWED
    ]
    chosen = random.Random(given.seed).sample(pool, min(given.most, len(pool)))
    try:
        left = survivors(chosen, TESTS)
    except DoNotRun as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{len(chosen)} of {len(pool)} possible faults planted, {len(left)} not noticed")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
