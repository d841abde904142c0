"""Twenty-four real ancient coins, from the picture that ships inside scikit-image.

The picture is ``skimage.data.coins()``: grey, 303 x 384 pixels, "Greek coins from Pompeii",
downloaded by scikit-image's authors from the Brooklyn Museum collection, no known copyright
restrictions (as its docstring says). Each coin stands for a type with one reference photo; the
queries are the same coins turned, lit and scaled otherwise, or cut in half. This says whether an
encoder recognises relief that it never saw in training; it does not say whether it finds
another specimen of a type, because there is only one photo of each coin.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image
from scipy import ndimage  # type: ignore[import-untyped]
from skimage import data, filters, measure, morphology

from simsearch.evaluation.scoring import Scorer

SIDE = 160  # pixels of a coin's photo; the coins are 38 to 66 pixels wide in the picture
MARGIN = 1.25  # width of a coin's photo over the width of the coin
CHANCE = 1 / 24

Grey = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class _Coin:
    """A square cut out round one coin: grey 0..255, where the coin is, and the ground's grey."""

    grey: Grey
    mask: Mask
    ground: float


def find_coins() -> list[Image.Image]:
    """Return a photo (RGB, SIDE square) of each of the 24 coins, top left to bottom right."""
    return [_photo(coin.grey) for coin in _coins()]


def whole_queries(seed: int) -> list[Image.Image]:
    """Return each coin once, in the order of ``find_coins``, photographed otherwise.

    Turned by any angle, cut out wider or closer, lit from another side (gradient, gain, gamma),
    with noise, at 96 to 200 pixels.
    """
    rng = np.random.default_rng([seed, 1])
    return [_photographed(coin.grey, coin.ground, rng) for coin in _coins()]


def half_queries(seed: int, *, again: bool = False) -> list[Image.Image]:
    """Return one half of each coin, in the order of ``find_coins``.

    The cut runs at any angle within a tenth of the coin's width of its middle; what is cut off
    is filled with the ground. ``again`` also photographs the half otherwise, as whole_queries.
    """
    rng = np.random.default_rng([seed, 2])
    halves = [_cut(coin, rng) for coin in _coins()]
    if not again:
        return [_photo(half) for half in halves]
    pairs = zip(halves, _coins(), strict=True)
    return [_photographed(half, coin.ground, rng) for half, coin in pairs]


def recall_at_1(scorer: Scorer, queries: list[Image.Image]) -> float:
    """Return the share of queries whose own coin scores above each of the 23 others.

    ``queries`` are in the order of ``find_coins``. A tie counts as a miss.
    """
    scores = np.asarray(scorer.scores(queries, find_coins()), dtype=np.float64)
    own = np.diagonal(scores)
    others = np.where(np.eye(len(own), dtype=bool), -np.inf, scores).max(axis=1)
    return float((own > others).mean())


@lru_cache(maxsize=1)
def _coins() -> tuple[_Coin, ...]:
    picture = data.coins().astype(np.float64)
    labels = measure.label(_coin_mask(picture))
    regions = sorted(measure.regionprops(labels), key=lambda region: region.bbox[0])
    # Four rows of six: sorted by their tops, each run of six is a row.
    rows = [regions[start : start + 6] for start in range(0, len(regions), 6)]
    ordered = [region for row in rows for region in sorted(row, key=lambda r: r.bbox[1])]
    return tuple(_cut_out(picture, labels, region) for region in ordered)


def _coin_mask(picture: Grey) -> Mask:
    """Tell coins from ground: brighter than the ground round them, which fades to one side."""
    # At a quarter of the size: the ground changes slowly and the filter's window is large.
    quarter = ndimage.percentile_filter(picture[::4, ::4], 20, size=19)
    fading = Image.fromarray(quarter.astype(np.float32)).resize(picture.shape[::-1])
    ground = ndimage.gaussian_filter(np.asarray(fading, dtype=np.float64), 20)
    rise = ndimage.gaussian_filter(picture, 1) - ground
    bright = rise > 0.6 * filters.threshold_otsu(rise)  # the shaded side of a coin is darker
    filled = ndimage.binary_fill_holes(morphology.closing(bright, morphology.disk(3)))
    mask: Mask = morphology.opening(filled, morphology.disk(5)).astype(bool)
    return mask


