"""A name of wood is followed by genus and common name, never by its spelling into another genus."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from provenance._intake.mapping.mapping_file import code_meant
from provenance._model.wood_names import shipped_species, species_meant

SPECIES = shipped_species()
GENUS = {term.code: str(term.attributes.get("genus", "")) for term in SPECIES.terms}
GENERA = sorted(set(GENUS.values()) - {""})
# genera of woody plants that the list does not have; from memory
STRANGERS = [
    "Nyssa", "Ostrya", "Carpinus", "Sorbus", "Ilex", "Prunus", "Pyrus", "Malus", "Morus", "Celtis",
    "Cornus", "Corylus", "Diospyros", "Gleditsia", "Liquidambar", "Magnolia", "Sassafras",
    "Zelkova", "Catalpa", "Maclura", "Torreya", "Podocarpus", "Aesculus", "Cercis", "Larrea",
]  # fmt: skip


@pytest.mark.parametrize(
    ("word", "codes"),
    [
        ("pine", ["PISP"]),
        ("Pines?", ["PISP"]),
        ("Pinus spp.", ["PISP"]),
        ("Pinus radiata", ["PISP"]),
        ("Norway spruce", ["PCAB"]),
        ("white pine", ["PISF", "PIST"]),
        ("P. ponderosa", ["PIPO"]),
        ("Pinus pond.", ["PIPO"]),
        ("ponderossa", ["PIPO"]),
        ("Qercus robur", ["QURO"]),
        ("water oak", ["QUSP"]),
        ("Eiche", ["QUSP"]),
        ("pino", ["PISP"]),
        ("hemlock", ["TSCA", "TSCR", "TSDU", "TSHE", "TSME"]),
        ("red cedar", ["JUVI", "THPL"]),  # two woods that are both called so
        ("cedar", []),  # said of six genera
        ("PIGL", ["PCGL", "PCGN"]),  # two letters of genus and epithet
        ("JUNI", []),  # Juglans nigra, or the beginning of Juniperus
        ("mountain ash", []),
        ("horse chestnut", []),
        ("tulip poplar", ["LITU"]),
        ("UNK", ["UNKN"]),
        ("?", []),
    ],
)  # fmt: skip
def test_a_name_means_the_woods_that_are_called_so(word: str, codes: list[str]) -> None:
    assert sorted(species_meant(word, SPECIES)) == sorted(codes)


@pytest.mark.parametrize("term", SPECIES.terms, ids=lambda term: term.code)
def test_every_listed_name_leads_to_its_own_code(term) -> None:
    for word in (term.code, term.label, *term.synonyms):
        if word != "?":
            assert term.code in species_meant(word, SPECIES) or word == "n/k", word


@given(st.sampled_from(GENERA), st.text("abcdefghilmnoprstuv", min_size=3, max_size=12))
def test_a_botanical_name_stays_in_its_genus(genus: str, epithet: str) -> None:
    for name in (genus, f"{genus} {epithet}", f"cf. {genus.upper()} {epithet}"):
        assert {GENUS[code] for code in species_meant(name, SPECIES)} <= {genus}


@given(st.sampled_from(STRANGERS), st.sampled_from(["", " sp.", " alba", " americana", " nigra"]))
def test_a_genus_that_is_not_listed_is_not_taken_for_another(genus: str, rest: str) -> None:
    assert species_meant(genus + rest, SPECIES) == ()


@given(st.text(max_size=20))
def test_whatever_is_written_is_answered_with_a_few_codes_or_none(text: str) -> None:
    codes = species_meant(text, SPECIES)
    assert len(codes) <= 6
    assert set(codes) <= set(SPECIES.codes)


def test_the_question_names_code_and_wood() -> None:
    assert code_meant("red cedar", SPECIES) == (
        " Did you mean 'JUVI' (Juniperus virginiana) or 'THPL' (Thuja plicata)?"
    )
    assert code_meant("Nyssa", SPECIES) == ""
