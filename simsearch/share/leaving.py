"""What may leave a set, and what stays at home.

The rule, photo by photo, from the row in ``private.csv``:

- **consent refused**: the photo never leaves, whatever is asked for; nor do its opinions.
- **not asked** (or nothing said): it stays, unless whoever shares the set says that it may go.
- **consent given**, or no row at all: it leaves. Without a row nobody but the creator is known
  to have a say, and the creator's licence is open.

Contact, findspot, GPS and private notes leave only when asked for, and then only those of
photos that leave. Words of findspot and contact are looked for in the other cells too: a
findspot that somebody wrote into a note is still a findspot.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet
from simsearch.share.problems import ShareError

_WORDS = re.compile(r"[^\W_]+")
_SHORTEST = 4  # letters and digits; shorter words would be found everywhere
_SECRETS = ("contact", "findspot", "gps")
_OPEN_COLUMNS = ("id", "specimen", "source", "label_basis", "note")
_OPINION_COLUMNS = ("specimen", "authority", "note")


@dataclass(frozen=True)
class Leaving:
    """The photos that leave, by id, and how many stay for which reason."""

    photos: tuple[PhotoRow, ...]
    refused: tuple[str, ...]
    not_asked: tuple[str, ...]

    def notes(self) -> list[str]:
        """Say in sentences which photos stay at home."""
        notes = []
        if self.refused:
            notes.append(f"Consent was refused, so not included: {', '.join(self.refused)}.")
        if self.not_asked:
            notes.append(
                f"Nobody has asked for consent yet, so not included: {', '.join(self.not_asked)}."
            )
        return notes


def what_leaves(reference: ReferenceSet, *, with_not_asked: bool = False) -> Leaving:
    """Return which photos of a set may leave it."""
    go: list[PhotoRow] = []
    refused: list[str] = []
    not_asked: list[str] = []
    for photo in sorted(reference.photos, key=lambda row: row.id):
        private = reference.private.get(photo.id)
        if private is None or private.consent == "given":
            go.append(photo)
        elif private.consent == "refused":
            refused.append(photo.id)
        elif with_not_asked:
            go.append(photo)
        else:
            not_asked.append(photo.id)
    return Leaving(tuple(go), tuple(refused), tuple(not_asked))


def require_nothing_told(
    reference: ReferenceSet,
    photos: Iterable[Mapping[str, str]],
    opinions: Iterable[Mapping[str, str]] = (),
) -> None:
    """Raise ``ShareError`` naming every cell that would tell something private."""
    told = told_secrets(reference, photos, opinions)
    if told:
        raise ShareError(
            "Something private stands in a table that would leave.",
            told,
            hint="Take it out of the cell; if it may be known, out of private.csv as well.",
        )


def told_secrets(
    reference: ReferenceSet,
    photos: Iterable[Mapping[str, str]],
    opinions: Iterable[Mapping[str, str]],
) -> list[str]:
    """Say which cells of rows that are to leave hold a findspot, position or contact.

    The names of those who took and labelled the photo do not count: they are its credit.
    """
    found: list[str] = []
    credits: dict[str, list[str]] = {}
    for row in photos:
        credits[row["id"]] = [row["creator"], row["labelled_by"]]
        where = f"photos.csv, photo {row['id']}"
        found += _told(reference, row["id"], row, _OPEN_COLUMNS, credits[row["id"]], where)
    for row in opinions:
        spared = [*credits.get(row["photo"], ()), row["by"]]
        where = f"opinions.csv, photo {row['photo']}"
        found += _told(reference, row["photo"], row, _OPINION_COLUMNS, spared, where)
    return found


def _told(
    reference: ReferenceSet,
    photo_id: str,
    row: Mapping[str, str],
    columns: Iterable[str],
    spared: Iterable[str],
    where: str,
) -> Iterator[str]:
    private = reference.private.get(photo_id)
    if private is None:
        return
    secrets = {what: _normal(getattr(private, what)) for what in _SECRETS}
    for column in columns:
        words = _normal(row[column])
        for credit in spared:
            if credit.strip():
                words = words.replace(_normal(credit), " | ")
        for what, secret in secrets.items():
            if len(secret.strip()) >= _SHORTEST and secret in words:
                yield f"{where}, column {column}: it holds the {what} that private.csv keeps"


def _normal(text: str) -> str:
    """Return the words of a text, each between spaces, so that only whole words are found."""
    return f" {' '.join(_WORDS.findall(text.casefold()))} "
