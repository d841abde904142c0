"""The card seen from straight above, true to scale, in neutral colours."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.measure.find_card import CardView
from simsearch.measure.layout import Box, Patch

Floats = NDArray[np.float64]

FINEST = 12.0
"""Pixels per mm beyond which a squared-up picture only grows."""
_GAMMA = 2.2  # close enough to sRGB's curve (IEC 61966-2-1) for gains of a few tenths
_WHITE = 0.85  # of full light: paper, with room above it for what shines
_BURNT = 252
_MOST_GAIN = 8.0


@dataclass(frozen=True)
class Balance:
    """Gains for red, green and blue in linear light.

    ``unevenness`` is the light on the brightest white patch over that on the darkest; ``note``
    says what the gains rest on.
    """

    gains: tuple[float, float, float]
    unevenness: float
    note: str


_AS_IT_IS = Balance((1.0, 1.0, 1.0), 1.0, "not at all")


@dataclass(frozen=True, eq=False)
class Squared:
    """A part of the card from above. Pixel (0, 0) begins at the left upper corner of ``box``."""

    picture: Image.Image
    box: Box
    px_per_mm: float
    balance: Balance


def square_up(
    photo: Image.Image, view: CardView, box: Box | None = None, *, balanced: bool = True
) -> Squared:
    """Return a part of the card (all of it without ``box``) squared up.

    Colours are made neutral by the card's patches unless ``balanced`` is False.
    """
    box = box or Box(0, 0, view.layout.width, view.layout.height)
    scale = min(view.px_per_mm, FINEST)
    width, height = max(1, round(box.width * scale)), max(1, round(box.height * scale))
    x, y = np.meshgrid((np.arange(width) + 0.5) / scale, (np.arange(height) + 0.5) / scale)
    mm = np.stack([x.ravel() + box.x, y.ravel() + box.y], 1)
    at = (view.plane.to_photo(mm) - 0.5).astype(np.float32).reshape(height, width, 2)
    pixels = np.asarray(photo.convert("RGB"))
    seen = cv2.remap(pixels, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderValue=(0, 0, 0))
    balance = white_balance(photo, view) if balanced else _AS_IT_IS
    table = np.arange(256) / 255
    curves = np.stack([np.clip(table**_GAMMA * g, 0, 1) ** (1 / _GAMMA) for g in balance.gains])
    rows = np.rint(curves * 255).astype(np.uint8)
    neutral = np.stack([rows[c][seen[..., c]] for c in range(3)], -1)
    return Squared(Image.fromarray(neutral), box, scale, balance)


def white_balance(photo: Image.Image, view: CardView) -> Balance:
    """Gains that make the card's bare white patches neutral and light.

    Where those are burnt out, the grey patches give the colour and nothing is brightened.
    """
    pixels = np.asarray(photo.convert("RGB"))
    white = _levels(pixels, view, 1.0)
    grey = _levels(pixels, view, 0.5)
    light = white.mean(1)
    unevenness = float(light.max() / max(float(light.min()), 1e-4))
    burnt = white.max(1) >= (_BURNT / 255) ** _GAMMA
    if not burnt.all():
        level = np.median(white[~burnt], axis=0)
        gains = _WHITE / np.maximum(level, 1e-4)
        # Several patches burnt out: do not brighten what is too light already.
        gains = gains if not burnt.any() else gains * min(1.0, 1 / gains.max())
        note = "by the white patches"
    else:
        level = np.maximum(np.median(grey, axis=0), 1e-4)
        gains = level.min() / level
        note = "by the grey patches, since the white ones are burnt out"
    red, green, blue = (float(g) for g in np.clip(gains, 1 / _MOST_GAIN, _MOST_GAIN))
    return Balance((red, green, blue), unevenness, note)


def _levels(pixels: NDArray[np.uint8], view: CardView, grey: float) -> Floats:
    """Linear light (n, 3) on the patches of one grey."""
    patches = [patch for patch in view.layout.patches if patch.grey == grey]
    return np.stack([_level(pixels, view, patch) for patch in patches])


def _level(pixels: NDArray[np.uint8], view: CardView, patch: Patch) -> Floats:
    inner = patch.box.inside(patch.box.width * 0.25)
    share = (np.arange(12) + 0.5) / 12
    x, y = np.meshgrid(inner.x + share * inner.width, inner.y + share * inner.height)
    at = np.floor(view.plane.to_photo(np.stack([x.ravel(), y.ravel()], 1))).astype(int)
    height, width = pixels.shape[:2]
    at = np.clip(at, 0, [width - 1, height - 1])
    median = np.median(pixels[at[:, 1], at[:, 0]], axis=0)
    return np.asarray((median / 255) ** _GAMMA, np.float64)
