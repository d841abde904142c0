"""What an encoder gives for one photo, as a record of fixed length.

A record is what an index holds of one photo, with the hash of its file before it and a checksum
after it. Records of fixed length can be written one after another as photos are encoded, and a
last one that is cut short is told from its length.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import EncoderError, SimsearchError
from simsearch.index.photo_index import Floats, checked_array
from simsearch.index.reading import PHOTO_SIDE

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder

Rows = NDArray[np.void]
"""Records, (n,), of ``Layout.record``."""
_VERSION = 1
_AT_ONCE = 8
"""Photos handed to an encoder in one call.

The built-in one keeps what it made of the last eight photos, so that vectors, patches and squares
of the same eight cost one run of its network.
"""
_UNIT_TOLERANCE = 1e-3


@dataclass(frozen=True)
class Layout:
    """The shapes that one encoder gives: vector (dim,), patches ``grid`` or none of them."""

    encoder: str
    fingerprint: str
    dim: int
    grid: tuple[int, int, int] | None

    @cached_property
    def record(self) -> np.dtype[np.void]:
        """The number format of one record."""
        fields: list[tuple[Any, ...]] = [("sha256", "u1", (32,)), ("vector", "<f4", (self.dim,))]
        if self.grid:
            fields += [("scale", "<f4"), ("square", "<f4", (4,)), ("patches", "i1", self.grid)]
        return np.dtype([*fields, ("crc", "<u4")])

    @property
    def words(self) -> str:
        """What tells rows of this layout from all others, as one line of JSON."""
        told = {
            "version": _VERSION,
            "fingerprint": self.fingerprint,
            "photo_side": PHOTO_SIDE,
            "dim": self.dim,
            "patches": self.grid,
        }
        return json.dumps({"format": "simsearch rows", **told})


def layout_of(encoder: Encoder, with_patches: bool = True) -> Layout:
    """Ask an encoder for one blank photo and return the shapes it gives.

    Raises ``SimsearchError`` naming the encoder when these cannot be used.
    """
    from PIL import Image

    blank = [Image.new("RGB", (32, 32), (127, 127, 127))]
    dim = checked_array(encoder.embed(blank), (1, None), encoder.name).shape[1]
    grid = _patches(blank, encoder) if with_patches else None
    shape = None if grid is None else (grid.shape[1], grid.shape[2], grid.shape[3])
    return Layout(encoder.name, encoder.fingerprint, int(dim), shape)


def encode_rows(images: list[Image.Image], encoder: Encoder, layout: Layout) -> Rows:
    """Encode photos into records without hash and checksum; see ``sealed``.

    Raises ``SimsearchError`` naming the encoder when its answer does not fit the layout.
    """
    parts = [
        _encoded(images[start : start + _AT_ONCE], encoder, layout)
        for start in range(0, len(images), _AT_ONCE)
    ]
    return np.concatenate(parts)


def _encoded(images: list[Image.Image], encoder: Encoder, layout: Layout) -> Rows:
    rows = np.zeros(len(images), layout.record)
    rows["vector"] = checked_array(encoder.embed(images), (len(images), layout.dim), encoder.name)
    if layout.grid:
        answer = checked_array(encoder.patches(images), (len(images), *layout.grid), encoder.name)
        rows["patches"], rows["scale"] = packed(answer)
        rows["square"] = squares_of(images, encoder)
    if not sound(rows).all():
        raise SimsearchError(
            f"The encoder '{encoder.name}' returned a vector that is not of unit length, or a "
            "square without area.",
            hint="Choose another encoder or correct this one; nothing has been changed.",
        )
    return rows


def _patches(images: list[Image.Image], encoder: Encoder) -> Floats | None:
    try:
        answer = encoder.patches(images)
    except EncoderError:  # how an encoder says that it has no patches
        return None
    return checked_array(answer, (len(images), None, None, None), encoder.name)


def packed(grid: Floats) -> tuple[NDArray[np.int8], Floats]:
    """Return patches (n, rows, cols, pdim) as int8 with one scale per photo.

    One byte a number keeps a set of a hundred thousand photos near four gigabytes; the error is
    at most half of 1/127 of the photo's largest number.
    """
    largest = np.abs(grid).reshape(len(grid), -1).max(axis=1)
    scales = np.where(largest > 0, largest / 127.0, 1.0).astype(np.float32)
    rounded = np.rint(grid / scales[:, None, None, None])
    return np.clip(rounded, -127, 127).astype(np.int8), scales


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


def sound(rows: Rows) -> NDArray[np.bool_]:
    """Which records hold a unit vector, a finite scale and a square with an area: (n,)."""
    lengths = np.linalg.norm(rows["vector"], axis=1)
    # Written so that a NaN fails.
    good: NDArray[np.bool_] = np.abs(lengths - 1.0) <= _UNIT_TOLERANCE
    if "square" in (rows.dtype.names or ()):
        corners = rows["square"]
        area = (corners[:, 2:] > corners[:, :2]).all(axis=1) & np.isfinite(corners).all(axis=1)
        good = good & area & np.isfinite(rows["scale"])
    return good


def sealed(rows: Rows, hashes: list[str]) -> Rows:
    """Return records with the hashes of their photos' files and their checksums."""
    done = rows.copy()
    done["sha256"] = [list(bytes.fromhex(digest)) for digest in hashes]
    done["crc"] = _checksums(done)
    return done


def whole_rows(rows: Rows) -> NDArray[np.bool_]:
    """Which records are as they were sealed and hold what can be used: (n,)."""
    intact: NDArray[np.bool_] = (_checksums(rows) == rows["crc"]) & sound(rows)
    return intact


def _checksums(rows: Rows) -> NDArray[np.uint32]:
    length = rows.dtype.itemsize
    content = np.ascontiguousarray(rows).view(np.uint8).reshape(len(rows), length)
    return np.array([crc32(row[: length - 4].tobytes()) for row in content], np.uint32)
