"""A whole register as one file, and back.

The file is a zip: ``register.json`` (what it is, and size and SHA-256 of every other entry),
``register.db`` (a copy made by SQLite's own backup, whole even while others write) and the photos
that a find or the history names. What comes back in is not trusted: nothing is unpacked but what
``register.json`` lists, under names of one form, up to the sizes it states, and with its hashes.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from simsearch.files import replacing, sha256_of, sync_folder
from simsearch.photo import MAX_FILE_BYTES
from simsearch.register.database import DATABASE_FILE, version_of_file
from simsearch.register.errors import RegisterError
from simsearch.register.migrations import KNOWN
from simsearch.register.photos import PHOTO_FOLDER, photo_problem
from simsearch.register.records import RegisterPhoto
from simsearch.register.store import Register, open_register

CONTENTS_FILE = "register.json"
_WHAT = "simsearch register backup"
_FORMAT = 1
_NAME = re.compile(r"photos/[a-z0-9]+(?:-[a-z0-9]+)*\.jpg")
_CHUNK = 1 << 20
# Far above any club's register, far below what would fill a disk without anybody noticing.
MAX_DATABASE_BYTES = 2_000_000_000
MAX_ENTRIES = 200_000
MAX_TOTAL_BYTES = 100_000_000_000
MAX_CONTENTS_BYTES = 100_000_000
# Text shrinks twenty times or so, photos hardly; what shrinks more was made to burst.
MAX_SHRINKING = 200
# A photo is stored again at up to quality 92, so it may be somewhat larger than the file given.
MAX_PHOTO_BYTES = 4 * MAX_FILE_BYTES

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Backup:
    """A backup that was written; ``problems`` are photos that are missing or have changed."""

    path: Path
    finds: int
    photos: int
    problems: tuple[str, ...]


@dataclass(frozen=True)
class Restored:
    """A register that was brought back; ``set_aside`` is where the one before it now is.

    ``problems`` are those of the register when it was backed up, such as a photo lost before.
    """

    folder: Path
    finds: int
    photos: int
    problems: tuple[str, ...]
    set_aside: Path | None


def back_up(
    register: Register,
    path: Path | str,
    *,
    replace: bool = False,
    progress: Progress | None = None,
) -> Backup:
    """Write the whole register to one file, in one step, while others may go on working.

    Raises ``RegisterError`` when ``path`` exists and ``replace`` is false, or cannot be written.
    """
    target = Path(path)
    if target.exists() and not replace:
        raise RegisterError(
            f"{target} exists already.", hint="Choose another name, or say that it may be replaced."
        )
    try:
        with tempfile.TemporaryDirectory(prefix="simsearch-") as scratch:
            copy = Path(scratch) / DATABASE_FILE
            _copy_database(register.database, copy)
            with replacing(target) as handle:
                return _write(register, copy, handle, target, progress)
    except OSError as error:
        raise RegisterError(
            f"The backup {target} could not be written ({error.strerror or error}).",
            hint="Check that the folder exists and the disk has room; the register is untouched.",
        ) from error


def restore(
    path: Path | str,
    folder: Path | str,
    *,
    replace: bool = False,
    progress: Progress | None = None,
) -> Restored:
    """Bring a backup back into ``folder``, whole or not at all.

    An existing register there is refused unless ``replace`` is true, and then set aside under
    another name beside it, never deleted. Raises ``RegisterError`` for a file that is no sound
    backup, saying what is wrong with it.
    """
    source, place = Path(path), Path(folder)
    _refuse_occupied(place, replace)
    staged = place.with_name(f".{place.name}.{secrets.token_hex(4)}.restoring")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with _opened(source) as archive:
            listed = _contents(archive, source)
            staged.mkdir()
            (staged / PHOTO_FOLDER).mkdir()
            _unpack(archive, listed["files"], staged, source, progress)
        finds, problems = _look_over(staged, source)
        set_aside = _take_place(staged, place)
    except OSError as error:
        raise RegisterError(
            f"{source} could not be restored into {place} ({error.strerror or error}).",
            hint="Check that the disk has room and may be written to; nothing was replaced.",
        ) from error
    finally:
        with suppress(OSError):
            shutil.rmtree(staged)
    return Restored(place, finds, len(listed["files"]) - 1, problems, set_aside)


# -- out --------------------------------------------------------------------------------------


def _copy_database(database: Path, copy: Path) -> None:
    try:
        with (
            closing(sqlite3.connect(database, timeout=15)) as source,
            closing(sqlite3.connect(copy)) as target,
        ):
            source.backup(target)
    except sqlite3.Error as error:
        raise RegisterError(
            f"{database} could not be copied ({error}).",
            hint="Close other programs that use it and try again.",
        ) from error


def _write(
    register: Register, copy: Path, handle: IO[bytes], target: Path, progress: Progress | None
) -> Backup:
    # The photos are those that the copy names, not the register, which may have gone on.
    finds, photos = _named(copy)
    problems = tuple(text for p in photos if (text := photo_problem(register.folder, p)))
    there = [p.file for p in photos if (register.folder / p.file).is_file()]
    listed = {DATABASE_FILE: _described(copy)}
    with zipfile.ZipFile(handle, "w", zipfile.ZIP_STORED) as archive:
        archive.write(copy, DATABASE_FILE, zipfile.ZIP_DEFLATED)
        for done, name in enumerate(there, start=1):
            archive.write(register.folder / name, name)
            listed[name] = _described(register.folder / name)
            if progress is not None:
                progress(done, len(there))
        contents = {
            "what": _WHAT,
            "format": _FORMAT,
            "made_on": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            "files": listed,
            "problems": list(problems),
        }
        text = json.dumps(contents, indent=1)
        archive.writestr(CONTENTS_FILE, text, zipfile.ZIP_DEFLATED)
    return Backup(target, finds, len(there), problems)


def _named(copy: Path) -> tuple[int, list[RegisterPhoto]]:
    """How many finds a copied database has, and the photos that it names.

    Leaves the copy as one file, without a log beside it.
    """
    with open_register(copy.parent, create=False) as register:
        finds = register.status().finds
        photos = sorted(register.named_photos(), key=lambda photo: photo.file)
    with closing(sqlite3.connect(copy)) as alone:
        alone.execute("PRAGMA journal_mode = DELETE")
    return finds, photos


def _described(path: Path) -> dict[str, Any]:
    return {"bytes": path.stat().st_size, "sha256": sha256_of(path)}


# -- in ---------------------------------------------------------------------------------------


def _refuse_occupied(place: Path, replace: bool) -> None:
    if (place / DATABASE_FILE).exists():
        if not replace:
            raise RegisterError(
                f"There is a register in {place} already.",
                hint="Restore into another folder, or say that this one may be set aside.",
            )
    elif place.exists() and (not place.is_dir() or any(place.iterdir())):
        raise RegisterError(
            f"{place} holds other things.", hint="Restore into a new or an empty folder."
        )


@contextmanager
def _opened(source: Path) -> Iterator[zipfile.ZipFile]:
    if not source.is_file():
        raise RegisterError(f"There is no file {source}.", hint="Check the path.")
    try:
        with zipfile.ZipFile(source) as archive:
            yield archive
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, EOFError) as error:
        raise _unsound(source, f"it is no zip, or is damaged ({error})") from error
    except RuntimeError as error:  # an encrypted entry
        raise _unsound(source, str(error)) from error


def _contents(archive: zipfile.ZipFile, source: Path) -> dict[str, Any]:
    """Return what the backup says it holds, once that and the zip's own list agree."""
    entries = archive.infolist()
    names = [entry.filename for entry in entries]
    if len(names) > MAX_ENTRIES:
        raise _unsound(source, f"it has more than {MAX_ENTRIES} entries")
    if len(set(names)) != len(names):
        raise _unsound(source, "it holds the same name twice")
    if CONTENTS_FILE not in names:
        raise _unsound(source, f"it has no {CONTENTS_FILE}")
    listed = _read_contents(archive, source)
    files = listed["files"]
    if set(files) | {CONTENTS_FILE} != set(names) or DATABASE_FILE not in files:
        raise _unsound(source, f"its entries are not those that {CONTENTS_FILE} lists")
    for entry in entries:
        if entry.filename != CONTENTS_FILE:
            _check_entry(entry, files[entry.filename], source)
    if sum(entry.file_size for entry in entries) > MAX_TOTAL_BYTES:
        raise _unsound(source, "it would unpack to more than a register holds")
    return listed