def _cut_out(picture: Grey, labels: npt.NDArray[np.int64], region: Any) -> _Coin:
    """Cut a square out round one coin; whatever is not this coin or plain ground becomes ground.

    Left in, a neighbour's rim or the black edge of the picture would tell one coin from another.
    """
    top, left, bottom, right = region.bbox
    side = round(MARGIN * max(bottom - top, right - left))
    first_row, first_column = (top + bottom - side) // 2 + side, (left + right - side) // 2 + side
    window = (slice(first_row, first_row + side), slice(first_column, first_column + side))
    grey = np.pad(picture, side, mode="edge")[window]
    here = np.pad(labels, side)[window]
    ground = float(np.median(grey[here == 0]))
    near = ndimage.binary_dilation(here == region.label, iterations=2)
    odd = ~near & ((here != 0) | (np.abs(grey - ground) > 15))
    dark = (here != region.label) & (grey < ground - 15)
    clean = np.where(ndimage.binary_dilation(odd, iterations=2) & ~near | dark, ground, grey)
    mask = np.asarray(_resized((here == region.label) * 255.0, SIDE) > 127)
    return _Coin(_resized(clean, SIDE), mask, ground)


def _cut(coin: _Coin, rng: np.random.Generator) -> Grey:
    """Fill what lies beyond a random line near the middle of the coin with ground."""
    rows, columns = np.nonzero(coin.mask)
    angle = rng.uniform(0, 2 * np.pi)
    shift = rng.uniform(-0.1, 0.1) * np.sqrt(4 * len(rows) / np.pi)
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    beyond = (x - columns.mean()) * np.cos(angle) + (y - rows.mean()) * np.sin(angle) > shift
    gone = beyond & ndimage.binary_dilation(coin.mask, iterations=4)
    return np.where(gone, coin.ground + rng.normal(0, 4, coin.grey.shape), coin.grey)


def _photographed(grey: Grey, ground: float, rng: np.random.Generator) -> Image.Image:
    """Turn, crop, light and scale a picture anew."""
    image = Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8))
    fill = round(ground)
    image = image.rotate(rng.uniform(0, 360), Image.Resampling.BICUBIC, fillcolor=fill)
    reach = SIDE * rng.uniform(0.85, 1.15)
    off = rng.uniform(-0.04, 0.04, size=2) * SIDE
    left, top = (SIDE - reach) / 2 + off[0], (SIDE - reach) / 2 + off[1]
    side = round(rng.uniform(96, 200))
    step = reach / side
    image = image.transform(
        (side, side),
        Image.Transform.AFFINE,
        (step, 0, left, 0, step, top),
        Image.Resampling.BICUBIC,
        fillcolor=fill,
    )
    return _photo(_lit(np.asarray(image, dtype=np.float64), rng))


def _lit(grey: Grey, rng: np.random.Generator) -> Grey:
    side = len(grey)
    y, x = np.mgrid[-1 : 1 : side * 1j, -1 : 1 : side * 1j]
    angle = rng.uniform(0, 2 * np.pi)
    gradient = 1 + rng.uniform(0.1, 0.35) * (x * np.cos(angle) + y * np.sin(angle))
    lit = 255 * (grey / 255) ** rng.uniform(0.6, 1.6) * rng.uniform(0.75, 1.3) * gradient
    return np.asarray(lit + rng.normal(0, 4, grey.shape))


def _resized(values: Grey, side: int) -> Grey:
    image = Image.fromarray(values.astype(np.float32))
    return np.asarray(image.resize((side, side), Image.Resampling.BICUBIC), dtype=np.float64)


def _photo(grey: Grey) -> Image.Image:
    return Image.fromarray(np.rint(np.clip(grey, 0, 255)).astype(np.uint8)).convert("RGB")
