"""Rows, types and lookups for the tests of care. Everything in them is invented."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from simsearch.care.lookup import OwnLookup, own_lookup
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests import tiny_set
from tests.care.making_pictures import textured

CELLS = tiny_set.photo_row(Path("nowhere"), "a", "knee")


def row(photo_id: str, type_id: str, **changes: Any) -> PhotoRow:
    """Return a row of photos.csv that needs no file."""
    cells = CELLS | {"id": photo_id, "type": type_id, "specimen": photo_id, "sha256": photo_id}
    return PhotoRow(**(cells | {"file": f"photos/{photo_id}.png"} | changes))


def looked_up(rows: list[PhotoRow], directions: list[tuple[float, ...]]) -> OwnLookup:
    """Look up photos by the directions of their vectors."""
    vectors = np.array(directions, np.float32)
    vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
    return own_lookup(tuple(rows), vectors)


def set_with(folder: Path, photos: dict[str, dict[str, str]]) -> ReferenceSet:
    """Make a set of three types with blotched photos; cells by photo id, ``seed`` among them."""
    tiny_set.make_set(folder, photos_per_type=0)
    rows = []
    for number, (photo_id, cells) in enumerate(photos.items()):
        cells = dict(cells)
        seed = int(cells.pop("seed", str(number)))
        textured(seed, 320).save(folder / f"photos/{photo_id}.png")
        rows.append(tiny_set.photo_row(folder, photo_id, cells.pop("type", "knee"), **cells))
    tiny_set.write_photos(folder, rows)
    return open_set(folder)
