"""Small pictures as data URIs, so that the page never serves a file from the disk."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from PIL import Image

from simsearch.errors import PhotoError
from simsearch.photo import open_photo


@dataclass(frozen=True)
class Picture:
    """A re-encoded picture: its data URI and its size in pixels."""

    data_uri: str
    width: int
    height: int


def encode_picture(image: Image.Image, max_side: int) -> Picture:
    """Shrink an RGB image to at most ``max_side`` pixels a side and encode it as JPEG.

    Only pixels are written: Pillow copies no EXIF, XMP or profile unless told to.
    """
    small = image.convert("RGB")
    small.info = {}
    small.thumbnail((max_side, max_side), Image.Resampling.LANCZOS)
    buffer = io.BytesIO()
    small.save(buffer, "JPEG", quality=84, optimize=True)
    text = base64.b64encode(buffer.getvalue()).decode("ascii")
    return Picture(f"data:image/jpeg;base64,{text}", small.width, small.height)


def thumbnail(path: Path, max_side: int) -> Picture | None:
    """The photo at ``path`` as a small picture, or ``None`` when it cannot be read."""
    try:
        return _cached(path, path.stat().st_mtime_ns, max_side)
    except (OSError, PhotoError):
        return None


# A shelf of a few hundred thumbnails is some megabytes; the time stamp in the key means that
# a photo replaced on disk is read again.
@lru_cache(maxsize=2048)
def _cached(path: Path, _stamp: int, max_side: int) -> Picture:
    return encode_picture(open_photo(path, max_side=max_side), max_side)
