"""A set's tables as they stand under the lock, to be changed and written again together."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from simsearch.errors import SetError
from simsearch.making.ledger import LEDGER_COLUMNS, LEDGER_FILE
from simsearch.sets.changes import Change
from simsearch.sets.datapackage import datapackage_bytes
from simsearch.sets.opinions import OPINION_COLUMNS, OPINIONS_FILE
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.private import PRIVATE_COLUMNS, PRIVATE_FILE
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.reference_set import PACKAGE_FILE
from simsearch.sets.sources import SOURCE_COLUMNS
from simsearch.sets.tables import read_rows
from simsearch.sets.types import TYPE_COLUMNS
from simsearch.sets.write import csv_text

Cells = Mapping[str, str]
COLUMNS: Mapping[str, Sequence[str]] = {
    "types.csv": TYPE_COLUMNS,
    "photos.csv": PHOTO_COLUMNS,
    "sources.csv": SOURCE_COLUMNS,
    OPINIONS_FILE: OPINION_COLUMNS,
    PRIVATE_FILE: PRIVATE_COLUMNS,
    LEDGER_FILE: LEDGER_COLUMNS,
}
_MAY_BE_MISSING = (OPINIONS_FILE, PRIVATE_FILE, LEDGER_FILE)


class Tables:
    """The tables of one set during one ``Change``; each is read when it is first needed.

    Rows are mappings of every column to its cell. Nothing is written before ``save``.
    """

    def __init__(self, folder: Path, change: Change) -> None:
        self._folder = folder
        self._change = change
        self._rows: dict[str, list[Cells]] = {}
        self._changed: set[str] = set()

    def rows(self, file: str) -> Sequence[Cells]:
        """Return the rows of a table. Raises ``TablesError`` when it cannot be read."""
        if file not in self._rows:
            self._rows[file] = self._read(file)
        return self._rows[file]

    def append(self, file: str, rows: Sequence[Cells]) -> None:
        """Put rows after those of a table."""
        if rows:
            self.replace(file, [*self.rows(file), *rows])

    def keep(self, file: str, is_kept: Callable[[Cells], bool]) -> None:
        """Leave out the rows for which ``is_kept`` is false."""
        kept = [row for row in self.rows(file) if is_kept(row)]
        if len(kept) < len(self.rows(file)):
            self.replace(file, kept)

    def replace(self, file: str, rows: Sequence[Cells]) -> None:
        """Give a table these rows instead of those that it has."""
        self._rows[file] = list(rows)
        self._changed.add(file)

    def save(self) -> None:
        """Put what has changed into the ``Change``, and the description that goes with it."""
        if not self._changed:
            return
        contents = {}
        for file in sorted(self._changed):
            contents[file] = csv_text(COLUMNS[file], self._rows[file]).encode("utf-8")
            self._change.put(file, contents[file])
        self._change.put(PACKAGE_FILE, datapackage_bytes(self._folder, contents))

    def _read(self, file: str) -> list[Cells]:
        path = self._folder / file
        if file in _MAY_BE_MISSING and not path.exists():
            return []
        problems: list[Problem] = []
        rows = read_rows(path, COLUMNS[file], problems)
        raise_errors(problems)
        return [row.cells for row in rows]


def require_photo(rows: Sequence[Cells], photo_id: str, folder: Path) -> Cells:
    """Return a photo's row. Raises ``SetError`` when the set has no such photo."""
    for row in rows:
        if row["id"] == photo_id:
            return row
    raise SetError(
        f"There is no photo '{photo_id}' in {folder}.", hint="See the column id of photos.csv."
    )
