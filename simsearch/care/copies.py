"""Finding photos that are copies of one another, in a set of any size.

Comparing all pairs closely is out of the question: five thousand photos make twelve million.
Every photo is therefore brought down to 12 by 12 grey values, and so are parts of it (what a
crop of up to a fifth could have left) and the same mirrored or turned; an inner product then
says how near any of these comes to any whole photo. Only the few nearest of each photo, and the
nearest by the index's vectors, are laid over one another (``registration``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simsearch.care.registration import NOT_LAID, Laid, Window, lay

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]
Progress = Callable[[int, int], None]

_GRID = 12
NEAREST = 8
"""How many nearest photos of each are looked at closely, each way round."""
_LEAST_NEAR = 0.8
_BATCH, _CHUNK = 512, 256
_AT_ONCE = 2  # the picture library lets go of Python's lock
# Sides of the parts that are tried, and at how many places along each side of the photo.
_PARTS = ((0.95, 2), (0.9, 3), (0.8, 4))


@dataclass(frozen=True)
class Copy:
    """Two photos, by position, of which one is a copy of the other; ``agreement`` 0 to 1."""

    first: int
    second: int
    agreement: float
    mirrored: bool
    turned: bool


@dataclass(frozen=True)
class _Variant:
    """A part of a photo, and how it was flipped or turned after it was cut out."""

    window: Window
    mirrored: bool = False
    turns: int = 0

    def of(self, square: Bytes) -> Bytes:
        """Flip and turn a whole square; the window is not cut out."""
        flipped = square[:, ::-1] if self.mirrored else square
        return np.ascontiguousarray(np.rot90(flipped, self.turns))

    def window_after(self) -> Window:
        """Where the window lies after flipping; turned parts are whole photos."""
        part = self.window
        left = 1 - part.side - part.left if self.mirrored else part.left
        return Window(left, part.top, part.side)


_Guess = tuple[float, int, int, int]  # nearness, photo it is part of, the part, which variant


def find_copies(
    squares: Bytes,
    progress: Progress | None = None,
    *,
    also: Sequence[tuple[int, int]] = (),
) -> list[Copy]:
    """Return the pairs of photos that are copies, by position, the surest first.

    ``squares`` is uint8 (n, side, side) as ``pictures.grey_square`` makes them. ``also`` names
    pairs to look at besides those found here. ``progress`` is called with (pairs looked at,
    pairs in all).
    """
    if len(squares) < 2:
        return []
    variants = _variants()
    pairs = _likely_pairs(squares, variants)
    for first, second in also:
        low, high = min(first, second), max(first, second)
        tries = [(0.0, low, high, 0), (0.0, high, low, 0), (0.0, low, high, 1)]
        pairs.setdefault((low, high), tries)
    found = []
    work = list(pairs.items())
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        for start in range(0, len(work), _CHUNK):
            if progress:
                progress(start, len(work))
            chunk = work[start : start + _CHUNK]
            looked = pool.map(lambda item: _looked_at(squares, item[1], variants), chunk)
            for ((first, second), _), (laid, kind) in zip(chunk, looked, strict=True):
                if laid.is_copy:
                    turned = kind.turns > 0
                    found.append(Copy(first, second, laid.agreement, kind.mirrored, turned))
    if progress:
        progress(len(work), len(work))
    return sorted(found, key=lambda copy: -copy.agreement)


def _looked_at(
    squares: Bytes, guesses: list[_Guess], variants: Sequence[_Variant]
) -> tuple[Laid, _Variant]:
    """Lay one photo over the other as each guess says until one of them shows a copy."""
    best, kind = NOT_LAID, variants[0]
    for _, whole, part, which in sorted(guesses, reverse=True):
        variant = variants[which]
        laid = lay(variant.of(squares[whole]), squares[part], variant.window_after())
        if laid.is_copy:
            return laid, variant
        if laid.agreement > best.agreement:
            best, kind = laid, variant
    return best, kind


def _variants() -> tuple[_Variant, ...]:
    whole = Window(0.0, 0.0, 1.0)
    turned = [_Variant(whole, mirrored, turns) for mirrored in (False, True) for turns in (1, 2, 3)]
    parts = [
        Window(float(left), float(top), side)
        for side, places in _PARTS
        for left in np.linspace(0, 1 - side, places)
        for top in np.linspace(0, 1 - side, places)
    ]
    cut = [_Variant(part, mirrored) for part in parts for mirrored in (False, True)]
    return (_Variant(whole), _Variant(whole, True), *cut, *turned)


def _likely_pairs(
    squares: Bytes, variants: Sequence[_Variant]
) -> dict[tuple[int, int], list[_Guess]]:
    """Return the pairs worth a closer look, each with the one or two best guesses."""
    base = _unit(np.stack([_small(square) for square in squares]))
    count, keep = len(squares), min(NEAREST, len(squares) - 1)
    pairs: dict[tuple[int, int], list[_Guess]] = {}
    # Each photo's nearest wholes are only known when all batches are through.
    column_best = np.full((keep, count), -1.0, np.float32)
    column_from = np.zeros((2, keep, count), np.int32)
    for start in range(0, count, _BATCH):
        best, which = _nearness(squares[start : start + _BATCH], base, variants)
        rows = np.arange(len(best))
        best[rows, rows + start] = -1.0
        nearest = np.argpartition(-best, keep - 1, axis=1)[:, :keep]
        for row in rows:
            for part in nearest[row]:
                guess = (float(best[row, part]), int(start + row), int(part), int(which[row, part]))
                _note(pairs, guess)
        every = np.concatenate([column_best, best])
        whole = np.broadcast_to((rows + start)[:, None], best.shape)
        sources = np.concatenate([column_from, np.stack([whole, which])], axis=1)
        order = np.argpartition(-every, keep - 1, axis=0)[:keep]
        column_best = np.take_along_axis(every, order, axis=0)
        column_from = np.take_along_axis(sources, order[None], axis=1)
    for rank in range(keep):
        for part in range(count):
            source, kind = (int(n) for n in column_from[:, rank, part])
            _note(pairs, (float(column_best[rank, part]), source, part, kind))
    return pairs


def _nearness(
    squares: Bytes, base: Floats, variants: Sequence[_Variant]
) -> tuple[Floats, NDArray[np.int32]]:
    """How near any variant of some photos comes to each whole photo, and which variant it is."""
    best = np.full((len(squares), len(base)), -1.0, np.float32)
    which = np.zeros(best.shape, np.int32)
    for number, variant in enumerate(variants):
        scores = _unit(np.stack([_part(square, variant) for square in squares])) @ base.T
        better = scores > best
        best[better] = scores[better]
        which[better] = number
    return best, which


def _note(pairs: dict[tuple[int, int], list[_Guess]], guess: _Guess) -> None:
    nearness, whole, part, _ = guess
    if nearness < _LEAST_NEAR or whole == part:
        return
    tries = pairs.setdefault((min(whole, part), max(whole, part)), [])
    if guess not in tries:
        tries.append(guess)


def _part(square: Bytes, variant: _Variant) -> Floats:
    window, side = variant.window, len(square)
    left, top = round(window.left * side), round(window.top * side)
    length = round(window.side * side)
    small = _small(square[top : top + length, left : left + length])
    flipped = small[:, ::-1] if variant.mirrored else small
    return np.rot90(flipped, variant.turns)


def _small(grey: Bytes) -> Floats:
    small = cv2.resize(grey, (_GRID, _GRID), interpolation=cv2.INTER_AREA)
    return small.astype(np.float32)


def _unit(pictures: Floats) -> Floats:
    """Rows of length one without their mean, so that brightness and contrast do not count."""
    rows = pictures.reshape(len(pictures), -1)
    rows = rows - rows.mean(axis=1, keepdims=True)
    lengths = np.linalg.norm(rows, axis=1, keepdims=True)
    unit: Floats = (rows / np.maximum(lengths, 1e-3)).astype(np.float32)
    return unit
