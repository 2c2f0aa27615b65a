"""People, contexts and numbers that the search was not made with."""

from __future__ import annotations

from tests.disclosure.people_corpus import Person, Secret

PEOPLE = (
    Person("Brannoc", "Tellister", (), ("Tellister's", "Brannoc’s", "the Tellisters")),
    Person("Freydís", "Hlöðversdóttir", ("Freydis Hlodversdottir", "Hloedversdottir"), ("Freydísar",)),
    Person("Søren", "Kværndrup", ("Soren Kvaerndrup", "Soeren Kværndrup"), ("Kværndrups", "Sørens")),
    Person("Günther", "Wößmann", ("Guenther Woessmann", "Gunther Wossmann"), ("Wößmanns", "Wößmannsche")),
    Person("Dobromir", "Szczypiński", ("Szczypinski",), ("Dobromira", "Szczypińskiego", "Szczypińskim")),
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
CONTEXTS = (
    "{}: bore stopped at the pith",
    "wood kept back for {} until the autumn",
    "* {} – sapwood doubtful",
    "per {}; tie-beam reused?",
    "Photo by {}, evening light",
    "rings 12 to 44 counted by {} and again in the laboratory",
    "[{}] plug 231 glued",
)
SECRETS = (
    Secret("site.permit_number", "Permit number", "8203",
           ("permit 8203", "8 203", "No.8203", "८२०३", "82-03", "#8203"),
           ("8203 mm", "82.03 cm", "18203")),
    Secret("site.permit_number", "Permit number", "QR/2031/0077",
           ("QR 2031 0077", "qr-2031-0077", "permit 0077"), ("77 rings",)),
    Secret("site.access_notes", "Access notes", "Key safe 5926, mobile +49 152 5550 1234, ask at no. 3",
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
    "brannoc.tellister@rings.example",
    "mail tellister<at>rings<dot>example",
    "tellister AT rings DOT example",
    "see @brannoc_t for pictures",
)
NOT_REACHED = (
    "drilled @15° upwards",
    "looked at a dot on the bark",
    "12/06/2024 09:30",
    "1 234 567 mm3",
    "00231",
    "2024.06.03",
)
