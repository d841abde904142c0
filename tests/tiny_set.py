"""A tiny reference set and a tiny encoder for tests. Everything in it is invented."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.leads.calibration import Calibration, Measured
from simsearch.leads.closeness import Closeness, Usual
from simsearch.leads.features import FEATURES
from simsearch.leads.odds import Odds
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.sources import SOURCE_COLUMNS
from simsearch.sets.types import TYPE_COLUMNS
from simsearch.sets.write import write_csv

GRID = 3
COLOURS = {
    "knee": (200, 40, 40),
    "dolphin": (40, 200, 40),
    "jetton": (40, 40, 200),
}


class GridEncoder:
    """Mean colours on a 3 x 3 grid, centred, as a unit vector: deterministic and quick."""

    def __init__(self, name: str = "grid", fingerprint: str = "f" * 64) -> None:
        self.name = name
        self.fingerprint = fingerprint
        self.dim = GRID * GRID * 3 + 1

    def embed(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        """Return float32 (n, 28), rows of unit length."""
        rows = np.stack([self._cells(image).ravel() for image in images])
        # One constant entry keeps a plain grey picture from having length nought.
        rows = np.concatenate([rows, np.full((len(rows), 1), 0.05)], axis=1)
        return (rows / np.linalg.norm(rows, axis=1, keepdims=True)).astype(np.float32)

    def patches(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        """Return float32 (n, 3, 3, 3)."""
        return np.stack([self._cells(image) for image in images]).astype(np.float32)

    @staticmethod
    def _cells(image: Image.Image) -> NDArray[np.float64]:
        small = image.convert("RGB").resize((GRID, GRID), Image.Resampling.BOX)
        return np.asarray(small, dtype=np.float64) / 255.0 - 0.5


def picture(colour: tuple[int, int, int], seed: int, side: int = 12) -> Image.Image:
    """Return a small noisy picture of about one colour."""
    noise = np.random.default_rng(seed).integers(-30, 31, size=(side, side, 3))
    return Image.fromarray(np.clip(np.array(colour) + noise, 0, 255).astype(np.uint8))


def type_row(type_id: str = "knee", **changes: str) -> dict[str, str]:
    """Return a valid row of types.csv with some cells changed."""
    row = dict.fromkeys(TYPE_COLUMNS, "")
    row |= {
        "id": type_id,
        "name": f"{type_id.capitalize()} (invented)",
        "group": "bow brooch",
        "period": "Roman",
        "date_edtf": "0100~/0200",
        "material": "copper alloy",
        "length_mm": "25/60",
        "pin_fixing": "sprung",
        "front": "A red square.",
        "sources": "fen-1",
        "basis": "from memory",
    }
    return row | changes


def source_row(source_id: str = "fen-1", **changes: str) -> dict[str, str]:
    """Return a valid row of sources.csv with some cells changed."""
    row = dict.fromkeys(SOURCE_COLUMNS, "")
    row |= {"id": source_id, "citation": "Harrow Fen Finds Club, notes (invented)"}
    return row | {"basis": "from memory"} | changes


def photo_row(folder: Path, photo_id: str, type_id: str, **changes: str) -> dict[str, str]:
    """Return a valid row of photos.csv for the file photos/ID.png of the folder."""
    file = f"photos/{photo_id}.png"
    row = dict.fromkeys(PHOTO_COLUMNS, "")
    row |= {
        "id": photo_id,
        "file": file,
        "type": type_id,
        "specimen": photo_id,
        "view": "front",
        "completeness": "complete",
        "condition": "clean",
        "kind": "rendered",
        "creator": "Harrow Fen Finds Club (invented)",
        "licence": "CC0-1.0",
        "source": "rendered for the tests",
        "labelled_by": "the tests",
        "label_basis": "rendered from this type",
        "labelled_on": "2026-01-31",
    }
    if (folder / file).is_file():
        row["sha256"] = hashlib.sha256((folder / file).read_bytes()).hexdigest()
    return row | changes


def write_types(folder: Path, rows: Sequence[dict[str, str]]) -> None:
    """Write types.csv."""
    write_csv(folder / "types.csv", TYPE_COLUMNS, rows)


def write_photos(folder: Path, rows: Sequence[dict[str, str]]) -> None:
    """Write photos.csv."""
    write_csv(folder / "photos.csv", PHOTO_COLUMNS, rows)


def write_sources(folder: Path, rows: Sequence[dict[str, str]]) -> None:
    """Write sources.csv."""
    write_csv(folder / "sources.csv", SOURCE_COLUMNS, rows)


def make_set(folder: Path, photos_per_type: int = 4) -> Path:
    """Make a valid set of three types without an index; return its folder."""
    (folder / "photos").mkdir(parents=True)
    rows = []
    for number, (type_id, colour) in enumerate(COLOURS.items()):
        for copy in range(photos_per_type):
            photo_id = f"{type_id}-{copy + 1}"
            picture(colour, seed=100 * number + copy).save(folder / f"photos/{photo_id}.png")
            rows.append(photo_row(folder, photo_id, type_id))
    write_sources(folder, [source_row()])
    links = {"knee": "dolphin", "dolphin": "knee"}
    types = [
        type_row(name, look_alikes=f"{links[name]}: another colour" if name in links else "")
        for name in COLOURS
    ]
    write_types(folder, types)
    write_photos(folder, rows)
    return folder


def calibration(reference: ReferenceSet, *, close_from: float = 0.5, **changes: Any) -> Calibration:
    """Return invented odds for a set indexed by ``GridEncoder``, by vectors alone.

    Finds whose nearest type has a score below ``close_from`` are called far.
    """
    columns = 1 if reference.index.patches is None else 2
    none = (0.0,) * (columns - 1)
    odds = Odds(
        weights=(5.0, *none),
        sharpen=(0.0,) * (columns + 1),
        centre=(0.5,) * columns,
        spread=(1.0,) * columns,
        stray=0.0,
    )
    # The first input after the constant is the best weighted sum: five times the score.
    curve = (-40 * close_from, 8.0, *(0.0,) * (6 if columns == 1 else 10))
    count = len({row.type for row in reference.photos})
    usual = Usual((0.0,) * count, (1.0,) * count)
    values: dict[str, Any] = {
        "odds": odds,
        "limits": {0.8: 0.3, 0.9: 0.6},
        "closeness": Closeness(curve, 0.5, usual),
        "measured": Measured(80, 80, 1, 0.04, 0.03, {0.9: 0.9}, {0.9: 2.0}, 0.05, {"type": 0.1}),
        "columns": FEATURES[:columns],
        "encoder_fingerprint": GridEncoder().fingerprint,
        "set_fingerprint": reference.fingerprint,
        "note": "Simulated.",
    }
    return Calibration(**(values | changes))
