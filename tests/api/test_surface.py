"""What other programs may rely on stays as it is: names, signatures, attributes, columns."""

from __future__ import annotations

import inspect
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import provenance
from provenance._api.chain import CHAIN

HERE = Path(__file__).parent
PROMISED = HERE / "public.txt"
REFERENCE = HERE.parents[1] / "docs" / "api.md"

WHAT_TO_DO = (
    "\nThe public names have changed. A new name, or a new column at the end, may be added: write "
    "it into tests/api/public.txt and CHANGELOG.md. Nothing may be taken away, renamed or put in "
    "another order at once: keep the old one for one minor version, with a DeprecationWarning that "
    "names the new one, and say so in CHANGELOG.md (see 'Promises' in DEVELOPERS.md)."
)


def promised_members() -> dict[str, list[str]]:
    """Class → attributes that the reference documents, which are those that stay."""
    text = REFERENCE.read_text("utf-8")
    found = re.findall(r"autoclass:: provenance\.(\w+)\(\)\n +:members: (.+)\n", text)
    return {name: members.split(", ") for name, members in found}


def told(value: Any) -> str:
    """A function with its signature, a property or field with its type, annotations as written."""
    if isinstance(value, property):
        return f": {inspect.signature(value.fget).return_annotation}"
    if hasattr(value, "func"):
        return f": {inspect.signature(value.func).return_annotation}"
    return re.sub(r"(: |-> )'([^']*)'", r"\1\2", str(inspect.signature(value)))


def surface() -> str:
    """Everything that is promised, a line each."""
    lines = []
    members = promised_members()
    for name in provenance.__all__:
        value = getattr(provenance, name)
        if not inspect.isclass(value):
            lines.append(f"{name}{told(value)}")
            continue
        bases = ", ".join(one.__name__ for one in value.__bases__)
        lines.append(f"class {name}({bases})".removesuffix("(object)"))
        for member in members.get(name, ()):
            attribute = inspect.getattr_static(value, member, None)
            if attribute is None or member in getattr(value, "__dataclass_fields__", ()):
                lines.append(f"  {name}.{member}: {inspect.get_annotations(value)[member]}")
            else:
                lines.append(f"  {name}.{member}{told(attribute)}")
    lines += [f"chain column {number}: {name}" for number, name in enumerate(CHAIN, start=1)]
    return "\n".join(lines) + "\n"


def test_the_public_names_are_as_promised() -> None:
    assert surface() == PROMISED.read_text("utf-8"), WHAT_TO_DO


def test_the_reference_tells_of_every_public_name() -> None:
    told = set(re.findall(r"auto\w+:: provenance\.(\w+)", REFERENCE.read_text("utf-8")))
    assert told == set(provenance.__all__)


@pytest.mark.parametrize("name", provenance.__all__)
def test_every_public_name_is_explained(name) -> None:
    value = getattr(provenance, name)
    assert inspect.getdoc(value)
    if inspect.isfunction(value):
        assert "Returns:" in value.__doc__
        assert "Raises:" in value.__doc__


def test_functions_are_told_in_the_words_of_their_commands() -> None:
    from provenance._cli import COMMANDS

    for name in ("new", "verify", "compare", "locate"):
        assert inspect.getdoc(getattr(provenance, name)).startswith(COMMANDS[name][1])
    assert inspect.getdoc(provenance.Record.pack).startswith(COMMANDS["pack"][1])


def test_what_is_imported_is_imported_when_it_is_asked_for() -> None:
    """A program that only wants the version, or one error, need not wait for pandas."""
    code = (
        "import sys, provenance\n"
        "provenance.__version__, dir(provenance), provenance.TreenailError\n"
        "heavy = {'pandas', 'polars', 'numpy', 'jsonschema', 'click', 'fsspec', 'reportlab'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
        "from provenance import *\n"
        "print(open.__module__)\n"
    )
    command = [sys.executable, "-c", code]
    ran = subprocess.run(command, capture_output=True, text=True, check=True, cwd=HERE.parents[1])
    assert ran.stdout.splitlines() == ["[]", "provenance._api.record"]


def test_a_name_that_there_is_not_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'pakc'"):
        provenance.pakc  # noqa: B018
