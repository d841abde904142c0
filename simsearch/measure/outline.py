"""The outline of a find that lies on the card's bare paper.

The paper's own brightness, which falls off smoothly, is fitted and divided out; what differs from
paper is the find or its shadow. A shadow is a paler, colourless copy, so the line is drawn half
way between paper and find. The encoder, where there is one, says which of several things is the
find; its own outline is too coarse to measure by.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol, runtime_checkable

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.encode.framing import Square
from simsearch.measure.model import MeasureError

Floats = NDArray[np.float32]
Mask = NDArray[np.bool_]

LEAST_MM2 = 12.0
"""Anything smaller is dirt on the paper."""
_LEAST_CONTRAST = 0.12
_TIGHT_LOOSE = (0.8, 1.2)  # of the level of the outline, to see how much depends on it
_PAPER_GRID = 6  # px; the paper is fitted on every so many


@runtime_checkable
class FindsObjects(Protocol):
    """An encoder that also says where in a photo the object is."""

    def masks(self, photos: list[Image.Image]) -> Floats:
        """How likely each point of the square is of the object, (n, rows, cols)."""

    def squares(self, photos: list[Image.Image]) -> list[Square]:
        """The square of each photo that ``masks`` covers."""


@dataclass(frozen=True, eq=False)
class Outlined:
    """The find in a picture: masks as large as the picture.

    ``tight`` and ``loose`` are the same with the outline drawn nearer to the find and nearer to
    the paper. ``agreement`` is the overlap with the encoder's outline (0 to 1), if one was asked.
    """

    mask: Mask
    tight: Mask
    loose: Mask
    agreement: float | None


def outline_on_paper(
    picture: Image.Image, px_per_mm: float, encoder: FindsObjects | None = None
) -> Outlined:
    """Find the object on plain paper in a squared-up picture that shows only paper and find.

    Raises MeasureError when there is nothing, more than one thing, or something that goes beyond
    the picture.
    """
    pixels = np.asarray(picture.convert("RGB"), np.float32) / 255
    soft = cv2.GaussianBlur(pixels, (0, 0), max(0.6, 0.1 * px_per_mm))
    unlike = _unlike_paper(np.asarray(soft, np.float32))
    level = _level(unlike, px_per_mm)
    likely = None if encoder is None else likelihood(picture, encoder)
    mask = _the_find(unlike > level, px_per_mm, likely)
    tight, loose = (_grown(unlike > level * share, mask) for share in _TIGHT_LOOSE[::-1])
    agreement = None if likely is None else _overlap(mask, likely > 0.5)
    return Outlined(mask, tight & mask, loose | mask, agreement)


def likelihood(picture: Image.Image, encoder: FindsObjects) -> Floats:
    """How likely each pixel of a picture is of the object, by the encoder (height, width)."""
    square, mask = encoder.squares([picture])[0], encoder.masks([picture])[0]
    cell = square.side / mask.shape[0]
    left, top = square.x - square.side / 2, square.y - square.side / 2
    # From pixels of the picture to cells of the mask, both counted from their middles.
    way = np.array([
        [1 / cell, 0, (0.5 - left) / cell - 0.5], [0, 1 / cell, (0.5 - top) / cell - 0.5]
    ])  # fmt: skip
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpAffine(mask.astype(np.float32), way, picture.size, flags=how))


def _unlike_paper(pixels: Floats) -> Floats:
    """How far each pixel is from paper: 0 for paper, towards 1 for black or strong colour."""
    ratio = pixels / np.maximum(_paper(pixels), 0.05)
    darker = np.abs(1 - ratio.mean(2))
    coloured = ratio.max(2) - ratio.min(2)
    return np.asarray(np.clip(np.maximum(darker, 1.5 * coloured), 0, 1), np.float32)


def _paper(pixels: Floats) -> Floats:
    """The paper as it would look without the find: a smooth surface through what is light."""
    height, width = pixels.shape[:2]
    few = pixels[::_PAPER_GRID, ::_PAPER_GRID]
    y, x = np.mgrid[0 : few.shape[0], 0 : few.shape[1]] * _PAPER_GRID
    terms = _terms(x / width - 0.5, y / height - 0.5)
    rows, colours = terms.reshape(-1, terms.shape[-1]), few.reshape(-1, 3)
    light = colours.mean(1)
    kept = light >= np.median(light) * 0.85
    weights = np.zeros((terms.shape[-1], 3))
    for _ in range(6):
        weights = np.linalg.lstsq(rows[kept], colours[kept], rcond=None)[0]
        off = light - (rows @ weights).mean(1)
        spread = 1.4826 * float(np.median(np.abs(off[kept] - np.median(off[kept])))) + 0.004
        kept = np.abs(off) < 3 * spread
        if kept.sum() < 50:
            break
    y, x = np.mgrid[0:height:8, 0:width:8]
    surface = _terms(x / width - 0.5, y / height - 0.5) @ weights
    return np.asarray(cv2.resize(surface.astype(np.float32), (width, height)), np.float32)


def _terms(x: NDArray[Any], y: NDArray[Any]) -> NDArray[np.float64]:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1)


def _level(unlike: Floats, px_per_mm: float) -> float:
    """Half way between paper and find; raises MeasureError when nothing stands out."""
    bytes_ = np.rint(unlike * 255).astype(np.uint8)
    noise = float(np.median(unlike)) * 2
    start = max(_LEAST_CONTRAST, 4 * noise)
    something = bytes_[unlike > start]
    if something.size < LEAST_MM2 * px_per_mm**2:
        raise MeasureError(
            "Nothing is seen on the card's bare middle, or it hardly differs from the paper.",
            hint="Lay the find inside the four angles, in even light; or measure with two points.",
        )
    return max(start, float(np.median(something)) / 255 / 2)


def _the_find(mask: Mask, px_per_mm: float, likely: Floats | None) -> Mask:
    count, names, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    areas = stats[:, cv2.CC_STAT_AREA].astype(float)
    areas[0] = 0
    large = [n for n in range(1, count) if areas[n] >= LEAST_MM2 * px_per_mm**2]
    if not large:
        raise MeasureError(
            "Nothing of a find's size is seen on the card's bare middle.",
            hint="Lay the find inside the four angles.",
        )
    weight = areas.copy()
    if likely is not None:
        weight = np.bincount(names.ravel(), likely.ravel(), minlength=count) + areas / 1e3
        weight[0] = 0
    chosen = int(weight.argmax())
    others = [n for n in large if n != chosen and areas[n] > 0.3 * areas[chosen]]
    if others:
        raise MeasureError(
            f"{len(others) + 1} things lie on the card, or shadows as dark as the find.",
            hint="Photograph one find at a time, in even light.",
        )
    x, y, width, height = stats[chosen, :4]
    if x <= 1 or y <= 1 or x + width >= mask.shape[1] - 1 or y + height >= mask.shape[0] - 1:
        raise MeasureError(
            "The find reaches the edge of the card's bare middle.",
            hint="Lay it inside the four angles; a longer find needs the larger card.",
        )
    return _without_specks(names == chosen)


def _without_specks(mask: Mask) -> Mask:
    """With small holes filled: a highlight as bright as paper is no hole."""
    count, names, stats, _ = cv2.connectedComponentsWithStats((~mask).astype(np.uint8))
    limit = 0.01 * mask.sum()
    small = [n for n in range(1, count) if stats[n, cv2.CC_STAT_AREA] < limit]
    return np.asarray(mask | np.isin(names, small))


def _grown(other: Mask, mask: Mask) -> Mask:
    """The pieces of another mask that hold part of the find."""
    _, names = cv2.connectedComponents(other.astype(np.uint8))
    return _without_specks(other & np.isin(names, np.unique(names[mask & other])))


def _overlap(one: Mask, other: Mask) -> float:
    both = float((one & other).sum())
    return both / max(1.0, float((one | other).sum()))
