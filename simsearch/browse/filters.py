"""Filters over types: period, date, material, form, fixing and words, with counts.

The tables say periods and materials in words, such as "Late Iron Age to early Roman" or "copper
alloy; sometimes silver". A few broad choices are read out of those words; what none of them fits
is offered as it is written, so that a club's own words can be chosen too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from simsearch.browse.search import Search, plain, search_types
from simsearch.errors import DateError
from simsearch.sets.dates import DateRange, astronomical_from_ad, astronomical_from_bc

if TYPE_CHECKING:
    from simsearch.sets.types import Type

_YEAR = re.compile(r"(?:(?P<before>AD|CE)\s*)?(?P<year>\d{1,4})\s*(?P<after>BCE?|AD|CE)?", re.I)
# Broad periods in order of time, and what is written for each. "Anglo-Saxon" and "Viking" are the
# early medieval period of Britain.
_PERIODS: tuple[tuple[str, str], ...] = (
    ("Stone Age", r"\b(?:stone age|\w*lithic)\b"),
    ("Bronze Age", r"\bbronze age\b"),
    ("Iron Age", r"\biron age\b"),
    ("Roman", r"\b(?:romano-british|roman)\b"),
    ("Early medieval", r"\b(?:early[- ]medieval|anglo-saxon|viking|saxon|migration)\b"),
    ("Medieval", r"(?<!early )(?<!early-)(?<!post-)(?<!post )\bmedieval\b"),
    ("Post-medieval", r"\bpost[- ]medieval\b"),
    ("Modern", r"\bmodern\b"),
)
_SPAN = re.compile(r"\bto\b|-|–")
_MATERIALS: tuple[tuple[str, str], ...] = (
    ("copper alloy", r"\b(?:copper|bronze|brass|gunmetal|latten)\b"),
    ("iron or steel", r"\b(?:iron|steel)\b"),
    ("silver", r"\bsilver\b(?!ed)"),
    ("gold or gilt", r"\b(?:gold|gilt|gilding)\b"),
    ("lead or tin alloy", r"\b(?:lead|tin|pewter)\b"),
    ("tinned", r"\btinned\b"),
    ("enamel", r"\benamel\w*"),
    ("bone or antler", r"\b(?:bone|antler)\b"),
    ("stone or clay", r"\b(?:stone|clay|shale|jet)\b"),
    ("glass", r"\bglass\b"),
)
FACETS = ("period", "form", "material", "fixing")


@dataclass(frozen=True)
class Wanted:
    """What is asked for. Within a facet any of the choices will do; all facets must fit.

    ``years`` is an inclusive span of astronomical years, an end ``None`` where it is open.
    """

    words: str = ""
    choices: Mapping[str, frozenset[str]] = field(default_factory=dict)
    years: tuple[int | None, int | None] = (None, None)

    @property
    def anything(self) -> bool:
        """Whether anything at all was asked for."""
        return bool(self.words.strip() or any(self.choices.values()) or self.years != (None, None))


@dataclass(frozen=True)
class Choice:
    """One choice of a facet; ``count`` is how many types it shows beside the other filters."""

    label: str
    count: int
    chosen: bool


@dataclass(frozen=True)
class Facet:
    """One way to filter, with its choices in a sensible order."""

    name: str
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class Filtered:
    """The types that fit, best first, how the words were understood, and the facets."""

    types: tuple[Type, ...]
    search: Search
    facets: tuple[Facet, ...]


def filter_types(types: Iterable[Type], wanted: Wanted) -> Filtered:
    """Apply ``wanted`` and count, for every choice, the types that it would show.

    A count leaves out what is chosen in its own facet, so that it says what adding it gives.
    """
    every = list(types)
    search = search_types(every, wanted.words)
    dated = [kind for kind in search.types if in_years(kind.dates, wanted.years)]
    shown = tuple(kind for kind in dated if _fits(kind, wanted))
    facets = tuple(_facet(name, every, dated, wanted) for name in FACETS)
    return Filtered(shown, search, tuple(facet for facet in facets if len(facet.choices) > 1))


def read_year(text: str) -> int | None:
    """Read "50 BC", "AD 60" or "60" as an astronomical year; ``None`` for an empty text.

    Raises ``DateError`` saying what to write.
    """
    cleaned = text.strip().replace(".", "")
    if not cleaned:
        return None
    parts = _YEAR.fullmatch(cleaned)
    if parts is None or (parts["before"] and parts["after"]):
        raise DateError(f"“{text.strip()[:40]}” is not a year.", hint="Write 50 BC, AD 60 or 1650.")
    before_christ = (parts["after"] or "").casefold().startswith("b")
    year = int(parts["year"])
    return astronomical_from_bc(year) if before_christ else astronomical_from_ad(year)


def read_years(first: str, last: str) -> tuple[int | None, int | None]:
    """Read a span of years, either end of which may be empty. Raises ``DateError``."""
    start, end = read_year(first), read_year(last)
    if start is not None and end is not None and start > end:
        raise DateError(
            f"{first.strip()} is later than {last.strip()}.", hint="Put the earlier year first."
        )
    return start, end


def in_years(dates: DateRange, years: tuple[int | None, int | None]) -> bool:
    """Whether a range shares at least one year with the span; "about" is not stretched."""
    start, end = years
    too_late = end is not None and dates.earliest is not None and dates.earliest > end
    too_early = start is not None and dates.latest is not None and dates.latest < start
    return not (too_late or too_early)


def periods_of(kind: Type) -> tuple[str, ...]:
    """The broad periods that a type's period speaks of, those between two ends too."""
    text = plain(kind.period)
    named = [place for place, (_, words) in enumerate(_PERIODS) if re.search(words, text)]
    if not named:
        return (kind.period,)
    # "Roman to post-medieval" covers what lies between.
    if len(named) > 1 and _SPAN.search(text):
        named = list(range(named[0], named[-1] + 1))
    return tuple(_PERIODS[place][0] for place in named)


