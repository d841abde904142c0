"""Photos with nothing in the file but the picture.

A photo may carry where it was taken in more places than one: EXIF, XMP, a second picture after
the first with its own EXIF, text chunks, bytes after the end. Looking for each is a race, so the
parts of a file that draw the picture are listed instead, and a file with anything else in it is
drawn again. Read in: JPEG (ITU-T T.81 annex B; JFIF 1.02), PNG (W3C, third edition), WebP
(container specification, RFC 9649).
"""

from __future__ import annotations

from io import BytesIO

from simsearch.photo import open_photo
from simsearch.photo.formats import photo_format

ENDINGS = {"JPEG": ".jpg", "PNG": ".png", "WebP": ".webp"}
_QUALITY = 92
# JFIF, colour profile, and the mark that tells the decoder how colours are stored.
_JPEG_APPS = {0xE0: (b"JFIF\0",), 0xE2: (b"ICC_PROFILE\0",), 0xEE: (b"Adobe",)}
_PNG_CHUNKS = frozenset(
    b"IHDR PLTE IDAT IEND tRNS cHRM gAMA iCCP sBIT sRGB bKGD hIST pHYs cICP".split()
)
_WEBP_CHUNKS = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"})


def ending_of(data: bytes) -> str:
    """Return the file ending that a plain copy of this photo gets."""
    return ENDINGS.get(photo_format(data) or "", ".jpg")


def is_plain(data: bytes) -> bool:
    """Whether the file holds the picture and nothing else."""
    kind = photo_format(data)
    if kind == "JPEG":
        return _is_plain_jpeg(data)
    if kind == "PNG":
        return _is_plain_png(data)
    return kind == "WebP" and _is_plain_webp(data)


def plain_photo(data: bytes) -> tuple[bytes, bool]:
    """Return the photo without anything but the picture, and whether it had to be drawn again.

    A plain file comes back byte for byte. Any other is decoded, turned upright and written
    anew: PNG as PNG, WebP as WebP, all others as JPEG. Raises ``PhotoError`` when it cannot be
    read as a photo.
    """
    if is_plain(data):
        return data, False
    image = open_photo(data)
    kind = photo_format(data)
    out = BytesIO()
    if kind == "PNG":
        image.save(out, "PNG")
    elif kind == "WebP":
        image.save(out, "WEBP", quality=_QUALITY)
    else:
        image.save(out, "JPEG", quality=_QUALITY)
    return out.getvalue(), True


def _is_plain_jpeg(data: bytes) -> bool:
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # padding before a marker
            at += 1
            continue
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + size]
        if size < 2 or marker == 0xFE:  # a comment
            return False
        if 0xE0 <= marker <= 0xEF and not _is_plain_app(marker, body):
            return False
        at += 2 + size
        if marker == 0xDA:  # the picture's data follow, up to the next real marker
            at = _end_of_scan(data, at)
            if data[at : at + 2] == b"\xff\xd9":
                return at + 2 == len(data)
    return False


def _is_plain_app(marker: int, body: bytes) -> bool:
    if not body.startswith(_JPEG_APPS.get(marker, ())):
        return False
    # A JFIF segment may hold a small preview; a full one is 14 bytes long without.
    return marker != 0xE0 or len(body) == 14


def _end_of_scan(data: bytes, at: int) -> int:
    """Return where the entropy-coded data end: at the next marker that is no restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        if data[at + 1] != 0 and not 0xD0 <= data[at + 1] <= 0xD7:
            return at
        at += 2


def _is_plain_png(data: bytes) -> bool:
    at = 8
    while at + 12 <= len(data):
        size, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if name not in _PNG_CHUNKS:
            return False
        at += 12 + size
        if name == b"IEND":
            return size == 0 and at == len(data)
    return False


def _is_plain_webp(data: bytes) -> bool:
    end = 8 + int.from_bytes(data[4:8], "little")
    if end != len(data):
        return False
    at = 12
    while at + 8 <= end:
        name, size = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        if name not in _WEBP_CHUNKS:
            return False
        at += 8 + size + size % 2
    return at == end
