"""Replace one file so that a kill at any moment leaves the old content or the new.

Nothing here knows what the files hold; it sits beside ``errors`` at the bottom of the package
so that both the index and the tables can write safely.
"""

from __future__ import annotations

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

_CHUNK = 1 << 20


@contextmanager
def replacing(path: Path | str) -> Iterator[BinaryIO]:
    """Open a temporary file beside ``path``; on a clean exit it takes the place of ``path``.

    The bytes reach the disk before the rename, and the rename reaches it before this returns.
    When the block raises, the temporary file is removed and ``path`` is as it was.
    """
    target = Path(path)
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(6)}.part")
    # os.open rather than tempfile: the new file then gets the permissions the user's umask
    # asks for, so that a set on a shared drive stays readable by the others.
    descriptor = os.open(temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666)
    try:
        with os.fdopen(descriptor, "wb") as handle:
            yield handle
            handle.flush()
            os.fsync(handle.fileno())
        os.replace(temporary, target)
    except BaseException:
        with suppress(FileNotFoundError):
            temporary.unlink()
        raise
    sync_folder(target.parent)


def sync_folder(folder: Path) -> None:
    """Ask the disk to keep the folder's entries; a no-op where folders cannot be opened."""
    if os.name == "nt":  # Windows cannot open a folder as a file
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_bytes(path: Path | str, content: bytes) -> None:
    """Write ``content`` to ``path`` in one step."""
    with replacing(path) as handle:
        handle.write(content)


def write_text(path: Path | str, content: str) -> None:
    """Write ``content`` to ``path`` as UTF-8 in one step; line ends are kept as given."""
    write_bytes(path, content.encode("utf-8"))


def sha256_of(path: Path | str) -> str:
    """Return the SHA-256 of a file's bytes as 64 lower-case hex digits."""
    digest = hashlib.sha256()
    with open(path, "rb") as handle:
        while chunk := handle.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()
