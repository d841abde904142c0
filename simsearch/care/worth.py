"""How good is this set? Its own objects looked up among the others, in words.

What this says about finds from elsewhere is less: objects of one set are photographed by the same
people, on the same table, and are often cleaner than what comes out of the ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simsearch.care.intervals import by_object, wilson
from simsearch.care.lookup import OwnLookup
from simsearch.sets.types import Type

TOP = 5
_LEAST_OBJECTS = 3  # below this, words for one type would be guesses
NOTE = (
    "Each photo was looked up among the other objects of this set, by likeness alone. Finds "
    "from elsewhere, photographed by others, will do less well."
)


@dataclass(frozen=True)
class Share:
    """How often something was right: a share, and what lies around it 95 times in 100."""

    share: float
    low: float
    high: float

    def in_ten(self) -> str:
        """The share of ten photos in words."""
        number = round(10 * self.share)
        if number == 10:
            return "nearly all" if self.share < 1 else "all"
        if number == 0:
            return "hardly one" if self.share > 0 else "none"
        return f"about {number}"


@dataclass(frozen=True)
class TypeWorth:
    """One type: how many photos and objects were looked up, and how often its own type came up.

    ``first`` is how often it was at the first place, ``among`` among the first five; both are
    ``None`` where the type has one object only, so that nothing can be said.
    """

    type_id: str
    photos: int
    objects: int
    first: Share | None
    among: Share | None
    words: str


@dataclass(frozen=True)
class Worth:
    """The same for the whole set, and type by type in the order of the types' table."""

    photos: int
    objects: int
    first: Share | None
    among: Share | None
    words: str
    types: tuple[TypeWorth, ...]
    note: str = NOTE

    def to_dict(self) -> dict[str, Any]:
        """Return plain lists, texts and numbers."""
        from dataclasses import asdict

        document = asdict(self)
        return document | {"types": [asdict(kind) for kind in self.types]}


def worth_of(found: OwnLookup, types: dict[str, Type]) -> Worth:
    """Measure how often the own type of an object that the set has not seen comes up."""
    ranks, usable = found.ranks(), found.measurable
    specimen = found.groups.specimen_of_photo
    place = {type_id: number for number, type_id in enumerate(found.groups.type_ids)}
    by_type = []
    for kind in types.values():
        if kind.id in place:
            mine = found.truth == place[kind.id]
            by_type.append(_of_type(kind, ranks[mine], specimen[mine], bool(usable[mine].any())))
    ranks, specimen = ranks[usable], specimen[usable]
    objects = len(np.unique(specimen))
    first, among = (
        _share(right, specimen) if len(right) else None for right in (ranks == 0, ranks < TOP)
    )
    words = _set_words(len(ranks), objects, first, among, sum(t.first is None for t in by_type))
    return Worth(len(ranks), objects, first, among, words, tuple(by_type))


def _of_type(
    kind: Type, ranks: NDArray[np.intp], specimen: NDArray[np.intp], usable: bool
) -> TypeWorth:
    objects = len(np.unique(specimen))
    if not usable:
        words = f"{kind.name}: only one object, so nothing can be said; add other objects."
        return TypeWorth(kind.id, len(ranks), objects, None, None, words)
    first, among = (_share(right, specimen) for right in (ranks == 0, ranks < TOP))
    return TypeWorth(
        kind.id, len(ranks), objects, first, among, _type_words(kind, objects, first, among)
    )


def _share(right: NDArray[np.bool_], specimen: NDArray[np.intp]) -> Share:
    """The share of right photos; what lies around it counts objects, each once."""
    of_objects = by_object(right, specimen)
    low, high = wilson(float(of_objects.mean()), len(of_objects))
    share = float(right.mean())
    # Objects with more photos may pull the share of photos a little outside.
    return Share(share, min(low, share), max(high, share))


def _type_words(kind: Type, objects: int, first: Share, among: Share) -> str:
    said = (
        f"{kind.name}: of 10 photos whose object the set has not seen, {first.in_ten()} put it "
        f"first and {among.in_ten()} among the first {TOP}"
    )
    if objects < _LEAST_OBJECTS:
        return f"{said}; with {objects} objects that may be chance."
    return f"{said} ({objects} objects; first: {_between(first)})."


def _set_words(
    photos: int, objects: int, first: Share | None, among: Share | None, unknown: int
) -> str:
    if first is None or among is None:
        return "Nothing can be said yet: no type has two objects. Add other objects."
    said = (
        f"Of 10 photos whose object the set has not seen, {first.in_ten()} put the labelled type "
        f"first ({_between(first)}), and {among.in_ten()} have it among the first {TOP} "
        f"({_between(among)}). Counted on {photos} photos of {objects} objects."
    )
    if unknown:
        types = "1 type has" if unknown == 1 else f"{unknown} types have"
        said += f" {types} one object only and cannot be measured."
    return said


def _between(share: Share) -> str:
    return f"between {100 * share.low:.0f} and {100 * share.high:.0f} in 100"
