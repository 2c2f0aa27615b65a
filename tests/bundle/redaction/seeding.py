"""A package in which everything that must be withheld is a marker that stands nowhere else.

Every field that its own schemas call sensitive is seeded, the crew's own ones too, and every kind
of file; every open text then tells all of it over again. Beside it every text that a person would
have to read first, every code, caption, title and file, holds something that no search could know.
"""

from __future__ import annotations

import base64
import contextlib
import io
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from hashlib import sha256
from pathlib import Path
from typing import Any

import pandas as pd
import yaml
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from PIL import Image, PngImagePlugin
from reportlab.pdfgen.canvas import Canvas

from provenance._bundle.redaction.placed import PLACED_FORMS
from provenance._bundle.redaction.stand_ins import FULL_ONLY
from provenance._bundle.review.deciding import (
    Word,
    decide_by_rule,
    decide_field,
    decide_one_by_one,
)
from provenance._bundle.review.review import review_package
from provenance._history.acts import IMPORT, Act, Line
from provenance._history.deciding import Refused, accept, correct, decide
from provenance._history.history import open_history, stage_history
from provenance._ledger.custody import append_events
from provenance._ledger.ed25519 import Signer
from provenance._ledger.keys import countersign_key, enter_key, retire_key
from provenance._ledger.seals import FILLED_IN
from provenance._model.schema import Field, Table
from provenance._record.edition_key import edition_key
from provenance._record.new import new_package
from provenance._record.package import Package, open_package
from provenance._record.together import writing_together
from tests.builders import SOUND, STARTED, PackageBuilder

PERSON, SECOND = "QZW", "QZK7"
"""Codes of people who have not agreed: initials, as crews have them."""
LATITUDE, LONGITUDE = "51.47391", "-101.28376"
EASTING, NORTHING = "451234.57", "5731234.79"
GRID_X, GRID_Y, GRID_Z = "451251.63", "5731262.41", "1873.46"
SITE_NAME = "Mkplace Zqreach"
TOLD = (
    "N51 28.435 W101 17.026", "51-28-26.1N", "512826N", "14U LC 41396 05001", "341 397 5 705 001",
    "953WFPF8+HF", "c9puz4x3m", "DO91il", "T36N R18W sec. 14", "APN 5611-142-00-037",
    "///filled.hollow.reaches", "fifty-one degrees twenty-eight minutes", "N5147W10128",
    "５１．４７３９１",
)  # fmt: skip
"""Other ways to write the same place."""
UNREAD_TITLE, UNREAD_CODE, UNREAD_KEY = "Nvtitle", "nvmiller_dog", "nvmillers-barn"
HARMLESS = "sound and dry, bark left on one side"
"""What everybody may see; two rows of two fields say it."""
CLOSED = {"gps_east": "-101.28412", "told_in": "Nvclosed", "seen_on": "1877-03-19"}
DECLARED = {"phone": "5055550142", "gps_lat": "51.47402", "remark": "Nvremark at the gate"}
PROFILE: dict[str, Any] = {
    "name": "seeded",
    "title": "Profile for the place itself",
    "description": f"Made for {SITE_NAME}.",
    "cautions": [f"Ask for the key of {SITE_NAME} before you go."],
    "add": {
        "element": [
            {"name": "told_by", "type": "string", "title": "Told by", "description": "Who told it.",
             "sensitivity": "personal"},
            {"name": "key_holder", "type": "string", "title": "Key", "description": "Who has it.",
             "sensitivity": "restricted"},
            {"name": "gps_height_m", "type": "number", "title": "Height by satellite", "unit": "m",
             "description": "Height above sea level.", "sensitivity": "location"},
            # what the profile says nothing of, and what it calls public although it is not
            {"name": "gps_east", "type": "number", "title": "E", "description": "Degrees."},
            {"name": "told_in", "type": "string", "title": "Year", "description": "When told."},
            {"name": "seen_on", "type": "string", "title": "Seen", "description": "Last seen.",
             "notation": "edtf"},
            {"name": "phone", "type": "integer", "title": "Ask here", "description": "For the key.",
             "public": "shown", "publicBecause": "seeded"},
            {"name": "gps_lat", "type": "number", "title": "N", "description": "Degrees.",
             "public": "shown", "publicBecause": "seeded"},
            {"name": "remark", "type": "string", "title": f"As {UNREAD_TITLE} says",
             "description": "What was said.", "public": "shown", "publicBecause": "seeded"},
        ],
        "party": [
            {"name": "nickname", "type": "string", "title": "Nickname", "description": "As called.",
             "sensitivity": "personal"},
        ],
        "site": [
            {"name": "gate_latitude", "type": "number", "title": "Gate", "description": "Degrees.",
             "unit": "deg", "sensitivity": "location"},
        ],
    },
    "extend": {
        "hazard": [{"code": UNREAD_CODE, "label": "Owner", "definition": "Keeps dogs.",
                    "source": "the crew"}],
    },
}  # fmt: skip


