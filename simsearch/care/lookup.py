"""Every photo of a set looked up among the objects of the others.

The photos of one object are left out when one of them is looked up: otherwise each would find
its neighbour on the same table top and nothing would be learnt about the set. Nothing is encoded
again; the vectors of the index are enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simsearch.leads.grouping import PhotoGroups
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet

Floats = NDArray[np.float32]
_BATCH = 256


@dataclass(frozen=True, eq=False)
class OwnLookup:
    """Scores of every type for every photo, its own object left out.

    ``rows`` are in index order; ``scores`` is float32 (photos, types), -inf where a type has no
    other object; ``truth`` (photos,) is the position of each photo's type in
    ``groups.type_ids``.
    """

    rows: tuple[PhotoRow, ...]
    groups: PhotoGroups
    scores: Floats
    truth: NDArray[np.intp]

    @property
    def measurable(self) -> NDArray[np.bool_]:
        """Which photos are of a type that has another object (photos,)."""
        own: NDArray[np.bool_] = np.isfinite(self.own_scores)
        return own

    @property
    def own_scores(self) -> Floats:
        """The score of each photo's own type (photos,)."""
        own: Floats = self.scores[np.arange(len(self.truth)), self.truth]
        return own

    def nearest_other(self) -> tuple[NDArray[np.intp], Floats]:
        """The best of the other types for each photo: positions and scores, both (photos,)."""
        others = self.scores.copy()
        rows = np.arange(len(self.truth))
        others[rows, self.truth] = -np.inf
        best = others.argmax(axis=1)
        return best, others[rows, best]

    def ranks(self) -> NDArray[np.intp]:
        """At which place each photo's own type comes, from 0 (photos,)."""
        # A type at the same score counts as before it: what ties is not told apart.
        before = (self.scores >= self.own_scores[:, None]).sum(axis=1) - 1
        return before.astype(np.intp)


def look_up_own(reference: ReferenceSet) -> OwnLookup:
    """Look every photo of a set up among the others.

    Raises ``MissingIndexError`` or ``StaleIndexError``.
    """
    index = reference.index
    by_id = {row.id: row for row in reference.photos}
    rows = tuple(by_id[photo_id] for photo_id in index.photo_ids)
    return own_lookup(rows, index.vectors)


def own_lookup(rows: tuple[PhotoRow, ...], vectors: Floats) -> OwnLookup:
    """Look photos up by their vectors, float32 (photos, dim) of unit length."""
    groups = PhotoGroups.of([(row.type, row.specimen) for row in rows])
    specimen = groups.specimen_of_photo
    scores = np.empty((len(rows), len(groups.type_ids)), np.float32)
    for start in range(0, len(rows), _BATCH):
        part = slice(start, start + _BATCH)
        near = vectors[part] @ vectors.T
        near[specimen[part, None] == specimen[None]] = -np.inf
        scores[part] = groups.type_scores(near)
    return OwnLookup(rows, groups, scores, groups.type_of_specimen[specimen])
