"""What there is to practise with: the pieces of a set and of a folder, and how hard each is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from simsearch.practice import PracticeError
from simsearch.practice.fresh import FreshRender, read_fresh
from simsearch.practice.nearness import NOTHING_KNOWN, UNKNOWN, Near, nearness_of

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet

MOST_PIECES = 600  # a big set is drawn from, evenly over its types, so that starting stays quick
FRAGMENT_KEPT = 0.5  # what a photo marked as a fragment counts as; the table says no more
CUTS = (0.75, 0.6, 0.45, 0.3)
_CONDITION = {"clean": 0.0, "worn": 0.5, "corroded": 1.0}
_LEAST_KEPT = 0.25
_WEIGHTS = (0.45, 0.2, 0.35)  # of what is lost, the condition, and how near other types are


@dataclass(frozen=True)
class Piece:
    """One photo or render that can be shown; ``cuts`` are shares that may be left of it.

    ``kept`` is the share it shows as it is. ``id`` is a photo's id or a render's file.
    """

    id: str
    type_id: str
    path: Path
    view: str
    condition: str
    kept: float
    cuts: tuple[float, ...]
    near: Near
    rendered: bool
    fresh: bool
    creator: str
    licence: str


@dataclass(frozen=True, eq=False)
class Pool:
    """All pieces, and ``note``, a sentence on what was not at hand (empty when nothing)."""

    reference: ReferenceSet
    pieces: tuple[Piece, ...]
    note: str = ""


def difficulty(kept: float, condition: str, hardness: float) -> float:
    """How hard a piece is, in 0..1: by what is lost, its condition, how near other types are."""
    lost = min(1.0, (1 - kept) / (1 - _LEAST_KEPT))
    parts = (lost, _CONDITION.get(condition, UNKNOWN), hardness)
    return float(np.dot(_WEIGHTS, parts))


def make_pool(reference: ReferenceSet, *, fresh: Path | None = None, seed: int = 0) -> Pool:
    """Gather what a set, and a folder of fresh renders where given, can show.

    Photos whose owner refused consent are left out. Raises ``PracticeError`` when there are fewer
    than two types or nothing to show, and when ``fresh`` has faults.
    """
    if len(reference.types) < 2:
        raise PracticeError(
            f"The set '{reference.title}' has fewer than two types, so there is nothing to tell "
            "apart.",
            hint="Add types, or practise with another set.",
        )
    rows = _drawn(_allowed(reference), seed)
    near = nearness_of(reference, rows)
    pieces = [_own(reference, row, near.get(row.id, NOTHING_KNOWN)) for row in rows]
    if fresh is not None:
        of_type = _by_type(rows, near)
        renders = read_fresh(fresh, reference.types)
        pieces += [_fresh(item, of_type.get(item.type, NOTHING_KNOWN)) for item in renders]
    if not pieces:
        raise PracticeError(
            f"The set '{reference.title}' has no photo to practise with.",
            hint="Add photos, or give a folder of fresh renders.",
        )
    note = "" if near else (
        "The set has no index that fits, so hard and easy go by completeness and condition only."
    )  # fmt: skip
    return Pool(reference, tuple(pieces), note)


def _allowed(reference: ReferenceSet) -> list[PhotoRow]:
    private = reference.private
    return [
        row
        for row in reference.photos
        if row.id not in private or private[row.id].consent != "refused"
    ]


def _drawn(rows: Sequence[PhotoRow], seed: int) -> list[PhotoRow]:
    """At most ``MOST_PIECES`` photos, each type in turn."""
    if len(rows) <= MOST_PIECES:
        return list(rows)
    rng = np.random.default_rng([seed, len(rows)])
    turns: dict[str, int] = {}
    dealt: list[tuple[int, int, PhotoRow]] = []
    for place in rng.permutation(len(rows)):
        row = rows[int(place)]
        turns[row.type] = turns.get(row.type, 0) + 1
        dealt.append((turns[row.type], len(dealt), row))
    return [row for *_, row in sorted(dealt, key=lambda item: item[:2])[:MOST_PIECES]]


def _by_type(rows: Sequence[PhotoRow], near: dict[str, Near]) -> dict[str, Near]:
    """What stands for a render that is not in the index: the middle photo of its type."""
    found: dict[str, list[Near]] = {}
    for row in rows:
        if row.id in near:
            found.setdefault(row.type, []).append(near[row.id])
    return {
        type_id: sorted(items, key=lambda item: item.hardness)[len(items) // 2]
        for type_id, items in found.items()
    }


def _own(reference: ReferenceSet, row: PhotoRow, near: Near) -> Piece:
    whole = row.completeness == "complete"
    return Piece(
        id=row.id,
        type_id=row.type,
        path=reference.path_of(row),
        view=row.view,
        condition=row.condition,
        kept=1.0 if whole else FRAGMENT_KEPT,
        cuts=CUTS if whole else (),
        near=near,
        rendered=row.is_rendered,
        fresh=False,
        creator=row.creator,
        licence=row.licence,
    )


def _fresh(item: FreshRender, near: Near) -> Piece:
    return Piece(
        id=item.file,
        type_id=item.type,
        path=item.path,
        view=item.view,
        condition=item.condition,
        kept=item.kept,
        cuts=(),
        near=near,
        rendered=True,
        fresh=True,
        creator="rendered for practice",
        licence="",
    )
