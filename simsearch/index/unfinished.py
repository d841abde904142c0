"""Rows of an index that is being built: what was encoded stays when the program is stopped.

One file per encoder in the index folder, to which records are added as photos are encoded. The
records are known by the hash of the photo's file, so that photos may be added, renamed or taken
out between two attempts. After the header the records follow one another; from the first one on
that is cut short or does not fit its checksum, the rest of the file is dropped and encoded again.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from simsearch.index.layout import Layout, Rows, sealed, whole_rows

UNFINISHED = re.compile(r"\.unfinished-[0-9a-f]{16}\.rows")
_HEADER_BYTES = 512
_SCANNED_AT_ONCE = 64


class UnfinishedRows:
    """The records of one layout that are kept in one file; open it with ``unfinished_rows``."""

    def __init__(self, path: Path, layout: Layout) -> None:
        self._path = path
        self._layout = layout
        self._record = layout.record
        self._header = layout.words.encode("ascii").ljust(_HEADER_BYTES - 1) + b"\n"
        self._places: dict[str, int] = {}
        self._count = 0
        self._descriptor: int | None = None
        if path.is_symlink():  # a set may come from anyone; nothing is written through a link
            path.unlink()
        if path.is_file():
            self._open(os.O_RDWR)
            self._scan()

    def __contains__(self, sha256: str) -> bool:
        return sha256 in self._places

    def __len__(self) -> int:
        return self._count

    def add(self, hashes: Sequence[str], rows: Rows) -> None:
        """Append the records of photos with these hashes and bring them to the disk."""
        if self._descriptor is None:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            self._open(os.O_RDWR | os.O_CREAT | os.O_TRUNC)
            self._write(self._header, 0)
        first = self._count
        start = _HEADER_BYTES + first * self._record.itemsize
        self._write(sealed(rows, list(hashes)).tobytes(), start)
        os.fsync(self._handle)
        self._places |= {digest: first + place for place, digest in enumerate(hashes)}
        self._count += len(hashes)

    def read(self, hashes: Sequence[str]) -> Rows:
        """Return the records of photos with these hashes, in this order."""
        found = np.empty(len(hashes), self._record)
        for row, digest in enumerate(hashes):
            found[row] = self._read(self._places[digest], 1)[0]
        return found

    def close(self) -> None:
        """Close the file; the records stay."""
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None

    @property
    def _handle(self) -> int:
        if self._descriptor is None:
            raise ValueError("there is no file of unfinished rows")
        return self._descriptor

    def _open(self, flags: int) -> None:
        binary = getattr(os, "O_BINARY", 0)  # Windows would change line ends otherwise
        self._descriptor = os.open(self._path, flags | binary, 0o666)

    def _scan(self) -> None:
        """Find the records that can be used and cut off what follows them."""
        os.lseek(self._handle, 0, os.SEEK_SET)
        if os.read(self._handle, _HEADER_BYTES) != self._header:
            # Of another encoder's version, or stopped while the header was written.
            os.ftruncate(self._handle, 0)
            self._write(self._header, 0)
            return
        length = os.fstat(self._handle).st_size - _HEADER_BYTES
        hashes: list[str] = []
        for first in range(0, length // self._record.itemsize, _SCANNED_AT_ONCE):
            count = min(_SCANNED_AT_ONCE, length // self._record.itemsize - first)
            rows = self._read(first, count)
            good = whole_rows(rows)
            usable = count if good.all() else int(good.argmin())
            hashes += [row.tobytes().hex() for row in rows["sha256"][:usable]]
            if usable < count:
                break
        os.ftruncate(self._handle, _HEADER_BYTES + len(hashes) * self._record.itemsize)
        self._places = {digest: place for place, digest in enumerate(hashes)}
        self._count = len(hashes)

    def _read(self, first: int, count: int) -> Rows:
        size = self._record.itemsize
        os.lseek(self._handle, _HEADER_BYTES + first * size, os.SEEK_SET)
        content = bytearray()
        while len(content) < count * size:
            part = os.read(self._handle, count * size - len(content))
            if not part:
                raise OSError(f"{self._path.name} has become shorter while it was read")
            content += part
        return np.frombuffer(content, self._record)

    def _write(self, content: bytes, place: int) -> None:
        os.lseek(self._handle, place, os.SEEK_SET)
        left = memoryview(content)
        while left:
            left = left[os.write(self._handle, left) :]


@contextmanager
def unfinished_rows(folder: Path, layout: Layout) -> Iterator[UnfinishedRows]:
    """Open the rows of a layout that are kept in an index folder; the caller holds the lock.

    The file is made when the first record is added.
    """
    key = hashlib.sha256(layout.words.encode("ascii")).hexdigest()[:16]
    rows = UnfinishedRows(folder / f".unfinished-{key}.rows", layout)
    try:
        yield rows
    finally:
        rows.close()
