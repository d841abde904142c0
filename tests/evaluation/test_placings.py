"""Errors of placings where the right place is known by construction."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PIL import Image, ImageDraw

from simsearch.evaluation.placings import (
    SIDE,
    cut_part,
    length_of,
    placing_error,
    true_places,
)
from simsearch.leads.overlay import Box
from simsearch.leads.placing import Placed

WHOLE = Box(0.0, 0.0, 1.0, 1.0)


def laid(scale: float = 1.0, shift: tuple[float, float] = (0.0, 0.0)) -> Placed:
    return Placed(1.0, scale, 0.0, shift, 0.0, np.zeros((0, 4), np.float32))


def flat_form(side: int, left: float, right: float) -> tuple[np.ndarray, np.ndarray]:
    """A strip lying flat: each pixel between two columns shows the point at its own place."""
    y, x = (np.mgrid[0:side, 0:side] + 0.5) / side
    point = np.stack([x, y, np.zeros_like(x)], axis=-1).astype(np.float32)
    return point, (x > left) & (x < right)


def test_the_true_place_is_the_pixel_that_shows_the_same_point() -> None:
    point, whole = flat_form(16, 0.1, 0.9)
    # The fragment's photo shows the left half of the form, moved a quarter to the right.
    fragment = np.roll(point, 4, axis=1)
    mask = np.zeros_like(whole)
    mask[:, 6:10] = True
    here, true = true_places(fragment, mask, point, whole)
    assert len(here) == 64
    np.testing.assert_allclose(here[:, 0] - true[:, 0], 0.25)
    np.testing.assert_allclose(here[:, 1], true[:, 1])
    assert placing_error(laid(shift=(-0.25, 0.0)), WHOLE, WHOLE, here, true, 0.5) < 1e-6
    off = placing_error(laid(), WHOLE, WHOLE, here, true, 0.5)
    assert off == pytest.approx(0.25 / 0.5)


def test_a_point_that_is_not_shown_belongs_to_the_nearest_that_is() -> None:
    point, _ = flat_form(8, 0, 1)
    one, other = np.zeros((8, 8), bool), np.zeros((8, 8), bool)
    one[4, 7], other[4, 5], other[0, 0] = True, True, True
    _, true = true_places(point, one, point, other)
    np.testing.assert_allclose(true, [[5.5 / 8, 4.5 / 8]])
    for empty in ((one * False, other), (one, other * False)):
        assert len(true_places(point, empty[0], point, empty[1])[0]) == 0


def test_squares_around_the_objects_are_taken_into_account() -> None:
    here = np.array([[0.3, 0.3]])
    # Middle of the find's square, which lies over the middle of the reference's.
    find, reference = Box(0.2, 0.2, 0.4, 0.4), Box(0.5, 0.5, 1.0, 1.0)
    assert placing_error(laid(0.7), find, reference, here, np.array([[0.75, 0.75]]), 1.0) < 1e-6


def test_length_is_the_longer_side_of_the_box() -> None:
    mask = np.zeros((10, 10), bool)
    mask[2:4, 1:9] = True
    assert length_of(mask) == pytest.approx(0.8)
    assert length_of(mask & False) == 0


@pytest.mark.parametrize("seed", range(3))
def test_a_part_of_a_coin_shows_what_lies_at_its_true_places(seed: int) -> None:
    coin = Image.new("RGB", (150, 150), (20, 20, 20))
    draw = ImageDraw.Draw(coin)
    draw.ellipse((25, 25, 125, 125), fill=(120, 110, 100))
    draw.rectangle((70, 25, 80, 125), fill=(230, 230, 230))  # a bar across it
    part = cut_part(coin, (0.45, 0.55), np.random.default_rng(seed))
    assert part.diameter == pytest.approx(100, abs=6)
    assert part.picture.size == (SIDE, SIDE)
    assert part.mask.sum() == len(part.true)
    area = math.pi * 50**2
    hull = np.ptp(part.true, axis=0)
    assert np.hypot(*(part.true - 75).T).max() < 51  # all of it on the coin
    assert hull.max() > 80
    # One pixel of the part in pixels of the photo: the distance of neighbours in a row.
    step = np.linalg.norm(np.diff(part.true, axis=0), axis=1).min()
    assert part.mask.sum() * step**2 == pytest.approx(area / 2, rel=0.15)
    # The bar is lighter than the rest, whatever the light.
    grey = np.asarray(part.picture.convert("L"), float)[part.mask]
    on_bar = np.abs(part.true[:, 0] - 75) < 4
    beside = np.abs(part.true[:, 0] - 75) > 8
    assert grey[on_bar].mean() > grey[beside].mean() + 20
