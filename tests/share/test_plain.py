"""Photos with nothing in the file but the picture.

What is in a file is asked of Pillow, an independent reader of metadata.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from simsearch.errors import PhotoError
from simsearch.share.plain import ending_of, is_plain, plain_photo
from tests.tiny_set import picture

SECRET = b"Harrow Fen, behind the barn"
KINDS = ["JPEG", "PNG", "WEBP", "TIFF", "BMP"]


def saved(kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    picture((200, 40, 40), 1, side=40).save(out, kind, **options)
    return out.getvalue()


def gps() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010E] = SECRET.decode()  # ImageDescription
    exif.get_ifd(0x8825)[2] = (52.0, 12.0, 30.0)  # GPSLatitude (Exif 2.32)
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_plain_file_stays_as_it_is(kind: str) -> None:
    data = saved(kind)
    assert plain_photo(data) == (data, False)


def test_kinds_of_jpeg_that_are_plain() -> None:
    assert is_plain(saved("JPEG", progressive=True))
    assert is_plain(saved("JPEG", restart_marker_blocks=1))
    out = io.BytesIO()
    Image.new("CMYK", (9, 9)).save(out, "JPEG")  # has the Adobe mark, which decoding needs
    assert is_plain(out.getvalue())


@pytest.mark.parametrize("kind", KINDS[:4])
def test_what_a_camera_writes_is_gone(kind: str) -> None:
    data = saved(kind, exif=gps())
    assert Image.open(io.BytesIO(data)).getexif()
    plain, redrawn = plain_photo(data)
    assert redrawn
    assert is_plain(plain)
    found = Image.open(io.BytesIO(plain))
    assert not found.getexif()
    assert SECRET not in plain


def test_a_picture_that_was_turned_by_its_metadata_stays_upright() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: turn by 90 degrees
    out = io.BytesIO()
    Image.new("RGB", (30, 20), "red").save(out, "JPEG", exif=exif)
    assert Image.open(io.BytesIO(plain_photo(out.getvalue())[0])).size == (20, 30)


def test_the_hidden_corners_of_files() -> None:
    words = PngImagePlugin.PngInfo()
    words.add_itxt("Comment", SECRET.decode())
    hidden = [
        saved("JPEG") + SECRET,
        saved("JPEG") + saved("JPEG", exif=gps()),  # a second picture, as phones append
        saved("JPEG", comment=SECRET),
        saved("JPEG", xmp=b"<x:xmpmeta>" + SECRET),
        saved("PNG", pnginfo=words),
        saved("PNG") + SECRET,
        saved("WEBP", xmp=SECRET),
        saved("WEBP") + SECRET,
    ]
    for data in hidden:
        plain, redrawn = plain_photo(data)
        assert redrawn and is_plain(plain) and SECRET not in plain


def test_only_the_picture_counts_and_not_the_name_of_the_kind() -> None:
    for kind in KINDS:
        plain, _ = plain_photo(saved(kind))
        assert ending_of(plain) == {"PNG": ".png", "WEBP": ".webp"}.get(kind, ".jpg")
        assert np.asarray(Image.open(io.BytesIO(plain))).shape == (40, 40, 3)


@pytest.mark.parametrize("data", [b"", b"hello", b"\xff\xd8\xff\xe0", b"\x89PNG\r\n\x1a\n"])
def test_what_is_no_photo_is_refused(data: bytes) -> None:
    with pytest.raises(PhotoError):
        plain_photo(data)
