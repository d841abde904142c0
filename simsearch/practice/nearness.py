"""How near the encoder holds other types to a photo: what makes it hard, and what to offer.

Everything comes from the set's index, so no encoder runs. A set without an index can be
practised with too; then only the look-alikes of the types table are known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simsearch.errors import MissingIndexError, StaleIndexError

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet

UNKNOWN = 0.5
_CONFUSIONS, _CHUNK = 4, 128


@dataclass(frozen=True)
class Near:
    """``hardness`` in 0..1, the share of photos that are easier to tell; nearest other types."""

    hardness: float
    confusions: tuple[str, ...]


NOTHING_KNOWN = Near(UNKNOWN, ())


def nearness_of(reference: ReferenceSet, rows: Sequence[PhotoRow]) -> dict[str, Near]:
    """For each photo, how hard the encoder finds it, by photo id; empty without a usable index.

    A photo is the harder, the nearer the nearest photo of another type is, compared with the
    nearest of its own type that shows another object.
    """
    try:
        index = reference.index
    except (MissingIndexError, StaleIndexError):
        return {}
    by_id = {row.id: row for row in reference.photos}
    of = [by_id[photo_id] for photo_id in index.photo_ids]
    type_ids = list(dict.fromkeys(row.type for row in of))
    column = np.array([type_ids.index(row.type) for row in of])
    specimens = np.array([f"{row.type}\n{row.specimen}" for row in of])
    places = {photo_id: place for place, photo_id in enumerate(index.photo_ids)}
    known = [row for row in rows if row.id in places]
    margins: dict[str, float] = {}
    nearest: dict[str, tuple[str, ...]] = {}
    for start in range(0, len(known), _CHUNK):
        part = known[start : start + _CHUNK]
        wanted = [places[row.id] for row in part]
        alike = index.vectors[wanted] @ index.vectors.T
        for row, likeness in zip(part, alike, strict=True):
            own = specimens == f"{row.type}\n{row.specimen}"
            best = np.full(len(type_ids), -np.inf)
            np.maximum.at(best, column[~own], likeness[~own])
            mine = float(best[type_ids.index(row.type)])
            best[type_ids.index(row.type)] = -np.inf
            order = [int(i) for i in np.argsort(-best, kind="stable") if np.isfinite(best[i])]
            nearest[row.id] = tuple(type_ids[i] for i in order[:_CONFUSIONS])
            if order and np.isfinite(mine):
                margins[row.id] = float(best[order[0]]) - mine
    ranks = _ranks(margins)
    return {row.id: Near(ranks.get(row.id, UNKNOWN), nearest[row.id]) for row in known}


def _ranks(margins: dict[str, float]) -> dict[str, float]:
    """Each margin as the share of margins below it: encoders differ in scale, ranks do not."""
    values = np.array(sorted(margins.values()))
    return {
        name: float(np.searchsorted(values, margin) / max(len(values) - 1, 1))
        for name, margin in margins.items()
    }
