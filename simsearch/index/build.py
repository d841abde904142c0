"""Making the vectors of a set's photos."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import EncoderError, SetError
from simsearch.files import sha256_of
from simsearch.index.photo_index import Floats, PhotoIndex, Progress, checked_array

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder

PHOTO_SIDE = 640
"""Longest side, in pixels, at which photos are read for an encoder.

Above what the encoders look at, and small enough that a large JPEG is decoded at a fraction of
its size. Reference photos and photos of finds must be read at the same size.
"""
_BATCH = 16


@dataclass(frozen=True)
class PhotoToIndex:
    """One photo: its id, the hash it should have, and where its file is."""

    id: str
    sha256: str
    path: Path


def build_index(
    photos: Sequence[PhotoToIndex],
    encoder: Encoder,
    *,
    progress: Progress | None = None,
    with_patches: bool = True,
) -> PhotoIndex:
    """Encode every photo, in order, into a new index in memory.

    ``progress`` is called with (done, total) before the first photo and after each batch.
    Patches are left out when ``with_patches`` is false or the encoder has none.
    Raises ``SetError`` for no photos or for a file that is not the one that was labelled,
    ``PhotoError`` for one that cannot be read.
    """
    if not photos:
        raise SetError("There are no photos to index.", hint="Add photos to the set first.")
    vectors: list[Floats] = []
    patches: list[tuple[NDArray[np.int8], Floats]] = []
    squares: list[Floats] = []
    if progress:
        progress(0, len(photos))
    for start in range(0, len(photos), _BATCH):
        images = [_open(photo) for photo in photos[start : start + _BATCH]]
        vectors.append(checked_array(encoder.embed(images), (len(images), None), encoder.name))
        packed = _pack(images, encoder) if with_patches else None
        if packed:
            patches.append(packed)
            squares.append(squares_of(images, encoder))
        if progress:
            progress(start + len(images), len(photos))
    return PhotoIndex(
        vectors=np.concatenate(vectors),
        photo_ids=tuple(photo.id for photo in photos),
        sha256=tuple(photo.sha256 for photo in photos),
        encoder_name=encoder.name,
        encoder_fingerprint=encoder.fingerprint,
        patches=np.concatenate([grid for grid, _ in patches]) if patches else None,
        patch_scales=np.concatenate([scale for _, scale in patches]) if patches else None,
        squares=np.concatenate(squares) if squares else None,
    )


def squares_of(images: list[Image.Image], encoder: Encoder) -> Floats:
    """Return the squares that an encoder's patches cover: float32 (n, 4) as ``PhotoIndex`` has.

    An encoder without a method ``squares`` sees the whole photo, padded to a square.
    """
    from simsearch.encode.framing import whole

    find = getattr(encoder, "squares", None)
    squares = find(images) if find is not None else [whole(image) for image in images]
    rows = [
        (
            (square.x - square.side / 2) / image.width,
            (square.y - square.side / 2) / image.height,
            (square.x + square.side / 2) / image.width,
            (square.y + square.side / 2) / image.height,
        )
        for square, image in zip(squares, images, strict=True)
    ]
    return np.array(rows, dtype=np.float32).reshape(len(images), 4)


def _open(photo: PhotoToIndex) -> Image.Image:
    from simsearch.photo import open_photo

    # The hash is taken from the file that is encoded, so that an index never claims to hold a
    # photo it has not seen.
    if sha256_of(photo.path) != photo.sha256:
        raise SetError(
            f"The file of photo '{photo.id}' ({photo.path.name}) is not the one that was "
            "labelled: its SHA-256 differs from the one in photos.csv.",
            hint="Put the original file back, or look at it again and correct its row.",
        )
    return open_photo(photo.path, max_side=PHOTO_SIDE)


def _pack(images: list[Image.Image], encoder: Encoder) -> tuple[NDArray[np.int8], Floats] | None:
    """Return patches as int8 (n, rows, cols, pdim) with one scale per photo, or ``None``.

    One byte a number keeps a set of a hundred thousand photos near a gigabyte; the error is at
    most half of 1/127 of the photo's largest number.
    """
    try:
        answer = encoder.patches(images)
    except EncoderError:  # how an encoder says that it has no patches
        return None
    grid = checked_array(answer, (len(images), None, None, None), encoder.name)
    largest = np.abs(grid).reshape(len(grid), -1).max(axis=1)
    scales = np.where(largest > 0, largest / 127.0, 1.0).astype(np.float32)
    rounded = np.rint(grid / scales[:, None, None, None])
    return np.clip(rounded, -127, 127).astype(np.int8), scales
