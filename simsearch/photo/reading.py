"""Opening one photo: any source, any camera, to an upright RGB picture without metadata."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from PIL import Image

from simsearch.errors import PhotoError
from simsearch.photo._decode import MAX_PIXELS, check_size, decode
from simsearch.photo._source import MAX_FILE_BYTES, UNNAMED, read_source
from simsearch.photo.colour import has_transparency, to_rgb

__all__ = ["MAX_FILE_BYTES", "MAX_PIXELS", "open_photo"]

# EXIF tag 274 (Exif 2.32, 4.6.4 A): what to do to the stored rows to see the picture upright.
_ORIENTATION_TAG = 274
_UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_SHRINK_FIRST = {"L", "RGB", "CMYK"}


def open_photo(
    source: str | Path | bytes | BinaryIO | Image.Image, *, max_side: int | None = None
) -> Image.Image:
    """Return the photo in ``source`` as an upright RGB image without any metadata.

    ``source`` is a path, the bytes of a file, an open binary file, or a PIL image (which is not
    changed). Read are JPEG, PNG, WebP, TIFF, HEIC and BMP, by content, whatever the file is
    called; of several frames the first. EXIF orientation and the embedded colour profile are
    applied (to sRGB), 16-bit grey is scaled to 8, transparent parts become white. No metadata
    (place, date, camera) is carried over.

    ``max_side`` is the greatest width or height wanted, in pixels: a larger photo is scaled
    down to it (large JPEGs are then decoded several times faster), a smaller one stays as it is.

    Raises PhotoError for anything that is no such photo, is damaged, has no pixels, or is over
    MAX_FILE_BYTES or MAX_PIXELS; ValueError for a ``max_side`` below 1.
    """
    if max_side is not None and max_side < 1:
        raise ValueError(f"max_side must be at least 1, not {max_side}.")
    if isinstance(source, Image.Image):
        name = str(getattr(source, "filename", "") or UNNAMED)
        check_size(source, name)
        image = _loaded(source, name)
    else:
        data, name = read_source(source)
        image = decode(data, name, max_side)
    try:
        return _plain(image, max_side)
    except (ValueError, MemoryError, OverflowError) as error:
        raise PhotoError(
            f"{name} could not be turned into a colour picture ({error}).",
            hint="Save it anew as a JPEG.",
        ) from error


def _loaded(image: Image.Image, name: str) -> Image.Image:
    try:
        image.load()
    except Exception as error:  # a lazily opened file may be damaged in any way
        raise PhotoError(
            f"{name} is damaged or cut short ({error}).", hint="Open another copy of it."
        ) from error
    return image


def _plain(image: Image.Image, max_side: int | None) -> Image.Image:
    """Return an upright, shrunk RGB copy of a loaded image; ``image`` itself is left alone."""
    turn = _UPRIGHT.get(_orientation(image))
    bits, inverted = _grey_scale(image)
    if image.mode in _SHRINK_FIRST and not has_transparency(image):
        image = _shrink(image, max_side)  # the colour engine then has less to do
    rgb = _shrink(to_rgb(image, bits=bits, inverted=inverted), max_side)
    if turn is not None:
        rgb = rgb.transpose(turn)
    plain = Image.new("RGB", rgb.size)
    plain.paste(rgb)
    return plain


def _shrink(image: Image.Image, max_side: int | None) -> Image.Image:
    if max_side is None or max(image.size) <= max_side:
        return image
    factor = max_side / max(image.size)
    size = (max(1, round(image.width * factor)), max(1, round(image.height * factor)))
    # Nearly as good as LANCZOS for making smaller and three times as quick; most of the time that
    # reading a photo takes is spent here.
    return image.resize(size, Image.Resampling.HAMMING, reducing_gap=3.0)


def _orientation(image: Image.Image) -> int:
    """Return the EXIF orientation, 1 if there is none or it cannot be read."""
    try:
        value = image.getexif().get(_ORIENTATION_TAG, 1)
    except Exception:  # the camera's notes may be garbled while the picture is sound
        return 1
    return value if isinstance(value, int) else 1


def _grey_scale(image: Image.Image) -> tuple[int, bool]:
    """Return the bits a sample of a deep grey TIFF and whether its zero means white."""
    tags = getattr(image, "tag_v2", None)
    if tags is None or not image.mode.startswith("I;16"):
        return 16, False
    depth = tags.get(258, (16,))
    return (12 if depth and depth[0] == 12 else 16), tags.get(262) == 0
