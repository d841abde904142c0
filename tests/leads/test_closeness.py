"""Whether anything is close, on simulated finds."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from simsearch.leads.closeness import (
    Closeness,
    Usual,
    area_under_curve,
    fit_closeness,
    fit_logistic,
    inputs_of,
    threshold_for,
    usual_sums,
)
from simsearch.leads.odds import Odds

PLAIN = Usual((0.0,) * 12, (1.0,) * 12)
ONE = Odds((10.0,), (0.0, 0.0), (0.5,), (0.1,), 0.02)
TWO = Odds((10.0, 3.0), (0.0,) * 3, (0.5, 0.4), (0.1, 0.1), 0.02)


def test_inputs_worked_by_hand() -> None:
    scores = np.array([[0.2, 0.9, 0.5], [0.4, -np.inf, 0.1]])
    found = inputs_of(ONE, scores[:, :, None], Usual((1.0, 8.0, 0.0), (2.0, 1.0, 2.5)))
    # Sums are ten times the scores: best, margin, mean of the (up to) five best, mean, spread.
    np.testing.assert_allclose(found[0, :5], [9, 4, 16 / 3, 16 / 3, np.std([2, 9, 5])])
    np.testing.assert_allclose(found[1, :5], [4, 3, 2.5, 2.5, 1.5])
    odds = ONE.odds(scores[:, :, None])
    np.testing.assert_allclose(found[0, 5], -np.sum(odds[0] * np.log(odds[0])))
    # Above the usual, in spreads: (2 - 1) / 2, (9 - 8) / 1 and (5 - 0) / 2.5.
    np.testing.assert_allclose(found[:, 6], [2.0, 1.5])
    both = inputs_of(TWO, np.stack([scores, scores / 2], axis=2), Usual((0.0,) * 3, (1.0,) * 3))
    np.testing.assert_allclose(both[0, 7:], [0.9, 0.4, 0.45, 0.2])
    assert np.isfinite(both).all()


def test_a_set_of_one_type_has_no_margin() -> None:
    assert inputs_of(ONE, np.array([[[0.7]]]), Usual((0.0,), (1.0,)))[0, 1] == 0


def test_what_is_usual_leaves_finds_of_the_type_itself_out() -> None:
    scores = np.array([[0.9, 0.2], [0.3, 0.8], [0.1, 0.8]])
    usual = usual_sums(ONE, scores[:, :, None], np.array([0, 1, 1]))
    np.testing.assert_allclose(usual.mean, [2.0, 2.0])  # (3 + 1) / 2, and 2 alone
    np.testing.assert_allclose(usual.spread, [1.0, 1.0])  # alone it has no spread


def logistic_finds(count: int, seed: int = 0) -> tuple[Any, Any, Any]:
    rng = np.random.default_rng(seed)
    features = np.stack([rng.uniform(0.3, 0.9, count), rng.uniform(0, 0.3, count)], axis=1)
    weights = np.array([-6.0, 8.0, 10.0])
    chance = 1 / (1 + np.exp(-(weights[0] + features @ weights[1:])))
    return features, (rng.random(count) < chance).astype(float), weights


def test_the_logistic_curve_that_made_the_finds_is_found() -> None:
    features, answers, weights = logistic_finds(20_000)
    found = fit_logistic(features, answers)
    inputs = np.concatenate([np.ones((len(features), 1)), features], axis=1)
    chances = [1 / (1 + np.exp(-inputs @ some)) for some in (found, weights)]
    assert np.abs(chances[0] - chances[1]).max() < 0.03
    np.testing.assert_allclose(found, weights, rtol=0.12)


def test_the_logistic_curve_is_the_likeliest_by_another_minimiser() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    features, answers, _ = logistic_finds(400)
    counts = np.random.default_rng(1).dirichlet(np.ones(400))
    centre = counts @ features
    scaled = (features - centre) / np.sqrt(counts @ (features - centre) ** 2)
    inputs = np.concatenate([np.ones((len(scaled), 1)), scaled], axis=1)

    def surprise(weights: Any) -> float:
        line = inputs @ weights
        penalty = 0.5 * 3e-3 * float(weights[1:] @ weights[1:])
        return float(counts @ (np.logaddexp(0, line) - answers * line)) + penalty

    best = optimize.minimize(surprise, np.zeros(3), tol=1e-12).x
    found = fit_logistic(features, answers, counts)
    np.testing.assert_allclose(found[0] + features @ found[1:], inputs @ best, atol=1e-3)


def test_classes_cleanly_apart_do_not_run_away() -> None:
    features = np.array([[0.1, 0.0]] * 30 + [[0.9, 0.2]] * 30)
    answers = np.array([0.0] * 30 + [1.0] * 30)
    found = fit_logistic(features, answers)
    assert np.isfinite(found).all()
    line = found[0] + features @ found[1:]
    assert (line[:30] < 0).all() and (line[30:] > 0).all()


def test_the_area_under_the_curve_is_that_of_the_rank_test() -> None:
    stats = pytest.importorskip("scipy.stats")
    rng = np.random.default_rng(2)
    near, far = rng.normal(1, 1, 80).round(1), rng.normal(0, 1, 130).round(1)  # with ties
    by_ranks = stats.mannwhitneyu(near, far).statistic / (80 * 130)
    assert area_under_curve(near, far) == pytest.approx(by_ranks)


def test_the_threshold_rejects_no_more_than_asked() -> None:
    values = np.random.default_rng(3).random(399)
    threshold = threshold_for(values, 0.05)
    assert np.sum(values < threshold) == 19  # the 20th of 400 places
    assert threshold_for(values[:5], 0.05) == values[:5].min()
    with pytest.raises(ValueError, match="share"):
        threshold_for(values, 1.0)


def table(count: int, known: bool, seed: int) -> np.ndarray:
    """Finds near to nothing (known false), or near to one of twelve types."""
    rng = np.random.default_rng(seed)
    scores = rng.normal(0.4, 0.05, size=(count, 12))
    if known:
        scores[np.arange(count), rng.integers(0, 12, count)] += rng.normal(0.3, 0.1, count)
    return scores[:, :, None]


def test_closeness_tells_known_types_from_strangers() -> None:
    near = inputs_of(ONE, table(600, True, 0), PLAIN)
    far = inputs_of(ONE, table(300, False, 1), PLAIN)
    weights = fit_closeness(near, far)
    fitted = Closeness(weights, 0.5, PLAIN)
    others = fitted.of(ONE, table(600, True, 2)), fitted.of(ONE, table(600, False, 3))
    assert area_under_curve(*others) > 0.97
    assert ((others[0] >= 0) & (others[0] <= 1)).all()
    # Both kinds count the same however many there are: close and far balance around a half.
    twice = fit_closeness(near, np.concatenate([far, far]))
    np.testing.assert_allclose(twice, weights, rtol=1e-6)
