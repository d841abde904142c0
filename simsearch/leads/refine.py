"""What was observed on the object moves the odds that came from its photos.

The odds of every type are multiplied by one factor per observation (``likelihood``) and brought
back to a sum of one: Bayes' rule, with the observations taken as independent of each other and of
the photo. They are not quite (long things are heavy), which is one reason why each factor has a
floor; ``rules`` lists every number. Nothing becomes certain or impossible that was not so before.

The odds say which type it is *if* its type is in the set. Whether it is, the closeness, is moved
by the same rule: a find of no type here counts as usual in every respect, so observations that
fit no lead well make it likelier that the type is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from simsearch.leads import traits
from simsearch.leads.aoristic import share_between
from simsearch.leads.likelihood import Sizes
from simsearch.leads.observed import MATERIALS, Measure, Observed, Reason
from simsearch.leads.odds import softmax
from simsearch.leads.rules import GROUP_THICKNESS_MM, value
from simsearch.sets.types import Type

if TYPE_CHECKING:
    from simsearch.leads.model import Lead

Doubles = NDArray[np.float64]
SAYS_LITTLE = 1.2
"""A factor below this, and above one in this, is said to say little."""
REFINED_NOTE = (
    "Your observations then changed these odds by fixed rules that are mostly our judgement and "
    "were not measured on finds."
)
LIST_NOTE = "It rests on the photos alone; what you observed changes only its order."
_WHOLE = 1e6


@dataclass(frozen=True, eq=False)
class Weighed:
    """What observations say about types: ``factors`` (types,), the product over the
    observations, and the reasons behind them for each type."""

    factors: Doubles
    reasons: tuple[tuple[Reason, ...], ...]


@dataclass(frozen=True, eq=False)
class Refined:
    """Odds (types,) and closeness after the observations; ``None`` where there were none.

    ``order`` (types,) is what ranks the types, higher first.
    """

    order: Doubles
    odds: Doubles | None
    closeness: float | None
    weighed: Weighed


def refine(
    types: Sequence[Type],
    observed: Observed,
    *,
    sums: Doubles,
    odds: Doubles | None,
    closeness: float | None = None,
    today: int | None = None,
) -> Refined:
    """Refine the odds (types,) of one find, or, without odds, the ``sums`` that rank types.

    Without a calibration the sums are taken as logarithms of odds. Their weights are softer than
    any that were fitted, so observations then count for rather much; no odds are made from them.
    """
    weighed = weigh(types, observed, today)
    start = softmax(sums) if odds is None else odds
    moved = start * weighed.factors
    total = float(moved.sum())
    after = moved / total
    if odds is None:
        # In logarithms, so that types far down keep their order where odds would be 0.
        return Refined(sums + np.log(weighed.factors), None, closeness, weighed)
    return Refined(after, after, _closeness(closeness, total), weighed)


def _closeness(before: float | None, total: float) -> float | None:
    """A find of no type here has the factor 1; one of the set's types ``total`` on average."""
    return None if before is None else before * total / (before * total + 1 - before)


def weigh(types: Sequence[Type], observed: Observed, today: int | None = None) -> Weighed:
    """Return what the observations say about each type of a set (all of them, as usual)."""
    parts = [
        part
        for part in (
            _length(types, observed),
            _thickness(types, observed),
            _weight(types, observed),
            _material(types, observed),
            _fixing(types, observed),
            _surface(types, observed),
            _nearby(types, observed, today),
        )
        if part is not None
    ]
    factors = np.ones(len(types))
    for part in parts:
        factors = factors * np.array([reason.factor for reason in part])
    return Weighed(factors, tuple(tuple(part[row] for part in parts) for row in range(len(types))))


def notes_on(observed: Observed) -> tuple[str, ...]:
    """Say which observations move nothing by themselves, and why."""
    notes = []
    if observed.width_mm is not None and observed.length_mm is not None:
        notes.append("No type here has a known width, so the width moves nothing.")
    if observed.completeness is not None:
        does = "it says how to read measurements, weight and fixing"
        notes.append(f"How much is left moves nothing by itself; {does}.")
    return tuple(notes)


def verdict(factor: float) -> str:
    """Say in three words which way a factor points."""
    if factor >= SAYS_LITTLE:
        return "speaks for it"
    return "speaks against it" if factor <= 1 / SAYS_LITTLE else "says little"


