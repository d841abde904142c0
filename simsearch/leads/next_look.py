"""What to look at next: the observation that is expected to separate the leads best.

For each thing that could still be observed, the information in bits that its answer is expected
to give about which of the leads in hand is right: the mutual information of answer and lead, with
the odds as they stand and the same likelihoods that ``refine`` uses. One bit halves the choice
between two even leads. Nothing is proposed that is known already or would tell next to nothing.

Besides what can be entered, the sentences of the set that tell two look-alikes apart are weighed:
the type that has the feature shows it in most cases, the other seldom, and for all other leads the
answer says nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simsearch.leads import traits
from simsearch.leads.likelihood import Choices, Sizes
from simsearch.leads.model import Leads
from simsearch.leads.observed import MATERIALS, Observed
from simsearch.leads.rules import GROUP_THICKNESS_MM, value
from simsearch.sets.types import Type

Doubles = NDArray[np.float64]

MOST = 4
LEAST_BITS = 0.02
"""Below this an answer is not worth turning the object over for."""
_WITHOUT_ODDS = 5
_SIZES_TRIED = 200
_TOLD = 3
_TOPICS = {
    "fixing": re.compile(r"\b(?:spr[iu]ng|hing|coil|chord)", re.IGNORECASE),
    "surface": re.compile(r"\b(?:enamel|gil[dt]|tinn|inla[iy]|plating)", re.IGNORECASE),
    "material": re.compile(r"\b(?:metal|silver|lead|copper|brass|bone)\b", re.IGNORECASE),
}
_WORD = re.compile(r"[a-z]{4,}")
_COMMON = re.compile(
    r"look|check|whether|that|this|with|from|have|where|there|which|their|they|than|then|count|"
    r"find|about|each|both|only|other|into|over|under|rather|between"
)


@dataclass(frozen=True)
class Suggestion:
    """Something to look at. ``observation`` names what it is about ("length", "fixing", ...;
    "feature" for a detail that tells two look-alikes apart), ``bits`` what it is expected to
    tell, ``why`` what it separates."""

    observation: str
    question: str
    bits: float
    why: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "observation": self.observation,
            "question": self.question,
            "bits": self.bits,
            "why": self.why,
        }


@dataclass(frozen=True, eq=False)
class _Hand:
    """The leads in hand: their types, odds among themselves, and rows in the set's types."""

    every: list[Type]
    kinds: list[Type]
    odds: Doubles
    rows: list[int]
    observed: Observed


def what_next(
    leads: Leads,
    types: Mapping[str, Type],
    observed: Observed | None = None,
    *,
    most: int = MOST,
) -> list[Suggestion]:
    """Return what to look at next, most telling first, at most ``most`` suggestions.

    ``types`` are those of the set; ``observed`` (default: that of the leads) is what is known.
    Without odds the first few leads count the same. Empty with fewer than two leads.
    """
    hand = _hand(leads, types, observed or leads.observed or Observed())
    if len(hand.kinds) < 2:
        return []
    found = [*_entries(hand), *_features(hand)]
    telling: dict[str, Suggestion] = {}
    for suggestion in sorted(found, key=lambda suggestion: -suggestion.bits):
        if suggestion.bits >= LEAST_BITS:  # one check may tell several look-alikes apart
            telling.setdefault(suggestion.question, suggestion)
    return list(telling.values())[:most]


def _hand(leads: Leads, types: Mapping[str, Type], observed: Observed) -> _Hand:
    chances = [lead.odds for lead in leads.leads]
    known = [chance for chance in chances if chance is not None]
    count = len(chances) if known else min(_WITHOUT_ODDS, len(chances))
    odds = np.array(known if known else np.ones(count))
    every = list(types.values())
    place = {kind.id: row for row, kind in enumerate(every)}
    kinds = [lead.type for lead in leads.leads[:count]]
    odds = odds / odds.sum() if count else odds
    return _Hand(every, kinds, odds, [place[kind.id] for kind in kinds], observed)


def entropy(shares: Doubles) -> float:
    """Return the entropy of shares that add up to one, in bits."""
    there = shares[shares > 0]
    return float(-(there * np.log2(there)).sum())


def information(odds: Doubles, answers: Doubles) -> float:
    """Return the bits that an answer is expected to tell: the mutual information.

    ``odds`` (leads,) add up to one; ``answers`` (leads, answers) are the chances of each answer
    for each lead, rows adding up to one.
    """
    overall = odds @ answers
    left = sum(float(chance) * entropy(row) for chance, row in zip(odds, answers, strict=True))
    return max(0.0, entropy(overall) - left)


def _entries(hand: _Hand) -> Iterator[Suggestion]:
    """What can be entered and has not been."""
    seen = hand.observed
    if seen.length_mm is None:
        yield _length(hand)
    if seen.fixing is None:
        asked = (
            "Look behind the head or at the back: coils of a spring, a bar for a hinge, or none?"
        )
        table = traits.fixings(hand.every, broken=seen.broken)
        yield _choice(hand, "fixing", asked, table, lambda kind: _fixing_words(kind))
    if seen.material is None:
        table = traits.materials(hand.every)
        named = [
            m for m in MATERIALS if any(m in traits.materials_of(k.material) for k in hand.kinds)
        ]
        asked = f"Look at a clean break, without scratching: {_listed(named)}?"
        yield _choice(hand, "material", asked, table, lambda kind: kind.material)
    if seen.surface is None:
        named = list(dict.fromkeys(t for kind in hand.kinds for t in traits.treatments_of(kind)))
        asked = f"Look at the hollows under a lens: is any of it {_listed(named)}?"
        table = traits.surfaces(hand.every)
        yield _choice(hand, "surface", asked, table, _surface_words)
    if seen.thickness_mm is None:
        asked = "Measure how thick it is at its thickest, in mm."
        bits = _size_bits(hand, traits.thicknesses(hand.every))
        why = _why(hand, lambda kind: _range_words(GROUP_THICKNESS_MM.get(kind.group), "mm"))
        yield Suggestion("thickness", asked, bits, why)
    if seen.weight_g is None and not seen.broken:
        bits = _size_bits(hand, traits.weights(hand.every))
        why = _why(hand, lambda kind: _range_words(traits.weight_range(kind), "g"))
        yield Suggestion("weight", "Weigh it, to a tenth of a gram.", bits, why)