@dataclass
class Markers:
    """What was seeded: texts and numbers, each with the place where it was put.

    `unread` are texts that nothing but a person could tell from harmless ones.
    """

    texts: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, str] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)

    def unread_text(self, where: str) -> str:
        """A new word that a person has to read."""
        marker = f"Nv{len(self.unread):03d}Qxz"
        self.unread[marker] = where
        return marker

    def text(self, where: str) -> str:
        """A new word that stands nowhere else."""
        marker = f"Mk{len(self.texts):03d}Zqx"
        self.texts[marker] = where
        return marker

    def number(self, where: str, text: str = "") -> str:
        """A number that stands nowhere else."""
        text = text or f"{7000 + len(self.numbers) * 13}.{8191 + len(self.numbers) * 7:05d}"
        self.numbers[text] = where
        return text


def a_seeded_package(folder: Path) -> tuple[Package, Markers]:
    """The package, in `folder`/seeded, and what must not be found in its public edition."""
    markers = Markers()
    path = folder / "seeded.yaml"
    path.write_text(yaml.safe_dump(PROFILE), encoding="utf-8")
    package = new_package(folder / "seeded", str(path), title=f"{SITE_NAME} 2024", created=STARTED)
    builder = PackageBuilder(package)
    for table in package.model.tables.values():
        # what only the full edition keeps tells of editions, and nothing of the place
        others = ("party", "custody", "file", "original", "origin", "unread", "key", *FULL_ONLY)
        if table.role not in ("history", "review") and table.name not in others:
            builder.with_bare_row(table.name, **_row(table, markers))
    _parties(builder, markers)
    _files(builder, markers)
    # F-4 is the restricted photo: what was computed from it tells what is in it
    width = markers.number("ring_series.mean_width_mm of a restricted file", "1.73519")
    builder.with_bare_row("ring_series", sample_id="231", file_id="F-4", series_number="2",
                          ring_count="3", mean_width_mm=width)  # fmt: skip
    _received(builder, markers)
    event = _row(package.model.table("custody"), markers)
    append_events(builder.package, pd.DataFrame([event] * 2), _enter_keys(builder.package, markers))
    _mark_seals(builder.package, markers)
    _tell_everything_in_the_open(builder.package, markers)
    _what_a_person_must_read(builder, markers)
    _around_the_tables(builder.package, markers)
    _decide(builder, markers)
    return open_package(package.folder), markers


# -- rows ----------------------------------------------------------------------------------------

