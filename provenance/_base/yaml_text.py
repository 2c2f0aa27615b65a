"""YAML as people write it, in and out: scalars of YAML 1.2, no key twice, nothing that unfolds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from provenance._base.errors import UnusableInput

if TYPE_CHECKING:
    from yaml import MappingNode, Mark, MarkedYAMLError

MOST_BYTES = 1 << 20
MOST_VALUES = 50_000
DEEPEST = 20

_PLAIN = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")
_SCALARS = (
    ("null", r"(?:~|null|Null|NULL|)", ["~", "n", "N", ""]),
    ("bool", r"(?:true|True|TRUE|false|False|FALSE)", list("tTfF")),
    ("int", r"[-+]?[0-9]+", list("-+0123456789")),
    ("float", r"[-+]?(?:\.[0-9]+|[0-9]+\.[0-9]*)(?:[eE][-+]?[0-9]+)?", list("-+.0123456789")),
)
"""Tag, pattern and first characters of what is no text in YAML 1.2."""


@cache
def _loaders() -> tuple[Any, Any]:
    """What reads the events of a text, and what makes values of them.

    Made when first asked for, because most commands read no YAML. PyYAML follows YAML 1.1, which
    makes false of No, a date of 2023-11-14 and 210 of 3:30; the core schema of YAML 1.2
    (yaml.org/spec/1.2.2, section 10.3) knows none of these.
    """
    import yaml

    # the same safe loader on libyaml is ten times as fast, where the wheel has it
    safe: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

    class Loader(safe):  # type: ignore[misc]
        yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012

        def construct_mapping(self, node: MappingNode, deep: bool = False) -> dict[Any, Any]:
            # as PyYAML does, but a key that stands twice is an error, not the last one's gain
            seen: set[str] = set()
            for key, _ in node.value:
                if isinstance(key, yaml.ScalarNode):
                    if key.value in seen:
                        raise _fault(f"'{key.value}' occurs here a second time", key.start_mark)
                    seen.add(key.value)
            made: dict[Any, Any] = super().construct_mapping(node, deep=deep)
            return made

    for tag, pattern, first in _SCALARS:
        Loader.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(f"^{pattern}$"), first)
    return safe, Loader


def read_yaml(path: Path) -> Any:
    """What a YAML file says; raises UnusableInput with line, column and what usually helps.

    A file of more than MOST_BYTES, MOST_VALUES or DEEPEST is refused before anything is made of it,
    and so are aliases and tags: a few lines of aliases can unfold to more than any memory holds.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise UnusableInput(
                f"{path} has more than {MOST_BYTES >> 20} MiB, more than any file of this kind; "
                "is it the right one?"
            )
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror}; check the name") from None
    except UnicodeDecodeError as error:
        raise UnusableInput(
            f"{path} is not UTF-8 text (byte {error.start + 1}); save it as UTF-8"
        ) from None
    import yaml

    events, loader = _loaders()
    try:
        for fault in _what_unfolds(yaml.parse(text, Loader=events)):
            raise fault
        return yaml.load(text, Loader=loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        where = f", line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        raise UnusableInput(
            f"{path}{where}: {error.problem or error}; put texts that hold any of "
            "? : # { } [ ] , & * into double quotes, and indent with blanks"
        ) from None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise UnusableInput(f"{path} is not readable YAML: {error}") from None


def yaml_of(value: Any) -> str:
    """A value of texts, numbers, truths, lists and mappings as YAML that `read_yaml` reads."""
    import yaml

    class Writer(yaml.SafeDumper):
        def ignore_aliases(self, data: Any) -> bool:
            return True  # they are not read

    def text(writer: Writer, one: str) -> Any:
        # whatever is more than a word could be a number or a date to some reader
        style = None if _PLAIN.fullmatch(one) else '"'
        return writer.represent_scalar("tag:yaml.org,2002:str", one, style)

    Writer.add_representer(str, text)
    made: str = yaml.dump(value, Dumper=Writer, sort_keys=False, allow_unicode=True, width=100)
    return made


def _what_unfolds(events: Iterable[Any]) -> Iterator[MarkedYAMLError]:
    """What is wrong with a text of which nothing has been made yet."""
    depth = 0
    for count, event in enumerate(events, start=1):
        kind = type(event).__name__
        if kind == "AliasEvent" or getattr(event, "anchor", None):
            yield _fault("aliases (& and *) are not read; write it out", event.start_mark)
        if getattr(event, "tag", None):
            yield _fault("tags (!) are not read; write the text alone", event.start_mark)
        depth += kind in ("MappingStartEvent", "SequenceStartEvent")
        depth -= kind in ("MappingEndEvent", "SequenceEndEvent")
        if depth > DEEPEST:
            yield _fault("it is nested too deeply", event.start_mark)
        if count > MOST_VALUES:
            yield _fault(f"it holds more than {MOST_VALUES:,} values", event.start_mark)


def _fault(problem: str, mark: Mark) -> MarkedYAMLError:
    from yaml import MarkedYAMLError

    return MarkedYAMLError(None, None, problem, mark)
