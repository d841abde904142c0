"""An index on disk: ``index.json`` and the arrays it names.

Arrays are plain ``.npy`` files read without pickle. Search structures are made afresh in
memory: FAISS's own files are never read, since reading one that somebody prepared can corrupt
memory.

A rebuild must leave the old index or the new one, whenever it is stopped. The arrays are
therefore written under names taken from their content, ``index.json`` is replaced last and in
one step, and arrays that it no longer names are removed only after that.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import MissingIndexError, StaleIndexError
from simsearch.files import replacing, sha256_of, write_bytes
from simsearch.index.content import Blocks, Content, taken
from simsearch.index.photo_index import PhotoIndex, index_command
from simsearch.index.reading import PHOTO_SIDE
from simsearch.index.unfinished import UNFINISHED

INDEX_FILE = "index.json"
_FORMAT = "simsearch photo index"
_VERSION = 1
ARRAYS = ("vectors", "patches", "patch_scales", "squares")
_NAME = re.compile(r"(vectors|patches|patch_scales|squares)-[0-9a-f]{16}\.npy")
_HALF_WRITTEN = re.compile(r"\..+\.[0-9a-f]{12}\.part")
_SHA256 = re.compile(r"[0-9a-f]{64}")


def save_index(index: PhotoIndex, folder: Path | str) -> None:
    """Write an index into ``folder`` (created when missing), replacing the old one in one step.

    The caller holds the set's lock.
    """
    write_content(content_of(index), folder)
    remove_unnamed(folder)


def content_of(index: PhotoIndex, kept: Sequence[int] | None = None) -> Content:
    """Return what is to be written of an index: all of it, or only the ``kept`` positions."""
    positions = range(len(index)) if kept is None else kept
    arrays = {name: getattr(index, name) for name in ARRAYS}
    return Content(
        photo_ids=tuple(index.photo_ids[position] for position in positions),
        sha256=tuple(index.sha256[position] for position in positions),
        encoder_name=index.encoder_name,
        encoder_fingerprint=index.encoder_fingerprint,
        dim=index.dim,
        arrays={
            name: taken(array, positions) for name, array in arrays.items() if array is not None
        },
    )


def write_content(content: Content, folder: Path | str) -> None:
    """Write what ``content`` describes; from the moment ``index.json`` is replaced it counts.

    The arrays of the index before stay until ``remove_unnamed``. The caller holds the lock.
    """
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    entries = {name: _save_array(target, name, array) for name, array in content.arrays.items()}
    write_bytes(target / INDEX_FILE, description_of(content, entries))


def description_of(content: Content, entries: Mapping[str, Mapping[str, Any]]) -> bytes:
    """Return the text of ``index.json``; ``entries`` are the array files as ``entry_of`` gives."""
    description = {
        "format": _FORMAT,
        "version": _VERSION,
        "encoder": {"name": content.encoder_name, "fingerprint": content.encoder_fingerprint},
        "photo_side": PHOTO_SIDE,
        "dim": content.dim,
        "files": dict(entries),
        "photos": [
            {"id": name, "sha256": digest}
            for name, digest in zip(content.photo_ids, content.sha256, strict=True)
        ],
    }
    return json.dumps(description, indent=1).encode("utf-8")


def entry_of(name: str, array: Blocks) -> dict[str, Any]:
    """Describe the file of one array for ``index.json``; the file is named after its content."""
    digest = hashlib.sha256()
    for part in array.content():
        digest.update(part)
    found = digest.hexdigest()
    return {
        "file": f"{name}-{found[:16]}.npy",
        "sha256": found,
        "shape": list(array.shape),
        "dtype": str(array.dtype),
    }


def _save_array(folder: Path, name: str, array: Blocks) -> dict[str, Any]:
    # Read twice, once for the name: the whole array need never be in memory.
    entry = entry_of(name, array)
    with replacing(folder / entry["file"]) as handle:
        for part in array.content():
            handle.write(part)
    return entry


def remove_unnamed(folder: Path | str) -> None:
    """Remove what ``index.json`` does not name: older arrays, unfinished rows, half files.

    The caller holds the set's lock, so these are of nobody else.
    """
    for path in unnamed_files(folder):
        # Another program may hold it open (Windows refuses then); the next rebuild tries
        # again, and a left-over file changes no answer.
        with suppress(OSError):
            path.unlink()


def unnamed_files(folder: Path | str, named: Collection[str] | None = None) -> list[Path]:
    """List the files of an index folder that hold rows of photos but are not in use.

    ``named`` are the array files in use (default: those that ``index.json`` names).
    """
    source = Path(folder)
    if not source.is_dir():
        return []
    if named is None:
        named = {entry["file"] for entry in read_description(source)["files"].values()}
    return [
        path
        for path in sorted(source.iterdir())
        if (_NAME.fullmatch(path.name) and path.name not in named)
        or _HALF_WRITTEN.fullmatch(path.name)
        or UNFINISHED.fullmatch(path.name)
    ]


def open_index(folder: Path | str, *, set_folder: Path | str | None = None) -> PhotoIndex:
    """Open the index in ``folder``; patches stay on disk and are mapped when read.

    ``set_folder`` is named in errors (default: the parent folder).
    Raises ``MissingIndexError`` when there is none, ``StaleIndexError`` when it cannot be used;
    both name the command that builds it.
    """
    source = Path(folder)
    command = index_command(set_folder if set_folder is not None else source.parent)
    try:
        return _open(source)
    except FileNotFoundError as error:
        if (source / INDEX_FILE).exists():
            # A rebuild may have finished between reading index.json and the arrays.
            with suppress(FileNotFoundError, ValueError, OSError):
                return _open(source)
            name = Path(error.filename or "").name
            raise StaleIndexError(
                f"The index in {source} is incomplete: {name} is missing.",
                hint=f"Build it again with: {command}",
            ) from error
        raise MissingIndexError(
            f"There is no index in {source} yet.", hint=f"Build it with: {command}"
        ) from error
    except (ValueError, OSError) as error:
        raise StaleIndexError(
            f"The index in {source} cannot be used: {error}.",
            hint=f"Build it again with: {command}",
        ) from error


def _open(folder: Path) -> PhotoIndex:
    description = read_description(folder)
    arrays = {name: _map(folder, name, description) for name in ARRAYS}
    vectors = arrays["vectors"]
    if vectors is None:
        raise ValueError(f"{INDEX_FILE} names no vectors")
    if vectors.ndim != 2 or vectors.shape[1] != description["dim"]:
        raise ValueError(f"vectors are {vectors.shape}, {INDEX_FILE} says {description['dim']}")
    scales, squares = arrays["patch_scales"], arrays["squares"]
    photos = description["photos"]
    return PhotoIndex(
        vectors=np.array(vectors),
        photo_ids=tuple(photo["id"] for photo in photos),
        sha256=tuple(photo["sha256"] for photo in photos),
        encoder_name=description["encoder"]["name"],
        encoder_fingerprint=description["encoder"]["fingerprint"],
        patches=arrays["patches"],
        patch_scales=None if scales is None else np.array(scales),
        squares=None if squares is None else np.array(squares),
    )


def read_description(folder: Path) -> dict[str, Any]:
    """Return ``index.json``; raises ``OSError`` or ``ValueError`` when it cannot be used."""
    description = json.loads((folder / INDEX_FILE).read_text(encoding="utf-8"))
    if not isinstance(description, dict) or description.get("format") != _FORMAT:
        raise ValueError(f"{INDEX_FILE} does not describe a photo index")
    if description.get("version") != _VERSION:
        raise ValueError(
            f"its version is {description.get('version')!r}, this program reads {_VERSION}"
        )
    encoder, photos = description.get("encoder"), description.get("photos")
    good = (
        isinstance(encoder, dict)
        and all(isinstance(encoder.get(key), str) for key in ("name", "fingerprint"))
        and isinstance(description.get("dim"), int)
        and isinstance(description.get("files"), dict)
        and isinstance(photos, list)
        and all(_is_photo(photo) for photo in photos)
    )
    if not good:
        raise ValueError(f"{INDEX_FILE} has entries missing or of the wrong kind")
    return description


def _is_photo(photo: object) -> bool:
    return (
        isinstance(photo, dict)
        and isinstance(photo.get("id"), str)
        and isinstance(photo.get("sha256"), str)
        and _SHA256.fullmatch(photo["sha256"]) is not None
    )


def _map(folder: Path, name: str, description: dict[str, Any]) -> NDArray[Any] | None:
    """Map one array from disk after checking its name, shape and number format."""
    entry = description["files"].get(name)
    if entry is None:
        return None
    file = entry.get("file") if isinstance(entry, dict) else None
    if not isinstance(file, str) or not _NAME.fullmatch(file) or not file.startswith(f"{name}-"):
        raise ValueError(f"{INDEX_FILE} names no usable file for its {name}")
    # Mapping compares the header's shape with the file's size before any memory is taken, and
    # refuses arrays of Python objects.
    array = np.lib.format.open_memmap(folder / file, mode="r")
    if list(array.shape) != entry.get("shape") or str(array.dtype) != entry.get("dtype"):
        raise ValueError(f"{file} is {array.dtype} {array.shape}, not what {INDEX_FILE} says")
    return array


def stored_file_problems(folder: Path | str) -> list[str]:
    """Compare the stored arrays with the hashes in ``index.json``; return what differs."""
    source = Path(folder)
    try:
        files = read_description(source)["files"]
    except (ValueError, OSError) as error:
        return [f"{INDEX_FILE} cannot be read: {error}"]
    faults = []
    for name, entry in files.items():
        try:
            _map(source, name, {"files": files})
            if sha256_of(source / entry["file"]) != entry.get("sha256"):
                faults.append(f"{entry['file']} has changed since it was written")
        except (ValueError, OSError) as error:
            faults.append(str(error))
    return faults
