"""The words that the contributor's guide replaces stand in no text that a person reads."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
GUIDE = ROOT / "DEVELOPERS.md"
NOT_OUR_WORDS = ("provenance/_disclosure/common_words.py", "templates/desk/vendor/")
"""Words as people write them in free text, which are looked for; libraries of others."""
SAID = re.compile(r'^\s*"?(?:title|description|label|definition|caution|\w+)"?: "(.*)",?$')
UNSPOKEN = re.compile(r'"?(?:name|code|source|synonyms|type|pattern|vocabulary|example)"?:')
QUOTED = re.compile(r"`[^`]*`|\{\{.*?\}\}|\{%.*?%\}|<[^<>]*>|\]\([^)]*\)")
FILLED = "\N{HORIZONTAL ELLIPSIS}"
"""Stands where an f-string is filled in."""
JOINED = re.compile(r'"\s*\n\s*[rf]?"')


def patterns() -> dict[str, str]:
    """Each pattern of the table in the guide with what to write instead."""
    table = GUIDE.read_text("utf-8").partition("\n## Words\n")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| `(.+)` \| (.+) \|$", table, re.MULTILINE)
    return {pattern.replace("\\|", "|"): better for pattern, better in rows}


def glossary() -> list[tuple[re.Pattern[str], str]]:
    """The patterns as they are looked for: whole words."""
    found = []
    for pattern, better in patterns().items():
        any_case = re.IGNORECASE if not re.search(r"[A-Z]{2}|(?<!\\)[A-Z]", pattern) else 0
        found.append((re.compile(rf"(?<![\w'-])(?:{pattern})(?![\w'])", any_case), better))
    return found


def texts_of(path: Path, replaced: re.Pattern[str]) -> Iterator[tuple[int, str]]:
    """What a person may read of a file, with the line on which it begins."""
    source = path.read_text("utf-8")
    if path.suffix == ".py":
        if replaced.search(JOINED.sub("", source).lower()):
            yield from _literals(source, docstrings="_cli" in path.parts)
    elif path.suffix == ".js":
        for number, line in enumerate(source.splitlines(), 1):
            for said in re.findall(r'"((?:[^"\\]|\\.)* (?:[^"\\]|\\.)*)"', line):
                yield number, said
    elif path.suffix == ".json" or "vocabularies" in path.parts:
        for number, line in enumerate(source.splitlines(), 1):
            if (said := SAID.match(line)) and not UNSPOKEN.match(line.strip()):
                yield number, said[1]
    else:
        source = source.partition("\n## Words\n")[0] if path == GUIDE else source
        source = re.sub(
            r"^```.*?^```", lambda m: "\n" * m[0].count("\n"), source, flags=re.M | re.S
        )
        for number, line in enumerate(source.splitlines(), 1):
            yield number, QUOTED.sub(" ", line)


def _literals(source: str, *, docstrings: bool) -> Iterator[tuple[int, str]]:
    tree = ast.parse(source)
    unread = {
        id(one.value)
        for one in ast.walk(tree)
        if isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant) and not docstrings
    }
    for one in ast.walk(tree):
        said = one.value if isinstance(one, ast.Constant) and id(one) not in unread else None
        if isinstance(one, ast.JoinedStr):
            parts = [p.value if isinstance(p, ast.Constant) else FILLED for p in one.values]
            unread |= {id(part) for part in one.values}
            said = "".join(map(str, parts))
        # without a blank it is a code or a column
        if isinstance(said, str) and " " in said:
            yield one.lineno, said


def test_no_text_has_a_word_that_the_guide_replaces() -> None:
    words = glossary()
    assert len(words) > 40
    # small letters and no more than a word's beginning: found ten times as fast, then looked at
    any_of_them = re.compile(rf"\b(?:{'|'.join(patterns()).lower()})")
    paths = [ROOT / "README.md", ROOT / "SECURITY.md", GUIDE, *(ROOT / "docs").glob("*.md")]
    paths += [ROOT / "schemas" / "RULES.md", ROOT / "schemas" / "CATALOGUE.md"]
    paths += (ROOT / "schemas" / "tables").glob("*.json")
    paths += (ROOT / "schemas" / "vocabularies").glob("*.yaml")
    for folder, endings in (("provenance", "py"), ("templates", "html txt md yaml js")):
        for ending in endings.split():
            paths += (ROOT / folder).rglob(f"*.{ending}")
    found = []
    for path in sorted(paths):
        name = path.relative_to(ROOT).as_posix()
        if name.startswith(NOT_OUR_WORDS):
            continue
        for number, text in texts_of(path, any_of_them):
            if any_of_them.search(text.lower()):
                found += [
                    f"{name}:{number}: '{hit[0]}': write {better}"
                    for pattern, better in words
                    for hit in pattern.finditer(text)
                ]
    assert not found, "\n".join(found)


def test_every_word_of_the_guide_is_told_by_its_pattern() -> None:
    """Old spellings are found in any case, in the midst of a sentence; names of fields are not."""
    words = glossary()
    for text, better in (
        ("Two pieces of wood.", "timber"), ("a beam that carries load", "load-bearing"),
        ("Parted by blanks", "separated by"), ("'x' is no date", "is not a …"),
        ("ORCID: 'y' is no ORCID", "is not a …"), ("3 metres long", "meter; better"),
        ("Organisation", "organization"), ("cm a meter", "per"),
    ):  # fmt: skip
        assert next(b for p, b in words if p.search(text)).startswith(better), text
    for text in ("metres_per_pixel", "organisation_id", "there is no date", "one per meter"):
        assert not [p for p, _ in words if p.search(text)], text


def test_an_f_string_is_read_as_one_text() -> None:
    """What is filled in separates words: a phrase is not found across it."""
    said = list(_literals("f'{n} pieces ' f'of wood; it is {x} no site'", docstrings=False))
    assert said == [(1, f"{FILLED} pieces of wood; it is {FILLED} no site")]
    assert [h[0] for p, _ in glossary() for h in p.finditer(said[0][1])] == ["pieces of wood"]
