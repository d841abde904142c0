"""Objects are found on plain ground and broken as asked."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageDraw

from simsearch import open_set
from simsearch.photo import open_photo
from simsearch.practice.cut import break_off, find_object
from tests.practice.club import SIDE, drawn, outline


@pytest.mark.parametrize("shape", ["bar", "disc", "ring"])
@pytest.mark.parametrize("colour", [(70, 110, 80), (120, 60, 50), (240, 235, 225)])
def test_the_outline_found_is_the_one_drawn(shape: str, colour: tuple[int, int, int]) -> None:
    found = find_object(drawn(shape, colour))
    assert found is not None
    true = np.asarray(outline(shape)) > 0
    assert (found & true).sum() / (found | true).sum() > 0.9


def test_a_small_gleam_belongs_to_the_object() -> None:
    photo = drawn("disc", (60, 60, 60))
    ImageDraw.Draw(photo).ellipse((75, 75, 81, 81), fill=(200, 200, 200))
    found = find_object(photo)
    assert found is not None
    assert found[78, 78]


def test_on_busy_ground_or_without_an_object_nothing_is_claimed() -> None:
    noise = np.random.default_rng(0).integers(0, 255, (SIDE, SIDE, 3)).astype(np.uint8)
    assert find_object(Image.fromarray(noise)) is None
    assert find_object(Image.new("RGB", (SIDE, SIDE), (200, 200, 200))) is None
    assert find_object(Image.new("RGB", (8, 8))) is None
    half = Image.new("RGB", (SIDE, SIDE), "white")
    half.paste("black", (0, 0, SIDE, SIDE // 2))
    assert find_object(half) is None


@pytest.mark.parametrize("jagged", [False, True])
@pytest.mark.parametrize("kept", [0.75, 0.45, 0.3])
@pytest.mark.parametrize("shape", ["bar", "disc"])
def test_as_much_is_left_as_asked(shape: str, kept: float, jagged: bool) -> None:
    photo = drawn(shape, (60, 60, 60))
    mask = np.asarray(outline(shape)) > 0
    cut = break_off(photo, mask, kept, np.random.default_rng(3), jagged=jagged)
    assert cut.kept == pytest.approx(kept, abs=0.03)
    # What the picture shows, counted in its own pixels.
    dark = np.asarray(cut.picture.convert("L")) < 120
    assert dark.sum() / mask.sum() == pytest.approx(kept, abs=0.08)


def broken_edge(jagged: bool, seed: int) -> float:
    """How far (pixels, root mean square) the break of a bar strays from a straight line."""
    photo = drawn("bar", (60, 60, 60))
    mask = np.asarray(outline("bar")) > 0
    cut = break_off(photo, mask, 0.5, np.random.default_rng(seed), jagged=jagged)
    dark = np.asarray(cut.picture.convert("L")) < 120
    rows = [row for row in range(dark.shape[0]) if dark[row].any()][3:-3]
    first = np.array([np.flatnonzero(dark[row])[0] for row in rows])
    last = np.array([np.flatnonzero(dark[row])[-1] for row in rows])
    edge = first if np.ptp(first) > np.ptp(last) else last
    return float(np.std(edge - np.polyval(np.polyfit(rows, edge, 1), rows)))


def test_a_straight_break_is_straight_and_a_jagged_one_is_not() -> None:
    straight = [broken_edge(jagged=False, seed=seed) for seed in range(8)]
    jagged = [broken_edge(jagged=True, seed=seed) for seed in range(8)]
    assert max(straight) < 0.7  # pixels
    assert np.mean(jagged) > 2 * np.mean(straight)


def test_nothing_of_the_lost_part_shows() -> None:
    photo = drawn("bar", (200, 30, 30))
    mask = np.asarray(outline("bar")) > 0
    ImageDraw.Draw(photo).rectangle((80, 65, 139, 94), fill=(30, 30, 200))
    for seed in range(6):
        cut = break_off(photo, mask, 0.3, np.random.default_rng(seed), jagged=True)
        pixels = np.asarray(cut.picture).astype(int)
        red = (pixels[..., 0] - pixels[..., 2]) > 40
        blue = (pixels[..., 2] - pixels[..., 0]) > 40
        assert red.any() != blue.any()


def test_both_ends_may_be_left() -> None:
    photo = drawn("bar", (200, 30, 30))
    ImageDraw.Draw(photo).rectangle((80, 65, 139, 94), fill=(30, 30, 200))
    mask = np.asarray(outline("bar")) > 0
    cuts = [break_off(photo, mask, 0.3, np.random.default_rng(s), jagged=False) for s in range(12)]
    reds = [np.asarray(cut.picture)[..., 0].min() > 100 for cut in cuts]
    assert 0 < sum(reds) < len(reds)


def test_objects_of_the_shipped_photos_are_found() -> None:
    reference = open_set()
    rows = [row for row in reference.photos if row.completeness == "complete"][::30]
    found = [find_object(open_photo(reference.path_of(row))) is not None for row in rows]
    assert np.mean(found) > 0.7
