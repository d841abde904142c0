"""Making a photo ready for a set: upright, small enough, and without any metadata."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from pathlib import Path

from simsearch.errors import PhotoError

MAX_SIDE = 1600
"""Longest side of a stored photo, in pixels."""
JPEG_QUALITY = 92


@dataclass(frozen=True)
class Stored:
    """A photo as it is to be stored: JPEG bytes, their hash, and that of the file it came from.

    ``gps`` is "latitude, longitude" in degrees when it was asked for and the file says it.
    """

    content: bytes
    sha256: str
    source_sha256: str
    source_bytes: int
    gps: str = ""


def stored(source: Path, *, keep_gps: bool = False) -> Stored:
    """Read a photo and return it as it is to be stored.

    Raises ``PhotoError`` for anything that cannot be read as a photo.
    """
    from simsearch.photo import MAX_FILE_BYTES, open_photo

    try:
        with open(source, "rb") as handle:
            data = handle.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        what = f"{source} could not be read ({error})."
        raise PhotoError(what, hint="Check that the file is there and may be opened.") from error
    named = io.BytesIO(data)
    named.name = str(source)
    photo = open_photo(named, max_side=MAX_SIDE)
    out = io.BytesIO()
    photo.save(out, "JPEG", quality=JPEG_QUALITY)
    content = out.getvalue()
    return Stored(
        content,
        hashlib.sha256(content).hexdigest(),
        hashlib.sha256(data).hexdigest(),
        len(data),
        _gps(data) if keep_gps else "",
    )


def _gps(data: bytes) -> str:
    """Return "52.50416, 0.34583" from a file's EXIF block (Exif 2.32, 4.6.6), or nothing.

    Five decimals are about a metre; more would only repeat the camera's noise.
    """
    from PIL import ExifTags, Image

    try:
        with Image.open(io.BytesIO(data)) as image:
            block = image.getexif().get_ifd(ExifTags.IFD.GPSInfo)
        latitude = _degrees(block[ExifTags.GPS.GPSLatitude], block[ExifTags.GPS.GPSLatitudeRef])
        longitude = _degrees(block[ExifTags.GPS.GPSLongitude], block[ExifTags.GPS.GPSLongitudeRef])
    except Exception:  # none, or garbled in any way: the photo itself may be sound
        return ""
    good = -90 <= latitude <= 90 and -180 <= longitude <= 180
    return f"{latitude:.5f}, {longitude:.5f}" if good else ""


def _degrees(parts: tuple[float, float, float], side: str) -> float:
    degrees, minutes, seconds = (float(part) for part in parts)
    value = degrees + minutes / 60 + seconds / 3600
    return -value if side.strip().upper() in ("S", "W") else value