def amount_words(odds: float) -> str:
    """Odds in [0, 1] in tenths; the ends keep clear of never and always."""
    if odds < 0.05:
        return "fewer than 1 in 20"
    if odds > 0.95:
        return "more than 19 in 20"
    return f"about {max(1, min(9, round(odds * 10)))} in 10"


def why_words(lead: Lead) -> str:
    """Say whether a lead rose or fell by the observations, and what moved it most."""
    if not lead.reasons:
        return ""
    if lead.odds is None or lead.before is None:
        return _because(max(lead.reasons, key=lambda reason: abs(np.log(reason.factor))))
    rose = lead.odds > lead.before
    pick = max if rose else min
    reason = pick(lead.reasons, key=lambda reason: reason.factor)
    if max(lead.odds, lead.before) < SAYS_LITTLE * min(lead.odds, lead.before):
        return f"Hardly moved by what you observed. {_because(reason)}"
    before, after = amount_words(lead.before), amount_words(lead.odds)
    went = "Rose" if rose else "Fell"
    went += f" from {before} to {after}." if before != after else "."
    if (reason.factor > 1) != rose:
        return f"{went} {'More speaks against the others' if rose else 'More speaks for others'}."
    return f"{went} {_because(reason)}"


def _because(reason: Reason) -> str:
    return f"{reason.words} This {verdict(reason.factor)}."


def _reasons(name: str, factors: Doubles, said: Sequence[str]) -> list[Reason]:
    return [Reason(name, float(f), words) for f, words in zip(factors, said, strict=True)]


def _span(mm: tuple[float, float]) -> str:
    return f"{mm[0]:g} to {mm[1]:g}"


def length_limits(observed: Observed) -> tuple[float, float, float] | None:
    """Return between what lengths the whole object was, with the relative error of that.

    ``None`` where the length was measured on a whole object or nothing is known of it. Without a
    length the width is the least that the longest distance can be.
    """
    measure = observed.length_mm or observed.width_mm
    if measure is None or (observed.length_mm is not None and measure.state == "whole"):
        return None
    error = measure.error_mm / measure.value
    if observed.length_mm is None:
        return measure.value, _WHOLE, error
    if observed.completeness == "half or more":
        return measure.value, value("half, at most") * measure.value, error + value("by eye")
    if observed.completeness == "less than half":
        least = value("less than half, at least") * measure.value
        return least, _WHOLE, error + value("by eye")
    return measure.value, _WHOLE, error


