"""The controlled vocabularies can be read, chosen from and matched without doubt.

Only the YAML files are read here, without the model, so that a fault in a file is named as such.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml

FOLDER = Path(__file__).resolve().parents[2] / "schemas" / "vocabularies"
VOCABULARIES: dict[str, dict[str, Any]] = {
    path.stem: yaml.safe_load(path.read_text("utf-8")) for path in sorted(FOLDER.glob("*.yaml"))
}
EACH = pytest.mark.parametrize(("name", "vocabulary"), VOCABULARIES.items(), ids=VOCABULARIES)
OWN_KEYS = {"code", "label", "definition", "source", "match", "synonyms"}

# What each list adds to its terms; a rule or a form relies on it.
SECTIONS = (
    "round", "half", "quarter", "two_sided", "rectangle", "rectangle_boxed", "plank", "not_known",
)  # fmt: skip
ATTRIBUTES: dict[str, dict[str, Any]] = {
    "agreement_status": {"holds": bool},
    "assumption_kind": {"unit": str},
    "custody_event": {"moves": bool, "needs_from": bool, "needs_to": bool},
    "element_shape": {"section": SECTIONS},
    "end_treatment": {"cut": ("yes", "perhaps", "no")},
    "felling_class": {"rank": int},
    "hazard": {"caution": str},
    "in_place_status": {"standing": bool},
    "outer_surface": {"surface": ("present", "perhaps", "gone")},
    "pith_evidence": {"rank": int},
    "relation_kind": {"order": ("later", "same", "after_unless_replaced")},
    "result_symbol": {
        "side": ("inner", "outer", "both"),
        "cutting": ("yes", "near", "no", "qualifies"),
        "rank": int,
    },
    "sample_kind": {"leaves_hole": bool, "cuts_wood": bool},
    "wood_section": {"share": (int, float)},
}
OPTIONAL: dict[str, dict[str, Any]] = {
    "assumption_kind": {
        "per": ("tree", "cut_m2", "hewn_m2", "m3_km", "t_km", "piece", "m", "m3"),
    },
    "party_role": {"vouches_for_keys": bool},
    "bore_size": {"mm": float},
    "element_function": {"longest_m": (int, float)},
    "element_shape": {"hewn": ("yes", "perhaps", "no"), "hewn_sides": int, "wane": bool},
    "episode_kind": {"needs_wood": bool, "felled_later": ("contradicts", "contradicts_main")},
    "felling_season": {"two_years": bool},
    "file_kind": {"public": ("picture", "text")},
    "result_symbol": {
        "at_best": ("near", "no"),
        "season": ("spring", "summer", "autumn", "winter", "growing", "dormant"),
        "heartwood_boundary": bool,
    },
    "species": {"genus": str},
    "tool_mark": {"faces": ("hewn", "sawn", "split")},
}

# Lists that a crew fills in while looking at old wood: not knowing is an answer there. 'hazard' is
# not among them: where nobody looked the field stays empty, which a rule then reports.
FIELD_LISTS = [
    "bearing_reference",
    "certainty",
    "consent",
    "construction",
    "conversion",
    "datum_kind",
    "drill_direction",
    "drill_kind",
    "element_condition",
    "element_function",
    "element_shape",
    "end_treatment",
    "extent",
    "failure_cause",
    "fastening",
    "finish",
    "in_place_status",
    "outer_surface",
    "place_kind",
    "plan_type",
    "plug_fixing",
    "plug_seat",
    "plug_status",
    "protection",
    "sample_condition",
    "sample_kind",
    "sample_state",
    "site_kind",
    "tool_mark",
    "wood_mark",
    "yes_no_unknown",
]


def terms_of(name: str) -> dict[str, dict[str, Any]]:
    return {term["code"]: term for term in VOCABULARIES[name]["terms"]}


def spellings(name: str, term: dict[str, Any]) -> set[str]:
    """All that may be written for a term; the signs of laboratories tell 'c' from 'C'."""
    words = [term["code"], *term.get("synonyms", ())]
    if name == "result_symbol":
        return set(words)
    return {word.casefold() for word in [*words, term["label"]]}


@EACH
def test_a_vocabulary_says_what_it_is_and_where_it_comes_from(name, vocabulary) -> None:
    assert vocabulary["name"] == name
    assert set(vocabulary) == {"name", "title", "description", "source", "terms"}
    assert all(vocabulary[key].strip() for key in ("title", "description", "source"))
    assert vocabulary["description"].endswith(".")
    # a record's own profiles take the place of the one
    assert len(vocabulary["terms"]) >= (1 if name == "profile" else 2)


@EACH
def test_a_term_can_be_chosen_by_somebody_who_never_saw_it(name, vocabulary) -> None:
    for term in vocabulary["terms"]:
        for key in ("code", "label", "definition", "source"):
            # YAML reads a bare yes, no, on, 1 or 1.5 as something else than the word
            assert isinstance(term[key], str), f"{key} of {term} needs quotes"
            assert term[key] == term[key].strip() != "", term
        assert term["definition"].endswith("."), term
        assert len(term["label"]) <= 40, term  # what a column of a printed sheet holds
        assert len(term["definition"]) <= 250, term


@EACH
def test_codes_and_labels_are_unique_and_codes_have_the_right_form(name, vocabulary) -> None:
    codes = [term["code"] for term in vocabulary["terms"]]
    labels = [term["label"] for term in vocabulary["terms"]]
    assert len(set(codes)) == len(codes)
    assert len(set(labels)) == len(labels)
    forms = {"species": "[A-Z]{4}", "result_symbol": r"[¼½]?[A-Za-z]{1,4}|\+{1,2}|±p?|\(comp\)"}
    form = forms.get(name, "[a-z][a-z0-9]*(_[a-z0-9]+)*")
    assert [code for code in codes if not re.fullmatch(form, code)] == []


@EACH
def test_a_word_of_a_field_form_means_one_term_only(name, vocabulary) -> None:
    meant: dict[str, str] = {}
    for term in vocabulary["terms"]:
        for word in spellings(name, term):
            assert meant.setdefault(word, term["code"]) == term["code"], word


@EACH
def test_synonyms_are_lower_case_words_that_add_something(name, vocabulary) -> None:
    for term in vocabulary["terms"]:
        synonyms = term.get("synonyms", [])
        assert all(isinstance(word, str) and word == word.strip() != "" for word in synonyms), term
        assert len(set(synonyms)) == len(synonyms), term
        if name != "result_symbol":
            assert synonyms == [word.lower() for word in synonyms], term
            assert not {term["code"].casefold(), term["label"].casefold()} & set(synonyms), term


@EACH
def test_a_term_has_the_attributes_of_its_list_and_no_others(name, vocabulary) -> None:
    needed, allowed = ATTRIBUTES.get(name, {}), OPTIONAL.get(name, {})
    for term in vocabulary["terms"]:
        extra = {key: value for key, value in term.items() if key not in OWN_KEYS}
        assert set(needed) <= set(extra) <= set(needed) | set(allowed), term
        for key, value in extra.items():
            wanted = (needed | allowed)[key]
            if isinstance(wanted, tuple) and isinstance(wanted[0], str):
                assert value in wanted, (key, term)
            else:
                assert isinstance(value, wanted), (key, term)
                assert isinstance(value, bool) == (wanted is bool), (key, term)


@EACH
def test_a_match_is_the_address_of_a_concept(name, vocabulary) -> None:
    for term in vocabulary["terms"]:
        if "match" in term:
            assert re.fullmatch(r"https?://[^\s]+/[^\s/]+", term["match"]), term


@pytest.mark.parametrize("name", FIELD_LISTS)
def test_not_knowing_is_an_answer_wherever_a_crew_looks_at_old_wood(name) -> None:
    assert "unknown" in terms_of(name)


def test_not_knowing_never_claims_a_hole_a_last_ring_or_a_standing_timber() -> None:
    assert terms_of("outer_surface")["unknown"]["surface"] == "perhaps"
    assert terms_of("in_place_status")["unknown"]["standing"] is False
    assert terms_of("sample_kind")["unknown"]["leaves_hole"] is False


def test_a_danger_comes_with_a_caution_that_defers_to_rules_or_to_the_competent() -> None:
    deferring = re.compile(
        r"local rules|licensed|authority|structural engineer|somebody competent", re.IGNORECASE
    )
    for term in VOCABULARIES["hazard"]["terms"]:
        assert deferring.search(term["caution"]), term["code"]
        assert term["caution"].endswith(".")
        assert len(term["caution"]) <= 200  # two lines on a printed sheet


def test_the_usual_dangers_of_sampling_are_all_there() -> None:
    """Drilling overhead, ladders, dust, droppings, lead paint, old wiring, load-bearing wood."""
    usual = {"overhead", "ladder", "dust", "rodent_droppings", "lead_paint", "old_wiring"}
    assert usual | {"load_bearing", "unstable", "confined", "asbestos"} <= set(terms_of("hazard"))


def test_an_event_that_moves_a_sample_says_to_whom() -> None:
    for code, term in terms_of("custody_event").items():
        assert term["needs_to"] is term["moves"], code
        assert term["moves"] or not term["needs_from"], code


@pytest.mark.parametrize(
    ("code", "inches"),
    [
        ("b12_7", Fraction(1, 2)),
        ("b15_875", Fraction(5, 8)),
        ("b19_05", Fraction(3, 4)),
        ("b22_225", Fraction(7, 8)),
    ],
)
def test_bores_are_inch_fractions_at_the_international_inch(code, inches) -> None:
    """1 in = 25.4 mm exactly: international yard and pound agreement, 1959 (1 yd = 0.9144 m).

    That these four sizes are usual: common practice, no source.
    """
    term = terms_of("bore_size")[code]
    millimetres = inches * Fraction("0.9144") / 36 * 1000
    assert Fraction(str(term["mm"])) == millimetres
    written = f"{float(millimetres):.15g}"
    assert code == "b" + written.replace(".", "_")
    assert term["label"] == f"{inches} in ({written} mm)"


def test_only_the_catch_all_bore_has_no_size() -> None:
    without = [code for code, term in terms_of("bore_size").items() if "mm" not in term]
    assert without == ["other"]


def test_species_cover_the_regions_that_build_with_timber() -> None:
    """The list is a selection of ITRDB codes from memory; no registry package holds the list."""
    codes = set(terms_of("species"))
    assert len(codes) >= 150
    assert {"PSME", "PIPO", "PIED", "PCEN", "JUMO", "POTR", "QUAL", "TSCA"} <= codes  # N America
    assert {"QURO", "QUPE", "PCAB", "ABAL", "PISY", "LADE", "FASY"} <= codes  # Europe
    assert {"JUEX", "CDLI", "PINI", "PIBR", "QUCE", "ABCI"} <= codes  # Mediterranean
    assert {"CRJA", "CHOB", "LASI", "PISI", "PIKO", "TEGR", "PCSH"} <= codes  # Asia


def test_the_genus_of_a_species_is_the_first_word_of_its_name() -> None:
    for code, term in terms_of("species").items():
        if code == "UNKN":
            assert "genus" not in term
            continue
        assert re.fullmatch(r"[A-Z][a-z]+ (sp\.|[a-z-]+)", term["label"]), code
        assert term["genus"] == term["label"].split()[0]


def test_sp_at_the_end_of_a_code_means_the_whole_genus_and_nothing_else_does() -> None:
    for code, term in terms_of("species").items():
        assert code.endswith("SP") == term["label"].endswith(" sp."), code


def test_species_of_one_genus_begin_their_codes_alike() -> None:
    """A code that strays from its genus is a slip of the pen, except where ITRDB does so itself."""
    beginnings: dict[str, set[str]] = {}
    for code, term in terms_of("species").items():
        beginnings.setdefault(term.get("genus", ""), set()).add(code[:2])
    assert {genus for genus, found in beginnings.items() if len(found) > 1} == set()


def test_no_species_code_is_claimed_to_have_been_compared_with_a_list() -> None:
    """Codes come from memory until somebody compares them; each term must say so."""
    for code, term in terms_of("species").items():
        assert ("from memory" in term["source"]) or (code == "UNKN"), code
    assert "not claimed to be an ITRDB code" in terms_of("species")["UNKN"]["source"]


def test_signs_of_laboratories_are_written_in_the_order_of_the_trade() -> None:
    """Missing rings, extent of the last ring, surface, season: 1045++vv, 1781+rLGB inc.

    Common practice in the trade, cited from memory.
    """
    rank = {code: term["rank"] for code, term in terms_of("result_symbol").items()}
    for extent in ("c", "r", "v", "vv"):
        written = ["++", extent, "L", "G", "B", "inc"]
        assert written == sorted(written, key=rank.__getitem__)
    assert rank["+"] == rank["++"]
    assert rank["inc"] == rank["comp"]


def test_bark_galleries_patina_an_unbroken_last_ring_and_whole_sapwood_make_cutting_dates() -> None:
    """Common practice in the trade, cited from memory; 'be' is this project's own."""
    cutting = {code: term["cutting"] for code, term in terms_of("result_symbol").items()}
    assert {code for code, value in cutting.items() if value == "yes"} == {
        *("B", "G", "L", "c", "r"),
        *("C", "½C", "¼C", "be"),
    }
    assert cutting["v"] == "near"
    assert cutting["vv"] == "no"
    assert cutting["+"] == cutting["++"] == cutting["inc"] == "qualifies"
    at_best = {code: term.get("at_best") for code, term in terms_of("result_symbol").items()}
    assert (at_best.pop("+"), at_best.pop("++"), set(at_best.values())) == ("near", "no", {None})


def test_sensitivity_has_the_four_levels_that_editions_know() -> None:
    assert list(terms_of("sensitivity")) == ["open", "location", "personal", "restricted"]
