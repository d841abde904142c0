"""Likelihoods against scipy, and what no observation may ever do."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from simsearch.leads.likelihood import Choices, Sizes
from simsearch.leads.rules import FIXING, RULES, TYPE_WEIGHT_G, table, value

RANGES = [(25.0, 45.0), (60.0, 150.0), None, (18.0, 20.0)]


@pytest.fixture
def sizes() -> Sizes:
    return Sizes.of(RANGES, share=0.9, slip=0.05)


def test_a_range_holds_its_share_of_a_log_normal_law(sizes: Sizes) -> None:
    """Oracle: scipy.stats.lognorm."""
    for row in (0, 1):
        low, high = RANGES[row] or (0.0, 0.0)
        law = stats.lognorm(sizes.spread[row], scale=math.exp(sizes.mean[row]))
        assert law.cdf(high) - law.cdf(low) == pytest.approx(0.9)
        assert law.cdf(low) == pytest.approx(0.05)
        assert sizes.tails(33.0)[row] == pytest.approx(law.cdf(33.0))
    assert sizes.spread[3] == value("least spread")  # 18 to 20 mm is narrower than wear


@pytest.mark.parametrize("size", [3.0, 19.0, 33.0, 62.0, 90.0, 700.0])
def test_factors_of_whole_and_broken_objects_are_those_of_scipy(sizes: Sizes, size: float) -> None:
    error, known, slip, other = 2.0, [0, 1, 3], 0.05, value("other share")
    spread = np.hypot(sizes.spread[known], error / size)
    wide = stats.norm(sizes.mean[known].mean(), value("other spread"))
    at = math.log(size)
    own = stats.norm.pdf(at, sizes.mean[known], spread)
    usual = (1 - other) * own.mean() + other * wide.pdf(at)
    whole = sizes.factors(size, error)
    assert whole[known] == pytest.approx(((1 - slip) * own + slip * usual) / usual)
    over = stats.norm.sf(at, sizes.mean[known], spread)
    usual = (1 - other) * over.mean() + other * wide.sf(at)
    broken = sizes.factors_between(size, 1e6, error / size)
    assert broken[known] == pytest.approx(((1 - slip) * over + slip * usual) / usual, rel=1e-6)
    for factors in (whole, broken):
        assert factors[2] == 1.0  # nothing is known of its size
        assert factors.min() >= slip - 1e-12 and np.isfinite(factors).all()


def test_a_fragment_speaks_against_small_types_only(sizes: Sizes) -> None:
    whole, broken = sizes.factors(62.0, 1.0), sizes.factors_between(62.0, 1e6, 0.02)
    assert broken[0] < 0.2 and broken[3] < 0.2 and broken[1] > 1
    # A short piece of a long type is no surprise; a short whole one would be.
    assert sizes.factors(20.0, 1.0)[1] < 0.1
    assert sizes.factors_between(20.0, 1e6, 0.05)[1] > 1
    assert whole[0] < 0.2


def test_without_any_known_size_nothing_moves() -> None:
    sizes = Sizes.of([None, None], share=0.9, slip=0.05)
    assert sizes.factors(10.0, 1.0).tolist() == [1.0, 1.0]
    assert sizes.factors_between(10.0, 1e6, 0.1).tolist() == [1.0, 1.0]


def test_choices_are_shares_and_unknown_ones_stay() -> None:
    shares = np.array([[0.9, 0.1, 0.0], [0.0, 0.0, 1.0], [np.nan] * 3])
    choices = Choices(("a", "b", "c"), shares, 0.1)
    mixed, usual = choices.mixed()
    assert mixed.sum(axis=1) == pytest.approx(np.ones(3)) and usual.sum() == pytest.approx(1)
    factors = np.stack([choices.factors(name) for name in choices.choices], axis=1)
    assert factors[2].tolist() == [1.0, 1.0, 1.0]
    assert factors.min() >= 0.1 and factors[1, 2] > 1 > factors[0, 2]
    # Over all that may be seen, a type's factors average to one: no type gains by being asked.
    assert factors @ usual == pytest.approx(np.ones(3))


def test_every_parameter_says_where_it_comes_from() -> None:
    bases = {"our judgement", "common practice", "fitted", "physics", "from memory"}
    assert len(table()) == len(RULES)
    for _, number, basis, says in table():
        assert basis in bases and len(says) > 15 and number > 0
    for row in FIXING.values():
        assert sum(row.values()) == pytest.approx(1.0) and min(row.values()) > 0


def test_the_weight_of_shot_is_that_of_lead() -> None:
    """A ball of 10 mm and of 20 mm at 11.34 g/cm^3, the density of lead (handbook value)."""
    (least, most), _ = TYPE_WEIGHT_G["lead-shot"]
    for grams, mm in ((least, 10.0), (most, 20.0)):
        assert grams == pytest.approx(4 / 3 * math.pi * (mm / 20) ** 3 * 11.34, abs=0.05)
