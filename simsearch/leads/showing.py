"""The best placing of each type, turned from squares and numbers into lines on photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from simsearch.index.build import squares_of
from simsearch.index.photo_index import Floats, PhotoIndex
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.model import Line, Placing
from simsearch.leads.outline import Loop, outline
from simsearch.leads.overlay import Box, Places
from simsearch.leads.patches import lengths
from simsearch.leads.placing import Placed

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet

CLEAR_FROM = 0.05
"""Agreement from which a placing is drawn. It keeps out finds that fit nowhere; it is no promise
that the place is right, and a higher limit would not make it one: scripts/evaluate_fragments.py
prints how agreement lies where parts of coins are placed rightly and where not."""
_DECIMALS = 4


@dataclass(frozen=True, eq=False)
class FindPhoto:
    """What is needed of one photo of a find to draw where it lies: the square that its patches
    cover, and the object's outline in that square."""

    box: Box
    lines: tuple[Loop, ...]


def find_photos(encoder: Encoder, photos: list[Image.Image], patches: Floats) -> list[FindPhoto]:
    """Look at the photos of a find once more; ``patches`` (n, R, C, D) are theirs.

    The mask is the encoder's, where it has ``masks``, else how much of each patch is object.
    """
    masks = getattr(encoder, "masks", None)
    seen = masks(photos) if masks is not None else lengths(patches)
    squares = squares_of(photos, encoder).tolist()
    return [
        FindPhoto(Box(*square), tuple(outline(mask)))
        for square, mask in zip(squares, seen, strict=True)
    ]


def best_placings(
    reference: ReferenceSet,
    index: PhotoIndex,
    rows: Sequence[PhotoRow],
    groups: PhotoGroups,
    finds: Sequence[FindPhoto],
    placed: Sequence[dict[int, Placed]],
) -> dict[int, Placing]:
    """Return the placing that agrees best for each type that was tried, by type position.

    ``placed`` holds, for each photo of the find, its placings by position in the index; whole
    reference objects go before fragments, on which a find's own place cannot be told.
    Empty for an index that does not say what its patches cover.
    """
    if index.squares is None:
        return {}
    types = groups.type_of_specimen[groups.specimen_of_photo]
    best: dict[int, tuple[tuple[bool, float], int, int]] = {}
    for number, found in enumerate(placed):
        for position, one in found.items():
            worth = (rows[position].completeness == "complete", one.agreement)
            kind = int(types[position])
            if kind not in best or worth > best[kind][0]:
                best[kind] = (worth, number, position)
    return {
        kind: _placing(
            reference, rows[position], finds[number], Box(*index.squares[position].tolist()),
            number, placed[number][position],
        )
        for kind, (_, number, position) in best.items()
    }  # fmt: skip


def _placing(
    reference: ReferenceSet, row: PhotoRow, find: FindPhoto, box: Box, number: int, one: Placed
) -> Placing:
    lines = [_rounded(box.outward(one.carry(line))) for line in find.lines]
    here = np.round(find.box.outward(one.pairs[:, :2]), _DECIMALS).tolist()
    there = np.round(box.outward(one.pairs[:, 2:]), _DECIMALS).tolist()
    return Placing(
        photo=row,
        path=reference.path_of(row),
        find_photo=number,
        agreement=one.agreement,
        seen=one.seen,
        turn=one.turn,
        clear=one.agreement >= CLEAR_FROM and row.completeness == "complete" and bool(lines),
        outline=tuple(lines),
        pairs=tuple((x, y, u, v) for (x, y), (u, v) in zip(here, there, strict=True)),
    )


def _rounded(places: Places) -> Line:
    return tuple((float(x), float(y)) for x, y in np.round(places, _DECIMALS))
