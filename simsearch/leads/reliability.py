"""How far odds are from what comes true.

Finds are put into bins by the odds of their first lead; where odds hold, the share of first leads
that are right is, in each bin, the mean of the odds. The mean gap, weighted by the finds in each
bin, is the expected calibration error.

Even perfect odds show a gap, because a bin holds few finds: with 16 finds in a bin and odds
around one half it is about 10 in 100. So the error is always given beside ``error_by_chance``,
the error that the same odds would show if they held exactly. Only what goes beyond it is a fault.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Doubles = NDArray[np.float64]

BINS = 10
LEAST = 15
"""Fewest finds in a bin of equal mass; with fewer a bin says nothing."""
_DRAWS = 400


@dataclass(frozen=True)
class Bin:
    """Some finds of similar odds: how many, their mean odds, and the share that was right."""

    count: int
    odds: float
    right: float


def equal_mass(
    confidence: ArrayLike, correct: ArrayLike, bins: int = BINS, least: int = LEAST
) -> tuple[Bin, ...]:
    """Cut the finds, in order of odds, into runs of nearly equal length.

    ``confidence`` (n,) are the odds of each first lead, ``correct`` (n,) whether it was right.
    There are at most ``bins`` runs, and fewer where they would hold fewer than ``least`` finds.
    Raises ``ValueError`` for shapes that do not fit, no finds, ``bins`` or ``least`` below 1.
    """
    odds, right = _checked(confidence, correct, bins, least)
    runs = _runs(odds, bins, least)
    return tuple(Bin(len(run), float(odds[run].mean()), float(right[run].mean())) for run in runs)


def equal_width(confidence: ArrayLike, correct: ArrayLike, bins: int = BINS) -> tuple[Bin, ...]:
    """Cut 0..1 into ``bins`` equal parts and return those that hold finds, as Guo et al. do.

    A find on an edge belongs to the bin below it. Raises ``ValueError`` as ``equal_mass``.
    """
    odds, right = _checked(confidence, correct, bins, 1)
    places = np.clip(np.ceil(odds * bins).astype(int) - 1, 0, bins - 1)
    parts = [np.flatnonzero(places == place) for place in range(bins)]
    return tuple(
        Bin(len(part), float(odds[part].mean()), float(right[part].mean()))
        for part in parts
        if len(part)
    )


def mean_gap(bins: tuple[Bin, ...]) -> float:
    """Return the expected calibration error over bins: the mean of ``|odds - right|``."""
    total = sum(part.count for part in bins)
    return sum(part.count * abs(part.odds - part.right) for part in bins) / total


def expected_calibration_error(
    confidence: ArrayLike, correct: ArrayLike, bins: int = BINS, least: int = LEAST
) -> float:
    """Return ``mean_gap`` of ``equal_mass``."""
    return mean_gap(equal_mass(confidence, correct, bins, least))


def error_by_chance(confidence: ArrayLike, bins: int = BINS, least: int = LEAST) -> float:
    """Return the expected calibration error that odds which hold exactly would show on average.

    The mean over drawn answers; the draws are the same every time.
    """
    odds, _ = _checked(confidence, np.zeros_like(confidence), bins, least)
    rng = np.random.default_rng(0)
    answers = rng.random((_DRAWS, odds.size)) < odds
    gaps = [
        np.abs(odds[run].mean() - answers[:, run].mean(axis=1)) * run.size
        for run in _runs(odds, bins, least)
    ]
    return float(np.sum(gaps, axis=0).mean() / odds.size)


def _runs(odds: Doubles, bins: int, least: int) -> list[NDArray[np.intp]]:
    order = np.argsort(odds, kind="stable")
    return [run for run in np.array_split(order, max(1, min(bins, odds.size // least))) if run.size]


def _checked(
    confidence: ArrayLike, correct: ArrayLike, bins: int, least: int
) -> tuple[Doubles, Doubles]:
    odds, right = np.asarray(confidence, np.float64), np.asarray(correct, np.float64)
    fits = odds.ndim == 1 and odds.shape == right.shape and odds.size
    if not fits or bins < 1 or least < 1:
        raise ValueError(
            f"odds {odds.shape}, answers {right.shape}, {bins} bins of {least} do not fit"
        )
    return odds, right
