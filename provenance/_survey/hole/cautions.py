"""Gathers what must be said before anybody drills: the wood's own state, the place, the rules."""

from __future__ import annotations

from provenance._record.package import Package
from provenance._survey.parts.field_record import FieldRecord

DEFER = (
    "Local codes, the permit and the owner's word come first; leave structural, electrical and "
    "hazardous-material questions to licensed people."
)
_LOAD = {
    "yes": "This wood carries load. Do not drill or cut before a structural engineer has agreed.",
    "unknown": "Nobody recorded whether this wood carries load: treat it as carrying load and ask "
    "a structural engineer.",
    "": "Nobody recorded whether this wood carries load: treat it as carrying load and ask "
    "a structural engineer.",
}
_FRAIL = frozenset({"surface_decay", "decayed", "burned", "ruined"})


def drilling_cautions(package: Package, record: FieldRecord, element: int) -> tuple[str, ...]:
    """Cautions for one piece of wood (a row number), the most particular ones first."""
    wood = record.row("element", element)
    cautions = []
    load = wood["load_bearing"]
    if load in _LOAD:
        cautions.append(_LOAD[load])
    condition = wood["condition"]
    if condition in _FRAIL:
        label = package.model.vocabularies["element_condition"].label(condition).lower()
        cautions.append(f"The wood is recorded as {label}: it may split, or hold less than it did.")
    site = record.site(wood["site_id"])
    protection = site["protection"] if site else ""
    if protection in ("", "unknown"):
        cautions.append("Nobody recorded whether the place is protected: ask the authority first.")
    elif protection != "none":
        label = package.model.vocabularies["protection"].label(protection)
        cautions.append(f"The place is protected ({label}): a new permit is needed.")
    places = record.line_of_places(wood["place_id"])
    cells = [record.cell("place", "hazards", at) for at in places]
    cells += [site["hazards"]] if site else []
    hazards = package.model.vocabularies["hazard"]
    codes = [code.strip() for cell in cells for code in cell.split(";") if code.strip()]
    for code in dict.fromkeys(codes):
        term = hazards.term(code)
        if code == "none":
            continue
        if term is None:
            cautions.append(f"Recorded danger: {code}.")
        elif code != "load_bearing" or load not in _LOAD:
            cautions.append(f"{term.label}: {term.attributes.get('caution', term.definition)}")
    cautions += package.model.cautions
    return (*dict.fromkeys(cautions), DEFER)
