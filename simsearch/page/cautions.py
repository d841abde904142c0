"""Short prompts on law, safety and care, shown where they matter.

These are prompts, not advice. Each names where it comes from, whether that source was read
or the point is from memory, and every legal one ends with "check the current text": law
moves, and local officers know it better than this page does.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from simsearch.law.triggers import triggers

if TYPE_CHECKING:
    from simsearch.law.table import Rule
    from simsearch.law.triggers import FindCaution
    from simsearch.leads.model import Leads

CHECK_CURRENT = "Check the current text."
ASK_OFFICER = (
    "Your finds officer (or the museum or heritage service that does this work where you are) "
    "has the last word."
)


@dataclass(frozen=True)
class Source:
    """Where a prompt comes from. ``basis`` is ``read`` or ``from memory``."""

    title: str
    url: str
    basis: str


@dataclass(frozen=True)
class Caution:
    """One prompt: a heading, a few short sentences and the sources behind them."""

    key: str
    title: str
    text: str
    urgent: bool = False
    sources: tuple[Source, ...] = ()

    @property
    def heading(self) -> str:
        """The title as the first sentence of its paragraph."""
        return self.title if self.title.endswith(("?", "!")) else f"{self.title}."


_NOTES = Source(
    "Conservation Advice Notes, MLA and York Archaeological Trust, 2005",
    "",
    "read",
)
_TREASURE = Source(
    "Treasure Act 1996, section 1 (England, Wales, Northern Ireland)",
    "https://www.legislation.gov.uk/ukpga/1996/24/crossheading/meaning-of-treasure",
    "read",
)
_FOURTEEN = Source(
    "House of Commons committee on the designation order, 13 March 2023 (the 14 days)",
    "",
    "read",
)
_IMPORTANT = Source(
    "House of Lords committee on the designation order, 28 March 2023 (important pieces; its "
    "exact test is given here from memory)",
    "",
    "read",
)
_SCOTLAND = Source(
    "Treasure trove code of practice for Scotland, July 2014",
    "",
    "read",
)
_NORTHERN_IRELAND = Source(
    "Historic Monuments and Archaeological Objects (NI) Order 1995, article 29",
    "http://www.legislation.gov.uk/nisi/1995/1625/article/29?timeline=false",
    "read",
)
_IRELAND = Source(
    "National Monuments (Amendment) Act 1987, section 2 (Ireland)",
    "http://www.irishstatutebook.ie/eli/1987/act/17/section/2/enacted/en/html",
    "read",
)
_PROTECTED = Source(
    "Ancient Monuments and Archaeological Areas Act 1979, section 42 (2015 text)",
    "https://legislation.gov.uk/ukpga/1979/46/part/III/crossheading/"
    "restrictions-on-use-of-metal-detectors/2015-02-27",
    "read",
)
_CODE = Source(
    "Code of practice on responsible detecting, 2017",
    "",
    "read",
)
_FINDSPOT = Source(
    "A detecting club's code of practice (findspots to 100 m or better, shared only with the "
    "landowner's agreement)",
    "",
    "read",
)
_POLICE = (
    Source(
        "Dorset Police, lost and found explosives",
        "https://firearms.dorset.police.uk/explosives/lost-and-found",
        "read",
    ),
    Source(
        "Bremerhaven police, what to do on finding ammunition",
        "https://www.polizei.bremerhaven.de/faq-sprengkoerper-236.html",
        "read",
    ),
)

ALWAYS: tuple[Caution, ...] = (
    Caution(
        "clean",
        "Do not clean it yet",
        "Keep it dry and take advice first. Soil and crust can hold the surface that dates it.",
        sources=(_NOTES,),
    ),
    Caution(
        "findspot",
        "Record where it lay",
        "Note the findspot to 100 m or better, and keep that note private.",
        sources=(_FINDSPOT,),
    ),
    Caution(
        "landowner",
        "Ask the landowner",
        "All land has an owner, and finds usually belong to them, not to the finder.",
        sources=(_CODE,),
    ),
)

AMMUNITION = Caution(
    "ammunition",
    "This may be ammunition",
    "If it could be a cartridge, shell, fuse or grenade: leave it where it is, do not touch or "
    "move it, keep people away and call the police or the emergency services. Do not carry it "
    "to a police station. Age does not make it safe.",
    urgent=True,
    sources=_POLICE,
)

PRECIOUS = Caution(
    "precious-metal",
    "May be gold or silver: ask about reporting",
    "What must be reported differs by country. In England and Wales an object at least 300 years "
    "old with 10% or more gold or silver has to be reported to the coroner, within 14 days; the "
    "finds officer helps. In Scotland every portable antiquity has to be reported, "
    f"whatever it is made of. {CHECK_CURRENT}",
    sources=(_TREASURE, _FOURTEEN, _SCOTLAND),
)

COINS = Caution(
    "coin-group",
    "More than one coin?",
    "Coins found together can fall under reporting law when a single one does not. Leave the rest "
    f"in place if you can, and ask before going on. {CHECK_CURRENT}",
    sources=(_TREASURE,),
)

MODERN = Caution(
    "modern-copy",
    "Could be modern",
    "Copies of this form are made and lost today. Crisp seams, machine threads, even colour and no "
    "corrosion all speak for a recent piece.",
    sources=(Source("General trade knowledge", "", "from memory"),),
)

LEAD = Caution(
    "lead",
    "Lead: gloves and clean hands",
    "Wear gloves, wash your hands, keep it away from food and children. Store it away from wood, "
    "card and vinegar smells, which eat into it.",
    sources=(_NOTES, Source("Storage of lead: conservation practice", "", "from memory")),
)

BY_KEY: dict[str, Caution] = {
    caution.key: caution for caution in (AMMUNITION, PRECIOUS, COINS, MODERN, LEAD)
}

LAW: tuple[Caution, ...] = (
    Caution(
        "law-england-wales",
        "England and Wales",
        "Some finds are treasure by law: among them gold and silver objects of 300 years or more, "
        "groups of coins, what lay with either and, for finds made since 30 July 2023, "
        "exceptionally important pieces of 200 years or more in any metal. They are reported to "
        "the coroner, within 14 days; a finds officer helps with that and records other "
        "finds too. Detecting in a protected place needs written consent first.",
        sources=(_TREASURE, _FOURTEEN, _IMPORTANT, _PROTECTED),
    ),
    Caution(
        "law-scotland",
        "Scotland",
        "There is no threshold of age or metal. Every portable antiquity must be reported to the "
        "office that deals with treasure trove, and the Crown may claim it.",
        sources=(_SCOTLAND,),
    ),
    Caution(
        "law-northern-ireland",
        "Northern Ireland",
        "Searching for archaeological objects can itself need a licence, and having a detector in "
        "a protected place without consent is an offence. Ask the heritage department or the "
        "museum's curators before you search, and report what you have found.",
        sources=(_NORTHERN_IRELAND, _TREASURE),
    ),
    Caution(
        "law-ireland",
        "Ireland",
        "Searching for archaeological objects with a detector without the Minister's consent is "
        "unlawful. A chance find is reported to the duty officer of the National Museum, within "
        "96 hours.",
        sources=(
            _IRELAND,
            Source("The 96 hours: a regional antiquarian's summary, 2020", "", "read"),
        ),
    ),
    Caution(
        "law-elsewhere",
        "Anywhere else",
        "Many countries restrict or forbid searching, and claim what is found. Ask the local "
        "heritage service or museum before you lift anything further.",
        sources=(Source("General trade knowledge", "", "from memory"),),
    ),
)

CARE: tuple[Caution, ...] = (
    Caution(
        "care-store",
        "Dry, boxed and labelled",
        "Let it dry indoors on plain white kitchen roll, not on a radiator. Then a rigid box or a "
        "pierced grip bag with a written label, and silica gel in an airtight box for the lot. No "
        "cotton wool, felt, velvet or foam rubber against the metal.",
        sources=(_NOTES,),
    ),
    Caution(
        "care-green",
        "Pale green powder",
        "Powdery pale green spots that come back after dusting are active corrosion. Keep the "
        "piece apart, keep it dry and show it to a conservator.",
        sources=(Source("Conservation practice", "", "from memory"),),
    ),
    Caution(
        "care-never",
        "What spoils a find",
        "Wire brushes, barrels, acids, oil, varnish, solder and bending it straight all destroy "
        "evidence that cannot be put back.",
        sources=(
            _NOTES,
            Source("Oil, varnish, solder, bending: conservation practice", "", "from memory"),
        ),
    ),
)


def for_keys(keys: Iterable[str]) -> tuple[Caution, ...]:
    """Cautions for the keys of a type's ``cautions`` column, urgent ones first.

    Unknown keys are passed over: a set made with a later version must still be readable.
    """
    wanted = set(keys)
    found = [caution for key, caution in BY_KEY.items() if key in wanted]
    return tuple(sorted(found, key=lambda caution: not caution.urgent))


def urgent_for(leads: Leads) -> tuple[Caution, ...]:
    """Urgent cautions to put above the leads themselves.

    Only for leads worth looking at, the first three or any that is not weak (where nothing is
    close, the nearest type only): a warning that stood over every find would soon be read by
    nobody. Each lead's card carries its own anyway.
    """
    first = 3 if leads.anything_close else 1
    keys = {
        key
        for lead in leads.leads
        if lead.rank <= first or lead.band != "weak lead"
        for key in lead.type.cautions
    }
    return tuple(caution for caution in for_keys(keys) if caution.urgent)


def for_find(
    find: object, country: str, *, type_cautions: Iterable[str] = (), count: int | None = None
) -> tuple[Caution, ...]:
    """What law and care say on one recorded find in one country, urgent ones first.

    See ``simsearch.law.triggers.triggers`` for what ``find`` may be, and for its errors.
    """
    found = triggers(find, country, type_cautions=type_cautions, count=count)
    return tuple(_from_law(caution) for caution in found)


def _from_law(caution: FindCaution) -> Caution:
    told = " ".join(_told(rule) for rule in caution.rules)
    # One source stands behind several lines of a caution; it is named once.
    sources = dict.fromkeys(
        Source(f"{rule.source}{f', {rule.known}' if rule.read_on else ''}", rule.url, rule.basis)
        for rule in caution.rules
    )
    text = f"Told because {caution.reason}. {told} {CHECK_CURRENT}"
    return Caution(caution.key, caution.title, text, caution.urgent, tuple(sources))


def _told(rule: Rule) -> str:
    return f"{rule.words} (To {rule.to_whom}: {rule.within}.)" if rule.within else rule.words
