"""Patch grids as lists of places: which patches show the object, and how much of it.

The direction of a patch vector says what is seen, its length (0..1) how much of that patch is
object. Places are fractions of the square that the grid covers, x first, (0, 0) top left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

VISIBLE = 0.2
"""Shorter patch vectors hold too little of the object to say where it is."""
MOST_COMPARED = 100
"""A finer grid is thinned to about this many patches: neighbours say nearly the same."""


@dataclass(frozen=True, eq=False)
class Visible:
    """The patches of one grid that show the object: ``vectors`` (p, D) as they are, ``places``
    (p, 2), ``weights`` (p,) their lengths."""

    vectors: Floats
    places: Floats
    weights: Floats


def centres(rows: int, cols: int) -> Floats:
    """The middles of all patches of a grid, row by row: (rows * cols, 2) as x, y."""
    x = (np.arange(cols, dtype=np.float32) + 0.5) / cols
    y = (np.arange(rows, dtype=np.float32) + 0.5) / rows
    return np.stack([np.tile(x, rows), np.repeat(y, cols)], axis=1)


def lengths(grid: Floats) -> Floats:
    """How much of each patch is object: (..., R, C) of a grid (..., R, C, D), at most 1."""
    found: Floats = np.minimum(np.linalg.norm(grid, axis=-1), 1.0).astype(np.float32)
    return found


def visible(grid: Floats, most: int = MOST_COMPARED) -> Visible:
    """The patches of ``grid`` (R, C, D) that show the object, evenly thinned to ``most``.

    Whatever is no number counts as background.
    """
    flat = np.nan_to_num(grid.reshape(-1, grid.shape[-1]), posinf=0.0, neginf=0.0)
    weights = lengths(flat)
    kept = np.flatnonzero(weights >= VISIBLE)
    if len(kept) > most:
        # A step that does not divide the row length, so that no whole columns are left out.
        kept = kept[np.linspace(0, len(kept) - 1, most).round().astype(int)]
    places = centres(grid.shape[0], grid.shape[1])[kept]
    return Visible(np.ascontiguousarray(flat[kept], np.float32), places, weights[kept])