def _length(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    measure = observed.length_mm or observed.width_mm
    if measure is None:
        return None
    name = "length" if observed.length_mm else "width"
    sizes, limits = traits.lengths(types), length_limits(observed)
    if limits is None:
        factors = sizes.factors(measure.value, measure.error_mm)
    else:
        factors = sizes.factors_between(*limits)
    said = [
        _length_words(measure, kind, share, limits)
        for kind, share in zip(types, _share_below(sizes, measure, limits), strict=True)
    ]
    return _reasons(name, factors, said)


def _share_below(
    sizes: Sizes, measure: Measure, limits: tuple[float, float, float] | None
) -> list[float]:
    return sizes.tails(measure.value if limits is None else limits[0]).tolist()


def _length_words(
    measure: Measure, kind: Type, below: float, limits: tuple[float, float, float] | None
) -> str:
    if kind.length_mm is None:
        return "No length is known for this type, so the length does not move it."
    usual = f"this type is {_span(kind.length_mm)} mm"
    if limits is None:
        return f"Your find is {measure.value:g} mm; {usual}: {_against(below, 'long', 'short')}."
    if measure.state == "whole":
        piece = f"Your find is {measure.value:g} mm across"
    else:
        piece = f"Your find is broken and {measure.value:g} mm"
    if limits[1] < _WHOLE:
        piece += f", so it was some {limits[0]:.0f} to {limits[1]:.0f} mm"
    elif limits[0] > measure.value:
        piece += f", so it was {limits[0]:.0f} mm or more"
    fits = "a piece of one may well be so long"
    if below > 0.8:
        fits = f"{'almost none' if below > 0.95 else 'few'} of them are so long"
    elif limits[1] < 1.1 * kind.length_mm[0]:
        fits = "nearly all of them are longer"
    return f"{piece}; {usual} when whole: {fits}."


def _against(below: float, more: str, less: str) -> str:
    """Say where among a type's whole objects one with this share below it stands."""
    if 0.2 <= below <= 0.8:
        return f"a usual {'length' if more == 'long' else 'size'}"
    word = f"{more}er" if below > 0.5 else f"{less}er"
    outer = below > 0.95 or below < 0.05
    return f"{word} than {'almost all' if outer else 'most'} of them"


def _thickness(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    measure = observed.thickness_mm
    if measure is None:
        return None
    sizes = traits.thicknesses(types)
    if measure.state == "whole":
        factors = sizes.factors(measure.value, measure.error_mm)
    else:
        off = measure.error_mm / measure.value
        factors = sizes.factors_between(measure.value, _WHOLE, off)
    said = []
    for kind in types:
        mm = GROUP_THICKNESS_MM.get(kind.group)
        usual = f"of the group {kind.group} {_span(mm)} mm is usual" if mm else "none is known here"
        said.append(f"Your find is {measure.value:g} mm thick; {usual}.")
    return _reasons("thickness", factors, said)


def _weight(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    grams = observed.weight_g
    if grams is None:
        return None
    sizes = traits.weights(types)
    if observed.broken:
        factors = sizes.factors_between(grams, _WHOLE, 0.0)
        weighs = f"What is left of your find weighs {grams:g} g"
    else:
        factors = sizes.factors(grams, 0.0)
        weighs = f"Your find weighs {grams:g} g"
    said = []
    for kind in types:
        usual = traits.weight_range(kind)
        said.append(f"{weighs}; {f'{_span(usual)} g is usual' if usual else 'none is known here'}.")
    return _reasons("weight", factors, said)


def _material(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    seen = observed.material
    if seen is None:
        return None
    table = traits.materials(types)
    shares = table.shares[:, MATERIALS.index(seen)].tolist()
    said = [
        f"Your find is {seen}; this type is {kind.material}{_how_often(share)}."
        for kind, share in zip(types, shares, strict=True)
    ]
    return _reasons("material", table.factors(seen), said)


def _how_often(share: float) -> str:
    if np.isnan(share):
        return ", which is not weighed here"
    if share == 0:
        return ", and yours is not named"
    return "" if share >= 0.5 else ", of which yours is the rarer"


def _fixing(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    seen = observed.fixing
    if seen is None:
        return None
    table = traits.fixings(types, broken=observed.broken)
    saw = "You see no fixing for a pin" if seen == "none" else f"The pin was {seen}"
    told = {
        "none": "this type has no pin", "free pin": "this type's pin swings free",
        "other": "this type's pin was fixed in another way, so nothing follows",
    }  # fmt: skip
    said = [
        f"{saw}; {told.get(kind.pin_fixing, f'this type is {kind.pin_fixing}')}." for kind in types
    ]
    return _reasons("fixing", table.factors(seen), said)


def _surface(types: Sequence[Type], observed: Observed) -> list[Reason] | None:
    seen = observed.surface
    if seen is None:
        return None
    saw = "Nothing is seen on the surface" if seen == "none seen" else f"The surface is {seen}"
    said = []
    for kind in types:
        named = traits.treatments_of(kind)
        said.append(f"{saw}; this type is {f'{_either(named)}' if named else 'plain metal'}.")
    return _reasons("surface", traits.surfaces(types).factors(seen), said)


def _either(names: Sequence[str]) -> str:
    return f"sometimes {' or '.join(names)}"


def _nearby(types: Sequence[Type], observed: Observed, today: int | None) -> list[Reason] | None:
    dates = observed.nearby
    if dates is None:
        return None
    margin = value("nearby margin")
    first = -np.inf if dates.earliest is None else dates.earliest - margin
    last = np.inf if dates.latest is None else dates.latest + margin
    shares = np.array([share_between(kind.dates, first, last, today) for kind in types])
    counts = value("nearby counts")
    # Where hardly any type of the set is so old, those that are must not win by that alone.
    usual = max(float(shares.mean()), value("nearby, least usual"))
    factors = (1 - counts) + counts * shares / usual
    said = [
        f"Things nearby are {dates.words()}; {100 * share:.0f} in 100 of this type's years "
        f"({kind.dates.words()}) lie then."
        for kind, share in zip(types, shares.tolist(), strict=True)
    ]
    return _reasons("nearby", factors, said)
