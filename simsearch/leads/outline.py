"""The outline of an object from its mask, as closed lines."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from simsearch.encode.framing import largest_piece

Floats = NDArray[np.float32]
Loop = NDArray[np.float64]

_LEAST_AREA = 0.02
"""Holes below this share of the largest piece are left out: specks of the mask."""


def outline(mask: Floats, level: float = 0.5) -> list[Loop]:
    """Closed lines (points, 2) round the parts of a mask (rows, cols) at or above ``level``.

    Points are x, y as fractions of the square that the mask covers; the last one joins the
    first. The largest comes first; holes are lines of their own. Empty where the mask is.
    What is far smaller than the largest piece is another thing in the photo, as in framing.
    """
    inside = largest_piece(np.nan_to_num(mask) >= level)
    loops = [_smooth(loop) for loop in _loops(inside)]
    areas = [abs(area_of(loop)) for loop in loops]
    if not loops:
        return []
    kept = [i for i in np.argsort(areas)[::-1] if areas[i] >= _LEAST_AREA * max(areas)]
    return [loops[i] / np.array(inside.shape[::-1]) for i in kept]


def area_of(loop: Loop) -> float:
    """The area within a closed line; holes and pieces have opposite signs."""
    x, y = loop.T
    return float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum() / 2)


def _loops(inside: NDArray[np.bool_]) -> list[Loop]:
    """The edges between cells inside and outside, joined end to end."""
    after: dict[tuple[int, int], list[tuple[int, int]]] = {}
    framed = np.pad(inside, 1)
    # The inside lies to the right of each edge as it is walked, y downwards.
    for dy, dx, start, end in (
        (-1, 0, (0, 0), (1, 0)),
        (0, 1, (1, 0), (1, 1)),
        (1, 0, (1, 1), (0, 1)),
        (0, -1, (0, 1), (0, 0)),
    ):
        beyond = np.roll(framed, (-dy, -dx), (0, 1))[1:-1, 1:-1]
        for y, x in np.argwhere(inside & ~beyond).tolist():
            first, last = (x + start[0], y + start[1]), (x + end[0], y + end[1])
            after.setdefault(first, []).append(last)
    loops = []
    while after:
        corner = start_corner = next(iter(after))
        line = []
        while True:
            line.append(corner)
            following = after[corner].pop()
            if not after[corner]:
                del after[corner]
            corner = following
            if corner == start_corner:
                break
        loops.append(np.array(line, dtype=np.float64))
    return loops


def _smooth(loop: Loop) -> Loop:
    """Take the steps off: the middles of the edges, each drawn towards its neighbours."""
    middles = (loop + np.roll(loop, -1, axis=0)) / 2
    smooth: Loop = (np.roll(middles, 1, axis=0) + 2 * middles + np.roll(middles, -1, axis=0)) / 4
    return smooth
