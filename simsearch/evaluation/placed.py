"""Methods of the project itself: photos ordered anew by their patches, and the whole product."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode import Encoder
from simsearch.evaluation.scoring import Steps
from simsearch.sets.reference_set import ReferenceSet

SHORTLIST = 100
_BATCH = 8  # the built-in encoder keeps what it saw of so many photos

Floats = npt.NDArray[np.float32]
Place = Callable[[Floats, Floats], Sequence[Any]]


@dataclass(frozen=True, eq=False)
class Seen:
    """Vectors ``(n, dim)`` and patches ``(n, rows, cols, pdim)`` of some photos."""

    vectors: Floats
    patches: Floats


class PlacedScorer(Steps):
    """Vector similarity plus ``weight`` times the agreement of the best placing.

    Only the SHORTLIST nearest photos by vector are placed. The others are taken to agree as
    little as the least of those, so that they stay behind by the vector's order.
    """

    def __init__(self, encoder: Encoder, place: Place, weight: float) -> None:
        self.name = f"{encoder.name} with placing, weight {weight:g}"
        self.describer = (encoder, "patches")
        self._encoder, self._place, self._weight = encoder, place, weight

    def look_in(self, gallery: list[Image.Image]) -> Seen:
        """Return vectors and patches of the photos."""
        chunks = [gallery[i : i + _BATCH] for i in range(0, len(gallery), _BATCH)]
        pairs = [(self._encoder.embed(some), self._encoder.patches(some)) for some in chunks]
        return Seen(np.concatenate([v for v, _ in pairs]), np.concatenate([p for _, p in pairs]))

    look_up = look_in

    def compare(self, queries: Seen, gallery: Seen) -> Floats:
        """Return float32 ``(queries, gallery)``, higher is closer."""
        scores: Floats = queries.vectors @ gallery.vectors.T
        for row, patches in zip(scores, queries.patches, strict=True):
            near = np.argsort(-row, kind="stable")[:SHORTLIST]
            placed = self._place(patches, gallery.patches[near])
            agreement = np.array([one.agreement for one in placed], dtype=np.float32)
            every = np.full(len(row), agreement.min(), dtype=np.float32)
            every[near] = agreement
            row += self._weight * every
        return scores


class LookScorer(Steps):
    """``ReferenceSet.look``: what a user is shown, with the set's own index and weights.

    Scores types, in the order in which the set's photos first name them: minus the rank of the
    type's lead. The gallery given is not used, since the set has its index.
    """

    def __init__(self, reference: ReferenceSet) -> None:
        self.name, self.describer = "product", "product"
        self._reference = reference
        self._types = list(dict.fromkeys(row.type for row in reference.photos))

    def look_in(self, gallery: list[Image.Image]) -> None:
        """Open the index, which holds the descriptions."""
        _ = self._reference.index

    def look_up(self, queries: list[Image.Image]) -> list[dict[str, int]]:
        """Return the rank of each type's lead, for each query."""
        found = [self._reference.look(photo, k=len(self._types)) for photo in queries]
        return [{lead.type.id: lead.rank for lead in leads.leads} for leads in found]

    def compare(self, queries: list[dict[str, int]], gallery: None) -> Floats:
        """Return float32 ``(queries, types)``, higher is closer."""
        last = len(self._types) + 1
        rows = [[-ranks.get(type_id, last) for type_id in self._types] for ranks in queries]
        return np.asarray(rows, dtype=np.float32)
