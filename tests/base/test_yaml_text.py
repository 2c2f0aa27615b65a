"""YAML of a stranger's: nothing in it unfolds, runs or says another thing than what is written."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from provenance._base.errors import UnusableInput
from provenance._base.resources import shipped
from provenance._base.yaml_text import DEEPEST, MOST_BYTES, MOST_VALUES, read_yaml


def written(folder: Path, text: str) -> Path:
    path = folder / "a.yaml"
    path.write_text(text, encoding="utf-8")
    return path


BOMB = "a: &a [x, x]\n" + "".join(
    f"{one}: &{one} [{', '.join([f'*{before}'] * 9)}]\n" for before, one in pairwise("abcdefghi")
)
"""Nine lists of nine lists of …: nine lines that unfold to 86 million texts."""


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (BOMB, "line 1, column 4: aliases"),
        ("a: &x 1\nb: 2\n", "aliases"),
        ("base: {k: 1}\nb:\n  <<: *base\n", "aliases"),
        ("a: !!python/object/apply:os.system [ls]\n", "line 1, column 4: tags"),
        ("a: !!binary aGk=\n", "tags"),
        ("a: 1\nb: 2\na: 3\n", "line 3, column 1: 'a' occurs here a second time"),
        ("a: " + "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1), "nested too deeply"),
        ("[" * 1_000, "nested too deeply"),
        ("[" + "1, " * MOST_VALUES + "1]", "more than 50,000 values"),
        ("# " + "x" * MOST_BYTES, "more than 1 MiB"),
        ("a: [1, 2\nb: 3\n", "double quotes"),
        ("a: \x07\n", "not readable YAML"),
    ],
)
def test_what_unfolds_or_is_not_plain_is_refused_with_its_place(
    tmp_path: Path, text: str, says: str
) -> None:
    with pytest.raises(UnusableInput) as caught:
        read_yaml(written(tmp_path, text))
    assert says in str(caught.value)
    assert "a.yaml" in str(caught.value)


def test_words_and_times_stay_what_they_are(tmp_path: Path) -> None:
    """YAML 1.2.2, section 10.3 (core schema): none of these is a truth value, number or date."""
    text = "[NO, No, on, yes, 12:30:45, 2023-11-14, 0x1F, 1_000, =]"
    assert read_yaml(written(tmp_path, text)) == text.strip("[]").split(", ")
    assert read_yaml(written(tmp_path, "[true, ~, -7, 2.5e3]")) == [True, None, -7, 2500.0]


TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=9)


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers(-99, 99) | TEXTS,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
        max_leaves=12,
    )
)
def test_what_the_library_writes_is_read_as_it_was(
    tmp_path_factory: pytest.TempPathFactory, value: object
) -> None:
    folder = tmp_path_factory.getbasetemp()
    plainly = yaml.safe_dump(value, allow_unicode=True)
    if any(mark in plainly for mark in ("!!", "&id")):
        return  # what only tags and aliases can say
    assert read_yaml(written(folder, plainly)) == value


def test_no_file_of_the_project_needs_what_is_refused() -> None:
    for folder in ("schemas", "templates", "demo_package"):
        for path in shipped(folder).rglob("*.yaml"):
            assert read_yaml(path) is not None