_KEYS = {"plug": "P-231", "position": "hole:231", "reservation": "R231"}
_FIXED: Mapping[str, Mapping[str, str]] = {
    # with three decimals and a comma, 37,253 may be the end of an act's name and a line's number
    "site": {
        "name": SITE_NAME, "latitude": LATITUDE, "longitude": LONGITUDE, "easting_m": EASTING,
        "northing_m": NORTHING, "elevation_m": "1871.93", "coordinate_uncertainty_m": "37.2531",
        "grid_epsg": "32614", "declination_deg": "13.579", "gate_latitude": "51.48127",
        "crew_lead_id": PERSON, "owner_id": SECOND, "repository_id": "REPO",
        "permit_authority_id": "REPO",
    },
    "datum": {"x_m": GRID_X, "y_m": GRID_Y, "z_m": GRID_Z, "recorded_by": PERSON},
    "tie": {"x_m": "451255.17", "y_m": "5731266.83", "height_m": "1874.52",
            "measured_by": PERSON, "element_id": "B1-014"},
    "element": {"xa_m": "451252.39", "ya_m": "5731263.71", "za_m": "1875.38",
                "xb_m": "451253.93", "yb_m": "5731264.37", "zb_m": "1875.91",
                "recorded_by": PERSON},
    "place": {"outline": "451251.19 5731261.53, 451259.27 5731261.53, 451259.27 5731268.61",
              "floor_height_m": "1873.17", "recorded_by": SECOND},
    "position": {"position_id": "hole:231", "site_id": "HOLL", "point_kind": "hole",
                 "sample_id": "231", "x_m": "451253.21", "y_m": "5731264.13", "z_m": "1875.67",
                 "latitude": "51.47399", "longitude": "-101.28361", "found_by": "recorded"},
    "position_place": {"position_id": "hole:231", "place_rank": "1", "site_id": "HOLL",
                       "x_m": "451253.29", "y_m": "5731264.03", "z_m": "1875.71"},
    "agreement": {"agreement_id": "AG-1", "site_id": "HOLL", "place_id": "B1",
                  "agreement_status": "given", "scope": "core; cut", "agreed_on": "2024-05-01",
                  "given_by_party_id": SECOND, "asked_by": PERSON},
    "sample": {"collected_by": PERSON},
    "plug": {"placed_by": PERSON},
    "consignment": {"from_party_id": PERSON, "to_party_id": "REPO"},
    "custody": {"event": "collected", "to_party_id": PERSON, "recorded_by": SECOND},
    "lab_result": {"laboratory_id": "REPO", "reported_by": SECOND},
    "reservation": {"sample_id": "R231", "site_id": "HOLL", "crew": "north",
                    "reserved_on": "2024-06-01"},
    "number_range": {"range_id": "101-200-ABCDEFGH", "first": "101", "last": "200",
                     "granted_on": "2024-06-01"},
    "size": {"element_id": "B1-014"},
    "span": {"sample_id": "231"},
    "felling": {"element_id": "B1-014", "tree_id": "B1-014"},
    "phase": {"phase_id": "K1", "place_id": "B1", "first_year": "1780", "last_year": "1782"},
    "phase_piece": {"phase_id": "K1", "element_id": "B1-014"},
    "phase_place": {"place_id": "B1"},
    "phase_event": {"comparison_id": "K1:E1"},
    "tree_bound": {"bound_id": "N1", "bound": "lower"},
    "tree_bound_piece": {"bound_id": "N1", "element_id": "B1-014"},
    "relation": {"relation_id": "RL1", "site_id": "HOLL", "place_id": "B1",
                 "relation_kind": "abuts", "other_place_id": "B1"},
    "build_order": {"place_id": "B1", "build_id": "B1", "layer": "1"},
    "build_order_edge": {"earlier_build_id": "B1", "later_build_id": "B1"},
    "wood_use": {"use_id": "1"},
    "labor": {"labor_id": "1", "assumption_id": "A-1"},
    "architecture": {"architecture_id": "1", "place_id": "B1"},
    "assumption": {"assumption_id": "A-1", "assumption_kind": "density", "figure": "500"},
    "tree_age": {"tree_id": "B1-014", "pith": "in_sample"},
    "ring_series": {"sample_id": "231", "file_id": "F-1", "series_number": "1",
                    "mean_width_mm": "2.64157"},
    "plan_fit": {"file_id": "F-1", "model": "affine"},
    "plan_point": {"plan_point_id": "F-1:hole:231", "file_id": "F-1", "kind": "hole",
                   "sample_id": "231", "x_m": "451253.47", "y_m": "5731264.91"},
}  # fmt: skip


