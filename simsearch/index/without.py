"""Taking photos out of an index as part of a larger change.

A photo that is withdrawn must be gone from the index at the same moment as its file and its row,
or the set fails its own check in between. So nothing is written here: the caller gets the new
files and the names of those that go, and carries them out together with the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import NamedTuple

from simsearch.errors import SimsearchError
from simsearch.index.content import Blocks
from simsearch.index.storage import (
    INDEX_FILE,
    content_of,
    description_of,
    entry_of,
    open_index,
    unnamed_files,
)


class IndexFiles(NamedTuple):
    """Files of an index to write and to remove, by path in the set with forward slashes."""

    put: dict[str, bytes | Path]
    remove: tuple[str, ...]


def index_files_without(
    folder: Path | str, photo_ids: Collection[str], *, stage: Callable[[], Path] | None = None
) -> IndexFiles:
    """Return what makes the index in ``folder`` one without these photos.

    ``folder`` is the index folder; paths begin with its name. Large arrays are written to files
    that ``stage`` gives, or are in memory without it. Rows of the photos are left nowhere: what
    an unfinished or older index holds is removed, and the whole index where it cannot be read
    or no photo is left. Where there is no index both parts are empty.
    """
    source = Path(folder)
    try:
        index = open_index(source)
    except SimsearchError:
        return _nothing_left(source)
    kept = [at for at, name in enumerate(index.photo_ids) if name not in photo_ids]
    if not kept:
        return _nothing_left(source)
    content = content_of(index, kept)
    entries = {name: entry_of(name, array) for name, array in content.arrays.items()}
    put: dict[str, bytes | Path] = {}
    for name, array in content.arrays.items():
        put[f"{source.name}/{entries[name]['file']}"] = _whole(array, stage)
    put[f"{source.name}/{INDEX_FILE}"] = description_of(content, entries)
    named = {entry["file"] for entry in entries.values()}
    return IndexFiles(put, _paths(source, unnamed_files(source, named)))


def _nothing_left(folder: Path) -> IndexFiles:
    described = [folder / INDEX_FILE] if (folder / INDEX_FILE).is_file() else []
    return IndexFiles({}, _paths(folder, [*described, *unnamed_files(folder, ())]))


def _paths(folder: Path, files: list[Path]) -> tuple[str, ...]:
    return tuple(f"{folder.name}/{path.name}" for path in files)


def _whole(array: Blocks, stage: Callable[[], Path] | None) -> bytes | Path:
    if stage is None:
        return b"".join(array.content())
    path = stage()
    with open(path, "wb") as file:
        for part in array.content():
            file.write(part)
    return path
