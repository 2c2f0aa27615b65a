"""Words that are names too, and therefore give nobody away where they stand for a thing.

Which words are surnames as well, and which letters are abbreviations, is common knowledge of
English; no list was taken over.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from provenance._disclosure.flat import letters_of

_EVERYDAY = """
boatbuilder carpenter corer driller framer glazier hewer joiner millwright paver plasterer roofer
shingler slater spinner stonecutter tiler timberman wheelwright woodcutter woodworker
a abbot about above after again against alder all along also always am amber an and another any
archer are armour around art as ask at autumn away back bad badger baker banks barber barker
barley barn barrow bass be beach bean bear beard because been before behind being bell below bench
berry beside best better between big bird bishop black blade blood bloom blue boar bolt bond bone
booth both bower bowl box boy bread brewer bridge bright bring brook brown buck bull burn bush but
butcher butler butter by cage call came can cane cannot canon carry cart carter carver case castle
cave chalk chamber chance chandler chapel chapman chase check chip church clay clear clerk cliff
close cloud clover coal cobble cock coffin cold collier comb come cook cooper cope coral corn
cotton could court cow cowl craft crane cream creek crisp crook cross crow crown cut cutter dance
dark date dawn day dear deep deer dell did different dish do does done dove down draper draw
driver drop dry due during dyer each eagle early east easy edge either else end even ever every
fair falcon far farmer farrier fast ferry few field finch find fine fire first fish fisher fit
five flat flood flower fog follow for ford forest forester found four free freeman from front
frost full fuller further gamble game garden gardener gate gave get ginger give glass glover go
goes gold golden gone good goose gore grant grave graves gray great green grey grove grow guest
gun had hale half hall hammer hand hard hare harper hart harvest has hatch have hawk hay he head
hear heavy hedge held help her herd here heron hers high hill hills him his hold hood hook hope
horn hot house how however hunt hunter ice if in inside into iron is it its ivy jet judge
juniper just keep kept key kid king kitchen knight knot know lamb lamp land lane large lark last
late later law lay leach leaf least leather left less let level lie light like lime lion little
lock lodge long look loose lord lost lot love lovely low lumber made main major make mallet many
maple marble march mark marks marsh marshal mason may me mead meadow mean might miller mine mist
money monk moody moon moor moore more moss most mould mount mountain mouse move much must my nail
name near need never new next nice nil nine no noble none noon nor north not note nothing now nut
of off often old olive on once one only opal open or orange orchard other our out outer outside
over own page pain painter palmer pansy park parker parson part partridge pass past patience peace
peacock pearl pepper perch pierce pike pile pine piper place plain plant plover plumb plumber pole
pollard pond pool poole poor pope poppy port porter potter potts power price pride priest prince
prudence purple put quarry queen quick quite rain rather raven read reader ready real reed reeve
rest rice rich ridge right ring river roach rock rod rook roper rose rough round rouse ruby run
rush rust rusty rye saddler sage said salmon salt same sand sands sandy savage saw sawyer say
scarlet seal seaman see seem seen set several shade shall sharp she shearer shepherd shield
shoemaker short should show shut side silver since singer six skinner skip sky slate slater
sleeper small smith snow so soft some soon soul south sparrow spear spicer spring squire stable
stack stag stand star start steel steep stern steward still stock stone storm stormy stow stream
street strong such summer sun sunny sure swallow swan sweet swift tailor take taken tall
tanner taylor tell temple ten than that thatcher the their them then there these they thick thin
thing this thorn thorne those though three through thus till tiller to together too took top
toward tower town townsend tree trout try turn turner twist two under underwood until up upon us
use used usher vale valley van very vine wagon wain walk walker waller ward warden wards warm
warren was watch waters way we weak weaver well went were west wet what wheeler when where whether
which while whistler white who whole whose why wide wild wilder will winch wind window winter
winters wise with within without wolf wood woodman woods woodward wool work worth would wren
wright yard yes yet you younger your
"""
"""Function words; surnames and given names that are words for things."""
_NEVER_ALONE = """
barn bridge building cabin castle chapel church cottage farm gate hall house kitchen lodge mill room
shed stable store tower yard
april august autumn december east february friday i january july june march may monday north
november october saturday september south spring summer sunday thursday tuesday wednesday west
winter
"""
"""Words that are written with a capital wherever they stand."""
_DIRECTIONS = "ne nw se sw ns ew nne nnw sse ssw ene ese wnw wsw"
_ERAS = "ad bc bce bp ce am pm"
_UNITS = "mm cm dm m km in ft yd mi ha g kg lb lbs oz s min h hr hrs hz kw ml cl pt px"
_CAPITALS = """
ac cd dc eu gps id ii iii iv ix lh lhs mr mrs ms nb no ok pc pdf ph ps pto rd rh rhs st tbc tbd tv
uk un us usa usb utm uv vi vii viii wc xi xii xiii xiv xv xvi xx xxi
"""
"""What else is written in capitals: numerals, shortened words."""
_SMALL = """
al ca cf de du ed eg el en es et etc ex ext fc fig fl fr ibid ie inc int la lo max na nd nr op pl pp
qv re ref si sic sp spp sq ti ul viz vol vs wk xs yr yrs
"""


_LITTLE = """
ab al am an au av bo by ce co da de di do du ed ei el en er es et fa fe go ha he ho ik il im in io
ir ja je jo ke ku la le lo ma me mi my na ne ni no nu ob od of og ok om on op os ou po pu sa se si
so su ta te ti to tu ty ud um un ut va ve vi vu we wo ya yo za ze zo zu
"""
DIRECTIONS = frozenset(_DIRECTIONS.split())
ERAS = frozenset(_ERAS.split())
UNITS = frozenset(_UNITS.split())
IN_CAPITALS = DIRECTIONS | ERAS | set(_CAPITALS.split())
ABBREVIATIONS = IN_CAPITALS | UNITS | set(_SMALL.split())
"""Letters that stand for something else than a person."""
LITTLE_WORDS = frozenset(_LITTLE.split())
"""Words of two small letters in the languages of Europe."""


@dataclass(frozen=True)
class CommonWords:
    """Words that alone name nobody.

    A word of `trade` counts as a name only beside what is written with names; one of `everyday`
    also where it has a capital within a sentence. Both are in plain small letters.
    """

    trade: frozenset[str]
    everyday: frozenset[str]

    def holds(self, key: str, written: str) -> bool:
        """Whether a word in plain letters is one of them; other alphabets have others."""
        is_known = key in self or key in ABBREVIATIONS or key.removesuffix("s") in self
        return written[0] < "\u0370" and is_known

    def __contains__(self, word: object) -> bool:
        return word in self.trade or word in self.everyday


def common_words(trade: Iterable[str] = (), everyday: Iterable[str] = ()) -> CommonWords:
    """The program's own words, and those of the trade and others that are given."""
    own = frozenset(map(letters_of, trade)) - {""} | set(_NEVER_ALONE.split())
    daily = frozenset(map(letters_of, everyday)) | set(_EVERYDAY.split())
    return CommonWords(own, daily)
