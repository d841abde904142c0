"""Getting at the bytes of a photo, wherever they come from."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

from simsearch.errors import PhotoError

#: Largest file that is read, in bytes (50 MB). A 48-megapixel JPEG has about half of that.
MAX_FILE_BYTES = 50 * 1000 * 1000
UNNAMED = "The given file"


def read_source(source: str | Path | bytes | bytearray | BinaryIO) -> tuple[bytes, str]:
    """Return the bytes of ``source`` and the name to use for it in messages.

    A path is read whole at once, so the file may change or vanish afterwards. Raises PhotoError
    for a missing file, a folder, anything else that is no ordinary file, an empty file, and one
    above MAX_FILE_BYTES, of which no more than that is read.
    """
    if isinstance(source, bytes | bytearray):
        data, name = bytes(source), UNNAMED
    elif isinstance(source, str | Path):
        data, name = _read_file(Path(source)), str(source)
    elif hasattr(source, "read"):
        name = str(getattr(source, "name", "") or UNNAMED)
        data = _read_stream(source, name)
    else:
        raise TypeError(
            f"A photo is a path, bytes, an open binary file or a PIL image, not {source!r:.80}."
        )
    if not data:
        raise PhotoError(f"{name} is empty.", hint="Copy it again from the camera or phone.")
    if len(data) > MAX_FILE_BYTES:
        raise _too_big(name)
    return data, name


def _read_file(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise PhotoError(f"{path} is a folder, not a photo.", hint="Choose a photo inside it.")
        if not path.exists():
            raise PhotoError(f"There is no file {path}.", hint="Check the path.")
        if not path.is_file():  # a pipe or a device would block or never end
            raise PhotoError(f"{path} is not an ordinary file.", hint="Give a photo file.")
        with path.open("rb") as file:
            return file.read(MAX_FILE_BYTES + 1)
    except ValueError as error:  # a path with a null character
        raise PhotoError(f"{path!r} is not a possible path.", hint="Check the path.") from error
    except OSError as error:
        raise PhotoError(
            f"{path} could not be read: {error.strerror or error}.",
            hint="Check that the file may be opened and that its disk is still there.",
        ) from error


def _read_stream(stream: BinaryIO, name: str) -> bytes:
    try:
        data = stream.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        raise PhotoError(f"{name} could not be read: {error}.", hint="Open it again.") from error
    if not isinstance(data, bytes):
        raise TypeError("The open file gives text: open it in binary mode.")
    return data


def _too_big(name: str) -> PhotoError:
    return PhotoError(
        f"{name} is over the limit of {MAX_FILE_BYTES // 1_000_000} MB for one photo.",
        hint="Save it as a JPEG of up to 40 megapixels.",
    )
