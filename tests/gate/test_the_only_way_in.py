"""What others made is opened through the gate: what opens it otherwise is named here, with why."""

from __future__ import annotations

import re
from pathlib import Path

import provenance

CODE = Path(provenance.__file__).parent
ELSEWHERE = {
    r"\bjson\.loads?\(": {
        "_bundle/about.py": "what was written a moment before",
        "_catalogue/audit/standing.py": "the catalogue's own rows",
        "_catalogue/audit/store_audit.py": "the catalogue's own rows",
        "_checks/structure/patterns.py": "the answer of a process of its own",
        "_cli/checking.py": "its own report",
        "_desk/store/about.py": "schemas that the program ships",
        "_model/profile.py": "schemas that the program ships",
        "_model/schema.py": "schemas that the program ships",
        "_record/copies.py": "the account's own notes",
        "_store/store.py": "schemas that the program ships",
        "_store/tables.py": "schemas that the program ships",
    },
    r"\bzipfile\.ZipFile\((?!stream, \"w\")": {
        "_bag/hostile_zip.py": "behind refuse_directory",
        "_catalogue/stores/records.py": "behind refuse_directory",
        "_desk/bringing/starting.py": "behind refuse_directory",
        "_intake/answers/opening.py": "behind refuse_directory",
        "_intake/files/data_package.py": "behind readers.py",
        "_intake/files/ods.py": "behind readers.py",
        "_intake/files/readers.py": "behind refuse_directory",
        "_intake/files/xlsx.py": "behind readers.py",
    },
}


def test_documents_and_zips_are_opened_through_the_gate_alone() -> None:
    for pattern, known in ELSEWHERE.items():
        found = {
            path.relative_to(CODE).as_posix()
            for path in CODE.rglob("*.py")
            if re.search(pattern, path.read_text(encoding="utf-8"))
        }
        found = {one for one in found if not one.startswith(("_gate/", "_demo/"))}
        assert found == set(known)
