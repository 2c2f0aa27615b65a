"""Names, initials, numbers and addresses are found in every form; plain notes are left alone."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import phonenumbers
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from provenance._bundle.redaction.gathering import everyday_words, trade_words
from provenance._disclosure.addresses import address_parts
from provenance._disclosure.common_words import CommonWords, common_words
from provenance._disclosure.contacts import ContactNet
from provenance._disclosure.flat import letters_of
from provenance._disclosure.hits import Net
from provenance._disclosure.initials import InitialsNet
from provenance._disclosure.names import NameNet
from provenance._disclosure.numbers import NumberNet, WithheldNumber, codes_in
from provenance._disclosure.phrases import PhraseNet
from provenance._disclosure.spelling import spellings
from provenance._model.schema import read_core
from tests.disclosure import held_out, people_corpus
from tests.disclosure.people_corpus import CONTEXTS, WITHOUT_CAPITALS, Person, Secret, forms_of

HOME = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def common() -> CommonWords:
    return common_words(trade_words(read_core()), everyday_words())


def _missed(nets: Sequence[Net], texts: Sequence[str], stretches: Sequence[str]) -> list[int]:
    """Which texts have no hit within the stretch that gives something away."""
    missed = []
    each = [net.hits(texts) for net in nets]
    for place, (text, inside) in enumerate(zip(texts, stretches, strict=True)):
        start = text.index(inside)
        end = start + len(inside)
        hits = [hit for found in each for hit in found[place]]
        if not any(hit.start < end and hit.end > start for hit in hits):
            missed.append(place)
    return missed


def _tried(people: Sequence[Person], contexts: Sequence[str], common: CommonWords) -> list[str]:
    """What is missed of all forms of all people in all contexts."""
    tried: Counter[str] = Counter()
    missed: list[str] = []
    for person in people:
        nets = (NameNet([person.name], (), common), InitialsNet([person.name], (), common))
        cases = [(what, form, context) for what, form in forms_of(person) for context in contexts]
        texts = [context.format(form) for _, form, context in cases]
        tried.update(what for what, _, _ in cases)
        for place in _missed(nets, texts, [form for _, form, _ in cases]):
            what, form, _ = cases[place]
            missed.append(f"{person.name}: {what} {form!r} in {texts[place]!r}")
    print(f"{tried.total()} forms of {len(people)} names tried, {len(missed)} missed")
    return missed


def test_a_name_is_found_in_every_form_and_context(common: CommonWords) -> None:
    assert _tried(people_corpus.PEOPLE, CONTEXTS, common) == []


def test_names_that_the_search_was_not_made_with_are_found_too(common: CommonWords) -> None:
    missed = _tried(held_out.PEOPLE, held_out.CONTEXTS, common)
    assert [one for one in missed if not one.startswith(held_out.NOT_TOLD)] == []


def test_names_of_scripts_without_capitals_are_found(common: CommonWords) -> None:
    for name, plain, sentences in WITHOUT_CAPITALS:
        net = NameNet([name], (), common)
        texts = [sentence.format(name) for sentence in sentences]
        assert _missed([net], texts, [name] * len(texts)) == [], name
        assert net.hits([f"with {plain.title()} there"])[0], plain


def _nets_of(secret: Secret) -> list[Net]:
    """As they are made of a withheld field."""
    if not secret.title:
        return [NumberNet([WithheldNumber(secret.withheld, secret.field, is_length_m=True)])]
    parts = address_parts(secret.withheld) if "address" in secret.field else ()
    phrases = {secret.withheld: secret.field, **dict.fromkeys(parts, "")}
    return [
        NumberNet(codes_in(secret.withheld, secret.field, secret.title)),
        PhraseNet(phrases),
    ]


def _not_as_they_should(secrets: Iterable[Secret], contexts: Iterable[str]) -> list[str]:
    wrong = []
    count = 0
    for secret in secrets:
        nets = _nets_of(secret)
        for context in contexts:
            texts = [context.format(one) for one in secret.found]
            count += len(texts)
            wrong += [texts[place] for place in _missed(nets, texts, secret.found)]
            for one in secret.left:
                if any(any(net.hits([context.format(one)])) for net in nets):
                    wrong.append(f"needlessly {secret.withheld!r}: {context.format(one)}")
    print(f"{count} withheld numbers and addresses tried, {len(wrong)} not as they should be")
    return wrong


PLAIN = ("{}", "North wall: {}, later lost", "core broke ({})")


def test_withheld_numbers_and_addresses_are_found_in_every_grouping() -> None:
    assert _not_as_they_should(people_corpus.SECRETS, PLAIN) == []


def test_numbers_that_the_search_was_not_made_with_are_found_too() -> None:
    assert _not_as_they_should(held_out.SECRETS, (*PLAIN, "plug 231 / {} / see photo")) == []


def test_ways_to_reach_somebody_are_found_by_their_form(common: CommonWords) -> None:
    net = ContactNet(common)
    for reached in (*people_corpus.REACHED, *held_out.REACHED):
        assert net.hits([reached])[0], reached
    for other in (*people_corpus.NOT_REACHED, *held_out.NOT_REACHED):
        assert not net.hits([other])[0], other


def _example_numbers() -> Iterator[phonenumbers.PhoneNumber]:
    for region in sorted(phonenumbers.SUPPORTED_REGIONS):
        for kind in (phonenumbers.PhoneNumberType.MOBILE, phonenumbers.PhoneNumberType.FIXED_LINE):
            if number := phonenumbers.example_number_for_type(region, kind):
                yield number


def test_the_telephone_numbers_of_every_country_are_found() -> None:
    """Against the example numbers of libphonenumber, in the forms that it writes."""
    form = phonenumbers.PhoneNumberFormat
    net = ContactNet()
    numbers = list(_example_numbers())
    shown = [phonenumbers.format_number(one, form.INTERNATIONAL) for one in numbers]
    assert _missed([net], [f"key: {one}, ask" for one in shown], shown) == []
    whole = [phonenumbers.format_number(one, form.E164) for one in numbers]
    assert _missed([net], [f"key {one}" for one in whole], whole) == []
    national = [phonenumbers.format_number(one, form.NATIONAL) for one in numbers]
    dialed = [one for one in national if sum(map(str.isdigit, one)) > 4]
    assert _missed([net], [f"phone {one}" for one in dialed], dialed) == []
    # where one is withheld, all other ways of writing it are found without any word before them
    missed = []
    for others in zip(shown, whole, national, strict=True):
        if others[2] not in dialed:
            continue
        digits = [re.sub("[^0-9]", "", one) for one in others]
        if len(digits[2].lstrip("0")) < 7:
            # too short to be told from any other number without a plus sign or its own blanks
            others, digits = (others[0], others[2]), []
        for known in others:
            withheld = NumberNet(codes_in(f"call {known} first", "site.access_notes"))
            stretches = [*others, *(re.sub(r"(..)(?=.)", r"\1 ", one) for one in digits)]
            texts = [f"ladder: {one}." for one in stretches]
            missed += [f"{known}: {texts[n]}" for n in _missed([withheld], texts, stretches)]
    print(f"{len(numbers)} numbers of {len(phonenumbers.SUPPORTED_REGIONS)} regions tried")
    assert missed == []


# -- what is left alone --------------------------------------------------------------------------


def _harmless_texts() -> list[str]:
    """The words of the schemas, and the notes of the demonstration: in them nobody is named."""
    core = read_core()
    texts = {text for _, one in core.every_field() for text in (one.title, one.description)}
    for vocabulary in core.vocabularies.values():
        texts |= {text for term in vocabulary.terms for text in (term.label, term.definition)}
    for name, mark in (("field/photo_log.csv", ","), ("field/datums_and_ties.csv", ";")):
        lines = (HOME / "demo_package" / name).read_bytes().decode("latin-1").splitlines()
        texts |= {cell for row in csv.reader(lines, delimiter=mark) for cell in row if " " in cell}
    for path in (*HOME.glob("*.md"), *(HOME / "docs").glob("*.md"), *HOME.glob("schemas/*.md")):
        texts |= set(re.split(r"(?<=[.:;|])\s+|\n", path.read_text("utf-8")))
    return sorted(texts - {None, ""})


SURNAMES_OF_THE_TRADE = (
    "Oak", "Post", "Wall", "Hewer", "Beam", "Board", "Core", "Barn", "Mason", "Carpenter", "Miller",
    "Wood", "Stone", "Field", "Marsh", "Rose", "Green", "Brown", "Young", "Long", "Church", "Hall",
    "May", "March", "Winter", "North", "West", "Bell", "Park", "Page", "Marks", "Will", "Ring",
)  # fmt: skip


def test_hardly_any_harmless_text_of_the_trade_is_found(common: CommonWords) -> None:
    texts = _harmless_texts()
    names = [one.name for one in (*people_corpus.PEOPLE, *held_out.PEOPLE)]
    names += [f"Edda {one}" for one in SURNAMES_OF_THE_TRADE]
    secrets = (*people_corpus.SECRETS, *held_out.SECRETS)
    numbers = [one for s in secrets for one in codes_in(s.withheld, s.field, s.title)]
    nets: list[Net] = [
        NameNet(names, (), common), InitialsNet(names, ("QX",), common), ContactNet(common),
        NumberNet(numbers),
    ]  # fmt: skip
    found = [
        (text, [hit for one in hits for hit in one])
        for text, *hits in zip(texts, *(net.hits(texts) for net in nets), strict=True)
        if any(hits)
    ]
    print(f"{len(texts)} harmless texts, {len(found)} with hits against {len(names)} names")
    for text, hits in found:
        print(f"  {[text[hit.start : hit.end] for hit in hits]} in {text!r}")
    assert len(texts) > 2000
    assert len(found) < len(texts) / 100


PLAIN_WORDS = """
Post 4 leans | Oak, by the Post | hewer's marks | Rose-headed nail | by Post 4 | POST AND BEAM
a rose | Hewer marks | wooden posts | Postal | Barn, Post 2 | the posts
"""
AS_NAMES = """
Mr Post | Post, E. | drawn by Hewer | with Rose on the roof | Rose drilled it | Hewer said so
E. Post | post, elsie | Hewer, R., told us
"""


def _one_by_one(lines: str) -> list[str]:
    return [one.strip() for one in lines.strip().replace("\n", "|").split("|")]


def test_a_word_of_the_trade_is_a_name_only_as_names_are_written(common: CommonWords) -> None:
    net = NameNet(["Elsie Post", "Rufus Hewer", "Ada Rose"], (), common)
    assert [text for text in _one_by_one(PLAIN_WORDS) if net.hits([text])[0]] == []
    assert [text for text in _one_by_one(AS_NAMES) if not net.hits([text])[0]] == []


NO_INITIALS = """
12 cm | the NE corner | N.E. wall | sides A B C | i.e. oak | 12 mm | JM-014 | B.C. 200 | plumb
MB-014 | C.M.J. 4 | wir sind da | 200 B.C. | in the 3rd c.m. | room j m
"""
INITIALS = """
J.M. held it | jm | JM/MB | drawn by N.E. | (N.E.) | m.j. | MB | m.b. | 2024-06-03 JM | J M, M J
"""


def test_units_directions_and_labels_are_no_initials(common: CommonWords) -> None:
    people = ["Carl Moe", "Nils Ek", "Ann Bell", "Jon Marl", "Ida Eng", "Dora Ahlm"]
    net = InitialsNet(people, ("MB",), common)
    assert [text for text in _one_by_one(NO_INITIALS) if net.hits([text])[0]] == []
    assert [text for text in _one_by_one(INITIALS) if not net.hits([text])[0]] == []


def test_the_words_of_a_place_are_told_from_the_things_they_name(common: CommonWords) -> None:
    net = NameNet((), ["Skelbrook Farmhouse"], common)
    assert net.hits(["the farmhouse roof", "two farmhouses"]) == [[], []]
    for text in ("SKELBROOK farmhouse", "skelbrook_farmhouse", "the Skelbrook barn", "Skelbrooks"):
        assert net.hits([text])[0], text


# -- laws ----------------------------------------------------------------------------------------

_WORDS = st.text(st.characters(categories=("Lu", "Ll", "Lo")), min_size=4, max_size=12)


@given(_WORDS, _WORDS, st.text(max_size=20), st.text(max_size=20))
def test_a_long_name_in_any_script_is_found_among_whatever(
    first: str, last: str, before: str, after: str
) -> None:
    name = f"{first} {last}"
    assume(len(letters_of(name)) >= 8 and letters_of(first) and letters_of(last))
    net = NameNet([name])
    for written in (
        name,
        f"{last}, {first}",
        f"{first}{last}",
        f"{first}-\n{last}",
        f"{first}_{last}",
    ):
        assert net.hits([f"{before} {written} {after}"])[0], written


@given(st.text(max_size=60))
def test_every_hit_lies_within_its_text_and_is_not_empty(text: str) -> None:
    people = ["Zoë Farrowgill", "Bo Li", "梁木生"]
    nets: list[Net] = [
        NameNet(people), InitialsNet(people, ["TQ"]), ContactNet(),
        NumberNet([WithheldNumber("4471", "", is_code=True), WithheldNumber("1871.93")]),
    ]  # fmt: skip
    for around in (text, f"{text}Bo Li 44 71{text}", f"\u200b{text}T.Q. +44 1632 960001"):
        for net in nets:
            for hit in net.hits([around])[0]:
                assert 0 <= hit.start < hit.end <= len(around)


ICAO = {
    "Ä": ("A", "AE"), "Å": ("A", "AA"), "Æ": ("AE",), "Ç": ("C",), "Đ": ("D",), "Ł": ("L",),
    "Ñ": ("N",), "Ö": ("O", "OE"), "Ø": ("OE",), "Ü": ("U", "UE"), "ß": ("SS",), "Þ": ("TH",),
    "Ž": ("Z",), "Ж": ("ZH",), "Х": ("KH",), "Ц": ("TS",), "Ч": ("CH",), "Ш": ("SH",),
    "Щ": ("SHCH",), "Ы": ("Y",), "Э": ("E",), "Ю": ("IU",), "Я": ("IA",), "Й": ("I",), "Ё": ("E",),
}  # fmt: skip
"""ICAO Doc 9303, part 3, section 6: how passports transliterate letters (from memory)."""


def test_names_are_found_as_passports_spell_them() -> None:
    for letter, ways in ICAO.items():
        cyrillic = letter >= "\u0400"
        around = ("Та", "на") if cyrillic else ("Ta", "na")
        for way in ways:
            assert f"ta{way.lower()}na" in spellings(f"{around[0]}{letter.lower()}{around[1]}"), (
                letter
            )
