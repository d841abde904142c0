"""First aid by material: what keeps a find safe until a conservator has seen it."""

from __future__ import annotations

import re

from simsearch.law.table import ANY, MATERIALS, Rule, shipped

_WORDS = {
    "copper alloy": r"copper|bronze|brass|gunmetal|latten|enamell?ed",
    "iron": r"iron|steel",
    "silver": r"silver|silvered|billon|niello",
    "gold": r"gold|golden|gilt|gilded|gilding|electrum",
    # "Lead" is only ever read in a field for materials: elsewhere here it is a lead to verify.
    "lead": r"lead",
    "tin or pewter": r"tin|tinned|pewter|solder",
    "organic traces": r"organic|wood|wooden|leather|textile|bone|antler|ivory|horn|string|hair",
}
_PATTERNS = {name: re.compile(rf"\b(?:{words})\b", re.IGNORECASE) for name, words in _WORDS.items()}
_ABSENT = re.compile(r"\b(?:no|not|without)\s+(?:\w+\s+)?$", re.IGNORECASE)


def materials_in(words: str) -> tuple[str, ...]:
    """The materials that a text for a material names, in the order of ``MATERIALS``.

    "iron, no wood" is iron only.
    """
    return tuple(name for name in MATERIALS if name != ANY and _names(_PATTERNS[name], words))


def _names(pattern: re.Pattern[str], words: str) -> bool:
    return any(not _ABSENT.search(words[: hit.start()]) for hit in pattern.finditer(words))


def first_aid(material: str = "") -> tuple[Rule, ...]:
    """Lines for a material as it is written in a record; what holds for every find comes first.

    A material that is not known, or none, gets the lines for every find.
    """
    care = shipped().care
    lines = list(care[ANY])
    for name in materials_in(material):
        lines += care[name]
    return tuple(lines)
