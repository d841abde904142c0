"""Two right go up, one wrong goes down; where that settles is known (Levitt 1971)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from simsearch.practice.scoring import cannot_tell_credit, points, rule_words
from simsearch.practice.staircase import (
    CANNOT_TELL,
    LEVELS,
    RIGHT,
    SETTLES_AT,
    START,
    WRONG,
    Staircase,
)


def after(*outcomes: str, start: int = START) -> Staircase:
    stairs = Staircase(start)
    for outcome in outcomes:
        stairs = stairs.after(outcome)
    return stairs


def test_two_right_go_up_and_one_wrong_goes_down() -> None:
    assert after(RIGHT).level == START
    assert after(RIGHT, RIGHT) == Staircase(START + 1, 0)
    assert after(WRONG) == Staircase(START - 1, 0)
    assert after(RIGHT, WRONG, RIGHT) == Staircase(START - 1, 1)


def test_cannot_tell_leaves_level_and_run() -> None:
    assert after(RIGHT, CANNOT_TELL) == after(RIGHT)
    assert after(RIGHT, CANNOT_TELL, RIGHT).level == START + 1


def test_levels_have_an_end_both_ways() -> None:
    assert after(*[RIGHT] * 100).level == LEVELS
    assert after(*[WRONG] * 100).level == 1


def test_an_unknown_outcome_is_refused() -> None:
    with pytest.raises(ValueError, match="perhaps"):
        Staircase().after("perhaps")


def drift(share_right: float, seed: int) -> float:
    """Mean change of level an answer, far from both ends."""
    rng, moved, stairs = np.random.default_rng(seed), 0, Staircase(5)
    for right in rng.random(20_000) < share_right:
        new = stairs.after(RIGHT if right else WRONG)
        moved += new.level - stairs.level
        stairs = Staircase(5, new.run)
    return moved / 20_000


@pytest.mark.parametrize("share_right", [0.5, 0.66, SETTLES_AT, 0.76, 0.9])
def test_the_drift_is_that_of_the_rule(share_right: float) -> None:
    # As a Markov chain on the run: p*p/(1+p) up and (1-p) down, nought where p*p = 1/2: 70.7 %
    # of answers right for two up and one down (Levitt 1971, table I).
    expected = (2 * share_right**2 - 1) / (1 + share_right)
    assert drift(share_right, seed=7) == pytest.approx(expected, abs=0.015)


def test_it_settles_where_seventy_point_seven_of_a_hundred_are_right() -> None:
    assert pytest.approx(0.707, abs=5e-4) == SETTLES_AT


@pytest.mark.parametrize("skill", [3.0, 4.5, 6.0, 7.0])
def test_simulated_players_settle_near_their_own_level(skill: float) -> None:
    # Right with chance 1/5 + 4/5 * logistic(2 * (skill - level)), five choices.
    def chance(level: float) -> float:
        return 0.2 + 0.8 / (1 + math.exp(-2 * (skill - level)))

    target = skill - math.log((SETTLES_AT - 0.2) / (1 - SETTLES_AT)) / 2
    assert chance(target) == pytest.approx(SETTLES_AT)
    rng, stairs, visited, right = np.random.default_rng(1), Staircase(), [], []
    for _ in range(6_000):
        visited.append(stairs.level)
        right.append(bool(rng.random() < chance(stairs.level)))
        stairs = stairs.after(RIGHT if right[-1] else WRONG)
    assert np.mean(visited[200:]) == pytest.approx(target, abs=0.5)
    assert np.mean(right[200:]) == pytest.approx(SETTLES_AT, abs=0.05)


@pytest.mark.parametrize("choices", range(2, 9))
def test_cannot_tell_beats_a_blind_guess_and_never_knowing(choices: int) -> None:
    part = cannot_tell_credit(choices)
    assert 1 / choices < part < 1
    assert points(CANNOT_TELL, choices) == part
    assert (points(RIGHT, choices), points(WRONG, choices)) == (1, 0)
    assert f"{part:g}" in rule_words(choices)