def materials_of(kind: Type) -> tuple[str, ...]:
    """The materials that a type's material speaks of."""
    text = plain(kind.material)
    found = tuple(label for label, words in _MATERIALS if re.search(words, text))
    return found or (kind.material,)


_VALUES: Mapping[str, Callable[[Type], tuple[str, ...]]] = {
    "period": periods_of,
    "form": lambda kind: (kind.group,),
    "material": materials_of,
    "fixing": lambda kind: _fixings(kind),
}
_ORDER: Mapping[str, Sequence[str]] = {
    "period": [label for label, _ in _PERIODS],
    "material": [label for label, _ in _MATERIALS],
}


def _fixings(kind: Type) -> tuple[str, ...]:
    # Whoever looks for hinged forms wants those too that come either way.
    return tuple(part.strip() for part in kind.pin_fixing.split(" or "))


def _fits(kind: Type, wanted: Wanted) -> bool:
    return all(
        not chosen or chosen.intersection(_VALUES[name](kind))
        for name, chosen in wanted.choices.items()
        if name in _VALUES
    )


def _facet(name: str, every: Sequence[Type], dated: Sequence[Type], wanted: Wanted) -> Facet:
    others = {key: chosen for key, chosen in wanted.choices.items() if key != name}
    beside = replace(wanted, choices=others)
    counts: dict[str, int] = {label: 0 for kind in every for label in _VALUES[name](kind)}
    for kind in dated:
        if _fits(kind, beside):
            for label in _VALUES[name](kind):
                counts[label] += 1
    chosen = wanted.choices.get(name, frozenset())
    order = {label: place for place, label in enumerate(_ORDER.get(name, ()))}
    labels = sorted(counts, key=lambda label: order.get(label, len(order)))
    return Facet(name, tuple(Choice(label, counts[label], label in chosen) for label in labels))
