"""Making the vectors of a set's photos: in memory, or on disk with what is known kept.

On disk nothing grows with the set but its vectors: photos are read a few ahead, rows go to a file
as they are encoded (``unfinished``), and the new index is put together from that file and from
the old index, block by block. Stopped at any moment, the old index is whole and what was encoded
is not encoded again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import SetError, SimsearchError
from simsearch.index.content import Blocks, Content, rows_at
from simsearch.index.layout import Layout, Rows, encode_rows, layout_of, squares_of
from simsearch.index.photo_index import PhotoIndex, Progress
from simsearch.index.reading import (
    PHOTO_SIDE,
    PhotoToIndex,
    read_by_turns,
    require_labelled_files,
)
from simsearch.index.storage import (
    open_index,
    read_description,
    remove_unnamed,
    stored_file_problems,
    write_content,
)
from simsearch.index.unfinished import UnfinishedRows, unfinished_rows

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.encode import Encoder

__all__ = ["PHOTO_SIDE", "PhotoToIndex", "build_index", "keep_rows", "squares_of", "update_index"]

_BATCH = 16  # photos between two reports of progress, and at most encoded in vain by a kill
_BLOCK = 64  # photos whose rows are copied at once
_ARRAY_OF = {"patches": "patches", "patch_scales": "scale", "squares": "square"}


def build_index(
    photos: Sequence[PhotoToIndex],
    encoder: Encoder,
    *,
    progress: Progress | None = None,
    with_patches: bool = True,
) -> PhotoIndex:
    """Encode every photo, in order, into a new index in memory.

    ``progress`` is called with (done, total) before the first photo and after each batch.
    Patches are left out when ``with_patches`` is false or the encoder has none.
    Raises ``SetError`` for no photos or for a file that is not the one that was labelled,
    ``PhotoError`` for one that cannot be read.
    """
    _require_photos(photos)
    layout = layout_of(encoder, with_patches)
    if progress:
        progress(0, len(photos))
    parts: list[Rows] = []
    for batch in _batches(read_by_turns(photos)):
        parts.append(encode_rows(batch, encoder, layout))
        if progress:
            progress(sum(map(len, parts)), len(photos))
    rows = np.concatenate(parts)
    extra = {
        name: np.ascontiguousarray(rows[field]) if layout.grid else None
        for name, field in _ARRAY_OF.items()
    }
    return PhotoIndex(
        vectors=np.ascontiguousarray(rows["vector"]),
        photo_ids=tuple(photo.id for photo in photos),
        sha256=tuple(photo.sha256 for photo in photos),
        encoder_name=encoder.name,
        encoder_fingerprint=encoder.fingerprint,
        **extra,
    )


def update_index(
    photos: Sequence[PhotoToIndex],
    encoder: Encoder,
    folder: Path | str,
    *,
    progress: Progress | None = None,
    with_patches: bool = True,
) -> PhotoIndex:
    """Bring the index in ``folder`` up to these photos and this encoder; return it, opened.

    Only photos that neither the old index nor an attempt that was stopped has are encoded; of
    all others the files are still compared with their hashes. The old index stays until the
    new one is complete. The caller holds the set's lock. ``progress`` and errors are those of
    ``build_index``; besides, ``SetError`` when the index cannot be written.
    """
    _require_photos(photos)
    target = Path(folder)
    if progress:
        progress(0, len(photos))
    _build(photos, encoder, layout_of(encoder, with_patches), (target, target), progress)
    remove_unnamed(target)
    return open_index(target)


def keep_rows(
    photos: Sequence[PhotoToIndex],
    encoder: Encoder,
    folder: Path | str,
    into: Path | str,
    *,
    progress: Progress | None = None,
) -> PhotoIndex:
    """Encode photos as ``update_index`` does, but leave the index in ``folder`` as it is.

    The new index is written to the folder ``into`` and returned, opened. What was encoded also
    stays beside the index in use, so that ``update_index`` with the same encoder has nothing
    left to encode. The caller holds the set's lock. Progress and errors are as there.
    """
    _require_photos(photos)
    if progress:
        progress(0, len(photos))
    _build(photos, encoder, layout_of(encoder), (Path(folder), Path(into)), progress)
    return open_index(into)


def _build(
    photos: Sequence[PhotoToIndex],
    encoder: Encoder,
    layout: Layout,
    folders: tuple[Path, Path],
    progress: Progress | None,
) -> None:
    """Write an index to the second folder, from what the first one holds and from the photos."""
    source, target = folders
    try:
        with unfinished_rows(source, layout) as rows:
            known = _Known(_old_index(source, layout), rows, layout)
            _encode_missing(photos, encoder, known, progress)
            write_content(_content(photos, known), target)
    except OSError as error:
        raise SetError(
            f"The index in {target} could not be written ({error.strerror or error}).",
            hint="Make room on the disk or check its permissions, then run it again: what was "
            "encoded is kept, and the old index is as it was.",
        ) from error


class _Known:
    """Rows by the hash of the photo, from the old index and from unfinished rows."""

    def __init__(self, old: PhotoIndex | None, new: UnfinishedRows, layout: Layout) -> None:
        self._old = old
        self._places = {} if old is None else {sha: at for at, sha in enumerate(old.sha256)}
        self.new = new
        self.layout = layout

    def __contains__(self, sha256: str) -> bool:
        return sha256 in self._places or sha256 in self.new

    def rows(self, hashes: Sequence[str], fields: Sequence[str]) -> Rows:
        """Return records in this order; of those from the old index only ``fields`` are set."""
        found = np.zeros(len(hashes), self.layout.record)
        for row, digest in enumerate(hashes):
            if digest in self.new:
                found[row] = self.new.read([digest])[0]
        old = [row for row, digest in enumerate(hashes) if digest not in self.new]
        places = [self._places[hashes[row]] for row in old]
        for field in fields:
            if old:
                found[field][old] = rows_at(self._array(field), places)
        return found

    def _array(self, field: str) -> NDArray[Any]:
        names = {field: name for name, field in _ARRAY_OF.items()} | {"vector": "vectors"}
        array: NDArray[Any] = getattr(self._old, names[field])
        return array


def _old_index(folder: Path, layout: Layout) -> PhotoIndex | None:
    """Return the index in a folder if its rows are what this layout's encoder would give."""
    try:
        index = open_index(folder)
        side = read_description(folder).get("photo_side", PHOTO_SIDE)
    except (SimsearchError, OSError, ValueError):
        return None
    if (index.encoder_fingerprint, index.dim, side) != (
        layout.fingerprint,
        layout.dim,
        PHOTO_SIDE,
    ):
        return None
    if layout.grid and (
        index.patches is None
        or index.squares is None
        or tuple(index.patches.shape[1:]) != layout.grid
    ):
        return None
    # A damaged index is mended by building it again, so nothing damaged may be taken over.
    return None if stored_file_problems(folder) else index


