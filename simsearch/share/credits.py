"""The text for people that goes with a package: who made the photos, under which licences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from simsearch.sets.licences import LICENCES
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.share.problems import shown

_LONG = 300


def credits_text(reference: ReferenceSet, photos: Sequence[PhotoRow]) -> str:
    """Return the credits of these photos of a set, the same for the same photos."""
    rendered = sum(photo.is_rendered for photo in photos)
    lines = [shown(reference.title, _LONG), "", f"{len(photos)} photos in this package."]
    if rendered:
        lines.append(f"{rendered} of them are rendered: drawn by a program, of no real object.")
    lines += [
        "What a search in this set gives are leads to verify, not identifications.",
        "",
        "Photos, by licence and creator (each photo's own row in photos.csv decides):",
    ]
    counted = Counter((photo.licence, photo.creator) for photo in photos)
    for (licence, creator), count in sorted(counted.items()):
        known = LICENCES[licence]
        credit = "credit the creator" if known.needs_credit else "no credit asked for"
        same = ", share alike" if known.share_alike else ""
        lines.append(f"- {shown(creator, _LONG)}: {count}, {known.name} ({credit}{same})")
        lines.append(f"  {known.url}")
    lines += [
        "",
        "In the tables, an apostrophe stands before cells that a spreadsheet would take for a",
        "formula. simsearch takes it away again where the cell is plain words.",
    ]
    return "\n".join(lines) + "\n"


def credit_line(photo: PhotoRow) -> str:
    """Return "creator, licence" of one photo, with "rendered" where it is."""
    rendered = "Rendered, not a photograph of a find. " if photo.is_rendered else ""
    return f"{rendered}{photo.creator}, {LICENCES[photo.licence].name}"
