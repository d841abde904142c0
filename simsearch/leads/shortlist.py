"""A list of types that holds the right one in a promised share of cases.

Types are taken in order of odds as long as the odds of the likelier ones, taken together, stay
within a limit. The limit is set on finds of known type: for each of them, the odds of all types
likelier than the true one are added up, and the promised share of these sums is at or below the
limit. This is split conformal prediction with adaptive sets (Romano, Sesia and Candes 2020, arXiv
2006.02544) without randomness. The true type's own odds are left out of its sum (their U = 0):
that way the likeliest type is always on the list by the rule itself, and a find that is surely
and rightly placed does not drive the limit up. The same find always gives the same list. Where
more first leads are right than promised, the list is the first lead alone and holds more often
than promised.

If the next find is drawn like those the limit was set on, the right type is in the list at least
in the promised share of cases, on average over all such finds. Nothing is promised for one kind of
find by itself, and nothing for finds that are photographed or broken otherwise. With n finds the
share reached varies as a beta law (Vovk 2012, arXiv 1209.2673): for n = 100 and a promise of 90 in
100 it lies between 85 and 94 nine times in ten.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

Doubles = NDArray[np.float64]

LEVELS = (0.8, 0.9, 0.95)
SHOWN = 0.9
"""The promise of the list that leads carry."""


def odds_before(odds: ArrayLike) -> Doubles:
    """Return for every type the odds of all likelier types, added up: (..., types).

    Of equal odds the first in the order of types counts as likelier.
    """
    table = np.asarray(odds, np.float64)
    order = np.argsort(-table, axis=-1, kind="stable")
    totals = np.take_along_axis(table, order, axis=-1).cumsum(axis=-1)
    totals = np.concatenate([np.zeros_like(totals[..., :1]), totals[..., :-1]], axis=-1)
    before = np.empty_like(table)
    np.put_along_axis(before, order, totals, axis=-1)
    return before


def limit_for(sums: ArrayLike, level: float, objects: ArrayLike | None = None) -> float:
    """Return the limit that keeps the promise ``level`` (0..1) for one more find.

    ``sums`` (n,) are ``odds_before`` of the true types. For one more find the rank has to be
    that among n + 1, hence the ceiling of (n + 1) * level. Where ``objects`` (n,) names the
    object of each photo, n counts objects, and each object counts once, by the mean share of
    its photos. Too few finds for a promise give a limit of infinity: the list is all types.
    Raises ``ValueError`` for no finds or a level that is no share.
    """
    values = np.asarray(sums, np.float64)
    if values.ndim != 1 or not values.size or not 0 < level < 1:
        raise ValueError(f"no limit for {values.shape} finds and a promise of {level}")
    names = np.arange(values.size) if objects is None else np.asarray(objects)
    _, number, counts = np.unique(names, return_inverse=True, return_counts=True)
    weights = 1.0 / counts[number]
    needed = math.ceil(round((len(counts) + 1) * level, 9))
    if needed > len(counts):
        return math.inf
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, needed - 1e-9)])


def fit_limits(
    odds: ArrayLike, truth: ArrayLike, objects: ArrayLike | None = None
) -> dict[float, float]:
    """Return the limit for each of ``LEVELS``, from odds (n, types) and true types (n,).

    The odds must come from a model fitted without these finds. Levels that the number of finds
    cannot support are left out.
    """
    types = np.asarray(truth, np.int64)
    sums = odds_before(odds)[np.arange(len(types)), types]
    limits = {level: limit_for(sums, level, objects) for level in LEVELS}
    return {level: limit for level, limit in limits.items() if math.isfinite(limit)}


def in_list(odds: ArrayLike, limit: float) -> NDArray[np.bool_]:
    """Return which types are on the list: (..., types). The likeliest type always is."""
    listed: NDArray[np.bool_] = odds_before(odds) <= max(limit, 0.0)
    return listed


def promise(limits: Mapping[float, float], level: float = SHOWN) -> str:
    """Return what the list promises, in words; an empty string without such a limit."""
    if level not in limits:
        return ""
    share = {0.8: "8 of 10", 0.9: "9 of 10", 0.95: "19 of 20"}.get(level, f"{100 * level:g} in 100")
    return f"For {share} finds like those measured, the right type was in this list."
