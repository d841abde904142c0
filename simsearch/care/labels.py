"""Photos that disagree with their label.

A photo whose object is nearer to the objects of another type than to those of its own may carry
a wrong label; or be a fragment, a side view, or of a form that is hard to tell. So this is a list
to look through from the top, not a list of mistakes. All photos of an object carry one label, so
half of a photo's doubt is the mean doubt of its object.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simsearch.care.actions import Actions
from simsearch.care.findings import Finding
from simsearch.care.lookup import OwnLookup
from simsearch.sets.photos import PhotoRow
from simsearch.sets.types import Type

TOP_SHARE = 0.1
"""The part of the list that is worth looking through first."""


@dataclass(frozen=True)
class Doubt:
    """One photo's place on the list: how much it disagrees, and what it is nearest to."""

    row: PhotoRow
    doubt: float
    nearest: str


def doubts(found: OwnLookup) -> NDArray[np.float64]:
    """Return how far each photo disagrees with its label (photos,); above 0 another is nearer.

    A type with one object only cannot be compared with itself: its photos get -inf.
    """
    if len(found.groups.type_ids) < 2:
        return np.full(len(found.rows), -np.inf)
    _, other = found.nearest_other()
    known = found.measurable
    margin = np.where(known, other - np.where(known, found.own_scores, 0), 0).astype(float)
    specimen = found.groups.specimen_of_photo
    of_object = np.bincount(specimen, margin) / np.bincount(specimen)
    mixed: NDArray[np.float64] = np.where(known, (margin + of_object[specimen]) / 2, -np.inf)
    return mixed


def ranked(found: OwnLookup) -> list[Doubt]:
    """Return all photos that can be compared, the one that disagrees most first."""
    doubt = doubts(found)
    nearest, _ = found.nearest_other()
    order = np.argsort(-doubt, kind="stable")
    return [
        Doubt(found.rows[i], float(doubt[i]), found.groups.type_ids[nearest[i]])
        for i in order
        if np.isfinite(doubt[i])
    ]


def label_findings(found: OwnLookup, types: dict[str, Type], actions: Actions) -> list[Finding]:
    """One finding for each object at the top of the list whose photos are nearer to another type.

    No more than a tenth of the photos are told: what comes below is mostly hard, not wrong.
    """
    doubted = [one for one in ranked(found) if one.doubt > 0]
    top = doubted[: max(1, round(TOP_SHARE * len(found.rows)))]
    by_object: dict[str, list[Doubt]] = {}
    for one in top:
        by_object.setdefault(one.row.specimen, []).append(one)
    return [
        _finding(group, place, types, actions) for place, group in enumerate(by_object.values())
    ]


def _finding(group: list[Doubt], place: int, types: dict[str, Type], actions: Actions) -> Finding:
    first = group[0]
    own, other = types[first.row.type], types[first.nearest]
    alike = any(item.type_id == other.id for item in own.look_alikes)
    known = "The set lists the two as look-alikes." if alike else ""
    shown = "1 photo" if len(group) == 1 else f"{len(group)} photos"
    what = (
        f"Object {first.row.specimen} is labelled {own.name}, but {shown} of it "
        f"{'is' if len(group) == 1 else 'are'} nearer to objects labelled {other.name}. {known} "
        "Look at it again: it may be right and only hard to tell."
    )
    return Finding(
        kind="label",
        severity="look",
        photos=tuple(one.row.id for one in group),
        types=(own.id, other.id),
        what=" ".join(what.split()),
        action=actions.label(first.row.id),
        weight=1 / (1 + place),
    )
