"""Taking in uploaded photos: read them, keep the pixels in memory, delete the files at once."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PIL import Image

from simsearch.errors import PhotoError
from simsearch.index import PHOTO_SIDE
from simsearch.page.thumbs import Picture, encode_picture
from simsearch.photo import open_photo

MAX_PHOTOS = 8
LARGE_SIDE = 1600
MAX_UPLOAD_BYTES = 25 * 1024 * 1024
_PREVIEW_SIDE = 640


@dataclass(frozen=True)
class HeldPhoto:
    """One photo of the find in hand: its name, its pixels (RGB, upright) and a preview.

    ``image`` is what the encoder is shown. ``large`` is the same photo with up to ``LARGE_SIDE``
    pixels a side, as a JPEG without metadata: for measuring and for keeping.
    """

    name: str
    image: Image.Image
    preview: Picture
    large: bytes = b""


@dataclass(frozen=True)
class Problem:
    """What went wrong with one upload, and what to do about it."""

    what: str
    hint: str


@dataclass(frozen=True)
class Tray:
    """The photos held for one find, and what went wrong with the last upload."""

    photos: tuple[HeldPhoto, ...] = ()
    problems: tuple[Problem, ...] = field(default=())

    def without(self, position: int) -> Tray:
        """The same tray without the photo at ``position``, if there is one there."""
        kept = tuple(p for place, p in enumerate(self.photos) if place != position)
        return Tray(kept)


def add_uploads(tray: Tray, files: object, upload_folder: Path) -> Tray:
    """Read uploaded ``files`` (dicts with ``path`` and ``name``) into a new tray.

    Every file is deleted after reading, readable or not: a phone writes the place a photo was
    taken into it, and that must not stay on disk. A path outside ``upload_folder`` is neither
    read nor deleted. Photos already held are kept whatever happens.
    """
    photos, problems = list(tray.photos), []
    for entry in files if isinstance(files, Sequence) and not isinstance(files, str) else ():
        path, name = _own_upload(entry, upload_folder)
        if path is None:
            problems.append(Problem(f"{name} did not arrive.", "Choose it again."))
            continue
        try:
            if len(photos) >= MAX_PHOTOS:
                what = f"{name} was left out: a find takes at most {MAX_PHOTOS} photos here."
                problems.append(Problem(what, "Remove one first."))
            else:
                photos.append(_read(path, name))
        except PhotoError as error:
            problems.append(Problem(_named(error, path, name), error.hint))
        finally:
            _discard(path)
    return Tray(tuple(photos), tuple(problems))


def _read(path: Path, name: str) -> HeldPhoto:
    # Read twice on purpose: the encoder must see a photo as it sees those of the set, and a
    # large picture scaled down here is not quite the picture read small.
    image = open_photo(path, max_side=PHOTO_SIDE)
    large = jpeg_bytes(open_photo(path, max_side=LARGE_SIDE))
    return HeldPhoto(name, image, encode_picture(image, _PREVIEW_SIDE), large)


def jpeg_bytes(image: Image.Image) -> bytes:
    """A picture as a JPEG of its pixels alone."""
    plain = image.convert("RGB")
    plain.info = {}
    with io.BytesIO() as buffer:
        plain.save(buffer, "JPEG", quality=92)
        return buffer.getvalue()


def _own_upload(entry: Any, upload_folder: Path) -> tuple[Path | None, str]:
    """The path of an upload if it really lies in the upload folder, and the name to show."""
    if not isinstance(entry, dict):
        return None, "A photo"
    name = Path(str(entry.get("name", "") or "A photo")).name[:80] or "A photo"
    try:
        path = Path(str(entry.get("path", ""))).resolve(strict=True)
    except (OSError, ValueError):
        return None, name
    inside = path.is_relative_to(upload_folder.resolve()) and path.is_file()
    return (path if inside else None), name


def _named(error: PhotoError, path: Path, name: str) -> str:
    """The error's message with the upload's own name in place of its path on the server."""
    return error.message.replace(str(path), name).replace(path.name, name)


def _discard(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink()
    with contextlib.suppress(OSError):  # its folder, which held only this upload
        path.parent.rmdir()
