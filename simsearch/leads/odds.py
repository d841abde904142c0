"""Odds of types from their features: a conditional logit with two corrections.

The odds of a type are a softmax over all types of a weighted sum of the type's features
(McFadden 1974, "Conditional logit analysis of qualitative choice behavior"). With one feature that
is temperature scaling (Guo et al. 2017, arXiv 1706.04599). On held-out renders two things were
missing, and each has its parameters here:

- **Sharpening.** A find that looks like nothing much deserves flatter odds than one that looks
  exactly like something. The whole sum is multiplied by ``exp(g . x)``, where x holds the find's
  best value in each column, in spreads from the mean, and the logarithm of the number of photos.
  That leaves the order of the types alone.
- **Stray finds.** Now and then a photo shows next to nothing of its type, and its own type is no
  likelier than any other. A softmax has to flatten the odds of *all* finds to allow for those; a
  share ``stray`` spread evenly over the types allows for them alone.

Weights are 0 or more, since no feature may speak against the type that it is high for. All
parameters together are those that make the true types likeliest, under priors wide enough to
matter only when there are few finds. They are found by Fisher scoring from a fixed start: the
same finds always give the same odds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Doubles = NDArray[np.float64]
Counts = NDArray[np.int64]

_WEIGHT_PRIOR = 20.0  # standard deviation of a weight, per spread of its feature over types
_SHARPEN_PRIOR = 0.5
_STRAY_PRIOR = (-3.0, 1.5)  # mean and deviation of the log-odds of a stray find
_ROUNDS = 200


@dataclass(frozen=True)
class Odds:
    """A fitted model of odds. Tuples have one entry per column of the features.

    ``sharpen`` has one more entry, for the number of photos. ``centre`` and ``spread`` put a
    find's best value of each column into the units that ``sharpen`` is in.
    """

    weights: tuple[float, ...]
    sharpen: tuple[float, ...]
    centre: tuple[float, ...]
    spread: tuple[float, ...]
    stray: float

    def sums(self, features: ArrayLike) -> Doubles:
        """Return the weighted sum that ranks the types, (..., types) of (..., types, F)."""
        table = np.asarray(features, np.float64)
        if table.shape[-1] != len(self.weights):
            raise ValueError(f"{table.shape[-1]} columns of features, {len(self.weights)} weights")
        return _sums(table, np.array(self.weights))

    def odds(self, features: ArrayLike, photos: ArrayLike = 1) -> Doubles:
        """Return odds (..., types) that sum to one, from features (..., types, F).

        ``photos`` (...) is how many photos of each find the features were combined from. A type
        whose features are -inf is not there and gets 0.
        """
        table = np.asarray(features, np.float64)
        sharpness = np.exp(_covariates(table, photos, self.centre, self.spread) @ self.sharpen)
        soft = softmax(self.sums(table) * sharpness[..., None])
        there = ~np.isneginf(table[..., 0])
        even = there / there.sum(axis=-1, keepdims=True)
        mixed: Doubles = (1 - self.stray) * soft + self.stray * even
        return mixed


def softmax(scores: Doubles) -> Doubles:
    """Return exp(scores) scaled to sum to one along the last axis, without overflow."""
    shifted = np.exp(scores - scores.max(axis=-1, keepdims=True))
    result: Doubles = shifted / shifted.sum(axis=-1, keepdims=True)
    return result


def fit_odds(features: ArrayLike, truth: ArrayLike, photos: ArrayLike = 1) -> Odds:
    """Fit on finds of known type: features (n, types, F), truth (n,) positions of their types.

    ``photos`` (n,) or one number: how many photos each find's features were combined from.
    Raises ``ValueError`` for shapes that do not fit, numbers that are not finite, or no finds.
    """
    table, types = checked(features, truth)
    if not len(types):
        raise ValueError("there are no finds to fit odds on")
    best = table.max(axis=1)
    centre = best.mean(axis=0)
    spread = np.where(best.std(axis=0) > 1e-9, best.std(axis=0), 1.0)
    covariates = _covariates(table, np.broadcast_to(photos, types.shape), centre, spread)
    task = _Task(table, types, covariates)
    fitted = _fisher_scoring(task.start(), task.slopes, task.surprise, table.shape[2])
    columns = table.shape[2]
    return Odds(
        weights=_floats(fitted[:columns]),
        sharpen=_floats(fitted[columns:-1]),
        centre=_floats(centre),
        spread=_floats(spread),
        stray=_logistic(float(fitted[-1])),
    )


def checked(features: ArrayLike, truth: ArrayLike) -> tuple[Doubles, Counts]:
    """Return features (n, types, F) and truth (n,) as arrays; ``ValueError`` if they misfit."""
    table, types = np.asarray(features, np.float64), np.asarray(truth, np.int64)
    if table.ndim != 3 or types.shape != (len(table),) or 0 in table.shape[1:]:
        raise ValueError(f"features {table.shape} and types {types.shape}: need (n, t, f), (n,)")
    if not np.all(np.isfinite(table)):
        raise ValueError("a feature is not finite")
    if types.size and (types.min() < 0 or types.max() >= table.shape[1]):
        raise ValueError("a type's position lies outside the features")
    return table, types


class _Task:
    """The surprise that a vector of parameters (weights, sharpen, log-odds of stray) leaves."""

    def __init__(self, table: Doubles, types: Counts, covariates: Doubles) -> None:
        self._table, self._types, self._covariates = table, types, covariates
        self._rows, self._columns = np.arange(len(types)), table.shape[2]
        scale = np.maximum(table.std(axis=1).mean(axis=0), 1e-9)
        count = covariates.shape[1]
        mean, deviation = _STRAY_PRIOR
        self._mean = np.concatenate([np.zeros(self._columns + count), [mean]])
        self._precision = np.concatenate(
            [(scale / _WEIGHT_PRIOR) ** 2, np.full(count, _SHARPEN_PRIOR**-2), [deviation**-2]]
        ) / len(types)
        self._scale = scale

    def start(self) -> Doubles:
        """Weights that make every column count about alike, no sharpening, few stray finds."""
        start = self._mean.copy()
        start[: self._columns] = 2.0 / (self._scale * self._columns)
        return start

    def _parts(self, theta: Doubles) -> tuple[Doubles, Doubles, float, Doubles]:
        """Sharpened sums, their softmax, the stray share, and the odds."""
        sharpness = np.exp(self._covariates @ theta[self._columns : -1])
        sums = (self._table @ theta[: self._columns]) * sharpness[:, None]
        soft = softmax(sums)
        stray = _logistic(float(theta[-1]))
        return sums, soft, stray, (1 - stray) * soft + stray / soft.shape[1]

    def surprise(self, theta: Doubles) -> float:
        """Mean negative log of the true type's odds, plus the priors."""
        odds = self._parts(theta)[3]
        away = theta - self._mean
        prior = 0.5 * float(self._precision @ (away * away))
        return prior - float(np.log(odds[self._rows, self._types]).mean())

    def slopes(self, theta: Doubles) -> tuple[Doubles, Doubles]:
        """Gradient (k,) of the surprise and its expected curvature (k, k)."""
        sums, soft, stray, odds = self._parts(theta)
        sharpness = np.exp(self._covariates @ theta[self._columns : -1])
        # How the logarithm of the softmax changes: each input less its mean over the types.
        by_weight = self._table * sharpness[:, None, None]
        by_weight = by_weight - np.einsum("nt,ntf->nf", soft, by_weight)[:, None]
        by_sharpen = sums - (soft * sums).sum(axis=1, keepdims=True)
        moves = np.concatenate(
            [by_weight, by_sharpen[:, :, None] * self._covariates[:, None, :]], axis=2
        )
        share = (1 - stray) * soft / odds
        by_stray = stray * (1 - stray) * (1 / soft.shape[1] - soft) / odds
        moves = np.concatenate([moves * share[:, :, None], by_stray[:, :, None]], axis=2)
        gradient = self._precision * (theta - self._mean)
        gradient = gradient - moves[self._rows, self._types].mean(axis=0)
        curve = np.einsum("nt,ntk,ntl->kl", odds, moves, moves, optimize=True) / len(soft)
        return gradient, curve + np.diag(self._precision)


