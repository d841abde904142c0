"""The table of reference photos, ``photos.csv``."""

from __future__ import annotations

import re
import stat
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from simsearch.sets.licences import LICENCES
from simsearch.sets.problems import Problem, raise_errors
from simsearch.sets.tables import Cells, Row, note_repeats, read_rows

PHOTO_COLUMNS = (
    "id", "file", "type", "specimen", "view", "completeness", "condition", "kind", "creator",
    "licence", "source", "sha256", "labelled_by", "label_basis", "labelled_on", "note",
)  # fmt: skip
VIEWS = ("front", "back", "side", "detail")
COMPLETENESS = ("complete", "fragment")
CONDITIONS = ("clean", "worn", "corroded")
KINDS = ("rendered", "photo")
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True)
class PhotoRow:
    """One labelled photo of a reference set.

    ``file`` is relative to the set's folder with forward slashes; ``specimen`` names the one
    object shown, so that several photos of it count once; ``licence`` is an SPDX id.
    """

    id: str
    file: str
    type: str
    specimen: str
    view: str
    completeness: str
    condition: str
    kind: str
    creator: str
    licence: str
    source: str
    sha256: str
    labelled_by: str
    label_basis: str
    labelled_on: str
    note: str

    @property
    def is_rendered(self) -> bool:
        """Whether the picture was drawn by a program and shows no real object."""
        return self.kind == "rendered"


def load_photos(
    path: Path | str, *, type_ids: Collection[str] | None = None
) -> tuple[PhotoRow, ...]:
    """Read ``photos.csv``; photo files are looked for beside it.

    With ``type_ids`` given, every photo's type must be among them. Files must exist inside the
    folder; their hashes are compared by ``simsearch.sets.check``, not here.
    Raises ``TablesError`` listing every problem with its row and column.
    """
    problems: list[Problem] = []
    photos = read_photos(Path(path), type_ids, problems)
    raise_errors(problems)
    return photos


def read_photos(
    path: Path, type_ids: Collection[str] | None, problems: list[Problem]
) -> tuple[PhotoRow, ...]:
    """Read what can be read of ``photos.csv`` and note the rest in ``problems``."""
    rows = read_rows(path, PHOTO_COLUMNS, problems)
    for column in ("id", "file"):
        numbered = [(row.number, row.cells[column]) for row in rows]
        note_repeats(path.name, column, numbered, problems)
    _check_specimens(path.name, rows, problems)
    photos = []
    for row in rows:
        cells = Cells(path.name, row, problems)
        photo = _photo(cells, path.parent)
        if type_ids is not None and photo.type and photo.type not in type_ids:
            what, todo = f"There is no type '{photo.type}'.", "Add it to types.csv or correct it."
            cells.fail("type", what, todo)
        if cells.ok:
            photos.append(photo)
    return tuple(photos)


def _photo(cells: Cells, folder: Path) -> PhotoRow:
    return PhotoRow(
        id=cells.slug("id"),
        file=_file(cells, folder),
        type=cells.slug("type"),
        specimen=cells.required("specimen"),
        view=cells.choice("view", VIEWS),
        completeness=cells.choice("completeness", COMPLETENESS),
        condition=cells.choice("condition", CONDITIONS),
        kind=cells.choice("kind", KINDS),
        creator=cells.required("creator"),
        licence=_licence(cells),
        source=cells.required("source"),
        sha256=_sha256(cells),
        labelled_by=cells.required("labelled_by"),
        label_basis=cells.required("label_basis"),
        labelled_on=cells.day("labelled_on"),
        note=cells.text("note"),
    )


def _licence(cells: Cells) -> str:
    licence = cells.text("licence")
    if licence not in LICENCES:
        what = f"'{licence}' is not an open licence known here." if licence else "No licence given."
        cells.fail("licence", what, f"A photo needs one of: {', '.join(LICENCES)}.")
    return licence


def _sha256(cells: Cells) -> str:
    value = cells.text("sha256")
    if not _SHA256.fullmatch(value):
        todo = "Write the file's SHA-256 as 64 hexadecimal digits in small letters."
        cells.fail("sha256", f"'{value}' is not a SHA-256.", todo)
    return value


def _file(cells: Cells, folder: Path) -> str:
    file = cells.required("file")
    if file:
        fault = file_fault(folder, file)
        if fault:
            cells.fail("file", *fault)
    return file


def file_fault(folder: Path, file: str) -> tuple[str, str] | None:
    """Say what is wrong with a photo's path, and what to do; ``None`` when nothing is.

    The path must stay inside ``folder``: a set may come from anyone, and a path that leaves it
    could pull any file of the reader's machine onto a page.
    """
    parts = file.split("/")
    # Tested as text on every system: a drive or backslash means the same set would point
    # elsewhere on another machine.
    if "\\" in file or ":" in file or any(ord(letter) < 32 for letter in file):
        return f"'{file}' is not a plain path.", "Use forward slashes, as in photos/knee-1.jpg."
    # A leading slash leaves an empty first part.
    if any(part in ("", ".", "..") for part in parts):
        todo = "Give the path inside the set's folder, as in photos/knee-1.jpg."
        return f"'{file}' does not stay in the set's folder.", todo
    path = folder
    for part in parts:
        path = path / part
        try:
            mode = path.lstat().st_mode
        except (FileNotFoundError, NotADirectoryError):
            return f"The file '{file}' is missing.", "Put it back, or remove the row."
        except (OSError, ValueError) as error:
            return f"The file '{file}' cannot be looked at ({error}).", "Check the name."
        if stat.S_ISLNK(mode):
            return f"'{file}' is or passes through a link.", "Put the file itself in the folder."
    if not stat.S_ISREG(mode):
        return f"'{file}' is not a file.", "Name a picture file."
    return None


def _check_specimens(file: str, rows: Sequence[Row], problems: list[Problem]) -> None:
    """One object has one type: two labels on one specimen is a mistake in one of the rows."""
    first: dict[str, Row] = {}
    for row in rows:
        specimen, type_id = row.cells["specimen"], row.cells["type"]
        if not specimen:
            continue
        seen = first.setdefault(specimen, row)
        if seen.cells["type"] != type_id:
            where = f"{file}, row {row.number}, column specimen"
            what = f"'{specimen}' is a '{seen.cells['type']}' in row {seen.number}."
            todo = "One object has one type: correct the type, or give the object another name."
            problems.append(Problem("error", where, what, todo))
