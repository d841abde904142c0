"""How likely an observation is for each type, and for a find of no known type.

Two kinds. ``Sizes`` holds a log-normal spread per type, for measurements in mm or g; ``Choices``
a table of shares, for materials, fixings and treatments. Both mix in a share of what is usual for
*any* find, so that a wrong word or number can lower a type but never rule it out, and both leave
a type of which nothing is known exactly where it is.

The factor of a type is its likelihood divided by the usual one: 1 says nothing, above 1 speaks
for the type. A find whose type is not in the set counts as usual and so has the factor 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from simsearch.leads.rules import value

Doubles = NDArray[np.float64]
# How likely an observation is, from means and spreads of logarithms, element by element.
_Chance = Callable[[Doubles, Doubles], Doubles]
_FAR_MM = 1e6


@dataclass(frozen=True, eq=False)
class Sizes:
    """Log-normal sizes: mean and spread of the logarithm, (types,); NaN where none is known.

    ``slip`` is the share of measurements that say nothing.
    """

    mean: Doubles
    spread: Doubles
    slip: float

    @classmethod
    def of(
        cls, ranges: Sequence[tuple[float, float] | None], *, share: float, slip: float
    ) -> Sizes:
        """Take each range (smallest, largest) as holding the middle ``share`` of a type."""
        reach = NormalDist().inv_cdf(0.5 + share / 2)
        least = value("least spread")
        logs = [None if r is None else (math.log(r[0]), math.log(r[1])) for r in ranges]
        mean = [math.nan if r is None else (r[0] + r[1]) / 2 for r in logs]
        spread = [math.nan if r is None else max((r[1] - r[0]) / (2 * reach), least) for r in logs]
        return cls(np.array(mean), np.array(spread), slip)

    @property
    def known(self) -> NDArray[np.bool_]:
        """Of which types anything is known."""
        known: NDArray[np.bool_] = ~np.isnan(self.mean)
        return known

    def factors(self, size: float, error: float) -> Doubles:
        """Return the factor (types,) of a whole object of this size, measured with this error."""
        return self._factors(_normal(math.log(size)), error / size)

    def factors_between(self, low: float, high: float, error: float) -> Doubles:
        """Return the factor of an object that was between two sizes when whole.

        ``error`` is relative: the standard deviation of the logarithm of both limits.
        """
        ends = math.log(low), math.log(min(high, _FAR_MM))
        return self._factors(
            lambda mean, sd: _below((ends[1] - mean) / sd) - _below((ends[0] - mean) / sd), error
        )

    def tails(self, size: float) -> Doubles:
        """Return the share of each type's whole objects that are smaller, (types,)."""
        return _below((math.log(size) - self.mean) / self.spread)

    def densities(self, log_sizes: Doubles, error: float) -> tuple[Doubles, Doubles]:
        """Return the mixed density (types, sizes) and the usual one (sizes,) of logarithms."""
        columns = [self._mixed(_normal(at), error) for at in log_sizes.tolist()]
        return np.stack([own for own, _ in columns], axis=1), np.array([u for _, u in columns])

    def _factors(self, chance: _Chance, off: float) -> Doubles:
        own, usual = self._mixed(chance, off)
        return own / usual

    def _mixed(self, chance: _Chance, off: float) -> tuple[Doubles, float]:
        known = self.known
        if not known.any():
            return np.ones(len(known)), 1.0
        own = chance(self.mean[known], np.hypot(self.spread[known], off))
        other, middle = value("other share"), np.array([self.mean[known].mean()])
        wide = float(chance(middle, np.array([value("other spread")]))[0])
        usual = max((1 - other) * float(own.mean()) + other * wide, 1e-300)
        mixed = np.full(len(known), usual)
        mixed[known] = (1 - self.slip) * own + self.slip * usual
        return mixed, usual


@dataclass(frozen=True, eq=False)
class Choices:
    """Shares (types, choices) of what is seen on each type; rows add up to one or are NaN.

    ``slip`` is the share of observations that say nothing.
    """

    choices: tuple[str, ...]
    shares: Doubles
    slip: float

    def mixed(self) -> tuple[Doubles, Doubles]:
        """Return the mixed shares (types, choices) and the usual ones (choices,)."""
        known: NDArray[np.bool_] = ~np.isnan(self.shares.sum(axis=1))
        even = np.full(len(self.choices), 1.0 / len(self.choices))
        if not known.any():
            return np.tile(even, (len(known), 1)), even
        other = value("other share")
        usual = (1 - other) * self.shares[known].mean(axis=0) + other * even
        mixed = np.tile(usual, (len(known), 1))
        mixed[known] = (1 - self.slip) * self.shares[known] + self.slip * usual
        return mixed, usual

    def factors(self, choice: str) -> Doubles:
        """Return the factor (types,) of one choice."""
        own, usual = self.mixed()
        at = self.choices.index(choice)
        return own[:, at] / usual[at]


def _normal(at: float) -> _Chance:
    """The density of a normal law at one place, for many means and spreads."""

    def density(mean: Doubles, spread: Doubles) -> Doubles:
        result: Doubles = np.exp(-0.5 * ((at - mean) / spread) ** 2)
        return result / (spread * math.sqrt(2 * math.pi))

    return density


def _below(z: Doubles) -> Doubles:
    return np.array([0.5 * math.erfc(-float(v) / math.sqrt(2)) for v in np.atleast_1d(z)])