def _row(table: Table, markers: Markers) -> dict[str, str]:
    """A sound row with a marker in every sensitive field."""
    row = {**SOUND.get(table.name, {}), **_FIXED.get(table.name, {})}
    links = {name for key in table.foreign_keys for name in key.fields}
    for one in table.fields:
        where = f"{table.name}.{one.name}"
        fixed = _FIXED.get(table.name, {}).get(one.name)
        if one.name in links or one.name in FILLED_IN:
            # written when the events are sealed and signed
            continue
        if fixed and _on_site_grid(one):
            for number in fixed.replace(",", " ").split():
                markers.number(where, number)
        elif one.sensitivity == "open" and (one.public_form == "shown" or _is_inside(one)):
            continue
        elif one.type in ("number", "integer"):
            row[one.name] = markers.number(where, fixed or _number(one, markers))
        elif fixed:
            for word in fixed.split():
                markers.texts[word] = where
        elif one.type == "string":
            row[one.name] = _text(one, markers, where)
    return row


def _on_site_grid(one: Field) -> bool:
    return one.public_form in PLACED_FORMS


def _is_inside(one: Field) -> bool:
    """Whether it says how things lie inside one building, which is public."""
    return _on_site_grid(one) and one.public_form != "site_bearing"


def _number(one: Field, markers: Markers) -> str:
    highest = float(one.constraints.get("maximum", 1e9))
    return f"{min(highest, 400) - len(markers.numbers) - 0.13579:.5f}"


def _text(one: Field, markers: Markers, where: str) -> str:
    if one.notation == "orcid":
        text = f"0000-0002-9{len(markers.texts):03d}-0097"
        markers.texts[text] = where
        return text
    # letters that need escaping in HTML and JSON, and are no ASCII
    return f"{markers.text(where)} & <é> {markers.text(where)}"


def _parties(builder: PackageBuilder, markers: Markers) -> None:
    table = builder.package.model.table("party")
    for code, role in ((PERSON, "crew_lead; driller"), (SECOND, "owner")):
        seeded = {
            one.name: _text(one, markers, f"party.{one.name}")
            for one in table.fields
            if one.public_form != "shown" and one.name not in ("name", "organisation_id", "email")
        }
        name = f"{markers.text('party.name')} {markers.text('party.name')}"
        email = f"{markers.text('party.email').lower()}@example.org"
        builder.with_bare_row(
            "party", party_id=code, kind="person", roles=role, may_be_named="false",
            name=name, email=email, organisation_id="REPO", **seeded,
        )  # fmt: skip
        markers.texts[code] = "party.party_id"
    builder.with_bare_row(
        "party", party_id="REPO", kind="organisation", name="Tarn Store (invented)",
        roles="repository", email=f"{markers.text('email')}@example.org",
        postal_address=f"1 {markers.text('party.postal_address')} Lane, Tarn",
    )  # fmt: skip


def _received(builder: PackageBuilder, markers: Markers) -> None:
    """A workbook as handed in, with its bookkeeping."""
    import openpyxl

    workbook = openpyxl.Workbook()
    assert workbook.active is not None
    workbook.active.title = markers.text("sheet name")
    workbook.active["A1"] = f"found by {markers.text('cell of an original')}"
    workbook.properties.creator = markers.text("author of an original")
    name = f"{markers.text('original.file_name')}.xlsx"
    path = f"originals/0123456789ab/{name}"
    folder = builder.package.folder
    (folder / path).parent.mkdir(parents=True)
    workbook.save(folder / path)
    builder.with_bare_row(
        "original", original_id="IN-1", file_name=name, path=path, sha256="0" * 64,
        read_on="2024-06-15T12:00:00Z",
    )  # fmt: skip
    builder.with_bare_row(
        "origin", table_name="party", row_key=PERSON, original_id="IN-1", line="4",
        sheet=markers.text("origin.sheet"),
    )  # fmt: skip
    builder.with_bare_row(
        "unread", unread_id="U-1", original_id="IN-1", table_name="party", row_key=SECOND,
        cell_text=markers.text("unread.cell_text"), why="no size",
    )  # fmt: skip


