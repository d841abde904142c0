"""Which law and care matters for one find, from what is recorded about it, each with its reason.

Words in notes are a coarse sign: a caution too many costs a glance, one too few can cost a hand,
a grave or a hoard. So the reason quotes what set a caution off, and whoever reads it can judge.
Only ammunition pays no heed to "no" or "not" in front of a word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from simsearch.law.countries import country_id, rules
from simsearch.law.first_aid import first_aid, materials_in
from simsearch.law.table import COUNTRIES, Rule

_EVERY_FIND = ("scotland", "northern-ireland", "ireland")
"""Where every archaeological object has to be reported, whatever it is."""
_SIGNIFICANCE = ("england", "wales")
_TEXTS = (
    "title", "object_name", "description", "notes", "note", "nearby", "surface", "leads_note",
    "checked", "unknowns",
)  # fmt: skip
_TITLES = {
    "ammunition": "This may be ammunition",
    "human-remains": "Human remains?",
    "precious-metal": "Gold or silver: ask about reporting",
    "several-objects": "Several objects together",
    "prehistoric-base-metal": "Prehistoric metal in a group",
    "significance": "Out of the ordinary: ask",
    "report-every-find": "Every find is reported here",
    "lead": "Lead: gloves and clean hands",
    "organic-traces": "Wood, leather, textile or bone on the metal",
}
_TOPIC = {
    "ammunition": "ammunition",
    "human-remains": "human remains",
    "precious-metal": "precious metal",
    "several-objects": "several objects",
    "prehistoric-base-metal": "prehistoric base metal",
    "significance": "significance",
    "report-every-find": "reporting",
}
_CARE = {"lead": "lead", "organic-traces": "organic traces"}
_URGENT = ("ammunition", "human-remains")
_WORDS = {
    "ammunition": r"ammunition|munitions?|cartridges?|live rounds?|shell ?cases?|casings?|"
    r"artillery|mortars?|grenades?|fuzes?|fuses?|detonators?|bombs?|landmines?|mines?|"
    r"explosives?|unexploded|ordnance|warheads?|cannon ?balls?|bullets?|projectiles?",
    "human-remains": r"human (?:remains|bones?|teeth|skulls?)|skeletons?|skulls?|bones|burials?|"
    r"graves?|coffins?|cremat\w+|inhumations?|urn",
    "precious-metal": r"gold|golden|silver|silvered|gilt|gilded|gilding|electrum|billon|niello",
    "several-objects": r"hoards?|found together|found with|caches?|purses?|groups? of|pot of|"
    r"several (?:objects|pieces|finds)|coins",
    "significance": r"unique|unparalleled|no (?:known )?parallels?|exceptional\w*|very rare|"
    r"royal|inscri\w+|figurines?|statuettes?|helmets?|battlefield|battle",
    "lead": r"made of lead|lead (?:shot|balls?|weights?|seals?|tokens?|alloy|bullae?)|pewter",
    "organic-traces": r"wooden|mineralised wood|leather|textiles?|cloth|organic",
}
_PATTERNS = {key: re.compile(rf"\b(?:{words})\b", re.IGNORECASE) for key, words in _WORDS.items()}
_ABSENT = re.compile(r"\b(?:no|not|without|nor|isn't)\s+(?:\w+\s+)?$", re.IGNORECASE)
_PREHISTORIC = re.compile(
    r"\b(?:prehistoric|mesolithic|neolithic|chalcolithic|bronze age|iron age|la t[eè]ne|"
    r"hallstatt)\b",
    re.IGNORECASE,
)
_TYPE_CAUTIONS = {
    "precious-metal": "precious-metal",
    "coin-group": "several-objects",
    "ammunition": "ammunition",
    "lead": "lead",
}


@dataclass(frozen=True)
class FindCaution:
    """A caution for one find: ``reason`` says what set it off, ``rules`` what holds here."""

    key: str
    title: str
    reason: str
    rules: tuple[Rule, ...]
    urgent: bool = False


def triggers(
    find: Mapping[str, Any] | object,
    country: str = "other",
    *,
    type_cautions: Iterable[str] = (),
    count: int | None = None,
) -> tuple[FindCaution, ...]:
    """The cautions that a find's fields call for, urgent ones first.

    ``find`` is a mapping or an object with fields such as a finds register keeps: material,
    period, object_name, title, description, notes, nearby and so on; what is missing counts as
    empty. ``type_cautions`` is the cautions column of its type lead, ``count`` how many objects
    lay together. Raises ``LawError`` for an unknown country.
    """
    here = country_id(country)
    reasons: dict[str, str] = {}
    _from_type(type_cautions, reasons)
    _from_material(_text(find, "material"), reasons)
    _from_count(count if count is not None else _value(find, "count"), reasons)
    for key, pattern in _PATTERNS.items():
        if key not in reasons and (said := _said(find, key, pattern)):
            reasons[key] = said
    _from_period(_text(find, "period"), reasons)
    if here not in _SIGNIFICANCE:
        reasons.pop("significance", None)
    if here in _EVERY_FIND:
        reasons["report-every-find"] = f"the country chosen is {COUNTRIES[here]}"
    return tuple(_caution(key, reasons[key], here) for key in _TITLES if key in reasons)


def _caution(key: str, reason: str, country: str) -> FindCaution:
    if key in _TOPIC:
        lines = rules(country, [_TOPIC[key]])
    else:
        lines = tuple(line for line in first_aid(_CARE[key]) if line.topic == _CARE[key])
    return FindCaution(key, _TITLES[key], reason, lines, key in _URGENT)


def _from_type(type_cautions: Iterable[str], reasons: dict[str, str]) -> None:
    for caution in type_cautions:
        key = _TYPE_CAUTIONS.get(caution)
        if key is not None:
            reasons[key] = f"its type lead carries the caution '{caution}'"


def _from_material(material: str, reasons: dict[str, str]) -> None:
    keys = {
        "silver": "precious-metal",
        "gold": "precious-metal",
        "lead": "lead",
        "tin or pewter": "lead",
        "organic traces": "organic-traces",
    }
    for name in materials_in(material):
        if name in keys:
            reasons.setdefault(keys[name], f"the material is given as '{material}'")


def _from_count(count: object, reasons: dict[str, str]) -> None:
    if isinstance(count, int) and not isinstance(count, bool) and count > 1:
        reasons["several-objects"] = f"{count} objects lay together"


def _from_period(period: str, reasons: dict[str, str]) -> None:
    together = reasons.get("several-objects")
    if together and _PREHISTORIC.search(period):
        reasons["prehistoric-base-metal"] = f"the period is given as '{period}', and {together}"


def _said(find: Mapping[str, Any] | object, key: str, pattern: re.Pattern[str]) -> str:
    for field in _TEXTS:
        text = _text(find, field)
        for hit in pattern.finditer(text):
            if key == "ammunition" or not _ABSENT.search(text[: hit.start()]):
                return f"'{hit.group()}' stands in its {field.replace('_', ' ')}"
    return ""


def _text(find: Mapping[str, Any] | object, field: str) -> str:
    value = _value(find, field)
    if isinstance(value, (list, tuple)):
        return "; ".join(str(item) for item in value)
    return value if isinstance(value, str) else ""


def _value(find: Mapping[str, Any] | object, field: str) -> object:
    return find.get(field) if isinstance(find, Mapping) else getattr(find, field, None)
