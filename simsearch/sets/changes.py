"""Changing several files of a set together: the change happens whole or not at all.

Photos, tables and index belong together: a row without its file, or a file without its row,
is a set that fails its own check. So a change is first written down completely in a folder of
its own, ``.changes``, and only then carried out:

1. New content is staged as files in ``.changes`` and brought to the disk.
2. ``journal.json``, put there in one step, lists what is to be moved where and what is to be
   removed. This is the moment at which the change counts: before it nothing has happened,
   after it everything will.
3. The staged files are moved to their places, new ones first and removals last.
4. The journal is removed.

Stopped before step 2, what was staged is dropped; stopped after it, whoever opens the set next
repeats steps 3 and 4, which may be done any number of times.

A set may come from anyone, and a journal says what to move and to remove: it is believed only
for plain paths inside the set that pass through no link.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from simsearch.errors import SetError
from simsearch.files import sync_folder, write_bytes
from simsearch.sets.write import csv_text, locked

CHANGES_FOLDER = ".changes"
JOURNAL_FILE = "journal.json"
_FORMAT = "simsearch change"
_VERSION = 1
_STAGED = re.compile(r"\d{6}\.staged")
_OWN = re.compile(r"\d{6}\.staged|journal\.json|\..+\.[0-9a-f]{12}\.part")
_WAIT_SECONDS = 10.0


class BadJournalError(SetError):
    """The journal in a set's ``.changes`` folder is not one that may be carried out."""


