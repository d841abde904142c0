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
from simsearch.making.spreadsheet import read_sheet
from simsearch.sets.problems import Problem

TABLE = "brought.csv"
LEFT_OUT_TABLE = "left-out.csv"
COLUMNS = ("file", "type", "specimen", "view", "creator", "licence", "source", "note")
# Also the full-width forms, which some spreadsheets take for the signs.
_FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r")


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
        # Read as 'add' reads it: a spreadsheet may have saved it with semicolons since.
        problems: list[Problem] = []
        sheet = read_sheet(self.path, problems)
        fault = next((item.what for item in problems if item.severity == "error"), "")
        names = list(sheet.header) if sheet else []
        missing = [name for name in COLUMNS if name not in names]
        if not fault and missing:
            fault = f"There is no column '{missing[0]}'."
        if sheet is None or fault or len(set(names)) != len(names):
            raise BringError(
                f"{self.path} is not a table to go on with. {fault or 'Two columns are alike.'}",
                hint="Give it back its columns, or choose another folder. Nothing has been "
                "changed.",
            )
        self.rows = [dict(zip(names, cells, strict=True)) for _, cells in sheet.rows]
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
