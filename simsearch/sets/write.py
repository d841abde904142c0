"""Writing a set's files: each in one step, and one writer at a time."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from simsearch.errors import SetError
from simsearch.files import replacing, write_bytes, write_text

__all__ = [
    "LOCK_FILE",
    "csv_text",
    "locked",
    "replacing",
    "write_bytes",
    "write_csv",
    "write_text",
]

LOCK_FILE = ".simsearch.lock"


def write_csv(path: Path | str, columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> None:
    """Write a table as RFC 4180 CSV in UTF-8, in one step.

    Raises ``ValueError`` when a row has a column that is missing or not among ``columns``.
    """
    write_text(path, csv_text(columns, rows))


def csv_text(
    columns: Sequence[str], rows: Iterable[Mapping[str, str]], *, header: bool = True
) -> str:
    """Return a table as RFC 4180 CSV; without ``header``, rows to be put after others.

    Raises ``ValueError`` when a row has a column that is missing or not among ``columns``.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    if header:
        writer.writerow(columns)
    for number, row in enumerate(rows, start=2):
        if row.keys() != set(columns):
            raise ValueError(f"row {number} has columns {sorted(row)}, not {sorted(columns)}")
        writer.writerow([row[column] for column in columns])
    return text.getvalue()


@contextmanager
def locked(folder: Path | str, *, wait_seconds: float = 10.0) -> Iterator[None]:
    """Keep every other writer of this set out while the block runs.

    A change that was interrupted is finished first, so that whoever holds the lock finds a
    whole set. Readers need no lock: each file changes in one step.
    Raises ``SetError`` when another program has held the lock for ``wait_seconds``, or when
    the folder cannot be written.
    """
    # Imported here so that reading a set needs no lock library.
    from filelock import FileLock, Timeout

    lock = FileLock(Path(folder) / LOCK_FILE)
    try:
        lock.acquire(timeout=wait_seconds)
    except Timeout as error:
        raise SetError(
            f"Another program is writing to {folder}.",
            hint="Wait until it has finished and try again; nothing has been changed.",
        ) from error
    except OSError as error:
        raise SetError(
            f"{folder} cannot be written to ({error.strerror}).",
            hint="Check its permissions, or work on a copy of the set.",
        ) from error
    try:
        # Imported here because changes are made with the lock held, so that module needs this.
        from simsearch.sets.changes import finish_interrupted

        finish_interrupted(Path(folder))
        yield
    finally:
        lock.release()
