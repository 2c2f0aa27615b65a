"""Plants small faults in the code, one at a time, and lists those that no test notices.

    python tests/mutants.py --seed 1 --most 40 provenance/survey provenance/intake/units.py

Faults are planted in a copy of the tree, so that a run that is broken off leaves nothing behind.
Without PLACES all folders of `TESTS` are meant; the same seed and code give the same sample. Exit
code 1: a fault stayed unnoticed; 2: the tests do not run, or do not pass on the sound code.
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
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NamedTuple

TESTS = {
    "provenance/checks/rules": ["tests/checks/rules"],
    "provenance/bundle/redaction": ["tests/bundle/redaction"],
    "provenance/bundle/verify.py": ["tests/bundle/test_verify.py", "tests/bundle/test_bag.py"],
    "provenance/survey": ["tests/survey"],
    "provenance/intake/units.py": ["tests/intake/test_units.py"],
}
"""The tests that should notice a fault in a folder or module."""
ALLOWED: dict[str, str] = {}
"""Faults that change nothing that can be seen, as `Mutant.name` has them, and why."""
COMPARE = {ast.Lt: "<=", ast.LtE: "<", ast.Gt: ">=", ast.GtE: ">", ast.Eq: "!=", ast.NotEq: "=="}
ARITHMETIC = {ast.Add: "-", ast.Sub: "+", ast.Mult: "/", ast.Div: "*"}
ARITHMETIC |= {ast.BitAnd: "|", ast.BitOr: "&"}
NOT_FOR_TESTS = {"maintain_order", "strict"}
"""Keywords that promise what holds by chance too, or guard against faults of our own."""
IGNORED = shutil.ignore_patterns(
    ".git", ".venv", "*_output", "__pycache__", ".hypothesis", ".*_cache"
)


class DoNotRun(Exception):
    """The tests say nothing about a fault: they do not run, or fail without one."""


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
    tree = ast.parse(source)
    starts = [0]
    for line in source.encode().splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    skipped = _not_behavior(tree)

    def text(node: ast.AST) -> str:
        return ast.get_source_segment(source, node) or ""

    for node in ast.walk(tree):
        if node in skipped:
            continue
        at, new = node, ""
        match node:
            case ast.Compare(left=left, ops=[op], comparators=[right]) if type(op) in COMPARE:
                new = f"{text(left)} {COMPARE[type(op)]} {text(right)}"
            case ast.BinOp(left=left, op=op, right=right) if type(op) in ARITHMETIC:
                if not any(
                    isinstance(one, ast.JoinedStr) or _is_text(one) for one in (left, right)
                ):
                    new = f"({text(left)}) {ARITHMETIC[type(op)]} ({text(right)})"
            case ast.BoolOp(op=op, values=values):
                word = " or " if isinstance(op, ast.And) else " and "
                new = word.join(f"({text(one)})" for one in values)
            case ast.UnaryOp(op=ast.Not() | ast.Invert(), operand=operand):
                new = text(operand)
            case ast.Constant(value=bool() as value):
                new = repr(not value)
            case ast.Constant(value=int() | float() as value):
                new = repr(value + 1 if isinstance(value, int) else value * 1.5 + 1)
            case ast.If(test=test) if not isinstance(test, ast.Compare | ast.BoolOp | ast.UnaryOp):
                at, new = test, f"not ({text(test)})"
        if new and at.end_lineno is not None and at.end_col_offset is not None:
            start = starts[at.lineno - 1] + at.col_offset
            end = starts[at.end_lineno - 1] + at.end_col_offset
            old, new = (" ".join(one.split()) for one in (text(at), new))
            # brackets keep what stands round the place as it was
            yield Mutant(path, at.lineno, start, end, old, f"({new})")


def _is_text(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def _not_behavior(tree: ast.AST) -> set[ast.AST]:
    """Nodes in which a change shows nowhere: annotations, decorators, messages, TYPE_CHECKING."""
    roots: list[ast.AST | None] = []
    for node in ast.walk(tree):
        match node:
            case ast.FunctionDef():
                roots += [*node.decorator_list, node.returns]
            case ast.ClassDef():
                roots += node.decorator_list
            case ast.arg() | ast.AnnAssign():
                roots.append(node.annotation)
            case ast.keyword() if node.arg in NOT_FOR_TESTS:
                roots.append(node)
            case ast.Raise() | ast.JoinedStr():
                roots.append(node)
            case ast.If() if "TYPE_CHECKING" in ast.unparse(node.test):
                roots.append(node)
    return {one for root in roots if root is not None for one in ast.walk(root)}


def tests_for(path: str, table: Mapping[str, list[str]]) -> list[list[str]]:
    """The test files to run: first those that speak of the module, the most telling in front."""
    known = max((one for one in table if Path(path).is_relative_to(one)), key=len, default=None)
    if known is None:
        raise DoNotRun(f"{path} has no tests in TESTS of {Path(__file__).name}: add its folder.")
    stem = Path(path).stem
    files = {
        one.as_posix(): len(re.findall(rf"\b{stem}\b", one.read_text(encoding="utf-8")))
        + 1000 * (one.name == f"test_{stem}.py")
        for place in map(Path, table[known])
        for one in ([place] if place.is_file() else sorted(place.rglob("test_*.py")))
    }
    ranked = sorted(files, key=files.__getitem__, reverse=True)
    telling = [one for one in ranked if files[one]]
    stages = [telling[:1], telling[1:], [one for one in ranked if not files[one]]]
    return [stage for stage in stages if stage]


def _failing(tree: Path, tests: list[str], seconds: float) -> set[str]:
    """The first test that fails in this tree, or all when they do not end; none when all pass."""
    told = tree / ".pytest_cache/v/cache/lastfailed"
    told.unlink(missing_ok=True)
    # a seed, because the same sample must have the same outcome
    command = [sys.executable, "-m", "pytest", "-x", "-q", "--hypothesis-seed=0", *tests]
    environment = os.environ | {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        run = subprocess.run(
            command, cwd=tree, env=environment, capture_output=True, timeout=seconds, text=True
        )
    except subprocess.TimeoutExpired:
        return set(tests)
    if run.returncode == 0:
        return set()
    if not told.is_file():
        raise DoNotRun(f"pytest {' '.join(tests)} cannot run:\n{run.stdout}{run.stderr}")
    return set(json.loads(told.read_text(encoding="utf-8")))


def survivors(
    chosen: list[Mutant], table: Mapping[str, list[str]], seconds: float
) -> Iterator[Mutant]:
    """Plants each fault in a copy of the tree and gives back those that no test noticed."""
    pass_on_sound: set[str] = set()
    with tempfile.TemporaryDirectory() as scratch:
        tree = Path(scratch) / "tree"
        shutil.copytree(".", tree, ignore=IGNORED)
        for one in sorted(chosen):
            target = tree / one.path
            sound = target.read_bytes()
            noticed: set[str] = set()
            for tests in tests_for(one.path, table):
                target.write_bytes(sound[: one.start] + one.new.encode() + sound[one.end :])
                noticed = _failing(tree, tests, seconds)
                target.write_bytes(sound)
                if noticed:
                    break
            if not noticed <= pass_on_sound and _failing(tree, sorted(noticed), seconds):
                raise DoNotRun(f"{', '.join(noticed)} fails without a planted fault.")
            pass_on_sound |= noticed
            print("noticed " if noticed else "SURVIVED", one, flush=True)
            if not noticed:
                yield one


def main() -> int:
    """Run the sample and print what became of each fault."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("places", nargs="*", type=Path, default=[Path(one) for one in TESTS])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=20, help="how many faults are planted")
    parser.add_argument("--seconds", type=float, default=300, help="for the tests of one fault")
    given = parser.parse_args()
    paths = {
        path
        for place in given.places
        for path in ([place] if place.is_file() else place.rglob("*.py"))
    }
    pool = [
        one
        for path in sorted(paths)
        for one in mutants_of(path.as_posix(), path.read_text(encoding="utf-8"))
        if one.name not in ALLOWED
    ]
    chosen = random.Random(given.seed).sample(pool, min(given.most, len(pool)))
    try:
        survived = len(list(survivors(chosen, TESTS, given.seconds)))
    except DoNotRun as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{len(chosen)} of {len(pool)} possible faults planted, {survived} not noticed")
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main())
