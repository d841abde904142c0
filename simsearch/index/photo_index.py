"""The vectors of a set's photos and exact search among them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import SimsearchError, StaleIndexError

if TYPE_CHECKING:
    from simsearch.encode import Encoder

Floats = NDArray[np.float32]
_UNIT_TOLERANCE = 1e-3


def index_command(folder: Path | str) -> str:
    """Return the command that builds a set's index again, for hints in errors."""
    text = str(folder)
    quoted = f'"{text}"' if " " in text else text
    return f"simsearch index {quoted}"


@dataclass(frozen=True, eq=False)
class PhotoIndex:
    """One vector per photo, in the order of ``photo_ids``.

    ``vectors`` is float32 (n, dim), rows of unit length, so that an inner product is the cosine
    similarity. ``patches`` is int8 (n, rows, cols, pdim) and ``patch_scales`` float32 (n,), or
    both ``None`` when the encoder gives no patches; use ``patches_of`` to read them as numbers.
    ``squares`` is float32 (n, 4): the left, top, right and bottom of the square that a photo's
    patches cover, as fractions of the photo, beyond which it may reach. It is kept because
    finding it again means running the encoder on every photo that a placing is drawn on. An
    index without patches, or one of before squares were kept, has ``None``.
    Raises ``ValueError`` when the shapes do not fit one another.
    """

    vectors: Floats
    photo_ids: tuple[str, ...]
    sha256: tuple[str, ...]
    encoder_name: str
    encoder_fingerprint: str
    patches: NDArray[np.int8] | None = field(default=None, repr=False)
    patch_scales: Floats | None = field(default=None, repr=False)
    squares: Floats | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        fault = _fault(self)
        if fault:
            raise ValueError(fault)

    @property
    def dim(self) -> int:
        """Length of one vector."""
        return int(self.vectors.shape[1])

    def __len__(self) -> int:
        return len(self.photo_ids)

    def search(self, vectors: Floats, k: int) -> tuple[Floats, NDArray[np.int64]]:
        """Find the ``k`` nearest photos of each query by inner product, exactly.

        ``vectors`` is float32 (q, dim). Returns similarities float32 (q, k), best first, and
        positions int64 (q, k) into ``photo_ids``; ``k`` is cut to the number of photos.
        Raises ``ValueError`` for another shape or ``k`` below 1.
        """
        queries = np.ascontiguousarray(vectors, dtype=np.float32)
        if queries.ndim != 2 or queries.shape[1] != self.dim:
            raise ValueError(f"queries are {queries.shape}, this index needs (q, {self.dim})")
        if k < 1:
            raise ValueError(f"k is {k}; at least one photo must be asked for")
        scores, positions = self._flat.search(queries, min(k, len(self)))
        return scores, positions

    def similarities(self, vectors: Floats) -> Floats:
        """Return the similarity of each query (q, dim) to every photo: float32 (q, n)."""
        scores, positions = self.search(vectors, len(self))
        every = np.empty_like(scores)
        np.put_along_axis(every, positions, scores, axis=1)
        return every

    def patches_at(self, position: int) -> Floats:
        """Return the patch vectors of one photo as float32 (rows, cols, pdim).

        Raises ``ValueError`` when the index holds no patches.
        """
        return self.patches_of([position])[0]

    def patches_of(self, positions: Sequence[int] | NDArray[np.intp]) -> Floats:
        """Return the patch vectors of some photos as float32 (photos, rows, cols, pdim).

        They are read from disk in one go, in the order of the file.
        Raises ``ValueError`` when the index holds no patches.
        """
        if self.patches is None or self.patch_scales is None:
            raise ValueError("this index holds no patches")
        wanted = np.asarray(positions, dtype=np.intp)
        order, back = np.unique(wanted, return_inverse=True)
        stored: Floats = self.patches[order].astype(np.float32)
        stored *= self.patch_scales[order][:, None, None, None]
        return stored[back]

    def require_encoder(self, encoder: Encoder, folder: Path | str) -> None:
        """Raise ``StaleIndexError`` unless the vectors were made by this very encoder."""
        if encoder.fingerprint != self.encoder_fingerprint:
            raise StaleIndexError(
                f"The index of {folder} was made by the encoder '{self.encoder_name}' "
                f"({self.encoder_fingerprint[:12]}), but '{encoder.name}' "
                f"({encoder.fingerprint[:12]}) is in use; their vectors cannot be compared.",
                hint=f"Build it again with: {index_command(folder)}",
            )

    def require_photos(self, photos: Sequence[tuple[str, str]], folder: Path | str) -> None:
        """Raise ``StaleIndexError`` unless the index holds exactly these (id, sha256) pairs."""
        held = dict(zip(self.photo_ids, self.sha256, strict=True))
        wanted = dict(photos)
        if held == wanted:
            return
        new = len(wanted.keys() - held.keys())
        gone = len(held.keys() - wanted.keys())
        changed = sum(held[name] != wanted[name] for name in held.keys() & wanted.keys())
        raise StaleIndexError(
            f"The index of {folder} does not fit its photos: {new} new, {gone} removed, "
            f"{changed} changed since it was built.",
            hint=f"Build it again with: {index_command(folder)}",
        )

    @cached_property
    def _flat(self) -> Any:
        # Imported here because faiss takes long to load and listing types needs none of it.
        import faiss

        flat = faiss.IndexFlatIP(self.dim)
        flat.add(np.ascontiguousarray(self.vectors))
        return flat