class Change:
    """What is to happen to a set, gathered until it happens all at once.

    Files are named by their path in the set, with forward slashes. Naming one twice keeps the
    last. Nothing shows in the set before the block of ``changing`` ends.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._staging = folder / CHANGES_FOLDER
        self._puts: dict[str, Path] = {}
        self._removes: dict[str, None] = {}
        self._count = 0

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to do."""
        return not self._puts and not self._removes

    def stage(self) -> Path:
        """Return the path of a new file to write large content to, for ``put`` afterwards."""
        self._make_staging()
        self._count += 1
        return self._staging / f"{self._count:06d}.staged"

    def put(self, file: str, content: bytes | Path) -> None:
        """Make ``content`` the content of ``file``, which may exist already.

        A path that ``stage`` gave is moved; any other is copied and left alone.
        Raises ``SetError`` when ``file`` is no plain path inside the set.
        """
        _require_inside(self._folder, file)
        with _disk_errors(self._folder):
            if isinstance(content, Path) and content.parent == self._staging:
                staged = content
            else:
                staged = self.stage()
                if isinstance(content, Path):
                    shutil.copyfile(content, staged)
                else:
                    staged.write_bytes(content)
            _sync_file(staged)
        self._removes.pop(file, None)
        replaced = self._puts.pop(file, None)
        if replaced is not None and replaced != staged:
            replaced.unlink(missing_ok=True)
        self._puts[file] = staged

    def remove(self, file: str) -> None:
        """Remove ``file``; one that is not there is no error."""
        _require_inside(self._folder, file)
        staged = self._puts.pop(file, None)
        if staged is not None:
            staged.unlink(missing_ok=True)
        self._removes[file] = None

    def table(self, file: str, columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> bytes:
        """Make ``file`` a table of these rows; return its bytes."""
        content = csv_text(columns, rows).encode("utf-8")
        self.put(file, content)
        return content

    def commit(self) -> None:
        """Write the journal: from here on the change will happen. ``changing`` calls this."""
        self._make_staging()
        journal = {
            "format": _FORMAT,
            "version": _VERSION,
            "put": [{"staged": path.name, "file": file} for file, path in self._puts.items()],
            "remove": list(self._removes),
        }
        # The staged files' names must be on the disk before the journal that counts on them.
        sync_folder(self._folder)
        sync_folder(self._staging)
        write_bytes(self._staging / JOURNAL_FILE, json.dumps(journal, indent=1).encode("utf-8"))

    def _make_staging(self) -> None:
        _require_plain_folder(self._staging)
        with _disk_errors(self._folder):
            self._staging.mkdir(exist_ok=True)


@contextmanager
def changing(folder: Path | str, *, wait_seconds: float = _WAIT_SECONDS) -> Iterator[Change]:
    """Gather a change of the set in ``folder``; it happens when the block ends.

    The set's lock is held throughout, and a change that was interrupted earlier is finished
    before the block begins. When the block raises, nothing has happened.
    Raises ``SetError`` when another program is writing, or when the disk does not take it.
    """
    root = Path(folder)
    with locked(root, wait_seconds=wait_seconds):
        change = Change(root)
        committed = False
        try:
            yield change
            if change.is_empty:
                return
            with _disk_errors(root):
                change.commit()
            committed = True
        finally:
            if not committed:
                with suppress(OSError):
                    _drop_staged(root)
        try:
            finish_interrupted(root)
        except OSError as error:
            raise SetError(
                f"A change of {root} is recorded, but not finished yet ({_reason(error)}).",
                hint="It will be, when the set is next opened with the disk in order.",
            ) from error


def settle(folder: Path | str) -> str:
    """Finish an interrupted change of a set, or drop one that never came to count.

    Returns an empty string when the set is whole, else why an interrupted change could not be
    finished: the folder cannot be written to, or another program has been at it for long.
    Whoever may only read can then still read the set. Nothing to do costs one look at the
    folder. Raises ``SetError`` when the journal is not one that this program wrote.
    """
    root = Path(folder)
    if not _has_leftovers(root):
        return ""
    is_committed = (root / CHANGES_FOLDER / JOURNAL_FILE).exists()
    try:
        # Something staged without a journal may belong to a writer at work. No need to wait
        # for it: nothing has changed yet.
        with locked(root, wait_seconds=_WAIT_SECONDS if is_committed else 0):
            pass  # taking the lock settles
    except BadJournalError:
        raise
    except (SetError, OSError) as error:
        if (root / CHANGES_FOLDER / JOURNAL_FILE).exists():
            return str(getattr(error, "message", error))
    return ""


def finish_interrupted(folder: Path) -> None:
    """Carry out the journal if there is one, then empty ``.changes``. The caller has the lock."""
    staging = folder / CHANGES_FOLDER
    if not staging.is_dir():
        return
    _require_plain_folder(staging)
    journal = staging / JOURNAL_FILE
    if journal.exists():
        puts, removes = _read_journal(folder, journal)
        for staged, file in puts:
            _move_in(folder, staging / staged, file)
        for file in removes:
            (folder / file).unlink(missing_ok=True)
        touched = [folder / file for file in [*(file for _, file in puts), *removes]]
        for parent in {folder, *(path.parent for path in touched)}:
            if parent.is_dir():
                sync_folder(parent)
        journal.unlink()
        sync_folder(staging)
    _drop_staged(folder)


def _move_in(folder: Path, staged: Path, file: str) -> None:
    if not staged.exists():
        return  # moved before the interruption
    target = folder / file
    target.parent.mkdir(parents=True, exist_ok=True)
    os.replace(staged, target)


def _read_journal(folder: Path, path: Path) -> tuple[list[tuple[str, str]], list[str]]:
    """Return (staged name, file) to move and files to remove, every one of them checked."""
    try:
        journal: Any = json.loads(path.read_text(encoding="utf-8"))
        if journal["format"] != _FORMAT or journal["version"] != _VERSION:
            raise ValueError("another format or version")
        puts = [(entry["staged"], entry["file"]) for entry in journal["put"]]
        removes = list(journal["remove"])
        if not all(isinstance(name, str) for name in [*(n for p in puts for n in p), *removes]):
            raise ValueError("a name is not text")
        for staged, file in puts:
            if not _STAGED.fullmatch(staged) or (path.parent / staged).is_symlink():
                raise ValueError(f"'{staged}' is no staged file")
            _require_inside(folder, file)
        for file in removes:
            _require_inside(folder, file)
    except (ValueError, KeyError, TypeError, RecursionError, SetError) as error:
        what = error.message if isinstance(error, SetError) else f"{error}"
        raise BadJournalError(
            f"{path} is not a record of a change that can be carried out ({what}).",
            hint=f"Nothing has been done. Remove the folder {path.parent} and check the set.",
        ) from error
    return puts, removes


def _require_inside(folder: Path, file: str) -> None:
    """Raise ``SetError`` unless ``file`` is a plain path in the set that passes no link."""
    parts = file.split("/")
    strange = "\\" in file or ":" in file or any(ord(letter) < 32 for letter in file)
    if strange or any(part in ("", ".", "..") for part in parts) or parts[0] == CHANGES_FOLDER:
        raise SetError(f"'{file}' is no plain path in the set.", hint="Give one like photos/a.jpg.")
    path = folder
    for part in parts[:-1]:
        path = path / part
        _require_plain_folder(path)
    with suppress(FileNotFoundError):
        if stat.S_ISDIR((folder / file).lstat().st_mode):
            raise SetError(f"'{file}' is a folder, not a file.", hint="Name a file in it.")


def _require_plain_folder(path: Path) -> None:
    """Raise ``SetError`` when ``path`` is there and is a link or a file."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISDIR(mode):
        kind = "a link" if stat.S_ISLNK(mode) else "a file"
        raise SetError(f"{path} is {kind}, where a folder is needed.", hint="Move it away.")


def _sync_file(path: Path) -> None:
    with open(path, "rb+") as handle:
        os.fsync(handle.fileno())


def _has_leftovers(folder: Path) -> bool:
    try:
        with os.scandir(folder / CHANGES_FOLDER) as entries:
            return any(_OWN.fullmatch(entry.name) for entry in entries)
    except OSError:  # there is no such folder: the usual case
        return False


def _drop_staged(folder: Path) -> None:
    """Remove what this module puts into ``.changes``, then the folder when it is empty."""
    staging = folder / CHANGES_FOLDER
    if not staging.is_dir() or staging.is_symlink():
        return
    # First of all the journal, should there be one that never came to count: with it still
    # there, a missing staged file would look as if it had been moved already.
    (staging / JOURNAL_FILE).unlink(missing_ok=True)
    for path in staging.iterdir():
        if _OWN.fullmatch(path.name):
            path.unlink()
    with suppress(OSError):  # somebody has put something of their own there
        staging.rmdir()


@contextmanager
def _disk_errors(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise SetError(
            f"{folder} could not be changed ({_reason(error)}).",
            hint="Nothing has been changed. Make room or check the permissions, and try again.",
        ) from error


def _reason(error: OSError) -> str:
    return error.strerror or str(error)
