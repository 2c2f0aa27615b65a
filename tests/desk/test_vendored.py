"""The browser libraries that travel with the project are those that vendor.json names."""

from __future__ import annotations

import base64
import hashlib
import re

from tests.vendored import LIST, VENDOR, entries, folder_of

# the address of a CDN in its default, which the page that scans replaces by `locateFile`
REPLACED = {"zxing-wasm/es/share.js"}


def test_every_file_is_the_one_that_was_fetched_and_there_is_no_other() -> None:
    wanted = {
        f"{folder_of(entry)}/{path}": digest
        for entry in entries()
        for path, digest in entry["files"].items()
    }
    there = {
        path.relative_to(VENDOR).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in VENDOR.rglob("*")
        if path.is_file() and path != LIST
    }
    assert there == wanted


def test_every_library_says_whence_it_is_and_under_which_license() -> None:
    for entry in entries():
        algorithm, _, digest = entry["sha512"].partition("-")
        assert (algorithm, len(base64.b64decode(digest))) == ("sha512", 64), entry["name"]
        assert re.fullmatch(r"\d+\.\d+\.\d+", entry["version"]), entry["name"]
        assert entry["license"] in ("MIT", "0BSD", "BSD-2-Clause"), entry["name"]
        assert entry["homepage"].startswith("https://"), entry["name"]
        assert "LICENSE" in entry["files"], entry["name"]


def test_no_library_fetches_from_elsewhere_but_where_we_replace_the_address() -> None:
    """Addresses of CDNs, and of anything that a script loads or a style shows."""
    fetching = re.compile(
        r"(?:cdn|jsdelivr|unpkg|googleapis)[\w.-]*\.(?:net|com|org)"
        r"|(?:import|fetch|url)\(\s*[\"'`]?(?:https?:)?//"
    )
    found = {
        path.relative_to(VENDOR).as_posix()
        for path in VENDOR.rglob("*")
        if path.suffix in (".js", ".css") and fetching.search(path.read_text("utf-8"))
    }
    assert found == REPLACED
