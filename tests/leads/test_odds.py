"""Odds on simulated finds whose parameters are known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simsearch.leads.odds import Odds, fit_odds, softmax
from simsearch.leads.reliability import error_by_chance, expected_calibration_error


def finds(count: int, types: int = 20, seed: int = 0, **truth: Any) -> tuple[Any, Any, Odds, Any]:
    """Draw features, then each find's type from the odds of a known model."""
    rng = np.random.default_rng(seed)
    features = np.stack(
        [rng.normal(0.2, 0.12, (count, types)), rng.normal(0.3, 0.15, (count, types))], axis=2
    )
    features[np.arange(count), rng.integers(0, types, count), 0] += rng.uniform(0, 0.5, count)
    best = features.max(axis=1)
    values: dict[str, Any] = {
        "weights": (12.0, 6.0),
        "sharpen": (0.3, 0.0, 0.4),
        "centre": tuple(best.mean(axis=0)),
        "spread": tuple(best.std(axis=0)),
        "stray": 0.05,
    }
    model = Odds(**(values | truth))
    photos = rng.integers(1, 4, count)
    odds = model.odds(features, photos)
    drawn = (odds.cumsum(axis=1) > rng.random((count, 1))).argmax(axis=1)
    return features, drawn, model, photos


def test_the_model_that_made_the_finds_is_found() -> None:
    features, truth, model, photos = finds(6000)
    found = fit_odds(features, truth, photos)
    np.testing.assert_allclose(found.weights, model.weights, rtol=0.1)
    np.testing.assert_allclose(found.sharpen, model.sharpen, atol=0.1)
    assert found.stray == pytest.approx(model.stray, abs=0.02)
    gap = np.abs(found.odds(features, photos) - model.odds(features, photos))
    assert gap.max() < 0.1
    assert gap.mean() < 0.003


def test_a_feature_that_speaks_for_the_wrong_types_gets_no_weight() -> None:
    features, truth, _, photos = finds(1500)
    features[:, :, 1] *= -1
    found = fit_odds(features, truth, photos)
    assert found.weights[1] == 0.0
    assert found.weights[0] > 8


def test_with_one_feature_and_no_extras_it_is_the_likeliest_temperature() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    special = pytest.importorskip("scipy.special")
    features, truth, _, _ = finds(3000, weights=(20.0, 0.0), sharpen=(0.0,) * 3, stray=0.0)
    scores = features[:, :, 0]

    def surprise(log_weight: float) -> float:
        log_odds = special.log_softmax(scores * np.exp(log_weight), axis=1)
        return -float(log_odds[np.arange(len(truth)), truth].mean())

    best = np.exp(optimize.minimize_scalar(surprise, bounds=(-2, 6), method="bounded").x)
    found = fit_odds(features[:, :, :1], truth)
    assert found.weights[0] == pytest.approx(best, rel=0.05)
    assert found.stray < 0.01
    assert abs(found.sharpen[0]) < 0.05


def test_the_fit_is_as_likely_as_another_minimiser_gets() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    features, truth, _, photos = finds(400)
    found = fit_odds(features, truth, photos)
    rows = np.arange(len(truth))

    def surprise(theta: Any) -> float:
        weights, sharpen = tuple(np.abs(theta[:2])), tuple(theta[2:5])
        stray = 1 / (1 + np.exp(-theta[5]))
        other = replace(found, weights=weights, sharpen=sharpen, stray=float(stray))
        return -float(np.log(other.odds(features, photos)[rows, truth]).mean())

    start = np.array([*found.weights, *found.sharpen, np.log(found.stray / (1 - found.stray))])
    best = optimize.minimize(surprise, start, method="Nelder-Mead", options={"maxiter": 4000})
    # The priors are the difference, and they are weak.
    assert surprise(start) < best.fun + 0.003


def test_the_same_finds_give_the_same_odds() -> None:
    features, truth, _, photos = finds(200)
    assert fit_odds(features, truth, photos) == fit_odds(features, truth, photos)


def test_odds_fitted_on_some_finds_hold_on_others() -> None:
    features, truth, model, photos = finds(5000, seed=1)
    found = fit_odds(features[:2000], truth[:2000], photos[:2000])
    # The rest were drawn by the model of all 5000.
    odds = found.odds(features[2000:], photos[2000:])
    right = odds.argmax(axis=1) == truth[2000:]
    error = expected_calibration_error(odds.max(axis=1), right)
    assert error < 0.03
    exact = model.odds(features[2000:], photos[2000:])
    by_chance = error_by_chance(exact.max(axis=1))
    assert expected_calibration_error(exact.max(axis=1), exact.argmax(axis=1) == truth[2000:]) == (
        pytest.approx(by_chance, abs=0.012)
    )
    # Twice as sharp, the same odds are found wanting.
    sharp = replace(found, weights=(found.weights[0] * 2, found.weights[1] * 2), stray=0.0)
    odds = sharp.odds(features[2000:], photos[2000:])
    assert expected_calibration_error(odds.max(axis=1), right) > 0.08


def test_odds_sum_to_one_keep_the_order_and_leave_out_missing_types() -> None:
    features, _, model, photos = finds(50)
    features[:, 3] = -np.inf
    odds = model.odds(features, photos)
    np.testing.assert_allclose(odds.sum(axis=1), 1.0)
    assert (odds[:, 3] == 0).all()
    assert (odds.argmax(axis=1) == model.sums(features).argmax(axis=1)).all()
    # Left out of the table altogether, the others have the same odds.
    fewer = np.delete(features, 3, axis=1)
    np.testing.assert_allclose(np.delete(odds, 3, axis=1), model.odds(fewer, photos))


def test_softmax_is_that_of_scipy_and_does_not_overflow() -> None:
    special = pytest.importorskip("scipy.special")
    scores = np.random.default_rng(0).normal(size=(4, 7)) * 1e4
    np.testing.assert_allclose(softmax(scores), special.softmax(scores, axis=1))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda f, t: (f, t[:-1]), "need"),
        (lambda f, t: (f[0], t), "need"),
        (lambda f, t: (f * np.nan, t), "finite"),
        (lambda f, t: (f, t + 20), "outside"),
        (lambda f, t: (f, t - 21), "outside"),
        (lambda f, t: (f[:0], t[:0]), "no finds"),
    ],
)
def test_input_that_does_not_fit_is_refused(change: Any, says: str) -> None:
    features, truth, _, _ = finds(100)
    with pytest.raises(ValueError, match=says):
        fit_odds(*change(features, truth))
    with pytest.raises(ValueError, match="columns"):
        fit_odds(features, truth).odds(features[:, :, :1])
