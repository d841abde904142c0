"""Calibration errors, worked by hand and simulated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simsearch.leads.reliability import (
    equal_mass,
    equal_width,
    error_by_chance,
    expected_calibration_error,
    mean_gap,
)


def test_the_calibration_error_worked_by_hand() -> None:
    # In order of odds, two bins of three: (0.2, 0.3, 0.4 | 0.6, 0.8, 1.0).
    # First: mean 0.3, right 0 of 3, gap 0.3. Second: mean 0.8, right 3 of 3, gap 0.2.
    # Error: (3 * 0.3 + 3 * 0.2) / 6 = 0.25.
    odds, right = [0.8, 0.2, 1.0, 0.4, 0.6, 0.3], [1, 0, 1, 0, 1, 0]
    assert expected_calibration_error(odds, right, bins=2, least=3) == pytest.approx(0.25)
    # One bin: mean 0.55, right 3 of 6.
    assert expected_calibration_error(odds, right, bins=1) == pytest.approx(0.05)
    # Bins of four at least: there is one only.
    assert expected_calibration_error(odds, right, bins=2, least=4) == pytest.approx(0.05)
    # More bins than finds: each find is its own bin.
    alone = np.mean(np.abs(np.array(odds) - np.array(right)))
    assert expected_calibration_error(odds, right, bins=99, least=1) == pytest.approx(alone)
    # Seven in two bins: the first takes four.
    seven = [0, 0, 0, 1, 1, 1, 1], [0, 0, 0, 0, 1, 1, 1]
    assert expected_calibration_error(*seven, bins=2, least=1) == pytest.approx(4 / 7 * 0.25)


def test_bins_of_equal_width_worked_by_hand() -> None:
    # Edges at 0.5: (0.2, 0.3, 0.5 | 0.6): mean 1/3, right 1 of 3, no gap; 0.6, right, gap 0.4.
    bins = equal_width([0.2, 0.6, 0.5, 0.3], [0, 1, 1, 0], bins=2)
    assert [part.count for part in bins] == [3, 1]
    assert mean_gap(bins) == pytest.approx(0.1)
    assert equal_width([0.0, 1.0], [0, 1]) and mean_gap(equal_width([0.0, 1.0], [0, 1])) == 0


def test_a_bin_never_holds_fewer_than_asked() -> None:
    odds = np.linspace(0, 1, 160)
    bins = equal_mass(odds, odds > 0.5)
    assert len(bins) == 10 and min(part.count for part in bins) == 16
    assert len(equal_mass(odds[:149], odds[:149] > 0.5)) == 9


@pytest.mark.parametrize("count", [160, 1600])
def test_odds_that_hold_show_the_error_of_chance_and_no_more(count: int) -> None:
    rng = np.random.default_rng(5)
    odds = rng.uniform(0.2, 1.0, count)
    errors = [expected_calibration_error(odds, rng.random(count) < odds) for _ in range(200)]
    expected = error_by_chance(odds)
    assert np.mean(errors) == pytest.approx(expected, rel=0.05)
    # By the normal law the mean gap of a bin of m finds is sqrt(2 p (1 - p) / (pi m)).
    m = count / 10
    by_law = np.mean(
        [np.sqrt(2 * np.mean(o * (1 - o)) / (np.pi * m)) for o in np.array_split(np.sort(odds), 10)]
    )
    assert expected == pytest.approx(by_law, rel=0.07)
    assert error_by_chance(odds) == expected


def test_odds_of_a_simulator_that_are_exact_have_a_small_error() -> None:
    rng = np.random.default_rng(6)
    odds = rng.uniform(0.1, 1.0, 20_000)
    right = rng.random(20_000) < odds
    assert expected_calibration_error(odds, right) < 0.012
    assert mean_gap(equal_width(odds, right)) < 0.012
    assert expected_calibration_error(odds**2, right) > 0.1


@pytest.mark.parametrize(
    ("odds", "right", "bins", "least"),
    [([], [], 5, 1), ([0.5], [1, 0], 5, 1), ([0.5], [1], 0, 1), ([[0.5]], [1], 1, 1),
     ([0.5], [1], 1, 0)],
)  # fmt: skip
def test_errors_of_nothing_are_refused(odds: Any, right: Any, bins: int, least: int) -> None:
    with pytest.raises(ValueError, match="do not fit"):
        expected_calibration_error(odds, right, bins, least)
