"""From bytes to a decoded Pillow image, through an explicit list of decoders.

Each decoder class is called directly and never through ``Image.open``: so no other decoder can
be reached, nothing is registered for the rest of the process, and the size is compared with our
own limit before any pixel is decoded (``Image.open`` would first issue a warning of its own,
and warnings can only be silenced for all threads at once).
"""

from __future__ import annotations

from io import BytesIO

from PIL import Image
from PIL.ImageFile import ImageFile

from simsearch.errors import PhotoError
from simsearch.photo.formats import ALLOWED, other_kind, photo_format

#: Most pixels that are decoded (80 megapixels: 240 MB as RGB).
MAX_PIXELS = 80_000_000
_DAMAGED_HINT = "Copy it again from the camera or phone, or save it anew as a JPEG."
_TIFF_DNG_VERSION = 50706  # a tag that only camera raw files (DNG) carry


def decode(data: bytes, name: str, max_side: int | None) -> Image.Image:
    """Return the first picture in ``data``, its pixels loaded, in the mode it is stored in.

    A JPEG is decoded at 1/2, 1/4 or 1/8 of its size if that still leaves twice ``max_side``.
    Raises PhotoError, naming ``name``, for everything that does not decode.
    """
    kind = photo_format(data)
    if kind is None:
        raise _unsupported(data, name)
    try:
        image = _open(kind, data)
        if _TIFF_DNG_VERSION in getattr(image, "tag_v2", ()):
            raise PhotoError(
                f"{name} is a camera raw file (DNG), which is not read here.",
                hint="Export it as a JPEG first.",
            )
        check_size(image, name)
        if kind == "JPEG" and max_side is not None:
            _draft(image, max_side)
        image.load()
    except PhotoError:
        raise
    except MemoryError as error:
        raise PhotoError(
            f"There is not enough memory to read {name}.", hint="Save a smaller copy of it."
        ) from error
    except Exception as error:
        # A damaged file can make a decoder fail in any way at all: OSError, SyntaxError,
        # struct.error, IndexError... The bytes are the cause in each case.
        raise PhotoError(
            f"{name} begins like a {kind} photo but is damaged or cut short ({_reason(error)}).",
            hint=_DAMAGED_HINT,
        ) from error
    return image


def check_size(image: Image.Image, name: str) -> None:
    """Raise PhotoError if ``image`` has no pixels or more than MAX_PIXELS."""
    width, height = image.size
    # A TIFF may ask for a buffer larger than the picture.
    buffer_width, buffer_height = getattr(image, "_tile_size", image.size)
    if width < 1 or height < 1:
        raise PhotoError(f"{name} has no pixels ({width} x {height}).", hint=_DAMAGED_HINT)
    if max(width * height, buffer_width * buffer_height) > MAX_PIXELS:
        raise PhotoError(
            f"{name} has {width} x {height} pixels; the limit is {MAX_PIXELS // 1_000_000} "
            "megapixels.",
            hint="Save a smaller copy of it.",
        )


def _open(kind: str, data: bytes) -> ImageFile:
    """Read the header of ``data`` with the decoder for ``kind``; no pixel is decoded yet."""
    # The decoders are imported when needed: importing this package stays cheap.
    from PIL.BmpImagePlugin import BmpImageFile
    from PIL.JpegImagePlugin import JpegImageFile
    from PIL.PngImagePlugin import PngImageFile
    from PIL.TiffImagePlugin import TiffImageFile
    from PIL.WebPImagePlugin import WebPImageFile

    stream = BytesIO(data)
    if kind == "HEIC":
        return _open_heic(stream)
    decoders: dict[str, type[ImageFile]] = {
        "JPEG": JpegImageFile,
        "PNG": PngImageFile,
        "WebP": WebPImageFile,
        "TIFF": TiffImageFile,
        "BMP": BmpImageFile,
    }
    return decoders[kind](stream)


def _open_heic(stream: BytesIO) -> ImageFile:
    try:
        from pillow_heif import HeifImageFile
    except ImportError as error:
        raise PhotoError(
            "HEIC photos need the package pillow-heif.",
            hint="Install it, or set the phone to save JPEG ('most compatible').",
        ) from error
    image: ImageFile = HeifImageFile(stream)
    return image


def _draft(image: ImageFile, max_side: int) -> None:
    """Let the JPEG decoder skip detail that shrinking to ``max_side`` would throw away."""
    factor = 2 * max_side / max(image.size)
    if factor < 1:
        width, height = image.size
        image.draft(None, (max(1, round(width * factor)), max(1, round(height * factor))))


def _unsupported(data: bytes, name: str) -> PhotoError:
    kind = other_kind(data)
    what = f"{name} is {kind}, which is not read here." if kind else f"{name} is not a photo."
    return PhotoError(what, hint=f"Use one of: {', '.join(ALLOWED)}.")


def _reason(error: Exception) -> str:
    text = " ".join(str(error).split())[:120]
    return text or type(error).__name__
