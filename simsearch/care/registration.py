"""Laying one photo over another to see whether they are the same photo.

Two photos of one object, or of two objects of one form, agree in outline and in how dark they
are. A copy agrees in its detail too: the grain of the corrosion, the weave of the ground. So the
second photo is laid over the first by sliding and stretching only, which is all that cropping,
resizing and saving again do, and then two things are asked, cell by cell:

- does the *detail* (what is left between a fine and a coarse blur) agree? Not in a few cells, but
  in three quarters of all that hold detail;
- once brightness and contrast are evened out, how much *difference* is left in the cells that
  differ most? Two plain spheres agree in detail, which is their outlines, and differ in shading.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]

COARSE, FINE = 64, 80
_SIDES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75)
_LEAST_COARSE = 0.7
_MOST_TURN = 0.06  # a copy is not turned or slanted, but a straightened one is, by 3 degrees
_LEAST_SCALE, _MOST_SCALE = 0.65, 1.06
_LEAST_OVERLAP = 0.4
_CELLS = 8
_LEAST_DETAIL = 1.5  # grey levels; what saving as JPEG leaves on a plain ground
_LEAST_CELLS = 3
_ALIKE, _MOST_DIFFERENT, _CERTAIN = 0.9, 0.22, 0.98
"""What makes a copy: this agreement with no more difference, or that agreement alone (a copy made
brighter until its lights are clipped differs much). Chosen on the shipped renders: the worst of
240 copies had 0.98 and 0.17, the best of 7,000 other pairs 0.97 and 0.26."""


@dataclass(frozen=True)
class Window:
    """A part of a photo, as fractions of its sides: left and top corner, and the side."""

    left: float
    top: float
    side: float


@dataclass(frozen=True)
class Laid:
    """How well one photo lies on another.

    ``agreement`` is that of their detail, -1 to 1, and ``difference`` what is left between
    them, as a share of the contrast of the photo; 0 and 1 where they could not be laid so.
    """

    agreement: float
    difference: float

    @property
    def is_copy(self) -> bool:
        """Whether one is so like the other that it must be a copy of it."""
        near = self.agreement >= _ALIKE and self.difference <= _MOST_DIFFERENT
        return near or self.agreement >= _CERTAIN


NOT_LAID = Laid(0.0, 1.0)


def lay(whole: Bytes, part: Bytes, window: Window) -> Laid:
    """Lay ``part`` over ``whole`` and say how well it lies there.

    Both are uint8 squares of one size; ``window`` says about where in ``whole`` the other may
    lie.
    """
    coarse, placed = _slide(whole, part, window)
    if coarse < _LEAST_COARSE:
        return NOT_LAID
    fine = _refined(whole, part, placed)
    return _compared(whole, part, placed if fine is None else fine)


def detail(grey: NDArray[np.generic], fine: float, coarse: float) -> Floats:
    """Return what is left of a grey picture between two blurs, as float32 of the same shape."""
    picture = grey.astype(np.float32)
    less, more = (cv2.GaussianBlur(picture, (0, 0), sigma) for sigma in (fine, coarse))
    return np.asarray(less - more, np.float32)


def _slide(whole: Bytes, part: Bytes, window: Window) -> tuple[float, Floats]:
    """Try sizes and places around the window; return the best agreement and where it is.

    The place is a 2 x 3 matrix from pixels of ``part`` to pixels of ``whole``.
    """
    ground = detail(_shrunk(whole), 0.8, 4.0)
    moved = _shrunk(part)
    best, found = -1.0, (1.0, 1.0, 0.0, 0.0)
    for width, height in _sizes(window.side):
        across, down = round(width * COARSE), round(height * COARSE)
        small = cv2.resize(moved, (across, down), interpolation=cv2.INTER_AREA)
        answer = cv2.matchTemplate(ground, detail(small, 0.8, 4.0), cv2.TM_CCOEFF_NORMED)
        _, score, _, (x, y) = cv2.minMaxLoc(answer)
        if score > best:
            best, found = score, (across / COARSE, down / COARSE, x / COARSE, y / COARSE)
    wide, high, left, top = found
    side = len(whole)
    # The middle of the first pixel lies half a pixel inside, in both pictures.
    shift = [left * side + (wide - 1) / 2, top * side + (high - 1) / 2]
    return best, np.array([[wide, 0, shift[0]], [0, high, shift[1]]], np.float32)


@lru_cache(maxsize=32)
def _sizes(side: float) -> tuple[tuple[float, float], ...]:
    """Pairs of width and height near a window's side; one side may be uncropped."""
    near = [size for size in _SIDES if abs(size - side) < 0.06]
    pairs = {(width, height) for width in near for height in near}
    return tuple(sorted(pairs | {(1.0, size) for size in near} | {(size, 1.0) for size in near}))


