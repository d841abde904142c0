"""A photo that says where it was taken, for tests that the place does not stay anywhere."""

from __future__ import annotations

from pathlib import Path

from PIL import ExifTags, Image

MARKER = b"HARROW-FEN-PLACE"
"""Stands in the photo's GPS block as it would stand in the file: plain bytes."""


def save_photo_with_place(path: Path, colour: tuple[int, int, int] = (200, 40, 40)) -> Path:
    """Save a 120 x 80 JPEG with a GPS block (an invented place)."""
    exif = Image.Exif()
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    gps[ExifTags.GPS.GPSLatitudeRef] = "N"
    gps[ExifTags.GPS.GPSLatitude] = (52.0, 30.0, 15.0)
    gps[ExifTags.GPS.GPSLongitudeRef] = "E"
    gps[ExifTags.GPS.GPSLongitude] = (0.0, 20.0, 45.0)
    gps[ExifTags.GPS.GPSAreaInformation] = MARKER
    Image.new("RGB", (120, 80), colour).save(path, exif=exif)
    return path