def _decide(builder: PackageBuilder, markers: Markers) -> None:
    """Acts that say every cell of the record, a correction, an accepted finding and a conflict."""
    package = builder.package
    accepted = [("sample.x", "sample", "231", "", markers.text("accepted.message"))]
    for where, decision in (
        ("act", correct("party", PERSON, {"notes": markers.text("change.before")})),
        ("act", correct("party", PERSON, {"notes": markers.text("change.after")})),
        ("accepted", accept(accepted)),
    ):
        who, why = markers.text(f"{where}.who"), markers.text(f"{where}.why")
        decide(package, decision, who=who, why=why)
    read = Line(
        "sample", "231", "kind", after="core", written=markers.text("change.written"),
        sheet=markers.text("change.sheet"), column=markers.text("change.column"), line="4",
    )  # fmt: skip
    with package.locked(), writing_together(package.folder) as staging:
        act = Act(IMPORT, source="IN-2", version=sha256(b"a version").hexdigest(), lines=(read,))
        stage_history(open_history(package).adding(act)[0], staging)
    markers.texts[act.version] = "act.version_sha256"
    builder.with_bare_row(
        "conflict", conflict_id="1", kind="differs", table_name="party", row_key=PERSON,
        field="notes", value=markers.text("conflict.value"), who=markers.text("conflict.who"),
        written=markers.text("conflict.written"), said_by="IN-1", original_id="IN-1",
        sheet=markers.text("conflict.sheet"), column=markers.text("conflict.column"),
    )  # fmt: skip
    builder.with_bare_row(
        "reading", table_name="datum", row_key="D1", field="x_m", step_mm="10",
        as_written=markers.text("reading.as_written"),
    )  # fmt: skip


def _enter_keys(package: Package, markers: Markers) -> Signer:
    """Keys of two people, the first vouched for and retired by those of the repository."""
    own, second, keeper, another = (
        Signer(Ed25519PrivateKey.from_private_bytes(bytes([number]) * 32)) for number in range(4)
    )
    for party, signer in ((PERSON, own), (SECOND, second), ("REPO", keeper), ("REPO", another)):
        enter_key(package, signer, party, since="2024-01-01")
    countersign_key(package, own.key_id, keeper)
    retire_key(package, own.key_id, another, until="2031-12-31")
    own_row = package.tables.rows("key")[0]
    for name in ("public_key", "self_signature", "keeper_signature", "until_signature"):
        markers.texts[own_row[name].rstrip("=")] = f"key.{name}"
    markers.texts |= {
        own.key_id: "custody.key_id",
        second.key_id: "key.key_id",
        keeper.key_id: "key.keeper_key_id",
        another.key_id: "key.until_key_id",
    }
    return own


def _mark_seals(package: Package, markers: Markers) -> None:
    """Seals are markers too, since guesses at what they cover could be tried out on them."""
    ledger = package.table("custody")
    # nothing writes it any more, but ledgers of earlier versions have it
    ledger["signer_key"] = base64.b64encode(b"signer_key of one who signs").decode()
    package.write_table("custody", ledger)
    for name in ("signer_key", "signature", "body_sha256", "event_sha256"):
        for text in ledger[name]:
            markers.texts[text.rstrip("=")] = f"custody.{name}"
    key = edition_key(package)
    assert key
    markers.texts[key] = "editionKey"


