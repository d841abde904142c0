"""Copies are found however they were changed, and other photos are not copies."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from PIL import Image, ImageOps

from simsearch.care.copies import find_copies
from simsearch.care.pictures import SQUARE, grey_square
from simsearch.care.registration import Window, lay
from tests.care.making_pictures import saved, textured

PHOTOS = [textured(seed) for seed in range(30)]


def pairs(photos: list[Image.Image]) -> set[tuple[int, int]]:
    found = find_copies(np.stack([grey_square(photo) for photo in photos]))
    return {(copy.first, copy.second) for copy in found}


CHANGES: dict[str, Callable[[Image.Image], Image.Image]] = {
    "saved": lambda p: saved(p, 45),
    "smaller": lambda p: saved(p.resize((110, 110))),
    "larger": lambda p: saved(p.resize((600, 600))),
    "cropped": lambda p: saved(p.crop((5, 20, 221, 236))),
    "mirrored": lambda p: saved(ImageOps.mirror(p)),
    "cropped and mirrored": lambda p: saved(ImageOps.mirror(p.crop((24, 0, 240, 216)))),
    "turned": lambda p: saved(p.rotate(90)),
    "cropped at one side": lambda p: saved(p.crop((0, 0, 216, 240))),
}


@pytest.mark.parametrize("how", CHANGES)
def test_a_copy_is_found_among_other_photos(how: str) -> None:
    assert pairs([*PHOTOS, CHANGES[how](PHOTOS[7])]) == {(7, 30)}


def test_it_is_said_that_a_copy_is_mirrored_or_turned() -> None:
    planted = [PHOTOS[3], ImageOps.mirror(PHOTOS[3]), PHOTOS[3].rotate(90), PHOTOS[9]]
    found = find_copies(np.stack([grey_square(photo) for photo in planted]))
    told = {(copy.first, copy.second): (copy.mirrored, copy.turned) for copy in found}
    assert told[0, 1] == (True, False)
    assert told[0, 2] == (False, True)
    assert not any(3 in pair for pair in told)


def test_the_same_object_in_another_light_or_place_is_no_copy() -> None:
    """Lit from the other side, the same blotches are shaded otherwise; moved, turned a little."""
    photo = np.asarray(PHOTOS[5]).astype(float)
    light = np.linspace(0.45, 1.25, photo.shape[1])[None, :, None]
    relit = Image.fromarray(np.clip(photo * light, 0, 255).astype(np.uint8))
    moved = PHOTOS[5].rotate(25, fillcolor=(210, 200, 180))
    assert pairs([PHOTOS[5], relit, moved]) == set()


def test_laying_finds_where_a_crop_lay() -> None:
    whole = grey_square(PHOTOS[2])
    part = grey_square(PHOTOS[2].crop((12, 12, 228, 228)))
    assert lay(whole, part, Window(0.05, 0.05, 0.9)).is_copy
    assert not lay(whole, grey_square(PHOTOS[4]), Window(0.05, 0.05, 0.9)).is_copy


def test_plain_pictures_are_not_called_copies() -> None:
    """Without detail nothing tells one from another, so nothing is said."""
    blank = [Image.new("RGB", (200, 200), (tone, tone, tone)) for tone in (90, 91, 200)]
    assert pairs(blank) == set()


def test_one_photo_or_none_is_no_pair() -> None:
    assert find_copies(np.zeros((0, SQUARE, SQUARE), np.uint8)) == []
    assert find_copies(np.zeros((1, SQUARE, SQUARE), np.uint8)) == []


def test_exact_copies_agree_with_a_perceptual_hash() -> None:
    """A general-purpose hash library says the same of copies that are not cropped or turned."""
    imagehash = pytest.importorskip("imagehash")
    photos = [*PHOTOS[:10], saved(PHOTOS[4], 50), saved(PHOTOS[8].resize((150, 150)))]
    hashes = [imagehash.phash(photo) for photo in photos]
    theirs = {
        (one, two) for two in range(12) for one in range(two) if hashes[one] - hashes[two] <= 6
    }
    assert pairs(photos) == theirs == {(4, 10), (8, 11)}