def _fisher_scoring(
    theta: Doubles,
    slopes: Callable[[Doubles], tuple[Doubles, Doubles]],
    height: Callable[[Doubles], float],
    bounded: int,
) -> Doubles:
    """Walk down to a lowest point at which the first ``bounded`` parameters are 0 or more."""
    at = height(theta)
    for _ in range(_ROUNDS):
        gradient, curve = slopes(theta)
        free = np.ones(len(theta), bool)
        free[:bounded] = (theta[:bounded] > 0) | (gradient[:bounded] < 0)
        step = np.zeros(len(theta))
        step[free] = -np.linalg.solve(curve[np.ix_(free, free)], gradient[free])
        length, lower = 1.0, None
        while length > 1e-6 and lower is None:
            tried = theta + length * step
            tried[:bounded] = np.maximum(tried[:bounded], 0.0)
            there = height(tried)
            lower = (tried, there) if there < at else None
            length /= 2
        if lower is None:
            break
        gained, (theta, at) = at - lower[1], lower
        if gained < 1e-12:
            break
    return theta


def _sums(table: Doubles, weights: Doubles) -> Doubles:
    there = ~np.isneginf(table[..., 0])
    sums: Doubles = np.where(there, np.where(there[..., None], table, 0.0) @ weights, -np.inf)
    return sums


def _covariates(table: Doubles, photos: ArrayLike, centre: ArrayLike, spread: ArrayLike) -> Doubles:
    """Return (..., F + 1): the best value of each column in spreads, and log(photos)."""
    # Beyond three spreads a find is unlike any that was fitted on; it counts as the last that was.
    best = np.clip((table.max(axis=-2) - np.asarray(centre)) / np.asarray(spread), -3.0, 3.0)
    count = np.log(np.broadcast_to(np.asarray(photos, np.float64), best.shape[:-1]))
    covariates: Doubles = np.concatenate([best, count[..., None]], axis=-1)
    return covariates


def _logistic(value: float) -> float:
    return 0.5 * (1.0 + math.tanh(0.5 * value))


def _floats(values: Doubles) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
