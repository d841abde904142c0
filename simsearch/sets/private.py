"""The table of what stays with the set, ``private.csv``: consent, contact, findspot.

It is kept apart from ``photos.csv`` so that giving a set to others can leave it out whole. It
never stands in ``datapackage.json``. A set in which nothing is private needs no such table.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from simsearch.sets.problems import Problem
from simsearch.sets.tables import Cells, note_repeats, read_rows

PRIVATE_FILE = "private.csv"
PRIVATE_COLUMNS = ("photo", "consent", "contact", "findspot", "gps", "note")
CONSENTS = ("given", "not asked", "refused")


@dataclass(frozen=True)
class PrivateRow:
    """What is private about one photo.

    ``consent`` is one of ``CONSENTS``: whether who found or owns the object agrees to the photo
    being shown. ``gps`` is "latitude, longitude" in degrees (WGS84), or empty.
    """

    photo: str
    consent: str = "not asked"
    contact: str = ""
    findspot: str = ""
    gps: str = ""
    note: str = ""

    def cells(self) -> Mapping[str, str]:
        """Return the row of the table."""
        return asdict(self)


def read_private(
    path: Path, problems: list[Problem], *, photo_ids: Collection[str] | None = None
) -> dict[str, PrivateRow]:
    """Read what can be read of ``private.csv``, by photo id, and note the rest in ``problems``.

    A missing table holds nothing. With ``photo_ids`` given, every photo must be among them.
    """
    if not path.exists():
        return {}
    rows = read_rows(path, PRIVATE_COLUMNS, problems)
    note_repeats(path.name, "photo", [(row.number, row.cells["photo"]) for row in rows], problems)
    found: dict[str, PrivateRow] = {}
    for row in rows:
        cells = Cells(path.name, row, problems)
        photo = cells.slug("photo")
        if photo_ids is not None and cells.ok and photo not in photo_ids:
            cells.fail("photo", f"There is no photo '{photo}' in photos.csv.", "Correct the id.")
        private = PrivateRow(
            photo=photo,
            consent=cells.choice("consent", CONSENTS),
            contact=cells.text("contact"),
            findspot=cells.text("findspot"),
            gps=cells.text("gps"),
            note=cells.text("note"),
        )
        if cells.ok:
            found.setdefault(photo, private)
    return found
