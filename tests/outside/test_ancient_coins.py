"""Real ancient coins: the picture of 24 that ships inside scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

pytest.importorskip("skimage.data")

from simsearch.encode import load_encoder
from simsearch.evaluation import ancient_coins
from simsearch.evaluation.ancient_coins import (
    CHANCE,
    find_coins,
    half_queries,
    recall_at_1,
    whole_queries,
)
from simsearch.evaluation.baselines import Hog
from simsearch.evaluation.scoring import VectorScorer


def grey(image: Image.Image) -> np.ndarray:
    return np.asarray(image.convert("L")).astype(float)


def test_twenty_four_coins_are_found() -> None:
    """Four rows of six, as anyone can count in the picture."""
    coins = find_coins()
    assert len(coins) == 24
    assert {coin.size for coin in coins} == {(160, 160)} and coins[0].mode == "RGB"


def test_each_photo_shows_one_whole_coin_on_ground() -> None:
    for coin in ancient_coins._coins():
        rows, columns = np.nonzero(coin.mask)
        assert rows.min() > 4 and columns.min() > 4 and max(rows.max(), columns.max()) < 155
        assert 70 < max(np.ptp(rows), np.ptp(columns)) + 1 < 140
        assert coin.grey[coin.mask].mean() > coin.ground + 30
        edge = np.concatenate([coin.grey[0], coin.grey[-1], coin.grey[:, 0], coin.grey[:, -1]])
        assert np.abs(edge - coin.ground).max() < 40  # no neighbour reaches in


def test_the_coins_all_differ() -> None:
    table = np.stack([grey(coin).ravel() for coin in find_coins()])
    alike = np.corrcoef(table) - np.eye(24)
    assert alike.max() < 0.97


@pytest.mark.parametrize(
    "make", [whole_queries, half_queries, lambda seed: half_queries(seed, again=True)]
)
def test_queries_follow_the_seed(make) -> None:
    first, again, other = make(1), make(1), make(2)
    assert len(first) == 24
    assert all(np.array_equal(a, b) for a, b in zip(first, again, strict=True))
    assert not any(np.array_equal(a, b) for a, b in zip(first, other, strict=True))


def test_a_half_is_about_half_of_its_own_coin() -> None:
    for coin, half in zip(ancient_coins._coins(), half_queries(3), strict=True):
        kept = np.abs(grey(half) - coin.grey) < 1
        share = kept[coin.mask].mean()
        assert 0.3 < share < 0.7
        left = np.abs(grey(half)[coin.mask & ~kept] - coin.ground)
        assert np.quantile(left, 0.95) < 15


def test_a_perfect_method_and_a_blind_one() -> None:
    class Fixed:
        name = "fixed"

        def __init__(self, table: np.ndarray) -> None:
            self.table = table

        def scores(self, queries: list, gallery: list) -> np.ndarray:
            return self.table

    assert recall_at_1(Fixed(np.eye(24)), whole_queries(0)) == 1
    assert recall_at_1(Fixed(np.ones((24, 24))), whole_queries(0)) == 0
    assert recall_at_1(Fixed(np.eye(24)[[1, 0, *range(2, 24)]]), []) == pytest.approx(22 / 24)


def test_gradients_with_turns_lie_between_chance_and_perfect() -> None:
    assert CHANCE < recall_at_1(VectorScorer(Hog(16), turns=12), whole_queries(0)) < 1


def test_gradients_recognise_halves_that_were_not_turned() -> None:
    """Half of the picture is unchanged to the pixel: a sound method must do well here."""
    assert recall_at_1(VectorScorer(Hog(8)), half_queries(0)) > 0.8


def test_the_built_in_encoder_recognises_whole_coins() -> None:
    """Measured 0.83, 0.88 and 0.96 with seeds 0 to 2 (24 queries each); required with a margin."""
    found = recall_at_1(VectorScorer(load_encoder()), whole_queries(0))
    assert found >= 0.70


def test_the_built_in_encoder_recognises_some_halves() -> None:
    """Measured 0.42, 0.33 and 0.42: well above chance (0.04), well below what SIFT reaches."""
    found = recall_at_1(VectorScorer(load_encoder()), half_queries(0))
    assert found >= 0.25
