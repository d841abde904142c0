"""The tables of a set as rows of text, cell by cell, for copying from one place to another."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from simsearch.sets.opinions import OPINION_COLUMNS
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.private import PRIVATE_COLUMNS
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.sources import SOURCE_COLUMNS
from simsearch.sets.tables import read_rows
from simsearch.sets.types import TYPE_COLUMNS

TYPES, PHOTOS, SOURCES = "types.csv", "photos.csv", "sources.csv"
OPINIONS, PRIVATE = "opinions.csv", "private.csv"
CREDITS_FILE = "CREDITS.txt"
COLUMNS: Mapping[str, tuple[str, ...]] = {
    TYPES: TYPE_COLUMNS,
    PHOTOS: PHOTO_COLUMNS,
    SOURCES: SOURCE_COLUMNS,
    OPINIONS: OPINION_COLUMNS,
    PRIVATE: PRIVATE_COLUMNS,
}
NEEDED = (TYPES, PHOTOS, SOURCES)


def read_table(folder: Path, file: str) -> list[dict[str, str]]:
    """Return the rows of one table; empty when it is one that may be missing and is.

    Raises ``TablesError`` when it cannot be read.
    """
    if file not in NEEDED and not (folder / file).exists():
        return []
    problems: list[Problem] = []
    rows = read_rows(folder / file, COLUMNS[file], problems)
    raise_errors(problems)
    return [dict(row.cells) for row in rows]
