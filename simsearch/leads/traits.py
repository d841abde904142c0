"""What a set's table of types says about materials, fixings, treatments and sizes.

The table is written for people. What can be weighed is read out of its words here, in one place;
where nothing is found, the type counts as unknown and no observation moves it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from simsearch.leads.likelihood import Choices, Sizes
from simsearch.leads.observed import FIXINGS, MATERIALS, SAME_MATERIAL, SURFACES
from simsearch.leads.rules import (
    FIXING,
    GROUP_THICKNESS_MM,
    GROUP_WEIGHT_G,
    TYPE_WEIGHT_G,
    value,
)
from simsearch.sets.types import Type

_PARTS = re.compile(r";|,|\bor\b|\band\b|\bwith\b|/")
# A part of the text that speaks of something other than what the object itself is made of.
_NOT_THE_BODY = re.compile(r"\b(pin|axis|spring|tinned|gilt|plated|inlay|enamel\w*|sheet)\b")
_WORDS = {**{name: name for name in MATERIALS}, **SAME_MATERIAL}
_TREATMENTS = {
    "tinned": re.compile(r"\btinn(?:ed|ing)\b"),
    "gilt": re.compile(r"\b(?:gilt|gild\w+)\b"),
    "silvered": re.compile(r"\b(?:silvered|plated|plating)\b"),
    "enamelled": re.compile(r"\benamel\w*"),
    "inlaid": re.compile(r"\b(?:niello|inlay|inlaid)\b"),
}


def lengths(types: Sequence[Type]) -> Sizes:
    """Lengths of whole objects, from the set's own table."""
    ranges = [kind.length_mm for kind in types]
    return Sizes.of(ranges, share=value("range share"), slip=value("slip"))


def thicknesses(types: Sequence[Type]) -> Sizes:
    """Usual thickness of the types' groups."""
    return _usual([GROUP_THICKNESS_MM.get(kind.group) for kind in types])


def weights(types: Sequence[Type]) -> Sizes:
    """Usual weight of the types or their groups."""
    return _usual([weight_range(kind) for kind in types])


def weight_range(kind: Type) -> tuple[float, float] | None:
    """Return the usual weight of a type in grams: its own where known, else its group's."""
    own = TYPE_WEIGHT_G.get(kind.id)
    return own[0] if own is not None else GROUP_WEIGHT_G.get(kind.group)


def materials(types: Sequence[Type]) -> Choices:
    """What the types are made of."""
    shares = np.full((len(types), len(MATERIALS)), np.nan)
    for row, kind in enumerate(types):
        named = materials_of(kind.material)
        if named:
            shares[row] = [named.get(name, 0.0) for name in MATERIALS]
    return Choices(MATERIALS, shares, value("material misjudged"))


def materials_of(text: str) -> dict[str, float]:
    """Read the words of a type's material as shares that add up to one.

    "copper alloy; sometimes silver" is mostly the first. Materials of the pin, of plating and of
    inlay are left out. Empty where no known material is named.
    """
    found: dict[str, float] = {}
    for part in _PARTS.split(text.casefold()):
        if _NOT_THE_BODY.search(part):
            continue
        weight = value("rarely") if "rarely" in part else 1.0
        weight = value("sometimes") if "sometimes" in part else weight
        names = [n for n in _WORDS if re.search(rf"\b{re.escape(n)}\b", part)]
        # "tin alloy" also holds "tin", and "poor silver alloy" no other: the longest counts.
        if names:
            name = _WORDS[max(names, key=len)]
            found[name] = max(found.get(name, 0.0), weight)
    total = sum(found.values())
    return {name: weight / total for name, weight in found.items()}


def fixings(types: Sequence[Type], *, broken: bool) -> Choices:
    """What is seen as the pin's fixing; on broken objects it is often lost."""
    gone = value("fixing broken away") if broken else 0.0
    shares = np.full((len(types), len(FIXINGS)), np.nan)
    for row, kind in enumerate(types):
        seen = FIXING.get(kind.pin_fixing)
        if seen is not None:
            shares[row] = [(1 - gone) * seen[name] + gone * (name == "none") for name in FIXINGS]
    return Choices(FIXINGS, shares, value("fixing misjudged"))


def surfaces(types: Sequence[Type]) -> Choices:
    """Which treatment can be seen on the types' surfaces."""
    shares = np.full((len(types), len(SURFACES)), np.nan)
    seen, elsewhere = value("treatment seen"), value("treatment elsewhere")
    for row, kind in enumerate(types):
        named = treatments_of(kind)
        each = [seen / len(named) if name in named else elsewhere for name in SURFACES[:-1]]
        shares[row] = [*each, 1.0 - sum(each)]
    return Choices(SURFACES, shares, value("treatment misjudged"))


def treatments_of(kind: Type) -> tuple[str, ...]:
    """Return the treatments that the words of a type name."""
    text = " ".join([kind.material, *kind.features.values()]).casefold()
    return tuple(name for name, pattern in _TREATMENTS.items() if pattern.search(text))


def _usual(ranges: Sequence[tuple[float, float] | None]) -> Sizes:
    return Sizes.of(ranges, share=value("usual sizes share"), slip=value("slip of usual sizes"))