def _tell_everything_in_the_open(package: Package, markers: Markers) -> None:
    """Every open text of the record names every withheld value once more."""
    said = ", ".join(dict.fromkeys(_whole_values(package)))
    spelled = (
        f"{SITE_NAME.replace(' ', '_')} and {SITE_NAME.upper()}; 51,47391 or 51°28'26\" N; "
        f"{PERSON}/{SECOND} held the tape; seal {package.table('custody')['event_sha256'][2]}; "
        + "; or ".join(TOLD)
    )
    markers.texts.update(dict.fromkeys(TOLD, "another way to write the place"))
    for table in package.model.of_role("record"):
        frame = package.table(table.name)
        links = {name for key in table.foreign_keys for name in key.fields}
        for one in table.fields:
            free = not (one.vocabulary or one.notation or one.constraints.get("pattern"))
            if (
                one.type == "string" and one.public_form == "shown" and free
                and one.name not in links | {*table.primary_key, "about_id", "media_type"}
            ):  # fmt: skip
                frame[one.name] = frame[one.name] + f" {said}; {spelled}."
        package.write_table(table.name, frame)


def _whole_values(package: Package) -> list[str]:
    values = []
    for table, one in package.model.every_field():
        if one.public_form == "shown" or one.notation == "sha256":
            continue
        if table.role in ("intake", "history") and table.name != "key":
            continue
        if _on_site_grid(one) or one.name in ("organisation_id", "coordinate_uncertainty_m"):
            continue
        frame = package.table(table.name)
        named = frame["party_id"] == "REPO" if table.name == "party" else frame.index < 0
        shown = named & (one.public_form in ("role", "if_agreed"))
        values += [text for text in frame.loc[~shown, one.name] if text]
    return values


def _what_a_person_must_read(builder: PackageBuilder, markers: Markers) -> None:
    """A row in every table whose open texts the search knows nothing against."""
    package = builder.package
    for table_name, new_key in OTHER_KEYS.items():
        table = package.model.table(table_name)
        frame = package.table(table.name)
        links = {name for key in table.foreign_keys for name in key.fields}
        new = frame.iloc[0].copy()
        for one in table.fields:
            free = not (one.vocabulary or one.notation or one.constraints.get("pattern"))
            if one.name in table.primary_key:
                new[one.name] = new_key
            elif one.type == "string" and one.public_form == "shown" and free:
                if one.name not in (*links, *CLOSED, *DECLARED, "lab_number"):
                    new[one.name] = markers.unread_text(f"{table.name}.{one.name}")
            elif one.name not in links or one.public_form != "shown":
                new[one.name] = "" if one.constraints.get("required") is None else new[one.name]
        package.write_table(table.name, pd.concat([frame, new.to_frame().T]))
    for key, where in ((UNREAD_KEY, "a key"), (UNREAD_CODE, "a code of a list"),
                       (UNREAD_TITLE, "a title of a field"), ("Nvremark", "a declared field"),
                       ("Nvclosed", "a closed field")):  # fmt: skip
        markers.unread[key] = where
    markers.texts["1877-03-19"] = "a date in a closed field"
    for name in ("gps_east", "gps_lat"):
        markers.numbers[{**CLOSED, **DECLARED}[name]] = f"element.{name}"
    markers.texts[DECLARED["phone"]] = "element.phone"
    place = package.table("place")
    place.loc[place.index[-1], "place_id"] = UNREAD_KEY
    place.loc[place.index[-1], "hazards"] = UNREAD_CODE
    package.write_table("place", place)
    element = package.table("element")
    element.loc[element.index[-1], list(CLOSED)] = list(CLOSED.values())
    element.loc[element.index[-1], list(DECLARED)] = list(DECLARED.values())
    element.loc[element.index[-1], "place_id"] = UNREAD_KEY
    package.write_table("element", element)
    for key, features, notes in (("B1-077", HARMLESS, ""), ("B1-078", "2 nails, 1 peg", HARMLESS)):
        builder.with_row("element", element_id=key, features=features, notes=notes,
                         recorded_by=PERSON)  # fmt: skip


