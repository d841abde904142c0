"""Photos that look like a photo, by the index of the set, grouped by type."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simsearch.errors import SetError
from simsearch.index.photo_index import Floats, checked_array
from simsearch.leads.model import Evidence

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

GROUPS, PHOTOS_IN_GROUP, PHOTOS = 8, 4, 60
ALIKE_NOTE = (
    "Alike to the encoder, nearest first. Photos can look alike for their light, their ground or "
    "their state: looking alike is a reason to compare, and no proof that a type is the same."
)


@dataclass(frozen=True)
class SimilarGroup:
    """One type among the photos that look alike; a photo for each specimen, nearest first."""

    type: Type
    photos: tuple[Evidence, ...]
    more: int
    """Further specimens of the type among the nearest photos that are not listed."""


@dataclass(frozen=True)
class Alike:
    """What looks like one photo. ``own`` are other photos of the very object that it shows."""

    groups: tuple[SimilarGroup, ...]
    own: tuple[Evidence, ...] = ()


def photo_of(reference: ReferenceSet, photo_id: str) -> PhotoRow:
    """The row of a photo. Raises ``SetError`` when the set has none of that id."""
    for row in reference.photos:
        if row.id == photo_id:
            return row
    raise SetError(
        f"There is no photo '{photo_id[:80]}' in this set.",
        hint="Its id is the first column of photos.csv.",
    )


def similar_to_photo(
    reference: ReferenceSet, photo_id: str, *, groups: int = GROUPS, photos: int = PHOTOS
) -> Alike:
    """What looks like a photo of the set; its own specimen is kept apart.

    ``photos`` is how many of the nearest are looked at. The vector comes from the index, so no
    encoder is needed. Raises ``SetError`` for an unknown id, ``MissingIndexError`` or
    ``StaleIndexError`` for an index to be built.
    """
    row = photo_of(reference, photo_id)
    index = reference.index
    position = index.photo_ids.index(photo_id)
    # Its own specimen's photos stand among the nearest; ask for so many more.
    own = sum(_same_object(other, row) for other in reference.photos)
    found = _nearest(reference, index.vectors[position : position + 1], photos + own)
    others = [item for item in found if item.photo.id != photo_id]
    return Alike(
        _grouped(reference, [i for i in others if not _same_object(i.photo, row)], groups),
        tuple(item for item in others if _same_object(item.photo, row)),
    )


def similar_to_image(
    reference: ReferenceSet,
    image: Image.Image,
    *,
    encoder: Encoder | None = None,
    groups: int = GROUPS,
    photos: int = PHOTOS,
) -> Alike:
    """What looks like an opened photo that is not in the set.

    ``encoder`` defaults to the one the index was built with. Raises as ``ReferenceSet.look``.
    """
    index = reference.index
    chosen = encoder if encoder is not None else reference.encoder()
    index.require_encoder(chosen, reference.folder)
    vectors = checked_array(chosen.embed([image]), (1, index.dim), chosen.name)
    return Alike(_grouped(reference, _nearest(reference, vectors, photos), groups))


def _same_object(one: PhotoRow, other: PhotoRow) -> bool:
    return (one.type, one.specimen) == (other.type, other.specimen)


def _nearest(reference: ReferenceSet, vectors: Floats, count: int) -> list[Evidence]:
    index = reference.index
    by_id = {row.id: row for row in reference.photos}
    scores, positions = index.search(np.asarray(vectors, np.float32), count)
    rows = [by_id[index.photo_ids[place]] for place in positions[0]]
    return [
        Evidence(row, float(score), reference.path_of(row))
        for row, score in zip(rows, scores[0], strict=True)
    ]


def _grouped(
    reference: ReferenceSet, found: Sequence[Evidence], groups: int
) -> tuple[SimilarGroup, ...]:
    """Group by type in the order of each type's nearest photo, each specimen once."""
    by_type: dict[str, dict[str, Evidence]] = {}
    for item in found:
        by_type.setdefault(item.photo.type, {}).setdefault(item.photo.specimen, item)
    return tuple(
        SimilarGroup(
            reference.types[type_id],
            tuple(specimens.values())[:PHOTOS_IN_GROUP],
            max(0, len(specimens) - PHOTOS_IN_GROUP),
        )
        for type_id, specimens in list(by_type.items())[:groups]
    )
