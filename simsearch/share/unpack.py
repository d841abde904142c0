"""A set out of a zip that may have come from anyone.

Nothing appears under the folder's name before everything in the package has been found good:
it is unpacked beside it under a hidden name, checked there, and given its name in one step.
What can be made harmless is (formulas in cells, metadata in photos, names of files) and told;
everything else is refused with every reason found.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from simsearch.errors import PhotoError, SimsearchError
from simsearch.files import sync_folder, write_bytes
from simsearch.sets.check import check_set
from simsearch.sets.datapackage import write_datapackage
from simsearch.sets.licences import LICENCES
from simsearch.sets.opinions import read_opinions
from simsearch.sets.private import read_private
from simsearch.sets.problems import Problem
from simsearch.sets.reference_set import INDEX_FOLDER, PACKAGE_FILE
from simsearch.sets.tables import read_rows
from simsearch.sets.write import csv_text
from simsearch.share.archive import Archive, Limits, open_archive
from simsearch.share.cells import received
from simsearch.share.listing import Listing, read_listing
from simsearch.share.names import photo_name
from simsearch.share.plain import ending_of, plain_photo
from simsearch.share.problems import ShareError, shown
from simsearch.share.tables import COLUMNS, NEEDED, OPINIONS, PHOTOS, PRIVATE, TYPES

_SLUG = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_LISTED = 5
_FREE = 1.1  # times the unpacked size that must be free on the disk

Rows = list[dict[str, str]]


@dataclass(frozen=True)
class Unpacked:
    """What was unpacked: the folder, how much is in it, and sentences on what was changed."""

    folder: Path
    photos: int
    types: int
    notes: tuple[str, ...]


@dataclass
class _Work:
    """One package on its way in."""

    archive: Archive
    listing: Listing
    staging: Path
    reasons: list[str] = field(default_factory=list)
    neutralised: list[str] = field(default_factory=list)
    redrawn: list[str] = field(default_factory=list)
    tables: dict[str, Rows] = field(default_factory=dict)


def unpack_set(
    package: Path | str,
    folder: Path | str,
    *,
    limits: Limits | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Unpacked:
    """Unpack a set into a folder that does not exist yet; it has no index afterwards.

    Raises ``ShareError`` with every reason found; then nothing has appeared in the folder.
    """
    source, target = Path(package), Path(folder)
    what = f"{shown(source.name)} is not unpacked."
    if target.exists() or target.is_symlink():
        raise ShareError(what, [f"there is something at {target} already"],
                         hint="Name a folder that does not exist yet.")  # fmt: skip
    if not target.resolve().parent.is_dir():
        raise ShareError(what, [f"there is no folder {target.parent}"], hint="Make it first.")
    used = limits or Limits()
    with open_archive(source, used) as archive:
        listing = _listing(archive, used, what)
        _require_room(archive, target, what)
        staging = target.with_name(f".{target.name}.{secrets.token_hex(6)}.part")
        work = _Work(archive, listing, staging)
        try:
            staging.mkdir()
            _fill(work, progress)
            _require(what, work.reasons)
            _require(what, _set_faults(work))
            for found in (staging / "photos", staging):
                sync_folder(found)
            os.rename(staging, target)
            sync_folder(target.parent)
        except OSError as error:
            reason = f"{target} could not be written ({error.strerror or error})"
            raise ShareError(what, [reason], hint="Check the disk and its permissions.") from error
        finally:
            shutil.rmtree(staging, ignore_errors=True)
    return Unpacked(target, len(work.tables[PHOTOS]), len(work.tables[TYPES]), _notes(work))


def _require(what: str, reasons: list[str]) -> None:
    if reasons:
        raise ShareError(what, reasons, hint="Nothing has been written. Ask whoever packed it.")


def _listing(archive: Archive, limits: Limits, what: str) -> Listing:
    """Read and check the description before anything else is unpacked."""
    reasons: list[str] = []
    if PACKAGE_FILE not in archive.files:
        inside = any(name.endswith(f"/{PACKAGE_FILE}") for name in archive.files)
        hint = " at its top; zip what is in the folder, not the folder" if inside else ""
        raise ShareError(what, [f"it has no {PACKAGE_FILE}{hint}"])
    for file in archive.files:
        is_photo = file.startswith("photos/")
        most = limits.photo_bytes if is_photo else limits.text_bytes
        if archive.size(file) > most:
            reasons.append(f"{shown(file)}: it is over {most // 1_000_000} MB")
    if PACKAGE_FILE in archive.files and archive.size(PACKAGE_FILE) <= limits.text_bytes:
        listing = read_listing(archive.read(PACKAGE_FILE), archive.files, reasons)
    _require(what, reasons)
    return listing


def _require_room(archive: Archive, target: Path, what: str) -> None:
    free = shutil.disk_usage(target.resolve().parent).free
    if archive.total_bytes * _FREE > free:
        needed = archive.total_bytes // 1_000_000
        raise ShareError(what, [f"it needs {needed} MB and there is less room on the disk"])


def _fill(work: _Work, progress: Callable[[int, int], None] | None) -> None:
    """Write the set into the staging folder, gathering what is wrong with it."""
    for file in work.listing.tables:
        _take_table(work, file)
    if PHOTOS in work.tables:
        _take_photos(work, progress)
    if work.reasons:
        return
    for file, rows in work.tables.items():
        write_bytes(work.staging / file, csv_text(COLUMNS[file], rows).encode("utf-8"))
    about = json.dumps(work.listing.about, ensure_ascii=False)
    write_bytes(work.staging / PACKAGE_FILE, about.encode("utf-8"))
    write_datapackage(work.staging)


def _take(work: _Work, file: str) -> bytes | None:
    """Return a file's bytes if they are those that the description lists."""
    listed = work.listing.files[file]
    try:
        data = work.archive.read(file)
    except ShareError as error:
        work.reasons.append(error.message)
        return None
    if len(data) != listed.size or hashlib.sha256(data).hexdigest() != listed.sha256:
        work.reasons.append(f"{shown(file)}: it is not the file that {PACKAGE_FILE} lists (hash)")
        return None
    return data


