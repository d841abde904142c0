"""Intervals against a published table and against scipy."""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.care.intervals import by_object, wilson


# R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in
# Medicine 17 (1998), 857-872, table I, method 3 (score, no continuity correction); from memory.
@pytest.mark.parametrize(
    ("right", "count", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
     (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_wilson_gives_the_published_examples(
    right: int, count: int, low: float, high: float
) -> None:
    assert wilson(right / count, count) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(("right", "count"), [(0, 1), (3, 7), (12, 12), (480, 500)])
def test_wilson_agrees_with_scipy(right: int, count: int) -> None:
    stats = pytest.importorskip("scipy.stats")
    theirs = stats.binomtest(right, count).proportion_ci(0.95, method="wilson")
    assert wilson(right / count, count) == pytest.approx((theirs.low, theirs.high), abs=1e-6)


def test_without_cases_nothing_is_known() -> None:
    assert wilson(0.0, 0) == (0.0, 1.0)


def test_photos_of_one_object_count_as_one_case() -> None:
    """Ten photos each of four objects: the interval is that of four cases, not of forty."""
    objects = np.repeat(np.arange(4), 10)
    right = objects < 3
    assert by_object(right, objects).tolist() == [1, 1, 1, 0]
    low, high = wilson(float(by_object(right, objects).mean()), 4)
    assert high - low > 0.5
