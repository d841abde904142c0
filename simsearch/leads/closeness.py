"""Judging whether anything in a set is close to a find at all.

Odds say which type is likeliest *if* the find's type is in the set. Whether it is, is judged here,
by a logistic curve over a few numbers: how near the nearest type is, how far it stands out from
the second, how near the fifth and how near all types are on average (a find near to everything
stands out for nothing), how even the odds are, and how far any type stands above what finds of
other types usually get from it (a plain disc is near to everything that is round). The curve is
fitted on finds whose own type is in the set, and on the same finds with their type, or the whole
group of their type, taken out.

The two kinds of finds count the same however many there are, so the answer does not depend on
how many finds of missing types happened to be measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simsearch.leads.odds import Counts, Odds
from simsearch.leads.shortlist import limit_for

Doubles = NDArray[np.float64]

FALSE_REJECT = 0.05
"""Share of finds of known type that may be called far, which sets the threshold."""
_NEAREST = 5
_RIDGE = 3e-3


@dataclass(frozen=True)
class Usual:
    """The weighted sums that each type usually gives to finds of other types, and their spread."""

    mean: tuple[float, ...]
    spread: tuple[float, ...]


@dataclass(frozen=True)
class Closeness:
    """A constant, a weight for each of ``inputs_of``, and the value from which a find is close."""

    weights: tuple[float, ...]
    threshold: float
    usual: Usual

    def of(self, odds: Odds, features: ArrayLike) -> Doubles:
        """Return how likely (0..1) the type is in the set, for finds (n, types, F): (n,).

        Likely if as many finds have their type in the set as have not.
        """
        inputs = inputs_of(odds, np.asarray(features, np.float64), self.usual)
        return _logistic(_with_constant(inputs) @ np.array(self.weights))


def usual_sums(odds: Odds, features: Doubles, truth: Counts) -> Usual:
    """Measure what types give to finds of other types: features (n, types, F), truth (n,)."""
    sums = odds.sums(features)
    sums[np.arange(len(truth)), truth] = np.nan
    # A type that only finds of its own were measured for has no usual value; 0 will do for it.
    sums[:, np.isnan(sums).all(axis=0)] = 0.0
    mean, spread = np.nanmean(sums, axis=0), np.nanstd(sums, axis=0)
    wide = np.where(spread > 1e-6, spread, 1.0)
    return Usual(tuple(mean.tolist()), tuple(wide.tolist()))


def inputs_of(odds: Odds, features: Doubles, usual: Usual) -> Doubles:
    """Return the numbers judged by (n, k), from features (n, types, F).

    For the weighted sum and for each column: best and its margin over the second. For the
    weighted sum also: mean of the five best, mean and spread over all types, the evenness of
    the odds (their entropy), and the farthest above the usual, in spreads. Types at -inf are
    not there.
    """
    sums = odds.sums(features)
    there = ~np.isneginf(sums)
    shown = np.where(there, sums, np.nan)
    chances = odds.odds(features)
    entropy = -np.sum(chances * np.log(np.maximum(chances, 1e-12)), axis=1)
    parts = [*_best_and_margin(sums), _mean_of_best(sums), np.nanmean(shown, axis=1)]
    unusual = (sums - np.array(usual.mean)) / np.array(usual.spread)
    parts += [np.nanstd(shown, axis=1), entropy, unusual.max(axis=1)]
    if features.shape[2] > 1:  # with one column the sum says it all
        for column in range(features.shape[2]):
            parts += _best_and_margin(features[:, :, column])
    return np.stack(parts, axis=1)


def _best_and_margin(values: Doubles) -> list[Doubles]:
    ordered = -np.sort(-values, axis=1)
    second = ordered[:, min(1, ordered.shape[1] - 1)]
    return [ordered[:, 0], ordered[:, 0] - np.where(np.isneginf(second), ordered[:, 0], second)]


def _mean_of_best(values: Doubles) -> Doubles:
    nearest = -np.sort(-values, axis=1)[:, :_NEAREST]
    mean: Doubles = np.nanmean(np.where(np.isneginf(nearest), np.nan, nearest), axis=1)
    return mean


def fit_closeness(
    near: Doubles, far: Doubles, weights_of_far: Doubles | None = None
) -> tuple[float, ...]:
    """Fit the curve on inputs of finds whose type is there (n, k) and is not (m, k).

    ``weights_of_far`` (m,) says how much each far find counts among the far ones (default: all
    the same). Returns the constant and one weight per input.
    """
    share = np.ones(len(far)) if weights_of_far is None else weights_of_far
    counts = np.concatenate([np.full(len(near), 0.5 / len(near)), 0.5 * share / share.sum()])
    answers = np.concatenate([np.ones(len(near)), np.zeros(len(far))])
    fitted = fit_logistic(np.concatenate([near, far]), answers, counts)
    return tuple(float(weight) for weight in fitted)


def threshold_for(
    closeness: Doubles, share: float = FALSE_REJECT, objects: ArrayLike | None = None
) -> float:
    """Return the value that ``share`` of the finds of known type may fall below.

    ``objects`` (n,) names the object of each find; each counts once. Set as the limit of a list
    is, so that it holds for one more find.
    """
    if not 0 < share < 1:
        raise ValueError(f"the share of finds to reject is {share}, not between 0 and 1")
    limit = limit_for(-closeness, 1 - share, objects)
    return float(max(-limit, closeness.min()))


def area_under_curve(near: ArrayLike, far: ArrayLike) -> float:
    """Return how often a find of known type is judged closer than one of a missing type.

    The area under the ROC curve by ranks (Mann and Whitney); ties count one half.
    """
    low, high = np.sort(np.asarray(far, np.float64)), np.asarray(near, np.float64)
    below = np.searchsorted(low, high, "left") + np.searchsorted(low, high, "right")
    return float(below.mean() / (2 * len(low)))


def fit_logistic(features: Doubles, answers: Doubles, counts: Doubles | None = None) -> Doubles:
    """Fit a logistic curve by Newton's method; features (n, f), answers 0 or 1 (n,).

    ``counts`` (n,) is how much each row counts, summing to one (default: all the same).
    Returns (1 + f,): the constant, then one weight per feature, in the features' own units.
    """
    mass = np.full(len(answers), 1.0 / len(answers)) if counts is None else counts
    centre = mass @ features
    spread = np.sqrt(mass @ (features - centre) ** 2)
    spread = np.where(spread > 1e-12, spread, 1.0)
    design = _with_constant((features - centre) / spread)
    penalty = np.diag([0.0] + [_RIDGE] * features.shape[1])
    rate = float(np.clip(mass @ answers, 1e-6, 1 - 1e-6))
    weights = np.zeros(design.shape[1])
    weights[0] = math.log(rate / (1 - rate))
    for _ in range(100):
        chance = _logistic(design @ weights)
        slope = design.T @ (mass * (answers - chance)) - penalty @ weights
        curve = (design * (mass * chance * (1 - chance))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve + 1e-12 * np.eye(len(curve)), slope)
        # A long first step from far off can overshoot; the curve is gentle, so short ones do.
        step *= min(1.0, 4.0 / max(float(np.abs(step).max()), 1e-12))
        weights = weights + step
        if np.abs(step).max() < 1e-10:
            break
    slopes = weights[1:] / spread
    return np.concatenate([[weights[0] - float(slopes @ centre)], slopes])


def _with_constant(features: Doubles) -> Doubles:
    return np.concatenate([np.ones((len(features), 1)), features], axis=1)


def _logistic(values: Doubles) -> Doubles:
    result: Doubles = 0.5 * (1.0 + np.tanh(0.5 * values))  # the same curve, without overflow
    return result