def _choice(
    hand: _Hand, name: str, asked: str, table: Choices, fact: Callable[[Type], str]
) -> Suggestion:
    bits = information(hand.odds, table.mixed()[0][hand.rows])
    return Suggestion(name, asked, bits, _why(hand, fact))


def _length(hand: _Hand) -> Suggestion:
    sizes = traits.lengths(hand.every)
    why = _why(hand, lambda kind: _range_words(kind.length_mm, "mm"))
    if hand.observed.broken:
        asked = "Measure what is left at its longest, in mm: whole it was at least so long."
        return Suggestion("length", asked, _broken_bits(hand, sizes), why)
    asked = "Measure the longest straight distance across it, in mm."
    return Suggestion("length", asked, _size_bits(hand, sizes), why)


def _size_bits(hand: _Hand, sizes: Sizes) -> float:
    """Bits that measuring a whole object is expected to tell, on a fine grid of sizes."""
    known = sizes.known[hand.rows]
    if not known.any():
        return 0.0
    reach = 4 * max(value("other spread"), float(np.nanmax(sizes.spread)))
    low, high = float(np.nanmin(sizes.mean)) - reach, float(np.nanmax(sizes.mean)) + reach
    own, _ = sizes.densities(np.linspace(low, high, _SIZES_TRIED), 0.0)
    shares = own[hand.rows]
    return information(hand.odds, shares / shares.sum(axis=1, keepdims=True))


def _broken_bits(hand: _Hand, sizes: Sizes) -> float:
    """Bits that a lower bound is expected to tell: how much surer the odds would be.

    A fragment of each lead's middle length is measured in thought.
    """
    left = 0.0
    for chance, row in zip(hand.odds.tolist(), hand.rows, strict=True):
        after = hand.odds
        if sizes.known[row]:
            size = float(np.exp(sizes.mean[row])) * value("fragment of a whole")
            after = after * sizes.factors_between(size, 1e6, 0.0)[hand.rows]
        left += chance * entropy(after / after.sum())
    return max(0.0, entropy(hand.odds) - left)


def _features(hand: _Hand) -> Iterator[Suggestion]:
    """What tells two look-alikes among the leads apart, once for each two."""
    done: set[frozenset[str]] = set()
    place = {kind.id: number for number, kind in enumerate(hand.kinds)}
    for number, kind in enumerate(hand.kinds):
        for other in kind.look_alikes:
            pair = frozenset((kind.id, other.type_id))
            if other.type_id not in place or pair in done:
                continue
            if _known(other.separates, hand.observed):
                continue
            done.add(pair)
            two = hand.odds[[number, place[other.type_id]]]
            yield Suggestion(
                "feature",
                _question(kind, other.separates),
                _pair_bits(two),
                f"Tells {kind.name} from {hand.kinds[place[other.type_id]].name}: "
                f"{other.separates}",
            )


def _pair_bits(two: Doubles) -> float:
    """Bits of an answer that is about two leads only; their odds among all are ``two``."""
    together = float(two.sum())
    if together <= 0:
        return 0.0
    yes = np.array([value("answer as described"), value("answer against description")])
    return together * information(two / together, np.stack([yes, 1 - yes], axis=1))


def _known(text: str, observed: Observed) -> bool:
    """Whether what a sentence is about has been observed already."""
    return any(
        getattr(observed, name) is not None and topic.search(text)
        for name, topic in _TOPICS.items()
    )


def _question(kind: Type, separates: str) -> str:
    """Put a separating sentence as something to look at, in the words of a check if one fits."""
    wanted = _stems(separates)
    best = max(kind.checks, key=lambda check: len(_stems(check) & wanted), default="")
    if len(_stems(best) & wanted) >= 2:
        return f"{best.rstrip('.')}."
    return f"See whether this holds: {separates}"


def _stems(text: str) -> set[str]:
    return {word[:5] for word in _WORD.findall(text.casefold()) if not _COMMON.fullmatch(word)}


def _why(hand: _Hand, fact: Callable[[Type], str]) -> str:
    """Name the likeliest lead for each of the first few facts that differ."""
    told: dict[str, str] = {}
    for number in np.argsort(-hand.odds, kind="stable"):
        kind = hand.kinds[int(number)]
        told.setdefault(fact(kind), kind.name)
    return "; ".join(f"{name}: {words}" for words, name in list(told.items())[:_TOLD]) + "."


def _fixing_words(kind: Type) -> str:
    plain = {"none": "no pin", "other": "fixed in another way"}
    return plain.get(kind.pin_fixing, kind.pin_fixing)


def _surface_words(kind: Type) -> str:
    return ", ".join(traits.treatments_of(kind)) or "plain"


def _range_words(found: tuple[float, float] | None, unit: str) -> str:
    return "not known" if found is None else f"{found[0]:g} to {found[1]:g} {unit}"


def _listed(names: Sequence[str]) -> str:
    if len(names) < 2:
        return names[0] if names else "treated"
    return f"{', '.join(names[:-1])} or {names[-1]}"
