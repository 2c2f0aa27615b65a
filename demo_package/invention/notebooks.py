"""Writes the rest of the field papers: site and people, datums and ties, custody, photo log."""

from __future__ import annotations

from datetime import date

from invention.drawings import PICTURES, plan_corner
from invention.paperwork import (
    ASSUMPTIONS,
    EPISODES,
    PARCEL,
    PARTIES,
    RELATIONS,
    SITE,
    Row,
    custody_events,
    places,
)
from invention.tables import INVENTED, Book, Cell, Sheet
from invention.tape import all_datums, all_ties, feet_and_inches, in_feet

Line = dict[str, Cell]


def site_book() -> Book:
    """The workbook kept at the kitchen table: site, people, places, what is known, the parcel."""
    sheets = [
        _sheet("Site", {_SITE_HEADINGS[name]: _number(text) for name, text in SITE.items()}),
        _sheet("People", *({_PARTY_HEADINGS[k]: v for k, v in row.items()} for row in PARTIES)),
        _sheet(
            "Places",
            *({_PLACE_HEADINGS[k]: _number(v) for k, v in row.items()} for row in places()),
        ),
        _sheet(
            "What is known",
            *({_EPISODE_HEADINGS[k]: v for k, v in row.items()} for row in EPISODES),
        ),
        _sheet("Parcel", {_PARCEL_HEADINGS[name]: _count(text) for name, text in PARCEL.items()}),
    ]
    return Book("site_people_places.xlsx", sheets, colour="#DDEBF7")


def _number(text: str) -> Cell:
    """What somebody typed: a figure becomes a number in a spreadsheet, all else stays text."""
    try:
        return float(text) if "." in text or "-" in text else int(text)
    except ValueError:
        return text


def _count(text: str) -> Cell:
    # a seal number begins with zeros, which a spreadsheet would eat
    return text if text.startswith("0") else _number(text)


def _sheet(name: str, *rows: Line) -> Sheet:
    headings = tuple(rows[0])
    return Sheet(name, headings, list(rows), headings[0], f"{name} - {INVENTED}")


_SITE_HEADINGS = {
    "code": "Site code",
    "name": "Name of the place",
    "public_name": "Name for the public",
    "kind": "Kind of place",
    "country": "Country",
    "region": "Region",
    "lat": "Latitude",
    "lon": "Longitude",
    "coordinate_error_m": "Error of the position (m)",
    "epsg": "EPSG of latitude and longitude",
    "grid_epsg": "EPSG of easting and northing",
    "easting": "Easting of grid zero",
    "northing": "Northing of grid zero",
    "elevation_m": "Above the sea (m)",
    "grid_north_deg": "Grid north from true north",
    "declination_deg": "Magnetic declination",
    "start": "First day",
    "end": "Last day",
    "lead": "Led by",
    "permit": "Permit number",
    "permit_by": "Permit from",
    "permit_from": "Permit valid from",
    "permit_until": "Permit valid until",
    "owner": "Owner",
    "consent": "Owner agrees",
    "consent_on": "Owner agreed on",
    "protection": "Protected?",
    "hazards": "Dangers",
    "access": "How to get there",
    "licence": "Licence",
    "repository": "To be kept by",
    "notes": "Remarks",
}
_PARTY_HEADINGS = {
    "code": "Initials",
    "what": "Person or organisation",
    "name": "Full name",
    "family": "Family name",
    "given": "Given name",
    "does": "Does",
    "belongs_to": "Belongs to",
    "mail": "E-mail",
    "post": "Postal address",
    "grants": "Grant numbers",
    "may_be_named": "May be named",
}
_PLACE_HEADINGS = {
    "code": "Place",
    "inside": "Lies in",
    "kind": "Kind",
    "name": "We call it",
    "build": "Built of",
    "joined": "How it is joined",
    "roof": "Roof",
    "floor": "Floor",
    "level": "Storey",
    "floor_m": "Floor above grid zero (m)",
    "outline": "Corners on the grid (m)",
    "by": "Recorded by",
    "on": "Recorded on (m/d/yy)",
}
_EPISODE_HEADINGS = {
    "no": "No",
    "place": "Where",
    "kind": "What happened",
    "title": "In one line",
    "when": "When (EDTF)",
    "sure": "How sure",
    "source": "Known from",
}
_PARCEL_HEADINGS = {
    "no": "Parcel",
    "from": "From",
    "to": "To",
    "for": "Sent for",
    "packed": "Packed on",
    "sent": "Sent on",
    "due": "Answer hoped for by",
    "received": "Received on",
    "carrier": "Carried by",
    "seal": "Seal",
    "count": "How many samples",
    "questions": "Questions",
    "notes": "Remarks",
}

_TAPE_HEADINGS = (
    *("Datum", "Building", "Mark", "Where it is", "X", "Y", "Z", "Holds the grid"),
    *("Tie", "From datum", "Timber", "End", "Hole of", "Tape ft-in", "Tape m", "Height m"),
    *("Date", "Tape read by", "Remarks"),
)


