"""Held-out renders on disk, and the ranks of their types."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from simsearch.leads.grouping import PhotoGroups
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


def ranks(scores: Floats, truth: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Rank of the true type of each find, 1 = first; ties count against it."""
    own = scores[np.arange(len(truth)), truth]
    return (scores >= own[:, None]).sum(1)
