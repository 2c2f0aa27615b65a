"""Names of people who do not exist, in many scripts, and the ways in which crews would write them.

`FOUND` went into the making of the search, `HELD_OUT` did not.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Person:
    """A given name and a surname, with what is written of them besides.

    `plain` are spellings in plain letters, `cases` inflected forms; `alone` says that the surname
    alone gives somebody away, which a word such as Oak does not.
    """

    given: str
    surname: str
    plain: tuple[str, ...] = ()
    cases: tuple[str, ...] = ()
    alone: bool = True

    @property
    def name(self) -> str:
        return f"{self.given} {self.surname}"


PEOPLE = (
    Person("Tove", "Hebblewick", (), ("Hebblewick's tape", "the Hebblewicks", "Tove's")),
    Person("John", "Skelbrook", (), ("Skelbrook's", "Skelbrooks", "bei Skelbrooks")),
    Person("Zoë", "Inglebarrow", ("Zoe Inglebarrow",), ("Zoë’s",)),
    Person("Jørn", "Møllegard", ("Jorn Mollegard", "Jørn Moellegard", "Joern Moellegård"),
           ("Møllegards", "Jørns")),
    Person("Ulrike", "Prüßner", ("Pruessner", "Prussner", "PRÜSSNER"), ("Prüßners", "Ulrikes")),
    Person("Jürgen", "Häfker", ("Juergen Haefker", "Jurgen Hafker"), ("Häfkers", "Häfkern")),
    Person("Łucja", "Zdrojewska", ("Lucja Zdrojewska",), ("Zdrojewskiej", "Zdrojewską")),
    Person("Pavel", "Žmolek", ("Zmolek",), ("Pavla", "Pavlovi", "Žmolka", "Žmolkovi", "Žmolkova")),
    Person("Jana", "Kvítková", ("Kvitkova",), ("Janě", "Janou", "Kvítkové", "Kvítkovou")),
    Person("Oluf", "Åkjær", ("Akjaer", "Aakjaer"), ("Åkjærs",)),
    Person("Íñigo", "Zubiñarte", ("Inigo Zubinarte",), ()),
    Person("Гордей", "Щукарёв", ("Gordey Shchukaryov", "Gordei Shchukarev", "Schtschukarjow"),
           ("Гордея", "Щукарёва", "Щукарёву", "Щукарёвым")),
    Person("Ива", "Жданцева", ("Iva Zhdantseva", "Ždanceva"), ("Ивы", "Иве", "Жданцевой")),
    Person("Λυγερή", "Κουμπάρογλου", ("Lygeri Koumparoglou",), ()),
    Person("Գոհար", "Թումյան", ("Gohar Tumyan",), ()),
    Person("Bo", "Li", (), ("Li's", "Bo’s")),
    Person("Io", "Ng", (), ("Ng's",)),
    Person("Anna-Lena", "van der Quast", ("Anna Lena van der Quast",), ("Quasts",)),
    Person("Conor", "O'Dravney", ("ODravney", "O’Dravney"), ("O'Dravney's",)),
    Person("Ottilie", "Smythe-Brackett", ("Smythe Brackett",), ("Brackett's",)),
    Person("Elsie", "Post", (), ("Elsie's",), alone=False),
    Person("Wilf", "Oak", (), ("Wilf's",), alone=False),
    Person("Ada", "Wall", (), ("Ada's",), alone=False),
    Person("Rufus", "Hewer", (), ("Rufus's",), alone=False),
    Person("Brannoc", "Tellister", (), ("Tellister's", "Brannoc’s", "the Tellisters")),
    Person("Freydís", "Hlöðversdóttir", ("Freydis Hlodversdottir", "Hloedversdottir"),
           ("Freydísar",)),
    Person("Søren", "Kværndrup", ("Soren Kvaerndrup", "Soeren Kværndrup"),
           ("Kværndrups", "Sørens")),
    Person("Günther", "Wößmann", ("Guenther Woessmann", "Gunther Wossmann"),
           ("Wößmanns", "Wößmannsche")),
    Person("Dobromir", "Szczypiński", ("Szczypinski",),
           ("Dobromira", "Szczypińskiego", "Szczypińskim")),
    Person("Zdeněk", "Houžvička", ("Zdenek Houzvicka",), ("Zdeňka", "Houžvičky", "Houžvičkou")),
    Person("Милолика", "Ястребцова", ("Milolika Yastrebtsova", "Iastrebtsova", "Jastrebcova"),
           ("Милолики", "Ястребцовой", "Ястребцову")),
    Person("Юлиан", "Хворостин", ("Yulian Khvorostin", "Iulian Khvorostin", "Julian Chworostin"),
           ("Юлиана", "Хворостина", "Хворостиным")),
    Person("Ευρυδίκη", "Ζαχαρούλη", ("Evrydiki Zacharouli",), ()),
    Person("Xu", "Wo", (), ("Xu's",)),
    Person("Ty", "Ek", (), ("Ek's",)),
    Person("Maria-Inês", "de Vasquilho", ("Maria Ines de Vasquilho",), ()),
    Person("Aoife", "McTarnish", ("Mc Tarnish", "MCTARNISH"), ("McTarnish's",)),
    Person("Réka", "Körmöndy", ("Reka Kormondy", "Koermoendy"), ("Körmöndynek", "Réka's")),
    Person("Delphine", "Beam", (), ("Delphine's",), alone=False),
    Person("Corwin", "Board", (), ("Corwin's",), alone=False),
)  # fmt: skip

WITHOUT_CAPITALS = (
    ("梁木生", "Liang Musheng", ("昨日{}取樣", "{}，二〇二三年", "由{}測量")),
    ("سلوى القطراني", "slwy alqtrany", ("قال {} ذلك", "مع {}.", "لـ{}")),
    ("נעמה ברקאי", "nmh brqay", ("אמרה {} אתמול", "עם {}, בבוקר", "{}")),
    ("काव्या देवराज", "kavya devraj", ("{} ने नापा", "({})", "{} का")),
    ("ธารา มณีกุล", "thara mnikul", ("วัดโดย{}วันนี้", "{}", "กับ {}")),
    ("민서하", "MinSeoHa", ("{}가 측정했다", "{}는", "({})")),
    ("さえぐさ みお", "saegusa mio", ("{}さんが測った", "{}、昨日", "{}")),
)
"""(name, plain letters, sentences)."""

CONTEXTS = (
    "{}",
    "cored with {} on the ladder, outer rings lost",
    "North wall, post 4: {} read the tape twice.",
    "2024-06-04 {} / second core broke at 45 mm",
    "see note ({}) and photo 12",
    "asked {}, who says the lintel was reset",
    "Beam 3.\n{}\nplugged with oak",
    "drill bit changed;{};12.7 mm",
)


def forms_of(person: Person) -> Iterator[tuple[str, str]]:
    """(what it is, how it is written) of one person."""
    given, surname, name = person.given, person.surname, person.name
    yield "full", name
    yield "surname first", f"{surname}, {given}"
    yield "surname first, small", f"{surname}, {given}".lower()
    yield "surname first, no comma", f"{surname} {given}"
    yield "capitals", name.upper()
    yield "small", name.lower()
    yield "underscores", name.replace(" ", "_")
    yield "joined", name.replace(" ", "")
    if len(name) > 6:
        yield "joined, small", name.replace(" ", "").lower()
    yield "decomposed", unicodedata.normalize("NFD", name)
    yield (
        "full width",
        "".join(chr(ord(one) + 0xFEE0) if "!" <= one <= "~" else one for one in name),
    )
    yield "hidden characters", "\u200b".join(name)
    yield "soft hyphens", "\u00ad".join(name)
    yield "initial", f"{given[0]}. {surname}"
    yield "initial behind", f"{surname}, {given[0]}."
    yield "initial, no point", f"{given[0]} {surname}"
    yield "over two lines", name.replace(" ", "\n")
    yield "title", f"Mr {surname}"
    yield "given name", given
    for plain in person.plain:
        yield "plain letters", plain
        yield "plain letters, capitals", plain.upper()
    for case in person.cases:
        yield "case", case
    large = [word[0] for word in name.replace("-", " ").split() if word[0].isupper()]
    first, last = large[0], large[-1]
    yield "initials with points", f"{first}.{last}."
    yield "initials with points and blanks", f"{first}. {last}."
    yield "initials, points, turned", f"{last}.{first}."
    yield "initials with a hyphen", f"{first}.-{last}."
    if person.alone:
        yield "surname", surname
        yield "surname, capitals", surname.upper()
        yield "genitive", f"{surname}'s"
        if (first + last).lower() not in ("in", "up", "am"):
            yield "bare initials", first + last
        if len(surname) >= 5 and surname.isalpha():
            half = len(surname) // 2
            yield "surname, small", surname.lower()
            yield "letters apart", " ".join(surname)
            yield "letters apart, hyphens", "-".join(surname)
            yield "broken", f"{surname[:half]}-\n{surname[half:]}"
            yield "broken, no hyphen", f"{surname[:half]}\n{surname[half:]}"
            yield "hyphen within", f"{surname[:half]}-{surname[half:]}"
            yield "run together", f"ask{surname}"
            yield "with figures", f"{surname}2023"
            yield "as an account", f"{given[0]}{surname}".lower()


@dataclass(frozen=True)
class Secret:
    """Something else that is withheld, and how it may be written in another text.

    `withheld` is the text of the field, `sound` ways of writing it that must be found.
    """

    field: str
    title: str
    withheld: str
    found: tuple[str, ...]
    left: tuple[str, ...] = field(default=())


SECRETS = (
    Secret("site.permit_number", "Permit number", "4471",
           ("permit 4471", "44 71", "4-4-7-1", "no 4471/23", "4,471", "٤٤٧١", "४४७१", "４４７１",
            "(4471)", "4471.", "4.471", "4\u200b471"),
           ("44.71 mm", "144710", "4471 mm", "71", "12.4471")),
    Secret("site.permit_number", "Permit number", "17",
           ("permit 17", "permit no. 17", "under Permit #17"), ("17 rings", "room 17", "17 cm")),
    Secret("site.permit_number", "Permit number", "HRO-44718/B",
           ("HRO 44718 B", "hro-44718-b", "permit 44718", "HRO44718B", "44.718"), ("4471",)),
    Secret("site.access_notes", "Access notes",
           "gate code 0417, key with the neighbor, tel. 01632 960417; closed since 1987",
           ("0417", "04 17", "code 0417#", "01632960417", "+44 1632 960417", "0044 1632 960417",
            "(01632) 960-417", "016 32 96 04 17", "960417", "01632/960417",
            "٠١٦٣٢ ٩٦٠٤١٧", "+44 (0)1632 960 417", "1632.960.417"),
           ("since 1987", "417", "felled 1987")),
    Secret("site.access_notes", "Access notes", "padlock 1873",
           ("padlock 1873", "1873", "18-73"), ("felled in 1873", "1702-1873", "1870s", "c. 1873")),
    Secret("party.postal_address", "Postal address", "12 Quernstone Lane, Tarnby, TB4 7QX",
           ("12 Quernstone Lane", "quernstone lane 12", "No. 12, Quernstone Lane", "TB4 7QX",
            "tb47qx", "Quernstone Ln. 12, TB4 7QX", "QUERNSTONE LANE"),
           ("stone lane", "4 7")),
    Secret("party.postal_address", "Postal address", "Elm Rd 7\n84512 Tarnby",
           ("7 Elm Rd", "Elm Rd. 7", "84512", "84 512"), ("elm road", "7 elms")),
    Secret("site.elevation_m", "", "1871.93",
           ("1871.93", "1,871.93", "1.871,93", "1 871,93", "1'871.93", "1’871,93", "1871,930",
            "1.87193e3", "１８７１.９３", "١٨٧١٫٩٣", "12;1871.93;3",
            "1871.9", "1872 m", "1871m", "6142 ft", "6,142 feet", "6141.5 ft"),
           ("1871", "1872", "1874 m", "1871 mm", "6142", "6142 m", "871.93")),
    Secret("consignment.seal_number", "Seal number", "700012345",
           ("700 012 345", "700.012.345", "seal 700012345", "7000 12345"), ("70001234",)),
    Secret("site.permit_number", "Permit number", "8203",
           ("permit 8203", "8 203", "No.8203", "८२०३", "82-03", "#8203"),
           ("8203 mm", "82.03 cm", "18203")),
    Secret("site.permit_number", "Permit number", "QR/2031/0077",
           ("QR 2031 0077", "qr-2031-0077", "permit 0077"), ("77 rings",)),
    Secret("site.access_notes", "Access notes",
           "Key safe 5926, mobile +49 152 5550 1234, ask at no. 3",
           ("5926", "5 9 2 6", "+4915255501234", "0152 55501234", "0152/5550-1234",
            "(0)152 555 01234", "00491525550-1234", "５９２６"),
           ("no. 3", "152 mm")),
    Secret("party.postal_address", "Postal address", "Haldergasse 31a, 8093 Oberquell",
           ("Haldergasse 31a", "31a Haldergasse", "HALDERGASSE 31A", "8093 Oberquell", "CH-8093"),
           ("31 a", "gasse 31")),
    Secret("party.postal_address", "Postal address", "Apt 4, 230 Whinfell Road, Moorsby, ZE1 9XK",
           ("230 Whinfell Road", "whinfell road", "ZE1 9XK", "ZE19XK"), ("4", "230 mm")),
    Secret("site.elevation_m", "", "2604.5",
           ("2604.5", "2,604.5 m", "2 604,5", "2.604,50", "２６０４．５"), ("260.45", "2604 mm")),
)  # fmt: skip

REACHED = (
    "write to m.quillan@example.org",
    "m.quillan (at) example.org",
    "quillan at example dot org",
    "quillan[at]example[dot]org",
    "mail: Quillan @ example.org",
    "q@post.example.co.uk please",
    "кто@пример.рф",
    "find her as @tquillan_wood",
    "on social: @quillan.rings",
    "https://social.example/@tquillan",
    "brannoc.tellister@rings.example",
    "mail tellister<at>rings<dot>example",
    "tellister AT rings DOT example",
    "see @brannoc_t for pictures",
)
"""Ways to reach somebody who may not be known to the record at all."""
NOT_REACHED = (
    "bored @ 45 degrees",
    "2 cores @ north wall",
    "sample at the dot of paint",
    "taken at 12.7 mm, dot marked",
    "2024-06-03 to 2024-06-14",
    "0208 0185 0123 0099",
    "04-06-2024",
    "photos 001 002 003 004",
    "samples 01 02 03 04 05 06",
    "0.208 0.185 0.123 0.099",
    "0208 0185",
    "12.7 x 98 x 105 mm",
    "231, 232, 233, 234 and 235",
    "1702-1781, 80 rings",
    "+4.25 m above the floor",
    "4 7/8 by 3 1/2",
    "drilled @15° upwards",
    "looked at a dot on the bark",
    "12/06/2024 09:30",
    "1 234 567 mm3",
    "00231",
    "2024.06.03",
)