def _read_contents(archive: zipfile.ZipFile, source: Path) -> dict[str, Any]:
    with archive.open(CONTENTS_FILE) as handle:
        text = handle.read(MAX_CONTENTS_BYTES + 1)
    if len(text) > MAX_CONTENTS_BYTES:
        raise _unsound(source, f"its {CONTENTS_FILE} is too large")
    try:
        listed = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _unsound(source, f"its {CONTENTS_FILE} is no JSON") from error
    if not isinstance(listed, dict) or listed.get("what") != _WHAT:
        raise _unsound(source, "it is no backup of a register")
    if listed.get("format") != _FORMAT:
        raise RegisterError(
            f"{source} was made by a newer simsearch.", hint="Update simsearch and try again."
        )
    if not isinstance(listed.get("files"), dict):
        raise _unsound(source, f"its {CONTENTS_FILE} lists no files")
    return listed


def _check_entry(entry: zipfile.ZipInfo, described: Any, source: Path) -> None:
    name = entry.filename
    # Only names of this form: nothing can climb out of the folder, no links, no folders.
    if name != DATABASE_FILE and not _NAME.fullmatch(name):
        raise _unsound(source, f"the name '{name:.80}' cannot be in a backup")
    if entry.flag_bits & 0x1:
        raise _unsound(source, f"{name} is encrypted")
    if (
        not isinstance(described, dict)
        or type(described.get("bytes")) is not int
        or not isinstance(described.get("sha256"), str)
        or described["bytes"] != entry.file_size
    ):
        raise _unsound(source, f"{name} has not the size that is stated for it")
    most = MAX_DATABASE_BYTES if name == DATABASE_FILE else MAX_PHOTO_BYTES
    if entry.file_size > most or entry.file_size > MAX_SHRINKING * max(1, entry.compress_size):
        raise _unsound(source, f"{name} would unpack to {entry.file_size} bytes")


