"""Types by id, and the photos that show a type best."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from typing import TYPE_CHECKING

from simsearch.sheets.errors import SheetError

if TYPE_CHECKING:
    from simsearch.sets.photos import PhotoRow
    from simsearch.sets.reference_set import ReferenceSet
    from simsearch.sets.types import Type

VIEWS = ("front", "back", "side", "detail")
_CONDITIONS = ("clean", "worn", "corroded")


def type_of(reference: ReferenceSet, type_id: str) -> Type:
    """The type with an id. Raises ``SheetError`` naming ids that are spelt alike."""
    found = reference.types.get(type_id)
    if found is None:
        close = get_close_matches(type_id, list(reference.types), n=3, cutoff=0.5)
        hint = f"Did you mean {' or '.join(close)}?" if close else "List the types first."
        raise SheetError(f"There is no type '{type_id}' in the set {reference.name}.", hint=hint)
    return found


def best_by_view(photos: Sequence[PhotoRow], completeness: str = "complete") -> list[PhotoRow]:
    """One photo for each view that is there: the least corroded, in the order of the set."""
    wanted = [photo for photo in photos if photo.completeness == completeness]
    ranked = sorted(wanted, key=lambda photo: _CONDITIONS.index(photo.condition))
    first = {photo.view: photo for photo in reversed(ranked)}
    return [first[view] for view in VIEWS if view in first]
