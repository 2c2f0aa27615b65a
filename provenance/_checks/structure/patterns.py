"""Tells which values match a pattern of a schema, whole, even when the pattern is a stranger's.

Patterns come from the schemas inside a package, and a package may come from anyone. Most patterns
use nothing but what every engine reads alike; those run in the columnar engine, in linear time. The
others (look-around, back-references, \\w …) need Python's own engine, whose time has no bound: they
run in a process of their own that is stopped when it takes too long.

The match is of the whole value, as Table Schema v2 (constraints: pattern) and XML Schema have it.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from functools import lru_cache

import polars as pl

SECONDS_PER_PATTERN = 10.0
"""How long one pattern may take over all the different values of one column."""
SECONDS_FOR_ALL = 30.0
"""How long all patterns of a record may take that only Python's engine knows."""
LONGEST_PATTERN = 20_000
"""Characters; the longest of ours, a list of every species code, has about a tenth of them."""

# One token that Rust's and Python's engines read alike: a plain character or an escaped sign; a
# group; a set without the nesting and set operations that only one of them knows. Anything else
# (^ $ \w \s flags, look-around, possessive and lazy repeats) is left to Python.
_LITERAL = r"[^\\^$.|?*+()\[\]{}]|\\[^A-Za-z0-9<>]|\\x[0-9a-fA-F]{2}|\\d"
_SET_MEMBER = r"(?:[^\\\[\]^&~-]|&(?!&)|~(?!~)|\\[^A-Za-z0-9<>]|\\x[0-9a-fA-F]{2}|\\d)"
_SET = rf"\[\^?-?{_SET_MEMBER}(?:-?{_SET_MEMBER})*-?\]"
_REPEAT = r"(?:[?*+]|\{[0-9]{1,3}(?:,[0-9]{0,3})?\})"
_ALIKE_IN_BOTH = re.compile(
    rf"(?:(?:{_LITERAL}|{_SET}|\.){_REPEAT}?(?![?*+{{])|\((?:\?:)?|\){_REPEAT}?(?![?*+{{])|\|)*"
)

_CHILD = """
import json, re, sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
except (ImportError, OSError, ValueError):
    pass  # Windows and macOS have no such bound; time is bounded everywhere
asked = json.load(sys.stdin)
try:
    match = re.compile(asked["pattern"]).fullmatch
except (re.error, RecursionError, OverflowError) as error:
    json.dump({"trouble": str(error)}, sys.stdout)
else:
    json.dump({"bad": [i for i, text in enumerate(asked["texts"]) if not match(text)]}, sys.stdout)
"""


@dataclass
class Patience:
    """The seconds that are left for patterns of one record in Python's own engine."""

    left: float = SECONDS_FOR_ALL


class UnusablePattern(Exception):
    """A pattern that cannot be tested; its text says why."""


@lru_cache(maxsize=1024)
def is_alike_in_every_engine(pattern: str) -> bool:
    """Whether a pattern uses nothing that regular-expression engines read differently."""
    return _ALIKE_IN_BOTH.fullmatch(pattern) is not None


def mismatches(
    pattern: str,
    texts: pl.Series,
    *,
    seconds: float = SECONDS_PER_PATTERN,
    patience: Patience | None = None,
) -> pl.Series:
    """A Boolean column that is true where the whole text does not match; '' always passes.

    Raises UnusablePattern when the pattern is none, is too long, takes too long, or would be tried
    when other patterns have used up the `patience`.
    """
    if len(pattern) > LONGEST_PATTERN:
        raise UnusablePattern(f"it is longer than {LONGEST_PATTERN} characters")
    if is_alike_in_every_engine(pattern):
        try:
            # groups that do not pair up would pair with the ones put around the pattern
            re.compile(pattern)
        except (re.error, RecursionError, OverflowError) as error:
            raise UnusablePattern(f"it is not a regular expression: {error}") from None
        if not len(texts):
            return pl.Series([], dtype=pl.Boolean)
        try:
            return (texts != "") & ~texts.str.contains(rf"\A(?:{pattern})\z")
        except pl.exceptions.ComputeError:
            # too large for the columnar engine, or an escape that only Python knows
            pass
    patience = patience or Patience()
    if patience.left <= 0:
        raise UnusablePattern("it was not tried, because others took too long already")
    begun = time.monotonic()
    try:
        wrong = tried_in_python(pattern, texts, seconds=min(seconds, patience.left))
    finally:
        patience.left -= time.monotonic() - begun
    return (texts != "") & texts.is_in(wrong)


def tried_in_python(
    pattern: str, texts: pl.Series, *, seconds: float = SECONDS_PER_PATTERN
) -> list[str]:
    """The different texts that do not match by Python's own engine, in a process that is stopped.

    Raises UnusablePattern as `mismatches` does.
    """
    if len(pattern) > LONGEST_PATTERN:
        raise UnusablePattern(f"it is longer than {LONGEST_PATTERN} characters")
    different = texts.unique().to_list()
    return [different[at] for at in _bad_in_a_process_of_its_own(pattern, different, seconds)]


def _bad_in_a_process_of_its_own(pattern: str, texts: list[str], seconds: float) -> list[int]:
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-S", "-c", _CHILD],
            input=json.dumps({"pattern": pattern, "texts": texts}),
            capture_output=True,
            text=True,
            timeout=seconds,
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise UnusablePattern(f"it took more than {seconds:g} s over the values") from None
    if done.returncode != 0:
        last = done.stderr.strip().splitlines()[-1:] or [f"exit code {done.returncode}"]
        raise UnusablePattern(last[0])
    answer = json.loads(done.stdout)
    if "trouble" in answer:
        raise UnusablePattern(f"it is not a regular expression: {answer['trouble']}")
    return [int(index) for index in answer["bad"]]
