"""Advice on photos: each thing that is spoilt is told, a good photo is left in peace."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from simsearch.encode.framing import Square, whole
from simsearch.measure.advice import advise
from simsearch.measure.layout import A6
from tests.measure.advice_rates import spoilt_copies
from tests.measure.rendering import disc, photo_of, scene


class SeesDark:
    """An encoder that takes what is not ground for the object."""

    def squares(self, photos: list[Image.Image]) -> list[Square]:
        return [whole(photo) for photo in photos]

    def masks(self, photos: list[Image.Image]) -> np.ndarray:
        masks = []
        for photo in photos:
            pixels = np.asarray(photo.resize((48, 48), Image.Resampling.BOX), float)
            # A square frame: fill what a photo that is not square leaves out.
            masks.append((pixels[..., 2] < 190).astype(np.float32))
        return np.stack(masks)


def find(level: float = 120, grain: float = 22) -> Image.Image:
    """A textured disc on light paper."""
    y, x = np.mgrid[0:600, 0:600]
    rng = np.random.default_rng(1)
    inside = np.hypot(x - 300, y - 300) < 200
    coarse = Image.fromarray(rng.normal(0, 1, (75, 75)).astype(np.float32))
    rough = np.asarray(coarse.resize((600, 600), Image.Resampling.BICUBIC))
    surface = level + grain * rough + rng.normal(0, 12, (600, 600))
    grey = np.where(inside, surface, 230)
    return Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).convert("RGB")


def kinds(photo: Image.Image) -> set[str]:
    return {one.kind for one in advise(photo, SeesDark())}


def test_a_good_photo_is_only_told_about_the_scale() -> None:
    assert kinds(find()) == {"no scale"}


@pytest.mark.parametrize(
    ("way", "kind"), [("blurred", "blur"), ("small", "too small"), ("flattened", "flat light")]
)
def test_spoilt_copies_are_told(way: str, kind: str) -> None:
    assert kind in kinds(spoilt_copies(find())[way])


def test_dark_glare_and_cut_off_are_told() -> None:
    assert "dark" in kinds(find(level=30, grain=6))
    pixels = np.asarray(find()).copy()
    spots = np.s_[200:400, 200:400]
    pixels[spots][np.indices((200, 200)).sum(0) % 25 < 6] = (255, 255, 255)
    assert "glare" in kinds(Image.fromarray(pixels))
    assert "cut off" in kinds(find().crop((300, 0, 600, 300)))


def test_where_no_object_is_seen_that_is_said() -> None:
    told = advise(Image.new("RGB", (300, 300), "white"), SeesDark())
    assert [one.kind for one in told] == ["no object"]


def test_on_a_card_only_its_middle_is_looked_at() -> None:
    photo, _ = photo_of(scene(outline=disc(30.0), thickness=2.0))
    assert not kinds(photo) & {"cut off", "no scale", "card", "no object"}
    covered, _ = photo_of(scene(covered=tuple(A6.markers)[:7]))
    told = [one for one in advise(covered, SeesDark()) if one.kind == "card"]
    assert len(told) == 1 and "markers" in told[0].words
