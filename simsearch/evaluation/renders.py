"""Held-out renders against a reference set: type scores, recall and odds."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simsearch.encode import Encoder
from simsearch.index import PHOTO_SIDE
from simsearch.leads.grouping import BEST, PhotoGroups
from simsearch.photo import open_photo
from simsearch.sets.reference_set import ReferenceSet

Floats = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Find:
    """One rendered picture: where it is, its slice, its type, and the number of its specimen."""

    path: Path
    slice: str
    type_id: str
    number: int


def finds(folder: Path) -> list[Find]:
    """The pictures under FOLDER/SLICE/TYPE/N.jpg, in a fixed order."""
    paths = [p for p in sorted(folder.glob("*/*/*.jpg")) if p.stem.isdecimal()]
    return [Find(p, p.parts[-3], p.parts[-2], int(p.stem)) for p in paths]


def groups_of(reference: ReferenceSet) -> PhotoGroups:
    """The specimens and types of the set's photos, in the order of its index."""
    by_id = {row.id: row for row in reference.photos}
    rows = [by_id[i] for i in reference.index.photo_ids]
    return PhotoGroups.of([(row.type, row.specimen) for row in rows])


def embedded(some: list[Find], encoder: Encoder) -> Floats:
    """Vectors ``(n, dim)`` of the finds, read as the product reads photos."""
    chunks = [some[i : i + 32] for i in range(0, len(some), 32)]
    rows = [encoder.embed([open_photo(f.path, max_side=PHOTO_SIDE) for f in c]) for c in chunks]
    return np.concatenate(rows)


def type_scores(
    reference: ReferenceSet, groups: PhotoGroups, vectors: Floats, best: int = BEST
) -> Floats:
    """Score of every type for every find ``(n, types)``."""
    return groups.type_scores(reference.index.similarities(vectors), best)


def ranks(scores: Floats, truth: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Rank of the true type of each find, 1 = first; ties count against it."""
    own = scores[np.arange(len(truth)), truth]
    return (scores >= own[:, None]).sum(1)