def review_all(package: Package, markers: Markers) -> int:
    """Release all that a hurried reviewer can; returns how many texts had findings and were kept.

    By rule for whatever words, by field, and photo by photo; what has findings is withheld.
    """
    who, why = markers.text("review.by"), markers.text("review.reason")
    release = {"decision": "release", "by": who, "reason": why}
    for decide_it in (partial(decide_by_rule, known_words=True), decide_field):
        # each decides about all fields as they stand when it begins
        shown = review_package(open_package(package.folder))
        for where in dict.fromkeys(one.where for one in shown.open):
            with contextlib.suppress(Refused):
                decide_it(shown, where, **release)
    waiting = review_package(open_package(package.folder)).open
    words = [
        Word(one.identity, "withhold" if one.hits else "release", reason=why) for one in waiting
    ]
    decide_one_by_one(package, words, by=who)
    return sum(bool(one.hits) for one in waiting)


OTHER_KEYS = {
    "agreement": "AG-9", "place": "B9", "datum": "D9", "tie": "T9", "element": "B1-099",
    "plug": "P-999", "consignment": "C-9", "lab_result": "R-9", "episode": "E-9",
    "assumption": "A-9",
}  # fmt: skip
"""Tables that get a second row, and its key; a site and a sample would need rows beside them."""


# -- files ---------------------------------------------------------------------------------------


def _files(builder: PackageBuilder, markers: Markers) -> None:
    folder = builder.package.folder / "files"
    photos = {"open.jpg": a_jpeg(markers), "open.png": a_png(markers)}
    telling = f"{SITE_NAME.replace(' ', '-')}.jpg"
    photos |= {telling: _plain_jpeg(), f"{PERSON}_0012.jpg": _plain_jpeg()}
    for place, (name, raw) in enumerate(photos.items()):
        (folder / name).write_bytes(raw)
        builder.with_row("file", file_id=f"F-{place}", path=f"files/{name}", taken_by=PERSON,
                         made_with=markers.text("file.made_with"))  # fmt: skip
    secret = f"{markers.text('name of a restricted photo')}.jpg"
    others: list[tuple[str, bytes, dict[str, str]]] = [
        (secret, _plain_jpeg(), {"access": "restricted", "title": markers.text("its title"),
                                 "notes": markers.text("its notes")}),
        ("report.pdf", _pdf(markers), {"kind": "report"}),
        ("plan.svg", f"<svg><desc>{markers.text('plan')}</desc></svg>".encode(), {"kind": "plan"}),
        ("places.geojson", f'{{"coordinates": [{LONGITUDE}, {LATITUDE}]}}'.encode(),
         {"kind": "data"}),
        ("gps.csv", f"id,lat,lon\n1,{LATITUDE},{LONGITUDE}\n".encode(), {"kind": "data"}),
        ("utm.txt", f"{EASTING};{NORTHING}\n".encode(), {"kind": "data"}),
        ("named.rwl", f"measured at {SITE_NAME}\n1745 208\n".encode(), {"kind": "ring_widths"}),
        ("initials.txt", f"measured by {PERSON}\n1745 208\n".encode(), {"kind": "ring_widths"}),
        ("latin.txt", f"mesuré à {SITE_NAME}\n".encode("latin-1"), {"kind": "ring_widths"}),
        ("utf16.txt", f"at {SITE_NAME}".encode("utf-16"), {"kind": "data"}),
        ("rings.txt", b"year width\n1745 0208\n1746 0185 0199\n", {"kind": "ring_widths"}),
        ("no_photo.jpg", f"not a photo, but {markers.text('text')}".encode(), {"kind": "photo"}),
        ("camera.raw", f"II*\0{markers.text('raw photo')}".encode(), {"kind": "photo"}),
        ("gate.txt", f"{markers.unread_text('a file of data')} has the key".encode(),
         {"kind": "data", "title": markers.unread_text("file.title"),
          "notes": markers.unread_text("file.notes")}),
        ("Nvmillers-yard.jpg", _plain_jpeg(), {"title": markers.unread_text("file.title")}),
    ]  # fmt: skip
    for place, (name, raw, row) in enumerate(others, start=len(photos)):
        (folder / name).write_bytes(raw)
        builder.with_row("file", **{"file_id": f"F-{place}", "path": f"files/{name}"} | row)
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as written:
        written.writestr(markers.text("name in a zip"), markers.text("content in a zip") * 30)
    (folder / f"{markers.text('name of a stray file')}.zip").write_bytes(archive.getvalue())