def _shrunk(square: Bytes) -> Bytes:
    small = cv2.resize(square, (COARSE, COARSE), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8)


def _refined(whole: Bytes, part: Bytes, placed: Floats) -> Floats | None:
    """Improve a place to fractions of a pixel; ``None`` when that leads nowhere."""
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 25, 1e-4)
    side, scale = (FINE, FINE), len(whole) / FINE
    # Half the size is a quarter of the work, and exact enough for what follows.
    seen, ground = (
        cv2.resize(square, side, interpolation=cv2.INTER_AREA).astype(np.float32)
        for square in (part, whole)
    )
    every = np.ones(side, np.uint8)
    start = _rescaled(placed, 1 / scale)
    try:
        _, answer = cv2.findTransformECC(seen, ground, start, cv2.MOTION_AFFINE, stop, every, 3)
    except cv2.error:  # it says so when it does not settle
        return None
    found = np.asarray(answer, np.float32)
    fits = (
        max(abs(found[0, 1]), abs(found[1, 0])) <= _MOST_TURN
        and min(found[0, 0], found[1, 1]) >= _LEAST_SCALE
        and max(found[0, 0], found[1, 1]) <= _MOST_SCALE
    )
    return _rescaled(found, scale) if fits else None


def _rescaled(placed: Floats, scale: float) -> Floats:
    """The same place for pictures that are ``scale`` times as large."""
    # Pixel 0 has its middle at 0, so the middles of the grid move when it is made finer.
    grown = placed.astype(np.float64)
    half = (scale - 1) / 2
    grown[:, 2] = grown[:, 2] * scale + half - grown[:, :2].sum(axis=1) * half
    return grown.astype(np.float32)


def _compared(whole: Bytes, part: Bytes, placed: Floats) -> Laid:
    """Compare two photos, one laid over the other, in all cells that both cover."""
    side = len(whole)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    picture = cv2.warpAffine(whole.astype(np.float32), placed, (side, side), flags=flags)
    laid = np.asarray(picture, np.float32)
    covered = cv2.warpAffine(np.ones((side, side), np.float32), placed, (side, side), flags=flags)
    inside = cv2.erode((covered > 0.99).astype(np.uint8), np.ones((7, 7), np.uint8))
    usable = _cells(inside.astype(np.float32)).mean(axis=1) > 0.99
    if inside.mean() < _LEAST_OVERLAP or not usable.any():
        return NOT_LAID
    agreement = _agreement(detail(laid, 1.2, 5.0), detail(part, 1.2, 5.0), usable)
    if agreement < _ALIKE:
        return Laid(agreement, 1.0)
    return Laid(agreement, _difference(laid, part.astype(np.float32), inside > 0, usable))


def _agreement(mine: Floats, other: Floats, usable: NDArray[np.bool_]) -> float:
    """The agreement that three quarters of the cells with detail reach; 0 with too little."""
    cells = [_cells(picture)[usable] for picture in (mine, other)]
    first, second = (each - each.mean(axis=1, keepdims=True) for each in cells)
    spread = np.maximum(first.std(axis=1), second.std(axis=1))
    telling = spread > max(_LEAST_DETAIL, 0.2 * float(spread.max()))
    if telling.sum() < _LEAST_CELLS:
        return 0.0
    first, second = first[telling], second[telling]
    lengths = np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1)
    agreed = (first * second).sum(axis=1) / np.maximum(lengths, 1e-6)
    return float(np.percentile(agreed, 25))


def _difference(
    laid: Floats, part: Floats, inside: NDArray[np.bool_], usable: NDArray[np.bool_]
) -> float:
    """What is left between two photos in the tenth of the cells that differ most."""
    first, second = (cv2.GaussianBlur(picture, (0, 0), 1.5) for picture in (laid, part))
    contrast = float(second[inside].std())
    if contrast < 1e-3:
        return 1.0
    gain, offset = np.polyfit(first[inside], second[inside], 1)
    left = ((first * gain + offset - second) / contrast).astype(np.float32)
    by_cell = np.sqrt((_cells(left)[usable] ** 2).mean(axis=1))
    return float(np.percentile(by_cell, 90))


def _cells(picture: Floats) -> Floats:
    """Cut a square picture into (cells, pixels of a cell)."""
    side = len(picture) // _CELLS
    cut = picture[: side * _CELLS, : side * _CELLS].reshape(_CELLS, side, _CELLS, side)
    return cut.swapaxes(1, 2).reshape(_CELLS * _CELLS, side * side)
