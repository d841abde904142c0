"""Reading a table as spreadsheets write them: whatever separator, whatever encoding."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from pathlib import Path

from simsearch.sets.problems import Problem

MAX_TABLE_BYTES = 50_000_000
_SEPARATORS = (",", ";", "\t", "|")


@dataclass(frozen=True)
class Sheet:
    """A table as read: its name, the header's cells, and rows as (number, cells).

    Every row has as many cells as the header; row numbers are those a spreadsheet shows.
    """

    name: str
    header: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]


def read_sheet(path: Path, problems: list[Problem]) -> Sheet | None:
    """Read a table, noting what is wrong in ``problems``; ``None`` when nothing can be read."""
    text = _text(path, problems)
    if text is None:
        return None
    if "\x00" in text:
        what = "The table holds null characters, which are no text."
        todo = "Save it again from the spreadsheet as CSV, UTF-8."
        problems.append(Problem("error", path.name, what, todo))
        return None
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text)))
    except csv.Error as error:
        what = f"This is not a well-formed table ({error})."
        todo = "Look for a quotation mark left open, or save it again as CSV."
        problems.append(Problem("error", path.name, what, todo))
        return None
    header = tuple(cell.strip() for cell in records[0]) if records else ()
    while header and not header[-1]:
        header = header[:-1]
    if not header:
        what = "The first row is empty."
        problems.append(Problem("error", path.name, what, "Name the columns in it."))
        return None
    rows = []
    for number, record in enumerate(records[1:], start=2):
        cells = tuple(record)
        if not any(cell.strip() for cell in cells):
            continue
        if any(cell.strip() for cell in cells[len(header) :]):
            what = f"The row has {len(cells)} cells where the header has {len(header)}."
            todo = "A separator inside a cell needs quotation marks round the whole cell."
            problems.append(Problem("error", f"{path.name}, row {number}", what, todo))
            continue
        # Spreadsheets leave out empty cells at the end of a row.
        padded = (*cells, *[""] * len(header))[: len(header)]
        rows.append((number, padded))
    return Sheet(path.name, header, tuple(rows))


def _text(path: Path, problems: list[Problem]) -> str | None:
    try:
        if not path.is_file():
            what, todo = "There is no such file.", "Give a table saved as CSV."
        elif path.stat().st_size > MAX_TABLE_BYTES:
            what = f"The table is over the limit of {MAX_TABLE_BYTES // 1_000_000} MB."
            todo = "Split it."
        else:
            return _decoded(path, path.read_bytes(), problems)
    except (OSError, ValueError) as error:
        what, todo = f"The table cannot be read ({error}).", "Check its permissions."
    problems.append(Problem("error", path.name, what, todo))
    return None


def _decoded(path: Path, content: bytes, problems: list[Problem]) -> str | None:
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        what = "This is a spreadsheet's own file, not a table in text."
        todo = "Save it from the spreadsheet as CSV, UTF-8."
        problems.append(Problem("error", path.name, what, todo))
        return None
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        what = "The table is not UTF-8; it is read as the western code page."
        todo = "Look at names with accents; if they are wrong, save it again as CSV, UTF-8."
        problems.append(Problem("warning", f"{path.name}, row {row}", what, todo))
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError:  # the few bytes that the code page leaves open
        return content.decode("latin-1")


def _separator(text: str) -> str:
    """Return the separator that the first line holds most of, outside quotation marks."""
    line = text.lstrip("\r\n").split("\n", 1)[0]
    bare = "".join(line.split('"')[::2])
    return max(_SEPARATORS, key=bare.count)