def _encode_missing(
    photos: Sequence[PhotoToIndex], encoder: Encoder, known: _Known, progress: Progress | None
) -> None:
    missing = {photo.sha256: photo for photo in photos if photo.sha256 not in known}
    there = [photo for photo in photos if photo.sha256 not in missing]
    require_labelled_files(there)
    done = len(there)
    if progress and there:
        progress(done, len(photos))
    new = list(missing.values())
    hashes = iter(missing)
    for batch in _batches(read_by_turns(new)):
        rows = encode_rows(batch, encoder, known.layout)
        known.new.add(list(islice(hashes, len(batch))), rows)
        done += len(batch)
        if progress:
            progress(done, len(photos))
    if progress and done < len(photos):  # copies of one file are encoded once
        progress(len(photos), len(photos))


def _content(photos: Sequence[PhotoToIndex], known: _Known) -> Content:
    hashes = [photo.sha256 for photo in photos]
    layout = known.layout

    def blocks(field: str) -> Iterator[NDArray[Any]]:
        for start in range(0, len(hashes), _BLOCK):
            yield known.rows(hashes[start : start + _BLOCK], [field])[field]

    def stream(field: str) -> Blocks:
        kind = layout.record[field]
        return Blocks((len(hashes), *kind.shape), kind.base, lambda: blocks(field))

    fields = {"vectors": "vector"} | (_ARRAY_OF if layout.grid else {})
    return Content(
        photo_ids=tuple(photo.id for photo in photos),
        sha256=tuple(hashes),
        encoder_name=layout.encoder,
        encoder_fingerprint=layout.fingerprint,
        dim=layout.dim,
        arrays={name: stream(field) for name, field in fields.items()},
    )


def _require_photos(photos: Sequence[PhotoToIndex]) -> None:
    if not photos:
        raise SetError("There are no photos to index.", hint="Add photos to the set first.")


def _batches(images: Iterator[Image.Image]) -> Iterator[list[Image.Image]]:
    while batch := list(islice(images, _BATCH)):
        yield batch
