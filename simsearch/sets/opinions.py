"""The table of opinions, ``opinions.csv``: every label that a photo was ever given.

``photos.csv`` holds the label in force. Here stands who gave which label, when and on what
authority, the first one too; rows are added and never overwritten, so that a second opinion
stands beside the first. A set without second opinions needs no such table.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from simsearch.sets.photos import PhotoRow
from simsearch.sets.problems import Problem
from simsearch.sets.tables import Cells, read_rows

OPINIONS_FILE = "opinions.csv"
OPINION_COLUMNS = ("photo", "specimen", "type", "by", "on", "authority", "note")


@dataclass(frozen=True)
class Opinion:
    """One label: ``by`` whom, ``on`` which day (YYYY-MM-DD or empty), on what ``authority``."""

    photo: str
    specimen: str
    type: str
    by: str
    on: str
    authority: str
    note: str = ""

    def cells(self) -> Mapping[str, str]:
        """Return the row of the table."""
        return asdict(self)


def opinion_in_force(photo: PhotoRow) -> Opinion:
    """Return the label that ``photos.csv`` gives a photo, as an opinion."""
    return Opinion(
        photo=photo.id,
        specimen=photo.specimen,
        type=photo.type,
        by=photo.labelled_by,
        on=photo.labelled_on,
        authority=photo.label_basis,
    )


def read_opinions(
    path: Path,
    problems: list[Problem],
    *,
    photo_ids: Collection[str] | None = None,
    type_ids: Collection[str] | None = None,
) -> tuple[Opinion, ...]:
    """Read what can be read of ``opinions.csv`` and note the rest in ``problems``.

    A missing table holds no opinions. With ``photo_ids`` and ``type_ids`` given, what a row
    names must be among them.
    """
    if not path.exists():
        return ()
    opinions = []
    for row in read_rows(path, OPINION_COLUMNS, problems):
        cells = Cells(path.name, row, problems)
        opinion = Opinion(
            photo=_known(cells, "photo", photo_ids, "photos.csv"),
            specimen=cells.required("specimen"),
            type=_known(cells, "type", type_ids, "types.csv"),
            by=cells.required("by"),
            on=cells.day("on"),
            authority=cells.required("authority"),
            note=cells.text("note"),
        )
        if cells.ok:
            opinions.append(opinion)
    return tuple(opinions)


def _known(cells: Cells, column: str, ids: Collection[str] | None, table: str) -> str:
    value = cells.slug(column)
    if ids is not None and cells.ok and value not in ids:
        cells.fail(column, f"There is no {column} '{value}' in {table}.", "Correct the id.")
    return value
