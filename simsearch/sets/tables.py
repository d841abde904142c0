"""Reading the CSV tables of a reference set, and checking cells.

Row numbers are those a spreadsheet shows: the header is row 1, the first entry row 2, empty
rows count, and a cell with line breaks in it is still one row.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from simsearch.sets.problems import Problem

_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


@dataclass(frozen=True)
class Row:
    """One row of a table: its number as a spreadsheet shows it and its cells by column."""

    number: int
    cells: Mapping[str, str]


def read_rows(path: Path, columns: Sequence[str], problems: list[Problem]) -> list[Row]:
    """Read a table whose header must be exactly ``columns``; cells come back stripped.

    Whatever is wrong is added to ``problems``; rows that cannot be read are left out.
    """
    text = _read_text(path, problems)
    if text is None:
        return []
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        what = f"This is not a well-formed CSV table ({error})."
        problems.append(Problem("error", path.name, what, "Look for a quotation mark left open."))
        return []
    if not _header_is_right(path.name, records[0] if records else [], columns, problems):
        return []
    rows = []
    for number, record in enumerate(records[1:], start=2):
        if not any(cell.strip() for cell in record):
            continue
        if len(record) != len(columns):
            what = f"The row has {len(record)} cells where the header has {len(columns)}."
            todo = "A comma inside a cell needs quotation marks round the whole cell."
            problems.append(Problem("error", f"{path.name}, row {number}", what, todo))
            continue
        cells = {name: cell.strip() for name, cell in zip(columns, record, strict=True)}
        rows.append(Row(number, cells))
    return rows


def _read_text(path: Path, problems: list[Problem]) -> str | None:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        what, todo = "The table is missing.", "Put it into the set's folder."
    except OSError as error:
        what, todo = f"The table cannot be read ({error.strerror}).", "Check its permissions."
    except UnicodeDecodeError as error:
        what = f"The table is not UTF-8 text (byte {error.start})."
        todo = "Save it again from the spreadsheet as CSV, UTF-8."
    problems.append(Problem("error", path.name, what, todo))
    return None


def _header_is_right(
    file: str, header: Sequence[str], columns: Sequence[str], problems: list[Problem]
) -> bool:
    found = [name.strip() for name in header]
    if found == list(columns):
        return True
    todo = f"The columns must be, in this order: {', '.join(columns)}."
    missing = [name for name in columns if name not in found]
    extra = [name or "(no name)" for name in found if name not in columns]
    if len(found) == 1 and found[0].count(";") >= len(columns) - 1:
        what = "The cells are separated by semicolons."
        todo = "Save it again with commas between the cells."
    elif missing or extra:
        parts = [("missing", missing), ("not known", extra)]
        what = "; ".join(f"columns {word}: {', '.join(names)}" for word, names in parts if names)
        what = f"The header is wrong ({what})."
    else:
        what = "The columns are repeated or in another order."
    problems.append(Problem("error", f"{file}, row 1", what, todo))
    return False


class Cells:
    """The cells of one row, with checks that note every problem and carry on.

    A check that fails adds a problem and returns a harmless stand-in; ``ok`` then is false and
    the caller leaves the row out.
    """

    def __init__(self, file: str, row: Row, problems: list[Problem]) -> None:
        self._file = file
        self._row = row
        self._problems = problems
        self.ok = True

    def where(self, column: str) -> str:
        """Return "types.csv, row 4, column group"."""
        return f"{self._file}, row {self._row.number}, column {column}"

    def fail(self, column: str, what: str, what_to_do: str) -> None:
        """Note an error in one cell."""
        self.ok = False
        self._problems.append(Problem("error", self.where(column), what, what_to_do))

    def text(self, column: str) -> str:
        """Return a cell that may be empty."""
        return self._row.cells[column]

    def required(self, column: str) -> str:
        """Return a cell that may not be empty."""
        value = self._row.cells[column]
        if not value:
            self.fail(column, "The cell is empty.", "Fill it in.")
        return value

    def slug(self, column: str) -> str:
        """Return an id made of small letters, digits and single hyphens."""
        value = self.required(column)
        if value and not _SLUG.fullmatch(value):
            todo = "Use small letters a-z, digits and single hyphens, as in 'knee' or 'brooch-12'."
            self.fail(column, f"'{value}' is not a usable id.", todo)
        return value

    def choice(self, column: str, allowed: Collection[str]) -> str:
        """Return a cell that must be one of ``allowed``."""
        value = self.required(column)
        if value and value not in allowed:
            self.fail(column, f"'{value}' is not known here.", f"Use one of: {', '.join(allowed)}.")
        return value

    def items(self, column: str, separator: str = ";") -> tuple[str, ...]:
        """Return the parts of a cell between separators, stripped, empty parts left out."""
        parts = (part.strip() for part in self._row.cells[column].split(separator))
        return tuple(part for part in parts if part)

    def choices(self, column: str, allowed: Collection[str]) -> tuple[str, ...]:
        """Return the ``;``-separated parts of a cell, each one of ``allowed``."""
        values = self.items(column)
        for value in values:
            if value not in allowed:
                todo = f"Use any of: {', '.join(allowed)}; or leave the cell empty."
                self.fail(column, f"'{value}' is not known here.", todo)
        return values

    def day(self, column: str) -> str:
        """Return a day as YYYY-MM-DD (ISO 8601), or an empty string."""
        value = self._row.cells[column]
        try:
            good = not value or date.fromisoformat(value).isoformat() == value
        except ValueError:
            good = False
        if not good:
            self.fail(column, f"'{value}' is not a day.", "Write it as YYYY-MM-DD: 2024-05-31.")
        return value


def note_repeats(
    file: str, column: str, numbered: Sequence[tuple[int, str]], problems: list[Problem]
) -> None:
    """Note every id that has been used in an earlier row; ``numbered`` is (row number, id)."""
    first_seen: dict[str, int] = {}
    for number, value in numbered:
        if not value:
            continue
        if value in first_seen:
            what = f"'{value}' is used already in row {first_seen[value]}."
            where = f"{file}, row {number}, column {column}"
            problems.append(Problem("error", where, what, "Give each row an id of its own."))
        first_seen.setdefault(value, number)
