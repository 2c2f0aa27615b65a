"""Reads the text of a mapping file as YAML 1.2, where 'No' is a heading and not a falsehood.

PyYAML follows YAML 1.1, which makes false of No, a date of 2023-11-14 and 210 of 3:30. The core
schema of YAML 1.2 (yaml.org/spec/1.2.2, section 10.3) knows none of these.
"""

from __future__ import annotations

import re
from collections.abc import Hashable
from pathlib import Path
from typing import Any

import yaml

from provenance._base.errors import UnusableInput

LONGEST_BYTES = 1 << 20


class _Loader(yaml.SafeLoader):
    """The safe loader with the scalars of YAML 1.2 and without repeated keys."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        """As PyYAML does, but a key that stands twice is an error, not the last one's gain."""
        seen: set[str] = set()
        for key, _ in node.value:
            if key.tag == "tag:yaml.org,2002:merge" or not isinstance(key, yaml.ScalarNode):
                continue
            if key.value in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f"'{key.value}' stands here a second time", key.start_mark
                )
            seen.add(key.value)
        return super().construct_mapping(node, deep=deep)


for _tag, _pattern, _first in (
    ("null", r"(?:~|null|Null|NULL|)", ["~", "n", "N", ""]),
    ("bool", r"(?:true|True|TRUE|false|False|FALSE)", list("tTfF")),
    ("int", r"[-+]?[0-9]+", list("-+0123456789")),
    ("float", r"[-+]?(?:\.[0-9]+|[0-9]+\.[0-9]*)(?:[eE][-+]?[0-9]+)?", list("-+.0123456789")),
    ("merge", r"<<", ["<"]),
):
    _Loader.add_implicit_resolver(f"tag:yaml.org,2002:{_tag}", re.compile(f"^{_pattern}$"), _first)


def read_mapping_text(path: Path) -> Any:
    """What a YAML file says; raises UnusableInput with line, column and what usually helps."""
    try:
        if path.stat().st_size > LONGEST_BYTES:
            raise UnusableInput(f"{path} is larger than any mapping; is it the right file?")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise UnusableInput(f"{path} cannot be read: {error.strerror}; check the name") from None
    except UnicodeDecodeError as error:
        raise UnusableInput(
            f"{path} is not UTF-8 text (byte {error.start + 1}); save it as UTF-8"
        ) from None
    try:
        return yaml.load(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        where = f", line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        raise UnusableInput(
            f"{path}{where}: {error.problem or error}; put headings that hold any of "
            "? : # { } [ ] , & * into double quotes, and indent with blanks"
        ) from None
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise UnusableInput(f"{path} is not readable YAML: {error}") from None