def _take_table(work: _Work, file: str) -> None:
    data = _take(work, file)
    if data is None:
        return
    path = work.staging / file
    path.write_bytes(data)
    problems: list[Problem] = []
    rows = read_rows(path, COLUMNS[file], problems)
    work.reasons += [shown(str(problem), 400) for problem in problems]
    work.tables[file] = []
    for row in rows:
        where = f"{file}, row {row.number}"
        cells = {column: _cell(work, where, column, cell) for column, cell in row.cells.items()}
        work.tables[file].append(cells)


def _cell(work: _Work, where: str, column: str, cell: str) -> str:
    if any(unicodedata.category(letter) == "Cc" and letter not in "\n\r\t" for letter in cell):
        work.reasons.append(f"{where}, column {column}: it holds control characters")
        return ""
    kept, changed = received(cell, were_guarded=work.listing.cells_guarded)
    if changed:
        work.neutralised.append(f"{where}, column {column}")
    return kept


def _take_photos(work: _Work, progress: Callable[[int, int], None] | None) -> None:
    """Bring in the photos that rows name, each under a name that follows from its id."""
    rows = {row["file"]: row for row in work.tables[PHOTOS]}
    if len(rows) != len(work.tables[PHOTOS]):
        work.reasons.append(f"{PHOTOS}: two rows name the same file")
    ids = [row["id"] for row in rows.values()]
    for id_ in [id_ for id_ in ids if not _SLUG.fullmatch(id_)]:
        work.reasons.append(f"{PHOTOS}: '{shown(id_)}' is not a usable id")
    if len(set(ids)) != len(ids):
        work.reasons.append(f"{PHOTOS}: two rows have the same id")
    for file in sorted(rows.keys() - set(work.listing.photos)):
        work.reasons.append(f"{PHOTOS}: the file '{shown(file)}' is not in the package")
    photos = work.listing.photos
    (work.staging / "photos").mkdir()
    may_write = not work.reasons
    for done, file in enumerate(photos, start=1):
        if file in rows:
            _take_photo(work, file, rows[file], may_write)
        else:
            work.reasons.append(f"{shown(file)}: no row of {PHOTOS} names it")
        if progress is not None:
            progress(done, len(photos))


def _take_photo(work: _Work, file: str, row: dict[str, str], may_write: bool) -> None:
    data = _take(work, file)
    if data is None:
        return
    said = work.listing.files[file].licences
    if row["licence"] not in LICENCES:
        licence = shown(row["licence"])
        work.reasons.append(f"{shown(file)}: '{licence}' is not an open licence known here")
    elif said and said != (row["licence"],):
        reason = f"{PACKAGE_FILE} says {', '.join(said)}, {PHOTOS} says {shown(row['licence'])}"
        work.reasons.append(f"{shown(file)}: its licence is unclear: {reason}")
    if row["sha256"] != hashlib.sha256(data).hexdigest():
        work.reasons.append(f"{shown(file)}: its row in {PHOTOS} has another hash")
        return
    try:
        plain, redrawn = plain_photo(data)
    except PhotoError as error:
        work.reasons.append(f"{shown(file)}: {shown(error.message, 200)}")
        return
    if redrawn:
        work.redrawn.append(row["id"])
    if may_write:
        row["file"] = photo_name(row["id"], ending_of(plain))
        row["sha256"] = hashlib.sha256(plain).hexdigest()
        _write(work.staging / row["file"], plain)


def _write(path: Path, data: bytes) -> None:
    """Write a new file and bring it to the disk; its folder follows once, at the end."""
    with path.open("xb") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())


def _set_faults(work: _Work) -> list[str]:
    """Return what the check of a set says of the unpacked one; it has no index yet."""
    staging = work.staging
    try:
        problems = check_set(staging)
    except SimsearchError as error:
        return [shown(error.message, 400)]
    photos, types = ({row["id"] for row in work.tables[file]} for file in (PHOTOS, TYPES))
    read_opinions(staging / OPINIONS, problems, photo_ids=photos, type_ids=types)
    read_private(staging / PRIVATE, problems, photo_ids=photos)
    told = [p for p in problems if p.severity == "error" and p.where != INDEX_FOLDER]
    told = list(dict.fromkeys(told))
    return [shown(str(problem).replace(f"{staging}{os.sep}", ""), 400) for problem in told]


def _notes(work: _Work) -> tuple[str, ...]:
    notes = []
    if work.neutralised:
        notes.append(
            "Cells that a spreadsheet would run as a formula have an apostrophe in front now: "
            f"{_some(work.neutralised)}."
        )
    if work.redrawn:
        notes.append(f"Photos drawn again without metadata: {_some(work.redrawn)}.")
    if PRIVATE in work.tables:
        notes.append(
            "It brought a private table (consent, contact, findspot): keep it to yourselves."
        )
    missing = [file for file in NEEDED if not work.tables.get(file)]
    if missing:
        notes.append(f"Empty: {', '.join(missing)}.")
    return tuple(notes)


def _some(items: list[str]) -> str:
    more = f" and {len(items) - _LISTED} more" if len(items) > _LISTED else ""
    return "; ".join(items[:_LISTED]) + more
