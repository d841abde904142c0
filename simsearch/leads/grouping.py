"""From photos that look alike to types: scores that a flood of photos cannot win.

The score of a type is the mean of its ``BEST`` nearest *specimens*, where a specimen counts by
the nearest of its photos. Why so:

- one object photographed twenty times is one witness, not twenty;
- a type with thousands of specimens is judged by its three nearest, like every other;
- one lucky photo does not make a lead where the type's next specimens are far off;
- a type's score depends on its own specimens only, so photos added to one type never change
  the order of the others, and added specimens that are no closer than the type's ``BEST``
  nearest never raise it.

A type with fewer specimens than ``BEST`` has its farthest one counted again in the empty
places. That neither hands a thin type a bonus nor sinks it for being rare: with one specimen
the score is simply that similarity.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Positions = NDArray[np.intp]

BEST = 3
"""How many nearest specimens of a type make its score."""


@dataclass(frozen=True, eq=False)
class PhotoGroups:
    """Which specimen each photo shows and which type each specimen is, as positions.

    ``specimen_of_photo`` is (photos,) into specimens, ``type_of_specimen`` (specimens,) into
    ``type_ids``. Only types that have photos are here.
    """

    type_ids: tuple[str, ...]
    specimen_of_photo: Positions
    type_of_specimen: Positions

    @classmethod
    def of(cls, labels: Sequence[tuple[str, str]]) -> PhotoGroups:
        """Group photos by their (type id, specimen) labels, given in index order."""
        types: dict[str, int] = {}
        specimens: dict[tuple[str, str], int] = {}
        for label in labels:
            types.setdefault(label[0], len(types))
            specimens.setdefault(label, len(specimens))
        return cls(
            tuple(types),
            np.array([specimens[label] for label in labels], dtype=np.intp),
            np.array([types[type_id] for type_id, _ in specimens], dtype=np.intp),
        )

    def specimen_scores(self, similarities: Floats) -> Floats:
        """Return the nearest photo's similarity per specimen.

        ``similarities`` is (q, photos); returns (q, specimens).
        """
        best = np.full((len(self.type_of_specimen), len(similarities)), -np.inf, dtype=np.float32)
        np.maximum.at(best, self.specimen_of_photo, np.asarray(similarities, np.float32).T)
        return np.ascontiguousarray(best.T)

    def type_scores(self, similarities: Floats, best: int = BEST) -> Floats:
        """Return the score of every type for every query photo.

        ``similarities`` is (q, photos), -inf for a photo to do without; returns (q, types) in
        the order of ``type_ids``, -inf for a type that is left without photos.
        Raises ``ValueError`` for ``best`` below 1.
        """
        if best < 1:
            raise ValueError(f"best is {best}; a score needs at least one specimen")
        by_specimen = self.specimen_scores(similarities)
        scores = np.empty((len(by_specimen), len(self.type_ids)), dtype=np.float32)
        for position in range(len(self.type_ids)):
            own = np.sort(by_specimen[:, self.type_of_specimen == position], axis=1)[:, ::-1]
            nearest = _without_absent(own[:, :best])
            missing = best - nearest.shape[1]
            padded = np.pad(nearest, ((0, 0), (0, missing)), mode="edge")
            scores[:, position] = padded.mean(axis=1)
        return scores


def _without_absent(nearest: Floats) -> Floats:
    """Count the farthest specimen that is there in the place of each that is not (-inf)."""
    absent = np.isneginf(nearest)
    if not absent.any():
        return nearest
    farthest = np.where(absent, np.inf, nearest).min(axis=1, keepdims=True)
    filled: Floats = np.where(absent, np.where(np.isposinf(farthest), -np.inf, farthest), nearest)
    return filled
