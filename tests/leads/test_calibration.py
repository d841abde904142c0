"""Odds and closeness on simulated finds whose truth is known."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simsearch.errors import SetError
from simsearch.leads.calibration import (
    CALIBRATION_FILE,
    Calibration,
    closeness_features,
    expected_calibration_error,
    fit_calibration,
    fit_logistic,
    fit_temperature,
    load_calibration,
    save_calibration,
    softmax,
)

PRINTS: dict[str, Any] = {"encoder_fingerprint": "f" * 64, "set_fingerprint": "e" * 64}


def finds(temperature: float, count: int, types: int = 20, seed: int = 0) -> tuple[Any, Any]:
    """Draw scores, then each find's type from the odds that ``temperature`` gives."""
    rng = np.random.default_rng(seed)
    scores = rng.uniform(0.2, 0.9, size=(count, types))
    odds = softmax(scores / temperature)
    truth = np.array([rng.choice(types, p=row) for row in odds])
    return scores, truth


@pytest.mark.parametrize("temperature", [0.02, 0.1, 0.5])
def test_the_temperature_that_made_the_finds_is_found(temperature: float) -> None:
    scores, truth = finds(temperature, 4000)
    assert fit_temperature(scores, truth) == pytest.approx(temperature, rel=0.1)


def test_the_temperature_is_the_likeliest_by_another_minimiser() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    special = pytest.importorskip("scipy.special")
    scores, truth = finds(0.05, 300)

    def surprise(log_temperature: float) -> float:
        log_odds = special.log_softmax(scores / np.exp(log_temperature), axis=1)
        return -float(log_odds[np.arange(len(truth)), truth].mean())

    best = optimize.minimize_scalar(surprise, bounds=(-9, 4), method="bounded").x
    assert np.log(fit_temperature(scores, truth)) == pytest.approx(best, abs=1e-3)


def test_softmax_is_that_of_scipy_and_does_not_overflow() -> None:
    special = pytest.importorskip("scipy.special")
    scores = np.random.default_rng(0).normal(size=(4, 7)) * 1e4
    np.testing.assert_allclose(softmax(scores), special.softmax(scores, axis=1))


def test_odds_sum_to_one_and_keep_the_order() -> None:
    scores, truth = finds(0.05, 200)
    fitted = fit_calibration(scores, truth, **PRINTS)
    odds = fitted.odds(scores)
    np.testing.assert_allclose(odds.sum(axis=1), 1.0)
    assert (odds.argmax(axis=1) == scores.argmax(axis=1)).all()


def test_odds_fitted_on_some_finds_hold_on_others() -> None:
    fitted = fit_calibration(*finds(0.05, 2000, seed=1), **PRINTS)
    scores, truth = finds(0.05, 4000, seed=2)
    odds = fitted.odds(scores)
    right = odds.argmax(axis=1) == truth
    assert expected_calibration_error(odds.max(axis=1), right) < 0.03
    assert fitted.ece < 0.05
    # Sharpened twice as much, the same odds are found wanting.
    sharp = replace(fitted, temperature=fitted.temperature / 2).odds(scores)
    assert expected_calibration_error(sharp.max(axis=1), right) > 0.1


def test_the_calibration_error_worked_by_hand() -> None:
    # In order of odds, two bins of three: (0.2, 0.3, 0.4 | 0.6, 0.8, 1.0).
    # First: mean 0.3, right 0 of 3, gap 0.3. Second: mean 0.8, right 3 of 3, gap 0.2.
    # Error: (3 * 0.3 + 3 * 0.2) / 6 = 0.25.
    odds, right = [0.8, 0.2, 1.0, 0.4, 0.6, 0.3], [1, 0, 1, 0, 1, 0]
    assert expected_calibration_error(odds, right, bins=2) == pytest.approx(0.25)
    # One bin: mean 0.55, right 3 of 6.
    assert expected_calibration_error(odds, right, bins=1) == pytest.approx(0.05)
    # More bins than finds: each find is its own bin.
    alone = np.mean(np.abs(np.array(odds) - np.array(right)))
    assert expected_calibration_error(odds, right, bins=99) == pytest.approx(alone)
    # Seven in two bins: the first takes four.
    seven = expected_calibration_error([0, 0, 0, 1, 1, 1, 1], [0, 0, 0, 0, 1, 1, 1], bins=2)
    assert seven == pytest.approx(4 / 7 * 0.25)


def test_perfect_odds_have_no_error() -> None:
    assert expected_calibration_error([1.0, 1.0, 0.0], [1, 1, 0]) == 0


@pytest.mark.parametrize(
    ("odds", "right", "bins"), [([], [], 5), ([0.5], [1, 0], 5), ([0.5], [1], 0), ([[0.5]], [1], 1)]
)
def test_errors_of_nothing_are_refused(odds: Any, right: Any, bins: int) -> None:
    with pytest.raises(ValueError, match="do not fit"):
        expected_calibration_error(odds, right, bins)


def test_features_are_the_best_and_its_margin() -> None:
    found = closeness_features(np.array([[0.2, 0.9, 0.5], [0.4, 0.4, 0.1]]))
    np.testing.assert_allclose(found, [[0.9, 0.4], [0.4, 0.0]])
    np.testing.assert_allclose(closeness_features(np.array([[0.7]])), [[0.7, 0.0]])


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
    assert np.abs(chances[0] - chances[1]).max() < 0.02
    np.testing.assert_allclose(found, weights, rtol=0.1)


