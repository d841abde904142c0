"""The outline baseline does not mind where, how large and which way round an object lies."""

from __future__ import annotations

import numpy as np
import pytest

pytest.importorskip("cv2")

from PIL import Image, ImageDraw

from simsearch.evaluation.outline import (
    GROUNDS,
    MEASURES,
    POINTS,
    Outline,
    best_shift,
    segment,
    signature,
)
from simsearch.evaluation.scoring import turn

L_SHAPE = [(50, 40), (80, 40), (80, 130), (140, 130), (140, 160), (50, 160)]
CROSS = [(80, 40), (120, 40), (120, 80), (160, 80), (160, 120), (120, 120), (120, 160), (80, 160),
         (80, 120), (40, 120), (40, 80), (80, 80)]  # fmt: skip


def drawn(corners: list[tuple[int, int]], *, scale: float = 1, shift: int = 0) -> Image.Image:
    photo = Image.new("RGB", (200, 200), (225, 222, 215))
    places = [(100 + scale * (x - 100) + shift, 100 + scale * (y - 100)) for x, y in corners]
    ImageDraw.Draw(photo).polygon(places, fill=(60, 90, 70))
    return photo


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("measure", MEASURES)
def test_turned_enlarged_and_moved_outlines_stay_near(ground: str, measure: str) -> None:
    queries = [
        turn(drawn(L_SHAPE), 37),
        turn(drawn(L_SHAPE), 190),
        drawn(L_SHAPE, scale=0.6),
        drawn(L_SHAPE, scale=0.8, shift=20),
    ]
    scores = Outline(ground, measure).scores(queries, [drawn(L_SHAPE), drawn(CROSS)])
    assert scores.shape == (4, 2) and scores.dtype == np.float32
    assert (scores[:, 0] > scores[:, 1] + 0.05).all()


def test_a_turn_hardly_changes_the_correlation() -> None:
    own = Outline().scores([turn(drawn(L_SHAPE), angle) for angle in (15, 90, 222)],
                           [drawn(L_SHAPE)])  # fmt: skip
    assert (own > 0.98).all()


def test_a_mirrored_object_is_another_one() -> None:
    mirrored = drawn(L_SHAPE).transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    scores = Outline().scores([mirrored], [drawn(L_SHAPE), mirrored])[0]
    assert scores[0] < 0.95 < 0.999 < scores[1]


def test_the_signature_of_a_square_is_that_of_geometry() -> None:
    """Along a square's side the distance goes from a to a times the root of 2 and back."""
    mask = np.zeros((200, 200), dtype=bool)
    mask[20:180, 20:180] = True
    found = signature(mask) + 1
    assert found.max() / found.min() == pytest.approx(np.sqrt(2), abs=0.02)
    # Four like sides: a quarter of the way round, the same again.
    assert np.allclose(found, np.roll(found, POINTS // 4), atol=0.03)


def test_a_circle_and_nothing_have_no_signature() -> None:
    rows, columns = np.mgrid[-100:100, -100:100]
    assert np.abs(signature(np.hypot(rows, columns) < 70)).max() < 0.03
    assert not signature(np.zeros((50, 50), dtype=bool)).any()


def test_the_best_shift_is_the_best_of_all() -> None:
    rng = np.random.default_rng(1)
    one, other = rng.normal(size=(2, 3, 16))
    tried = [one @ np.roll(other, step, axis=1).T for step in range(16)]
    assert np.allclose(best_shift(one, other), np.max(tried, axis=0), atol=1e-5)
    assert best_shift(one[:0], other).shape == (0, 3)


@pytest.mark.parametrize("ground", GROUNDS)
def test_the_object_is_told_from_its_ground(ground: str) -> None:
    photo = drawn(L_SHAPE)
    dark = np.asarray(photo.resize((160, 160)).convert("L")) < 150
    found = segment(photo, ground)
    assert (found & dark).sum() / (found | dark).sum() > 0.93
    light = Image.eval(photo, lambda value: 255 - value)
    found = segment(light, ground)
    assert (found & dark).sum() / (found | dark).sum() > 0.93


@pytest.mark.parametrize("ground", GROUNDS)
def test_a_blank_photo_shows_nothing(ground: str) -> None:
    assert not segment(Image.new("RGB", (64, 48), "grey"), ground).any()


def test_other_words_are_refused() -> None:
    with pytest.raises(ValueError, match="choose from"):
        Outline("magic")
