"""The tables that are written beside brought-in pictures: ``brought.csv`` and ``left-out.csv``.

People open these in a spreadsheet, and most of what stands in them was written by strangers.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from pathlib import Path

from simsearch.bring.offered import BringError, LeftOut
from simsearch.files import write_text

TABLE = "brought.csv"
LEFT_OUT_TABLE = "left-out.csv"
COLUMNS = ("file", "type", "specimen", "view", "creator", "licence", "source", "note")
_MAX_TABLE_BYTES = 50_000_000
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def cell(text: str) -> str:
    """``text`` so that a spreadsheet shows it and does not work it out as a formula."""
    return f"'{text}" if text.startswith(_FORMULA) else text


class Brought:
    """The rows of ``brought.csv`` in ``folder``; rows that are there already stay as they are.

    Raises ``BringError`` when there is a file of that name that is no such table.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / TABLE
        self.columns: list[str] = list(COLUMNS)
        self.rows: list[dict[str, str]] = []
        if self.path.exists():
            self._read()
        self._files = {row["file"] for row in self.rows}

    def __contains__(self, file: str) -> bool:
        return file in self._files

    def add(self, row: Mapping[str, str]) -> None:
        """Add a row; texts that a spreadsheet would work out are made harmless."""
        self.rows.append({column: cell(row.get(column, "")) for column in self.columns})
        self._files.add(row["file"])

    def save(self) -> None:
        """Write the table in one step."""
        _write(self.path, self.columns, self.rows)

    def _read(self) -> None:
        try:
            if self.path.stat().st_size > _MAX_TABLE_BYTES:
                raise ValueError("it is too big")
            text = self.path.read_text(encoding="utf-8-sig")
            reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
            names = list(reader.fieldnames or ())
            missing = [name for name in COLUMNS if name not in names]
            if missing or len(set(names)) != len(names):
                raise ValueError(f"it has no column '{missing[0]}'" if missing else "twin columns")
            self.rows = [{name: row.get(name) or "" for name in names} for row in reader]
        except (OSError, ValueError, csv.Error) as error:
            raise BringError(
                f"{self.path} is not a table that this command can go on with ({error}).",
                hint="Save it as CSV in UTF-8 with commas and all its columns, or choose another "
                "folder. Nothing has been changed.",
            ) from error
        self.columns = names


def write_left_out(folder: Path, left_out: Iterable[LeftOut]) -> None:
    """Write what was left out and why."""
    rows = [
        {"what": cell(item.what), "where": cell(item.where), "reason": cell(item.reason)}
        for item in left_out
    ]
    _write(folder / LEFT_OUT_TABLE, ["what", "where", "reason"], rows)


def _write(path: Path, columns: list[str], rows: list[dict[str, str]]) -> None:
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    try:
        write_text(path, text.getvalue())
    except OSError as error:
        raise BringError(f"{path} cannot be written ({error.strerror}).") from error
