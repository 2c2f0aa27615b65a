"""Fetches the browser libraries in templates/desk/vendor again: `make vendor`.

vendor.json there says which files of which version are taken. For another version write its number,
leave `sha512` blank and `files` empty: both are filled in with what the registry says.
"""

from __future__ import annotations

import base64
import hashlib
import json
import subprocess
import tarfile
import tempfile
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from provenance._base.resources import shipped

VENDOR = shipped("templates") / "desk" / "vendor"
LIST = VENDOR / "vendor.json"


def entries() -> list[dict[str, Any]]:
    """What vendor.json lists, one entry a library."""
    listed: list[dict[str, Any]] = json.loads(LIST.read_text("utf-8"))
    return listed


def folder_of(entry: dict[str, Any]) -> str:
    """The folder of a library: its name without the scope before it."""
    return str(entry["name"]).rpartition("/")[2]


def fetched(entry: dict[str, Any], scratch: Path) -> dict[str, bytes]:
    """The files of one library by their path in its folder, from a tarball that is as promised.

    Raises SystemExit where the tarball is not the one that the registry or vendor.json names.
    """
    named = f"{entry['name']}@{entry['version']}"
    promised = json.loads(_npm("view", named, "dist.integrity", "--json"))
    (packed,) = json.loads(_npm("pack", named, "--json", "--pack-destination", str(scratch)))
    tarball = scratch / packed["filename"]
    digest = hashlib.sha512(tarball.read_bytes()).digest()
    found = f"sha512-{base64.b64encode(digest).decode()}"
    for whose, wanted in (("the registry", promised), ("vendor.json", entry["sha512"] or found)):
        if found != wanted:
            raise SystemExit(f"{named}: the tarball is {found}; {whose} says {wanted}")
    entry["sha512"] = found
    taken = {}
    with tarfile.open(tarball) as archive:
        for member in archive.getmembers():
            path = member.name.removeprefix("package/")
            stream = archive.extractfile(member)
            if stream and any(fnmatchcase(path, one) for one in [*entry["take"], "LICENSE"]):
                taken[path.removeprefix("dist/")] = stream.read()
    return taken


def _npm(*arguments: str) -> str:
    return subprocess.run(
        ["npm", *arguments], check=True, stdout=subprocess.PIPE, encoding="utf-8"
    ).stdout


def main() -> None:
    """Writes every file again, removes those that are taken no longer, and notes what there is."""
    listed = entries()
    with tempfile.TemporaryDirectory() as scratch:
        taken = {folder_of(entry): fetched(entry, Path(scratch)) for entry in listed}
    wanted = {
        VENDOR / folder / path: data for folder in taken for path, data in taken[folder].items()
    }
    for path in [path for path in VENDOR.rglob("*") if path.is_file() and path != LIST]:
        if path not in wanted:
            path.unlink()
    for path, data in wanted.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    for entry in listed:
        files = sorted(taken[folder_of(entry)].items())
        entry["files"] = {path: hashlib.sha256(data).hexdigest() for path, data in files}
    LIST.write_text(json.dumps(listed, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