def _unpack(
    archive: zipfile.ZipFile,
    files: Mapping[str, Any],
    staged: Path,
    source: Path,
    progress: Progress | None,
) -> None:
    for done, (name, described) in enumerate(sorted(files.items()), start=1):
        digest, left = hashlib.sha256(), described["bytes"]
        with archive.open(name) as packed, replacing(staged / name) as out:
            while chunk := packed.read(_CHUNK):
                left -= len(chunk)
                if left < 0:  # the zip's own figures were wrong
                    raise _unsound(source, f"{name} is larger than is stated for it")
                digest.update(chunk)
                out.write(chunk)
        if left or digest.hexdigest() != described["sha256"]:
            raise _unsound(source, f"{name} is not what was backed up: its SHA-256 is another")
        if progress is not None:
            progress(done, len(files))


def _look_over(staged: Path, source: Path) -> tuple[int, tuple[str, ...]]:
    """Open what was unpacked as a register; number of finds, and what was wrong with it before."""
    version = version_of_file(staged / DATABASE_FILE)
    if version not in KNOWN:
        raise _unsound(source, f"its {DATABASE_FILE} is no register of a version known here")
    try:
        with open_register(staged, create=False) as register:
            broken = register.integrity()
            if broken:
                raise _unsound(source, f"its {DATABASE_FILE} is damaged ({broken[0]})")
            strange = [p.file for p in register.named_photos() if not _NAME.fullmatch(p.file)]
            problems = () if strange else register.check()
            finds = register.status().finds
    except (TypeError, ValueError, KeyError, AttributeError) as error:
        raise _unsound(source, f"its records cannot be read ({error})") from error
    if strange:
        raise _unsound(source, f"it names a photo '{strange[0]:.80}' outside the register")
    return finds, problems


def _take_place(staged: Path, place: Path) -> Path | None:
    """Move the unpacked register to its place; what stood there is set aside."""
    set_aside = None
    if (place / DATABASE_FILE).exists():
        stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
        set_aside = place.with_name(f"{place.name}-before-restore-{stamp}")
        place.rename(set_aside)
    elif place.exists():
        place.rmdir()
    try:
        staged.rename(place)
    except OSError:
        if set_aside is not None:
            set_aside.rename(place)
        raise
    sync_folder(place.parent)
    return set_aside


def _unsound(source: Path, why: str) -> RegisterError:
    return RegisterError(
        f"{source} cannot be restored: {why}.",
        hint="Use another backup; nothing has been changed.",
    )
