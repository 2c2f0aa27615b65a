"""People, contexts and numbers that the search was not made with."""

from __future__ import annotations

from tests.disclosure.people_corpus import Person, Secret

PEOPLE = (
    Person("Perpetua", "Grimsdottle", (), ("Grimsdottle’s", "Perpetua's", "the Grimsdottles")),
    Person("Ragnhild", "Fjærestøl", ("Ragnhild Fjaerestol", "Fjaerestoel"), ("Fjærestøls",)),
    Person("Bärbel", "Köstritzky", ("Baerbel Koestritzky", "Barbel Kostritzky"), ("Köstritzkys",)),
    Person("Wawrzyniec", "Gąsierski", ("Gasierski",), ("Gąsierskiego", "Gąsierskim")),
    Person("Bohumila", "Chlupáčková", ("Chlupackova",), ("Chlupáčkovou", "Bohumily", "Bohumile")),
    Person("Ёлка", "Хижняк", ("Yolka Khizhnyak", "Elka Khizhniak", "Chischnjak"),
           ("Хижняка", "Хижняку", "Хижняком")),
    Person("Δάφνη", "Τσιρούκη", ("Dafni Tsirouki",), ()),
    Person("An", "Vo", (), ("Vo's",)),
    Person("Uí", "Dálaigh", ("Ui Dalaigh",), ("Dálaigh's",)),
    Person("Sanna", "Hyvelä", ("Sanna Hyvela",), ("Hyvelän",)),
    Person("Ilse", "Rafter", (), ("Ilse's",), alone=False),
    Person("Gwen", "Thatcher", (), ("Gwen's",), alone=False),
)  # fmt: skip
CONTEXTS = (
    "no bark; {} thinks felled in winter",
    "plug driven by {} (hazel)",
    "{}, second visit, ladder short",
    "cf. {}, report of the spring",
    "tape held: {}\tcore 12",
    "“{}” on the lid of the box",
)
NOT_TOLD = ("Bohumila Chlupáčková: bare initials 'BC'", "An Vo: given name 'An'")
"""Common words too: BC without points behind no figure, An where a sentence may begin."""
SECRETS = (
    Secret("site.permit_number", "Permit number", "3069",
           ("under permit 3069", "3 069", "3069/24", "३०६९", "30-69"),
           ("30.69 mm", "3069 mm", "13069")),
    Secret("site.permit_number", "Permit number", "BLD.2030.5518",
           ("bld 2030 5518", "BLD20305518", "permit 5518"), ("18 rings",)),
    Secret("site.access_notes", "Access notes",
           "Alarm 77, then 6640 on the keypad; ring +33 6 39 98 12 34 first",
           ("6640", "66 40", "alarm 77", "+33639981234", "06 39 98 12 34", "0639981234",
            "0033 639 981 234", "06.39.98.12.34"),
           ("77 rings", "33 mm", "6 39")),
    Secret("party.postal_address", "Postal address", "Plaza Quebrada 5, 28911 Valdehierro",
           ("Plaza Quebrada 5", "5 Plaza Quebrada", "plaza quebrada", "28911"),
           ("quebrada 7", "5 m")),
    Secret("site.elevation_m", "", "12345.6",
           ("12345.6", "12,345.6", "12.345,60", "12 345,6", "12’345.6"), ("123456", "1234.56")),
)  # fmt: skip
REACHED = (
    "perpetua@g.example",
    "p.grimsdottle (AT) mail (DOT) example",
    "ask @p_grimsdottle",
)
NOT_REACHED = (
    "3 @ 12.7 mm",
    "at the third dot of red paint",
    "7/8 x 1 1/2 x 104",
    "2024-06-03/2024-06-14",
    "20231, 20232",
)
