"""Photos that are hard to use: blurred, dark, burnt out, small, with text over them, or bare.

Limits were set by looking at the shipped renders, and blurred, darkened and lettered copies of
them; ``scripts/evaluate_care.py`` prints how often each limit is right there. They are for a
person to look at, never a reason to refuse a photo.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from simsearch.care.actions import Actions
from simsearch.care.findings import Finding, Severity
from simsearch.care.measures import Measures
from simsearch.care.pictures import Pictures
from simsearch.index import PhotoIndex
from simsearch.sets.photos import PhotoRow

BLURRED = 0.62
DARK = 90.0
CLIPPED = 0.02
FLAT = 8.0
SMALL = 300
LETTERS = 6
_SEEN = 0.5
"""How sure the encoder must be somewhere in a photo for it to show an object."""
_UNKNOWN = {"", "?", "-", "none", "unknown", "n/a", "na", "tbc", "todo", "not known", "anonymous"}
_SAID = (
    ("creator", "who took it"),
    ("source", "where it comes from"),
    ("labelled_by", "who labelled it"),
    ("label_basis", "on what ground"),
    ("labelled_on", "on which day it was labelled"),
)


def quality_findings(pictures: Pictures, actions: Actions) -> list[Finding]:
    """Return what the pixels of each photo give reason to mention."""
    found = []
    for row, reason in pictures.unread:
        action = actions.withdraw(row.id)
        found.append(Finding("unreadable", "mend", (row.id,), (row.type,), reason, action))
    for row, measures in zip(pictures.rows, pictures.measures, strict=True):
        for kind, what, weight in _faults(measures):
            action = actions.replace(row.id)
            words = f"Photo {row.id} {what}"
            severity: Severity = "note" if kind in ("small", "lettering") else "look"
            ids, types = (row.id,), (row.type,)
            found.append(Finding(kind, severity, ids, types, words, action, weight))
    return found


def _faults(seen: Measures) -> Iterator[tuple[str, str, float]]:
    """Yield kind, words and weight of each thing amiss in one photo."""
    if seen.contrast < FLAT and seen.light >= DARK:
        yield "no object", "is almost one plain tone: is there an object in it?", 1.0
    elif seen.blur > BLURRED:
        yield "blur", "looks blurred; detail that tells forms apart may be lost.", seen.blur
    if seen.light < DARK:
        yield "dark", "is very dark.", 1 - seen.light / 255
    if seen.clipped > CLIPPED:
        share = f"{100 * seen.clipped:.0f} in 100"
        yield "light", f"is burnt out in {share} of its area; turn the light down.", seen.clipped
    if seen.longest < SMALL:
        what = f"is only {seen.longest} pixels on its longer side; {SMALL} or more are better."
        yield "small", what, 1 - seen.longest / SMALL
    if seen.letters >= LETTERS:
        what = (
            f"seems to have lettering over it ({seen.letters} letter-like marks in a row). If "
            "that is a name or a place, take a photo without it. This is a rule of thumb: a "
            "scale or an inscription looks like this too."
        )
        yield "lettering", what, min(1.0, seen.letters / 30)


def no_object_findings(
    rows: tuple[PhotoRow, ...], index: PhotoIndex, actions: Actions
) -> list[Finding]:
    """Return photos in which the encoder that made the index saw no object.

    The built-in encoder's patches are as long as the object is visible in them. Those of other
    encoders have length one, so with them this finds nothing.
    """
    if index.patches is None:
        return []
    place = {photo_id: number for number, photo_id in enumerate(index.photo_ids)}
    found = []
    for row in rows:
        if row.id not in place:
            continue
        lengths = np.linalg.norm(index.patches_at(place[row.id]), axis=-1)
        if float(lengths.max()) < _SEEN:
            what = f"No object was found in photo {row.id}; the whole photo is compared instead."
            action = actions.replace(row.id)
            found.append(Finding("no object", "look", (row.id,), (row.type,), what, action))
    return found


def metadata_findings(rows: tuple[PhotoRow, ...], actions: Actions) -> list[Finding]:
    """Return photos of which something is not said that others will ask for."""
    found = []
    for row in rows:
        missing = [
            words
            for column, words in _SAID
            if str(getattr(row, column)).strip().casefold() in _UNKNOWN
        ]
        if missing:
            what = f"Of photo {row.id} it is not said {' or '.join(missing)}."
            action = actions.edit("photos.csv", row.id)
            weight = len(missing) / len(_SAID)
            found.append(Finding("metadata", "note", (row.id,), (row.type,), what, action, weight))
    return found
