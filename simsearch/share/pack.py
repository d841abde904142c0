"""A set as one zip: a Frictionless data package that says what is in it, byte for byte.

The same set gives the same bytes: entries are sorted, carry no times, and are stored without
compression (photos are compressed already, and compressors differ between systems). The index
is left out, because it can always be built again and one that was prepared could do harm.
``datapackage.json`` comes last in the file: it holds the hashes of everything before it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from simsearch.errors import PhotoError
from simsearch.files import replacing
from simsearch.sets.reference_set import PACKAGE_FILE, ReferenceSet
from simsearch.sets.write import csv_text
from simsearch.share.cells import guarded
from simsearch.share.credits import credits_text
from simsearch.share.description import PackedPhoto, described
from simsearch.share.leaving import Leaving, require_nothing_told, what_leaves
from simsearch.share.names import photo_name
from simsearch.share.photos import photo_to_share
from simsearch.share.plain import ending_of
from simsearch.share.problems import ShareError
from simsearch.share.tables import COLUMNS, CREDITS_FILE, OPINIONS, PRIVATE, read_table

_FIRST_DAY = (1980, 1, 1, 0, 0, 0)  # the earliest that a zip can say
_PLAIN_FILE = 0o100644 << 16
_UNIX = 3

Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Packed:
    """What was packed: the file, how much is in it, and sentences on what was held back."""

    path: Path
    photos: int
    types: int
    notes: tuple[str, ...]


def export_set(
    reference: ReferenceSet,
    path: Path | str,
    *,
    with_private: bool = False,
    with_not_asked: bool = False,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Packed:
    """Write a set as one zip to ``path``, in one step.

    Which photos leave is stated in ``simsearch.share.leaving``; ``with_private`` adds findspot,
    position, contact and private notes of those that do, ``with_not_asked`` the photos for
    which nobody has asked. Photos that carry metadata are drawn again without. Cells that a
    spreadsheet would evaluate get an apostrophe (``simsearch.share.cells``).

    Raises ``ShareError`` with every reason when the file exists and is not to be replaced, no
    photo may leave, a photo is not the one that was labelled, or a cell tells a findspot.
    """
    target = Path(path)
    if target.exists() and not replace:
        raise ShareError(f"{target} exists already.", [], hint="Give another name, or replace it.")
    leaving = what_leaves(reference, with_not_asked=with_not_asked)
    if not leaving.photos:
        raise ShareError("No photo of this set may leave it.", leaving.notes())
    tables = _tables(reference, leaving, with_private)
    if not with_private:
        require_nothing_told(reference, tables["photos.csv"], tables.get(OPINIONS, []))
    try:
        with replacing(target) as handle, ZipFile(handle, "w", ZIP_STORED) as package:
            photos = _write_photos(package, reference, leaving, progress)
            _write_tables(package, reference, tables, photos)
    except OSError as error:
        what = f"{target} could not be written ({error.strerror or error})."
        raise ShareError(what, [], hint="Check the folder and the room on its disk.") from error
    redrawn = [photo.row.id for photo in photos if photo.redrawn]
    notes = leaving.notes()
    if redrawn:
        notes.append(f"Drawn again without the metadata in the file: {', '.join(redrawn)}.")
    return Packed(target, len(photos), len(reference.types), tuple(notes))


def _tables(reference: ReferenceSet, leaving: Leaving, with_private: bool) -> dict[str, Rows]:
    """Return the rows that leave, by file, as they stand in the set."""
    ids = {photo.id for photo in leaving.photos}
    tables = {file: read_table(reference.folder, file) for file in ("types.csv", "sources.csv")}
    tables["photos.csv"] = [asdict(photo) for photo in leaving.photos]
    opinions = [row for row in read_table(reference.folder, OPINIONS) if row["photo"] in ids]
    if opinions:
        tables[OPINIONS] = opinions
    if with_private:
        private = [row for row in read_table(reference.folder, PRIVATE) if row["photo"] in ids]
        if private:
            tables[PRIVATE] = private
    return tables


def _write_photos(
    package: ZipFile,
    reference: ReferenceSet,
    leaving: Leaving,
    progress: Callable[[int, int], None] | None,
) -> list[PackedPhoto]:
    packed: list[PackedPhoto] = []
    problems: list[str] = []
    for done, photo in enumerate(leaving.photos, start=1):
        try:
            data, redrawn = photo_to_share(reference, photo)
            file = photo_name(photo.id, ending_of(data))
            digest = hashlib.sha256(data).hexdigest()
            packed.append(PackedPhoto(photo, file, len(data), digest, redrawn))
            _add(package, file, data)
        except PhotoError as error:
            problems.append(f"photos.csv, photo {photo.id}: {error.message}")
        if progress is not None:
            progress(done, len(leaving.photos))
    if problems:
        todo = "Put the right files back, or correct the rows; nothing has been written."
        raise ShareError("Some photos cannot be packed.", problems, hint=todo)
    return packed


def _write_tables(
    package: ZipFile,
    reference: ReferenceSet,
    tables: Mapping[str, Rows],
    photos: list[PackedPhoto],
) -> None:
    files = {photo.row.id: {"file": photo.file, "sha256": photo.sha256} for photo in photos}
    texts: dict[str, bytes] = {}
    for file, rows in sorted(tables.items()):
        if file == "photos.csv":
            rows = [row | files[row["id"]] for row in rows]
        safe = [{column: guarded(cell) for column, cell in row.items()} for row in rows]
        texts[file] = csv_text(COLUMNS[file], safe).encode("utf-8")
    texts[CREDITS_FILE] = credits_text(reference, [photo.row for photo in photos]).encode("utf-8")
    for file, content in texts.items():
        _add(package, file, content)
    _add(package, PACKAGE_FILE, described(reference, texts, photos))


def _add(package: ZipFile, file: str, content: bytes) -> None:
    entry = ZipInfo(file, _FIRST_DAY)
    entry.create_system = _UNIX
    entry.external_attr = _PLAIN_FILE
    package.writestr(entry, content, ZIP_STORED)
