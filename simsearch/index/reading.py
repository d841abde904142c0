"""Reading a set's photos for an encoder, in turns with it.

An encoder keeps every core busy. Reading the next photos meanwhile in the background makes each
step of the network wait for the core that reads: on two cores that cost as much as it saved
(``scripts/time_import.py``). So a batch is read on all cores, then encoded on all cores.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from simsearch.errors import SetError
from simsearch.files import sha256_of

if TYPE_CHECKING:
    from PIL import Image

PHOTO_SIDE = 640
"""Longest side, in pixels, at which photos are read for an encoder.

Above what the encoders look at, and small enough that a large JPEG is decoded at a fraction of
its size. Reference photos and photos of finds must be read at the same size.
"""
_AT_ONCE = 8  # what the built-in encoder works on at a time
_READERS = 2
_HASHERS = 2


@dataclass(frozen=True)
class PhotoToIndex:
    """One photo: its id, the hash it should have, and where its file is."""

    id: str
    sha256: str
    path: Path


def read_by_turns(
    photos: Sequence[PhotoToIndex], *, at_once: int = _AT_ONCE
) -> Iterator[Image.Image]:
    """Yield the photos in order, ``at_once`` of them read together by two threads.

    Raises ``SetError`` and ``PhotoError`` as ``open_checked`` does, when the photo's turn comes.
    """
    with ThreadPoolExecutor(_READERS, thread_name_prefix="read") as pool:
        for start in range(0, len(photos), at_once):
            tasks = [pool.submit(open_checked, one) for one in photos[start : start + at_once]]
            try:
                yield from (task.result() for task in tasks)
            finally:
                for task in tasks:
                    task.cancel()


def open_checked(photo: PhotoToIndex) -> Image.Image:
    """Return a photo at ``PHOTO_SIDE``.

    Raises ``SetError`` for a file that is not the one that was labelled, ``PhotoError`` for one
    that is no photo.
    """
    from simsearch.photo import open_photo

    # The hash is taken from the file that is encoded, so that an index never claims to hold a
    # photo it has not seen.
    require_labelled_file(photo)
    return open_photo(photo.path, max_side=PHOTO_SIDE)


def require_labelled_files(photos: Sequence[PhotoToIndex]) -> None:
    """Raise ``SetError`` for the first photo whose file is not the one that was labelled."""
    with ThreadPoolExecutor(_HASHERS) as pool:
        for _ in pool.map(require_labelled_file, photos):
            pass


def require_labelled_file(photo: PhotoToIndex) -> None:
    """Raise ``SetError`` when a photo's file is missing or has another hash."""
    try:
        found = sha256_of(photo.path)
    except OSError as error:
        raise SetError(
            f"The file of photo '{photo.id}' ({photo.path.name}) cannot be read "
            f"({error.strerror or error}).",
            hint="Put the original file back, or take the photo out of the set.",
        ) from error
    if found != photo.sha256:
        raise SetError(
            f"The file of photo '{photo.id}' ({photo.path.name}) is not the one that was "
            "labelled: its SHA-256 differs from the one in photos.csv.",
            hint="Put the original file back, or look at it again and correct its row.",
        )