def _fault(index: PhotoIndex) -> str:
    """Say what does not fit in an index; an empty string when all does."""
    vectors, count = index.vectors, len(index.photo_ids)
    if vectors.ndim != 2 or vectors.dtype != np.float32 or vectors.shape[1] < 1:
        return f"vectors are {vectors.dtype} {vectors.shape}, not float32 (n, dim)"
    if not count == vectors.shape[0] == len(index.sha256):
        return f"{vectors.shape[0]} vectors, {count} photo ids and {len(index.sha256)} hashes"
    if len(set(index.photo_ids)) != count:
        return "a photo id is repeated"
    lengths = np.linalg.norm(vectors, axis=1)
    # Written so that a NaN fails too.
    if not np.all(np.abs(lengths - 1.0) <= _UNIT_TOLERANCE):
        return "not every vector is finite and of unit length"
    return _patch_fault(index, count) or _square_fault(index, count)


def _patch_fault(index: PhotoIndex, count: int) -> str:
    patches, scales = index.patches, index.patch_scales
    if patches is None and scales is None:
        return ""
    if patches is None or scales is None:
        return "patches and patch scales must come together"
    if patches.ndim != 4 or patches.dtype != np.int8 or patches.shape[0] != count:
        return f"patches are {patches.dtype} {patches.shape}, not int8 ({count}, rows, cols, pdim)"
    if scales.shape != (count,) or scales.dtype != np.float32:
        return f"patch scales are {scales.dtype} {scales.shape}, not float32 ({count},)"
    return "" if np.all(np.isfinite(scales)) else "a patch scale is not finite"


def _square_fault(index: PhotoIndex, count: int) -> str:
    squares = index.squares
    if squares is None:
        return ""
    if squares.shape != (count, 4) or squares.dtype != np.float32:
        return f"squares are {squares.dtype} {squares.shape}, not float32 ({count}, 4)"
    good = np.isfinite(squares).all() and (squares[:, 2:] > squares[:, :2]).all()
    return "" if good else "a square is not finite or has no area"


Progress = Callable[[int, int], None]
"""Called with (photos done, photos in all)."""


def checked_array(value: object, shape: tuple[int | None, ...], maker: str) -> Floats:
    """Return an encoder's answer as float32 of the given shape (``None`` = any length).

    Raises ``SimsearchError`` naming the encoder when it does not fit.
    """
    array = np.asarray(value, dtype=np.float32)
    fits = array.ndim == len(shape) and all(
        want is None or want == have for want, have in zip(shape, array.shape, strict=True)
    )
    if not fits or not np.all(np.isfinite(array)):
        raise SimsearchError(
            f"The encoder '{maker}' returned numbers that cannot be used "
            f"(shape {array.shape}, needed {shape}).",
            hint="Choose another encoder or correct this one; nothing has been changed.",
        )
    return array