def _plain_jpeg() -> bytes:
    stream = io.BytesIO()
    Image.linear_gradient("L").resize((48, 32)).save(stream, "JPEG")
    return stream.getvalue()


def a_jpeg(markers: Markers) -> bytes:
    """A photo with everything that cameras and programs hang on to it."""
    exif = Image.Exif()
    exif[0x010E] = markers.text("Exif description")
    exif[0x013B] = markers.text("Exif artist")
    exif[0x0112] = 6
    gps = exif.get_ifd(0x8825)
    gps.update({1: "N", 2: (51.0, 28.0, 26.08), 3: "W", 4: (101.0, 17.0, 1.54)})
    inner = exif.get_ifd(0x8769)
    inner[0xA431] = markers.text("serial number of the camera")
    xmp = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{markers.text('XMP')}</x:xmpmeta>".encode()
    stream = io.BytesIO()
    picture = Image.linear_gradient("L").resize((80, 40)).convert("RGB")
    picture.save(stream, "JPEG", exif=exif, xmp=xmp, comment=markers.text("JPEG comment"))
    return stream.getvalue() + b"behind the end: " + markers.text("trailing bytes").encode()


def a_png(markers: Markers) -> bytes:
    chunks = PngImagePlugin.PngInfo()
    chunks.add_text("Comment", markers.text("PNG text"))
    chunks.add_text("Deflated", markers.text("PNG deflated text") * 40, zip=True)
    chunks.add_itxt("Title", markers.text("PNG international text"), "de", "Titel", zip=True)
    stream = io.BytesIO()
    Image.linear_gradient("L").resize((24, 24)).save(stream, "PNG", pnginfo=chunks)
    return stream.getvalue()


def _pdf(markers: Markers) -> bytes:
    stream = io.BytesIO()
    canvas = Canvas(stream, pageCompression=1)
    canvas.setAuthor(markers.text("PDF author"))
    canvas.drawString(72, 720, markers.text("PDF page"))
    canvas.save()
    return stream.getvalue()


def _around_the_tables(package: Package, markers: Markers) -> None:
    """README, mapping, descriptor, and a column that no schema describes."""
    for name in ("README.md", "mapping.example.yaml"):
        path = package.folder / name
        path.write_text(path.read_text("utf-8") + f"# {markers.text(name)}\n", encoding="utf-8")
    frame = package.table("plug")
    frame["remark_of_ours"] = markers.text("a column without schema")
    package.write_table("plug", frame)
    package.with_descriptor(
        {
            "description": f"The record of {SITE_NAME}.",
            "relatedIdentifiers": [
                {
                    "relatedIdentifier": markers.unread_text("datapackage.relatedIdentifiers"),
                    "relatedIdentifierType": "URL",
                    "relationType": "IsPartOf",
                }
            ],
            "contributors": [{"title": markers.text("contributor")}],
            # the full edition's, which leads to the name of the place
            "id": f"https://doi.org/10.5072/{markers.unread_text('datapackage.id')}",
            "keywords": ["wood", SITE_NAME, markers.unread_text("datapackage.keywords")],
        }
    )