def test_the_logistic_curve_is_the_likeliest_by_another_minimiser() -> None:
    optimize = pytest.importorskip("scipy.optimize")
    features, answers, _ = logistic_finds(400)
    scaled = (features - features.mean(axis=0)) / features.std(axis=0)
    inputs = np.concatenate([np.ones((len(scaled), 1)), scaled], axis=1)

    def surprise(weights: Any) -> float:
        line = inputs @ weights
        penalty = 0.5 * 1e-3 * len(answers) * float(weights[1:] @ weights[1:])
        return float(np.sum(np.logaddexp(0, line) - answers * line)) + penalty

    best = optimize.minimize(surprise, np.zeros(3), tol=1e-12).x
    found = fit_logistic(features, answers)
    line = found[0] + features @ found[1:]
    np.testing.assert_allclose(line, inputs @ best, atol=1e-3)


def test_classes_cleanly_apart_do_not_run_away() -> None:
    features = np.array([[0.1, 0.0]] * 30 + [[0.9, 0.2]] * 30)
    answers = np.array([0.0] * 30 + [1.0] * 30)
    found = fit_logistic(features, answers)
    assert np.isfinite(found).all()
    line = found[0] + features @ found[1:]
    assert (line[:30] < 0).all() and (line[30:] > 0).all()


def with_strangers(count: int = 600, seed: int = 0) -> tuple[Any, Any]:
    """Finds of known type with one high score, and as many of unknown type without."""
    rng = np.random.default_rng(seed)
    scores = rng.normal(0.4, 0.05, size=(2 * count, 12))
    truth = np.concatenate([rng.integers(0, 12, count), np.full(count, -1)])
    scores[np.arange(count), truth[:count]] += rng.normal(0.3, 0.1, count)
    return scores, truth


def test_closeness_tells_known_types_from_strangers() -> None:
    fitted = fit_calibration(*with_strangers(), **PRINTS, false_reject=0.1)
    assert (fitted.n_fitted, fitted.n_far) == (600, 600)
    assert fitted.false_reject is not None and fitted.false_accept is not None
    assert fitted.false_reject <= 0.1
    scores, truth = with_strangers(seed=5)
    closeness = np.array([fitted.closeness_of(row) for row in scores])
    assert ((closeness >= 0) & (closeness <= 1)).all()
    close = closeness >= fitted.threshold
    # Rates on other finds are near those reported.
    assert np.mean(~close[truth >= 0]) == pytest.approx(fitted.false_reject, abs=0.06)
    assert np.mean(close[truth < 0]) == pytest.approx(fitted.false_accept, abs=0.06)


def test_without_strangers_nothing_is_said_about_closeness() -> None:
    scores, truth = finds(0.05, 100)
    fitted = fit_calibration(scores, truth, **PRINTS)
    assert fitted.closeness is None and fitted.threshold is None
    assert fitted.false_accept is None and fitted.false_reject is None
    assert fitted.closeness_of(scores[0]) is None


def test_photos_of_one_object_stay_on_one_side_of_a_fold() -> None:
    # Every object is photographed ten times alike; rows apart would look like ten witnesses.
    scores, truth = finds(0.05, 60)
    grouped = fit_calibration(
        np.repeat(scores, 10, axis=0),
        np.repeat(truth, 10),
        groups=np.repeat(np.arange(60), 10),
        **PRINTS,
    )
    single = fit_calibration(scores, truth, **PRINTS)
    assert grouped.temperature == pytest.approx(single.temperature, rel=1e-4)
    assert grouped.ece == pytest.approx(single.ece, rel=1e-4)
    assert grouped.n_fitted == 600
    with pytest.raises(ValueError, match="49 finds"):
        fit_calibration(
            np.repeat(scores[:49], 10, axis=0),
            np.repeat(truth[:49], 10),
            groups=np.repeat(np.arange(49), 10),
            **PRINTS,
        )


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda s, t: (s[:49], t[:49]), "49 finds"),
        (lambda s, t: (s, t[:-1]), "need"),
        (lambda s, t: (s[0], t), "need"),
        (lambda s, t: (s * np.nan, t), "finite"),
        (lambda s, t: (s, t + 20), "outside"),
        (lambda s, t: (s, t - 21), "outside"),
    ],
)
def test_input_that_does_not_fit_is_refused(change: Any, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        fit_calibration(*change(*finds(0.05, 100)), **PRINTS)


def test_shares_and_groups_that_do_not_fit_are_refused() -> None:
    scores, truth = finds(0.05, 100)
    with pytest.raises(ValueError, match="false_reject"):
        fit_calibration(scores, truth, **PRINTS, false_reject=1.0)
    with pytest.raises(ValueError, match="groups"):
        fit_calibration(scores, truth, **PRINTS, groups=[1, 2])


@pytest.mark.parametrize("make", [with_strangers, lambda: finds(0.05, 60)])
def test_what_is_saved_is_loaded(tmp_path: Path, make: Any) -> None:
    fitted = fit_calibration(*make(), **PRINTS, note="Rendered finds only.")
    save_calibration(fitted, tmp_path)
    assert load_calibration(tmp_path) == fitted


def test_no_file_is_no_calibration(tmp_path: Path) -> None:
    assert load_calibration(tmp_path) is None


@pytest.mark.parametrize(
    "change",
    [
        {"format": "notes"},
        {"temperature": 0},
        {"temperature": "hot"},
        {"temperature": None},
        {"ece": float("nan")},
        {"closeness": [1, 2]},
        {"extra": 1},
    ],
)
def test_a_damaged_file_is_refused(tmp_path: Path, change: dict[str, Any]) -> None:
    save_calibration(Calibration(0.1, None, None, 60, 0, 0.0, None, None, "f", "e"), tmp_path)
    path = tmp_path / CALIBRATION_FILE
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    with pytest.raises(SetError, match="cannot be used"):
        load_calibration(tmp_path)
    path.write_text("{")
    with pytest.raises(SetError, match="cannot be used"):
        load_calibration(tmp_path)
