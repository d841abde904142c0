"""Planning an import from a table: one row for each photo.

The table needs the columns ``file`` and ``type``; any other column of photos.csv or private.csv
may be there, in any order. It may come out of any spreadsheet: commas, semicolons or tabs
between the cells, UTF-8 (with or without a byte order mark), UTF-16 or the western code page,
column names in any case. Types, views and licences are recognised as people write them
("Knee brooch", "reverse", "cc by 4.0"). Row numbers in problems are those a spreadsheet shows.

The table is data, whoever made it: photos are looked for only in the folder of photos, and a
cell that a spreadsheet would run as a formula is kept as text, with an apostrophe before it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from simsearch.making.names import (
    COMPLETENESS_WORDS,
    VIEW_WORDS,
    TypeNames,
    either,
    licence_id,
    plain,
    squeezed,
)
from simsearch.making.plan import Defaults, Incoming, NewPhoto, Plan, make_plan
from simsearch.making.spreadsheet import Sheet, read_sheet
from simsearch.sets.photos import PHOTO_COLUMNS
from simsearch.sets.private import CONSENTS, PRIVATE_COLUMNS, PrivateRow
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import ReferenceSet

_MAX_CELL = 4000  # letters; no label or note needs more
_ROW_COLUMNS = tuple(name for name in PHOTO_COLUMNS if name not in ("file", "sha256"))
_PRIVATE = {"private_note" if name == "note" else name: name for name in PRIVATE_COLUMNS[1:]}
_COLUMNS = ("file", *_ROW_COLUMNS, *_PRIVATE)
_OTHER_WORDS = {
    "photo": "file", "photofile": "file", "filename": "file", "image": "file", "path": "file",
    "license": "licence", "photographer": "creator", "author": "creator", "object": "specimen",
    "labeledby": "labelled_by", "labeledon": "labelled_on", "notes": "note", "typeid": "type",
    "find": "specimen",
}  # fmt: skip
_MEANT = {squeezed(name): name for name in _COLUMNS} | _OTHER_WORDS
# Letters that may call something, in a cell that begins as formulas do (see OWASP, "CSV
# Injection"); -1.5 and +44 20 7946 0000 may stay as they are.
_FORMULA = re.compile(r"\s*(?:[=@＝＠\t\r]|[-+＋－](?=.*[(\[!|=@{\"']))", re.DOTALL)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")


def plan_from_table(
    reference: ReferenceSet,
    table: Path | str,
    defaults: Defaults,
    *,
    photos: Path | str | None = None,
    open_photos: bool = False,
    again: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Plan:
    """Plan to bring in the photos that a CSV table lists; nothing is written.

    Files are looked for in ``photos``, the table's own folder without it. ``defaults`` fills
    cells that are missing or empty. The other arguments are those of ``make_plan``. Everything
    wrong with the table comes back as problems of the plan, with row and column.
    """
    path = Path(table)
    problems: list[Problem] = []
    sheet = read_sheet(path, problems)
    columns = _columns(sheet, problems) if sheet is not None else None
    if sheet is None or columns is None:
        return Plan((), (), tuple(problems))
    reader = _Reader(sheet, columns, reference, defaults, Path(photos or path.parent), problems)
    wanted = [item for number, cells in sheet.rows if (item := reader.read(number, cells))]
    if not sheet.rows:
        problems.append(Problem("error", sheet.name, "The table has no rows.", "Add some."))
    return make_plan(
        reference, wanted, problems, open_photos=open_photos, again=again, progress=progress
    )


def _columns(sheet: Sheet, problems: list[Problem]) -> list[str] | None:
    """Return what each column of the table is for, empty for those not used."""
    where = f"{sheet.name}, row 1"
    found = [_MEANT.get(squeezed(name), "") for name in sheet.header]
    named = [name for name in found if name]
    repeated = sorted({name for name in named if named.count(name) > 1})
    missing = [name for name in ("file", "type") if name not in named]
    if missing:
        what = f"There is no column {either(missing)}."
        todo = "The first row must name the columns, at least file and type."
        problems.append(Problem("error", where, what, todo))
    if repeated:
        what = f"Two columns are for {either(repeated)}."
        problems.append(Problem("error", where, what, "Rename or remove one of them."))
    unused = [name for name, meant in zip(sheet.header, found, strict=True) if not meant and name]
    for name in unused:
        what = f"The column '{_short(name)}' is not used."
        problems.append(Problem("warning", where, what, f"Known are: {', '.join(_COLUMNS)}."))
    return None if missing or repeated else found


class _Reader:
    """Turns the rows of one table into incoming photos."""

    def __init__(
        self,
        sheet: Sheet,
        columns: Sequence[str],
        reference: ReferenceSet,
        defaults: Defaults,
        root: Path,
        problems: list[Problem],
    ) -> None:
        self._sheet = sheet
        self._columns = columns
        self._names = TypeNames(reference.types.values())
        self._defaults = defaults
        self._root = root
        self._problems = problems

    def read(self, number: int, record: Sequence[str]) -> Incoming | None:
        """Return one row's photo, or ``None`` when a cell is wrong (told already)."""
        place = f"{self._sheet.name}, row {number}"
        before = self._errors()
        pairs = zip(self._columns, record, strict=True)
        cleaned = {name: self._clean(place, name, cell) for name, cell in pairs if name}
        # A cell that cannot be used at all has been told, and is not to be told as empty too.
        cells = {name: cell for name, cell in cleaned.items() if cell is not None}
        source = self._file(place, cells["file"]) if "file" in cells else None
        row = self._row(place, cells)
        private = self._private(cells)
        if self._errors() > before or source is None:
            return None
        return Incoming(source, row, private, place)

    def _errors(self) -> int:
        return sum(found.severity == "error" for found in self._problems)

    def _tell(self, place: str, column: str, what: str, todo: str, error: bool = True) -> None:
        where = f"{place}, column {column}"
        self._problems.append(Problem("error" if error else "warning", where, what, todo))

    def _clean(self, place: str, column: str, text: str) -> str | None:
        cell = text.strip()
        if _CONTROL.search(cell):
            what, todo = "The cell holds a character that is no text.", "Type the cell again."
            self._tell(place, column, what, todo)
            return None
        if len(cell) > _MAX_CELL:
            what = f"The cell has {len(cell)} letters, over the limit of {_MAX_CELL}."
            self._tell(place, column, what, "Shorten it.")
            return None
        if column != "file" and _FORMULA.match(cell):
            what = f"'{_short(cell)}' begins like a formula of a spreadsheet."
            todo = "It is kept as text, with an apostrophe before it."
            self._tell(place, column, what, todo, error=False)
            return f"'{cell}"
        return cell

    def _file(self, place: str, cell: str) -> Path | None:
        """Return where the photo is: a plain path in the folder of photos, through no link."""
        file = cell.replace("\\", "/")
        while file.startswith("./"):
            file = file[2:]
        if not file:
            self._tell(place, "file", "The cell is empty.", "Give the name of the photo's file.")
            return None
        if ":" in file or any(part in ("", ".", "..") for part in file.split("/")):
            what = f"'{_short(cell)}' is no plain path in the folder of photos."
            self._tell(place, "file", what, "Give it as it is inside the folder of photos.")
            return None
        path = self._root / file
        try:
            inside = path.resolve(strict=True).is_relative_to(self._root.resolve())
        except (OSError, ValueError, RuntimeError):
            what = f"There is no file '{_short(cell)}' in {self._root}."
            self._tell(place, "file", what, "Check its name, or name the folder of photos.")
            return None
        if not inside or not path.is_file():
            what = f"'{_short(cell)}' is no file in the folder of photos."
            self._tell(place, "file", what, "Put the photo itself there.")
            return None
        return path

    def _row(self, place: str, cells: Mapping[str, str]) -> NewPhoto:
        given = {name: cells[name] for name in _ROW_COLUMNS if cells.get(name)}
        given["type"] = self._type(place, cells["type"]) if "type" in cells else ""
        for name, meaning in (("view", VIEW_WORDS), ("completeness", COMPLETENESS_WORDS)):
            if name in given:
                given[name] = meaning.get(squeezed(given[name]), given[name])
        for name in ("condition", "kind"):
            if name in given:
                given[name] = plain(given[name])
        if "licence" in given:
            given["licence"] = licence_id(given["licence"])
        return self._defaults.row(**given)

    def _type(self, place: str, cell: str) -> str:
        found = self._names.find(cell)
        if len(found) == 1:
            return next(iter(found))
        if not cell:
            self._tell(place, "type", "The cell is empty.", "Say which type the photo shows.")
        elif found:
            what = f"'{_short(cell)}' could mean {either(sorted(found))}."
            self._tell(place, "type", what, "Use the id of the type.")
        else:
            what = f"There is no type '{_short(cell)}' in the set."
            self._tell(place, "type", what, self._names.hint(cell))
        return ""

    def _private(self, cells: Mapping[str, str]) -> PrivateRow | None:
        given = {name: cells.get(column, "") for column, name in _PRIVATE.items()}
        meant = {squeezed(consent): consent for consent in CONSENTS}
        given["consent"] = meant.get(squeezed(given["consent"]), given["consent"])
        return self._defaults.private(**given)


def _short(text: str) -> str:
    """Return a text short enough for a line; the rest of a long cell says nothing more."""
    line = " ".join(text.split())
    return line if len(line) <= 60 else f"{line[:57]}..."