def tape_book() -> Book:
    """Datums and ties as the tape crew typed them: semicolons, decimal commas, code page 1252."""
    rows: list[Line | None] = []
    for datum in all_datums():
        east, north, up = (_comma(value) for value in datum.at)
        rows.append(
            {
                "Datum": datum.datum_id,
                "Building": datum.building,
                "Mark": datum.kind,
                "Where it is": datum.where,
                "X": east,
                "Y": north,
                "Z": up,
                "Holds the grid": "yes" if datum.held else "no",
                "Date": "8.6.2023",
                "Tape read by": "AP",
            }
        )
    for tie in all_ties():
        day = date.fromisoformat(tie.on)
        line: Line = {
            "Tie": tie.tie_id,
            "From datum": tie.datum_id,
            "Timber": tie.element_id,
            "End": tie.end.upper(),
            "Hole of": tie.sample_id,
            "Date": f"{day.day}.{day.month}.{day.year}",
            "Tape read by": tie.by,
        }
        if tie.kind == "height":
            line["Height m"] = _comma(tie.reading_m)
        elif in_feet(tie.datum_id.split("-")[0]):
            line["Tape ft-in"] = feet_and_inches(tie.reading_m)
        else:
            line["Tape m"] = _comma(tie.reading_m)
        rows.append(line)
    title = f"Fixpoints and tapes, Péron and crew, 2023 - {INVENTED}"
    sheet = Sheet("", _TAPE_HEADINGS, rows, "Tie", title, blank_lines=0)
    return Book("datums_and_ties.csv", [sheet], delimiter=";", encoding="cp1252")


def _comma(metres: float) -> str:
    return f"{metres:.3f}".replace(".", ",")


def relations_book() -> Book:
    """Which part was there before which, as somebody wrote it down on the last day."""
    headings = {
        "no": "No",
        "this": "This part",
        "meets": "meets",
        "other": "that part",
        "sure": "How sure",
        "seen": "Seen at",
        "on": "On",
        "by": "By",
    }
    return _plain_table("relations.csv", "Which part is older", headings, RELATIONS)


def assumptions_book() -> Book:
    """Figures that the evaluation rests on, each with the source it was looked up in."""
    headings = {
        "no": "No",
        "what": "What",
        "work": "Work",
        "wood": "Wood",
        "place": "Place",
        "figure": "Figure",
        "spread": "Spread",
        "source": "Source",
    }
    return _plain_table("assumptions.csv", "What we assume", headings, ASSUMPTIONS)


def _plain_table(name: str, title: str, headings: dict[str, str], rows: tuple[Row, ...]) -> Book:
    lines: list[Line | None] = [{headings[key]: text for key, text in row.items()} for row in rows]
    sheet = Sheet("", tuple(headings.values()), lines, "No", f"{title} - {INVENTED}", blank_lines=0)
    return Book(name, [sheet])


_CUSTODY_HEADINGS = (
    *("No", "What happened", "When", "Sample", "Parcel", "Given by", "Now with"),
    *("Where", "Found", "Written by", "Remarks"),
)


def custody_book() -> Book:
    """The custody log that went round with the samples, tab-separated."""
    rows: list[Line | None] = []
    for one in custody_events():
        word = {"handed_over": "shipped" if one.consignment else "handed over"}.get(
            one.event, one.event
        )
        rows.append(
            {
                "No": str(one.number),
                "What happened": word,
                "When": one.on,
                "Sample": one.sample_id,
                "Parcel": one.consignment,
                "Given by": one.giver,
                "Now with": one.holder,
                "Where": one.place,
                "Found": one.state,
                "Written by": one.by,
                "Remarks": one.note,
            }
        )
    sheet = Sheet("", _CUSTODY_HEADINGS, rows, "No", f"Custody log - {INVENTED}", blank_lines=0)
    return Book("custody_log.tsv", [sheet], delimiter="\t")


_PHOTO_HEADINGS = (
    *("Photo", "File", "Kind", "Caption", "Shows a", "Number of it", "Taken", "By", "Public"),
    *("Lower left x", "Lower left y", "Metres a pixel"),
)


def photo_book() -> Book:
    """The log of plans and photos; plans say where on the grid they lie."""
    rows: list[Line | None] = []
    for picture in PICTURES:
        line: Line = {
            "Photo": picture.file_id,
            "File": picture.path,
            "Kind": picture.kind,
            "Caption": picture.caption,
            "Shows a": picture.about_table,
            "Number of it": picture.about_id,
            "Taken": picture.taken_on,
            "By": picture.taken_by,
            "Public": "yes" if picture.open_access else "no",
        }
        if picture.kind == "plan":
            x_m, y_m, scale = plan_corner(picture.about_id)
            line |= {
                "Lower left x": f"{x_m:.2f}",
                "Lower left y": f"{y_m:.2f}",
                "Metres a pixel": f"{scale:.3f}",
            }
        rows.append(line)
    sheet = Sheet("", _PHOTO_HEADINGS, rows, "Photo", f"Photo log - {INVENTED}", blank_lines=0)
    return Book("photo_log.csv", [sheet])
