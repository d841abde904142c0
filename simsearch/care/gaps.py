"""What a set lacks: objects of a type, views, a whole example, a licence, a consent, agreement."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from simsearch.care.actions import Actions
from simsearch.care.findings import Finding
from simsearch.leads.grouping import BEST
from simsearch.sets.licences import LICENCES
from simsearch.sets.opinions import Opinion
from simsearch.sets.photos import PhotoRow
from simsearch.sets.private import PrivateRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.sets.types import FEATURE_VIEWS, Type

ENOUGH_OBJECTS = BEST
"""A type's score is the mean of this many nearest objects; with fewer one of them counts twice."""
_NAMED = 6  # types without photos that are named in full


def gap_findings(reference: ReferenceSet, actions: Actions) -> list[Finding]:
    """Return what each type of a set lacks."""
    found: list[Finding] = []
    empty = [kind for kind in reference.types.values() if not reference.photos_of(kind.id)]
    for kind in reference.types.values():
        if kind not in empty:
            found += _of_type(kind, reference.photos_of(kind.id), actions)
    return found + _without_photos(empty, actions)


def _without_photos(empty: Sequence[Type], actions: Actions) -> list[Finding]:
    """One finding for all of them: a set that has just begun lacks photos of most types."""
    if not empty:
        return []
    ids = tuple(kind.id for kind in empty)
    if len(empty) == 1:
        what = f"{empty[0].name} has no photo, so it can never be a lead."
        return [Finding("no photo", "note", (), ids, what, actions.add_photos(ids[0]))]
    named = ", ".join(kind.name for kind in empty[:_NAMED])
    more = f" and {len(empty) - _NAMED} others" if len(empty) > _NAMED else ""
    what = f"{len(empty)} types have no photo, so they can never be leads: {named}{more}."
    return [Finding("no photo", "note", (), ids, what, actions.add_photos("these types"))]


def _of_type(kind: Type, rows: Sequence[PhotoRow], actions: Actions) -> Iterator[Finding]:
    objects = {row.specimen for row in rows}
    if len(objects) < ENOUGH_OBJECTS:
        what = (
            f"{kind.name} has photos of {_count(len(objects), 'object')} only. A type is judged "
            f"by its {ENOUGH_OBJECTS} nearest objects, so {ENOUGH_OBJECTS} or more make it fair."
        )
        action = actions.add_photos(kind.id, "other objects")
        yield Finding("thin type", "note", (), (kind.id,), what, action, 1 / len(objects))
    if not any(row.completeness == "complete" for row in rows):
        what = f"{kind.name} has fragments only: no photo shows a complete one to lay them on."
        action = actions.add_photos(kind.id, "a complete example")
        yield Finding("no complete", "note", (), (kind.id,), what, action)
    # Only views that the type's own words describe: nobody needs the side of a thin coin.
    seen = {row.view for row in rows}
    missing = [view for view in FEATURE_VIEWS if view in kind.features and view not in seen]
    if missing:
        views = " or ".join(missing)
        what = f"{kind.name}: no photo shows the {views}, though its row says what is seen there."
        action = actions.add_photos(kind.id, f"photos of the {views}")
        weight = len(missing) / len(FEATURE_VIEWS)
        yield Finding("view missing", "note", (), (kind.id,), what, action, weight)


def licence_findings(rows: Sequence[PhotoRow], actions: Actions) -> list[Finding]:
    """Return photos without an open licence.

    Opening a set refuses such rows already; this is for rows that came another way.
    """
    found = []
    for row in rows:
        if row.licence not in LICENCES:
            said = f"'{row.licence}' is not an open one" if row.licence else "none is given"
            what = f"Photo {row.id} has no open licence: {said}."
            action = actions.edit("photos.csv", row.id)
            found.append(Finding("licence", "mend", (row.id,), (row.type,), what, action))
    return found


def consent_findings(
    rows: Sequence[PhotoRow], private: Mapping[str, PrivateRow], actions: Actions
) -> list[Finding]:
    """Return photos that are still in the set although consent was refused."""
    found = []
    for row in rows:
        said = private.get(row.id)
        if said is not None and said.consent == "refused":
            what = f"Consent for photo {row.id} was refused, but the photo is still in the set."
            action = actions.withdraw(row.id)
            found.append(Finding("consent", "mend", (row.id,), (row.type,), what, action))
    return found


def opinion_findings(
    rows: Sequence[PhotoRow], opinions: Sequence[Opinion], actions: Actions
) -> list[Finding]:
    """Return objects on whose type the opinions given so far disagree."""
    by_object: dict[str, list[PhotoRow]] = defaultdict(list)
    for row in rows:
        by_object[row.specimen].append(row)
    object_of = {row.id: row.specimen for row in rows}
    # A person may change their mind: the last word of each is what they think.
    last: dict[str, dict[str, Opinion]] = defaultdict(dict)
    for one in opinions:
        if one.photo in object_of:
            last[object_of[one.photo]][one.by] = one
    found = []
    for specimen, by_person in last.items():
        photos = by_object[specimen]
        others = [one for one in by_person.values() if one.type != photos[0].type]
        if others:
            found.append(_disagreement(specimen, photos, others, actions))
    return found


def _disagreement(
    specimen: str, photos: Sequence[PhotoRow], others: Sequence[Opinion], actions: Actions
) -> Finding:
    said = "; ".join(f"{one.by} says {one.type} ({one.authority})" for one in others)
    first = photos[0]
    what = (
        f"Opinions on object {specimen} disagree. In force: {first.type}, by "
        f"{first.labelled_by} ({first.label_basis}). {said}."
    )
    types = tuple(dict.fromkeys([first.type, *(one.type for one in others)]))
    ids = tuple(row.id for row in photos)
    action = actions.label(first.id)
    return Finding("opinions", "look", ids, types, what, action, len(others) / (1 + len(others)))


def _count(number: int, singular: str) -> str:
    return f"{number} {singular if number == 1 else singular + 's'}"
