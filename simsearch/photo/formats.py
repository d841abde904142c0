"""Telling what kind of file some bytes are, by their first bytes and never by the file's name.

Allowed are the formats a camera, a phone, a scanner or a USB microscope writes: JPEG, PNG,
WebP, TIFF, HEIC and BMP. BMP is allowed because cheap USB microscopes save nothing else and its
decoder is a few lines. GIF is refused: 256 colours lose the relief that the search relies on.
Everything else is refused because each further decoder is another way in for a hostile file.
"""

from __future__ import annotations

ALLOWED = ("JPEG", "PNG", "WebP", "TIFF", "HEIC", "BMP")

#: File endings that ``list_photos`` picks up, lower case.
SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".webp", ".tif", ".tiff", ".heic", ".heif", ".bmp"}
)

# The brands of ISO/IEC 23008-12 files that hold HEVC pictures; mif1 and msf1 are the general
# ones, which phones also write.
_HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_AVIF_BRANDS = {b"avif", b"avis"}

_PHOTO_SIGNATURES = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"II+\x00", "TIFF"),
    (b"MM\x00+", "TIFF"),
    (b"BM", "BMP"),
)

_OTHER_SIGNATURES = (
    (b"GIF87a", "a GIF"),
    (b"GIF89a", "a GIF"),
    (b"%PDF", "a PDF"),
    (b"%!PS", "a PostScript file"),
    (b"8BPS", "a layered image file (PSD)"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"IIRO", "a camera raw file"),
    (b"IIRS", "a camera raw file"),
    (b"IIU\x00", "a camera raw file"),
    (b"FUJIFILMCCD-RAW", "a camera raw file"),
    (b"PK\x03\x04", "a zip archive (or an office document)"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"\x00\x00\x01\x00", "an icon file"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"<svg", "an SVG drawing"),
    (b"<?xml", "an XML file"),
    (b"<!DOCTYPE", "a web page"),
    (b"<html", "a web page"),
    (b"RIFF", "a sound or video file"),
)


def photo_format(data: bytes) -> str | None:
    """Return the name from ALLOWED that ``data`` starts like, or None."""
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WebP"
    if data[:4] == b"II*\x00" and data[8:10] == b"CR":
        return None  # a camera raw file dressed as TIFF
    if data[4:8] == b"ftyp" and _brands(data) & _HEIC_BRANDS and not _is_avif(data):
        return "HEIC"
    return next((name for magic, name in _PHOTO_SIGNATURES if data.startswith(magic)), None)


def other_kind(data: bytes) -> str:
    """Describe a file that is no allowed photo, for an error message ("a PDF", "a video")."""
    if data[:4] == b"II*\x00" and data[8:10] == b"CR":
        return "a camera raw file"
    if data[4:8] == b"ftyp":
        return "an AVIF picture" if _is_avif(data) else "a video"
    start = data[:64].lstrip()
    for magic, kind in _OTHER_SIGNATURES:
        if data.startswith(magic) or start.lower().startswith(magic.lower()):
            return kind
    return ""


def _brands(data: bytes) -> set[bytes]:
    """Return the major and compatible brands of an ISO base media file."""
    end = min(max(int.from_bytes(data[:4], "big"), 16), 256)
    return {data[8:12]} | {data[at : at + 4] for at in range(16, end, 4)}


def _is_avif(data: bytes) -> bool:
    return data[8:12] in _AVIF_BRANDS or (
        bool(_brands(data) & _AVIF_BRANDS) and data[8:12] in {b"mif1", b"msf1"}
    )
