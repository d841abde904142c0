"""Finding the photos in a folder."""

from __future__ import annotations

import os
from pathlib import Path

from simsearch.errors import PhotoError
from simsearch.photo.formats import SUFFIXES


def list_photos(folder: str | Path) -> list[Path]:
    """Return the photos in ``folder`` and the folders inside it, sorted by path.

    A file counts by its ending (.jpg, .png, .webp, .tif, .heic, .bmp and their variants, in
    either case); it is not opened. Hidden files and folders are left out, and so are the
    companion files that some systems put into zip archives; linked folders are not followed.

    Raises PhotoError if ``folder`` is missing, is a file or may not be read.
    """
    root = Path(folder)
    if not root.exists():
        raise PhotoError(f"There is no folder {root}.", hint="Check the path.")
    if not root.is_dir():
        raise PhotoError(f"{root} is a file, not a folder.", hint="Give the folder it lies in.")
    found: list[Path] = []
    for here, folders, files in os.walk(root, onerror=_refuse):
        folders[:] = [name for name in folders if not _skipped(name)]
        found += [Path(here) / name for name in files if _is_photo_name(name)]
    return sorted((path for path in found if path.is_file()), key=lambda path: path.parts)


def _skipped(name: str) -> bool:
    return name.startswith(".") or name == "__MACOSX"


def _is_photo_name(name: str) -> bool:
    return not _skipped(name) and Path(name).suffix.lower() in SUFFIXES


def _refuse(error: OSError) -> None:
    raise PhotoError(
        f"The folder {error.filename} could not be read: {error.strerror}.",
        hint="Check that you may open it.",
    ) from error
