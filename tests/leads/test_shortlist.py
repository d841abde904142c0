"""The list that holds the right type as often as promised."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simsearch.leads.odds import softmax
from simsearch.leads.shortlist import LEVELS, fit_limits, in_list, limit_for, odds_before, promise


def test_the_rule_worked_by_hand() -> None:
    odds = np.array([[0.2, 0.5, 0.3]])
    np.testing.assert_allclose(odds_before(odds), [[0.8, 0.0, 0.5]])
    assert in_list(odds, 0.0).tolist() == [[False, True, False]]
    assert in_list(odds, 0.5).tolist() == [[False, True, True]]
    assert in_list(odds, 0.79).tolist() == [[False, True, True]]
    assert in_list(odds, 0.81).all()
    # Nine finds, a promise of 8 of 10: rank ceil(10 * 0.8) = 8.
    assert limit_for(np.arange(9) / 10, 0.8) == pytest.approx(0.7)
    # A promise of 95 in 100 needs 19 finds.
    assert limit_for(np.zeros(18), 0.95) == math.inf
    assert limit_for(np.zeros(19), 0.95) == 0.0


@pytest.mark.parametrize(("count", "level"), [(19, 0.8), (60, 0.9), (200, 0.95)])
def test_coverage_follows_the_beta_law_of_conformal_prediction(count: int, level: float) -> None:
    # Vovk 2012, "Conditional validity of inductive conformal predictors", arXiv 1209.2673: with n
    # exchangeable scores without ties the share covered, over sets of n, is distributed as
    # Beta(k, n + 1 - k) with k = ceil((n + 1) * level). Scores uniform on 0..1 are covered with
    # a probability equal to the limit itself.
    stats = pytest.importorskip("scipy.stats")
    rng = np.random.default_rng(count)
    shares = [limit_for(rng.random(count), level) for _ in range(3000)]
    rank = math.ceil(round((count + 1) * level, 9))
    law = stats.beta(rank, count + 1 - rank)
    assert stats.kstest(shares, law.cdf).pvalue > 0.001
    assert np.mean(shares) == pytest.approx(rank / (count + 1), abs=3 * law.std() / math.sqrt(3000))
    assert np.mean(shares) >= level - 3 * law.std() / math.sqrt(3000)


def finds(count: int, seed: int, sharp: float = 6.0) -> tuple[np.ndarray, np.ndarray]:
    """Odds that are too sharp on purpose, and true types."""
    rng = np.random.default_rng(seed)
    scores = rng.normal(size=(count, 15))
    odds = softmax(scores * 2.0)
    truth = (odds.cumsum(axis=1) > rng.random((count, 1))).argmax(axis=1)
    return softmax(scores * sharp), truth


def test_the_promise_is_kept_on_other_finds_even_where_the_odds_are_wrong() -> None:
    limits = fit_limits(*finds(1500, 1))
    odds, truth = finds(6000, 2)
    rows = np.arange(len(truth))
    for level in LEVELS:
        held = in_list(odds, limits[level])[rows, truth].mean()
        assert held == pytest.approx(level, abs=0.02)
    # The odds themselves, taken at their word, would break it.
    assert in_list(odds, 0.9)[rows, truth].mean() < 0.85


def test_lists_are_short_where_odds_are_clear() -> None:
    odds, truth = finds(3000, 3, sharp=2.0)
    listed = in_list(odds, fit_limits(odds, truth)[0.9]).sum(axis=1)
    clear = odds.max(axis=1) > 0.8
    assert listed[clear].mean() < 0.6 * listed[~clear].mean()


def test_an_object_counts_once_however_many_photos_it_has() -> None:
    rng = np.random.default_rng(4)
    sums = rng.random(30)
    # One object of the thirty was photographed a hundred times, always badly.
    many = np.concatenate([sums, np.full(100, 2.0)])
    objects = np.concatenate([np.arange(30), np.full(100, 30)])
    assert limit_for(many, 0.8, objects) == limit_for(np.append(sums, 2.0), 0.8)
    assert limit_for(many, 0.8) == 2.0


def test_too_few_finds_leave_promises_out() -> None:
    odds, truth = finds(12, 5)
    assert set(fit_limits(odds, truth)) == {0.8, 0.9}


def test_promises_in_words() -> None:
    assert promise({0.9: 0.5}).startswith("For 9 of 10 finds")
    assert promise({0.8: 0.5}) == ""


def test_nonsense_is_refused() -> None:
    for sums, level in (([], 0.9), ([0.1], 1.0), ([[0.1]], 0.9)):
        with pytest.raises(ValueError, match="no limit"):
            limit_for(sums, level)
