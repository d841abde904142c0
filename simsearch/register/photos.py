"""Photos kept beside the register: copies without metadata, on the disk before any row names them.

A file's name holds part of its SHA-256 and files are never changed or deleted, so a kill between
the file and its row leaves at worst a file that nothing names; undo always finds its photos.
"""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from simsearch.errors import PhotoError
from simsearch.files import sha256_of, write_bytes
from simsearch.register.errors import RegisterError
from simsearch.register.records import RegisterPhoto

if TYPE_CHECKING:
    from PIL.Image import Image

PHOTO_FOLDER = "photos"
_QUALITY = 92


@dataclass(frozen=True)
class NewPhoto:
    """A photo to be copied in: a path, bytes, an open file or a picture, and what it shows."""

    source: str | Path | bytes | BinaryIO | Image
    view: str = "front"
    caption: str = ""
    mm_per_px: float | None = None


def keep_photo(folder: Path, find_id: str, new: NewPhoto) -> RegisterPhoto:
    """Copy a photo into the register, upright and without metadata, at its full size.

    Raises ``PhotoError`` for what is no photo, ``RegisterError`` when the disk refuses.
    """
    from simsearch.photo import open_photo

    with io.BytesIO() as buffer:
        open_photo(new.source).save(buffer, format="JPEG", quality=_QUALITY, subsampling=0)
        content = buffer.getvalue()
    digest = hashlib.sha256(content).hexdigest()
    file = f"{PHOTO_FOLDER}/{find_id}-{digest[:16]}.jpg"
    target = folder / file
    try:
        target.parent.mkdir(exist_ok=True)
        if not (target.is_file() and sha256_of(target) == digest):
            write_bytes(target, content)
    except OSError as error:
        raise RegisterError(
            f"The photo could not be kept in {target.parent} ({error.strerror or error}).",
            hint="Check that the disk has room and may be written to; nothing was recorded.",
        ) from error
    return RegisterPhoto(file, new.view, digest, new.caption, new.mm_per_px)


def photo_problem(folder: Path, photo: RegisterPhoto) -> str:
    """What is wrong with the file of a recorded photo; empty when it is as it was kept."""
    path = folder / photo.file
    try:
        if not path.is_file():
            return f"{photo.file} is missing."
        if sha256_of(path) != photo.sha256:
            return f"{photo.file} is not the file that was kept; its contents have changed."
    except OSError as error:
        return f"{photo.file} could not be read ({error.strerror or error})."
    return ""


def check_kept(folder: Path, photo: RegisterPhoto) -> None:
    """Raise ``PhotoError`` unless the file of ``photo`` is there as it was kept."""
    problem = photo_problem(folder, photo)
    if problem:
        raise PhotoError(problem, hint="Add the photo again from the camera, or restore a backup.")


def unnamed_files(folder: Path, named: set[str]) -> list[str]:
    """Files among the photos that no record and no change names, such as after a kill."""
    photos = folder / PHOTO_FOLDER
    if not photos.is_dir():
        return []
    found = (f"{PHOTO_FOLDER}/{path.name}" for path in sorted(photos.iterdir()))
    return [file for file in found if file not in named]
