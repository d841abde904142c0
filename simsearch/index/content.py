"""What is to be written of an index, block by block.

The patches of five thousand photos are 184 MB; they are never all in memory.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

_BLOCK = 64  # photos


@dataclass(frozen=True, eq=False)
class Blocks:
    """One array as blocks of its first axis; ``blocks`` may be called more than once."""

    shape: tuple[int, ...]
    dtype: np.dtype[Any]
    blocks: Callable[[], Iterator[NDArray[Any]]]

    def content(self) -> Iterator[bytes]:
        """Yield the bytes of the ``.npy`` file, as ``numpy.save`` writes it."""
        header = io.BytesIO()
        described = {
            "descr": np.lib.format.dtype_to_descr(self.dtype),
            "fortran_order": False,
            "shape": self.shape,
        }
        np.lib.format.write_array_header_1_0(header, described)
        yield header.getvalue()
        for block in self.blocks():
            yield np.ascontiguousarray(block, self.dtype).tobytes()


@dataclass(frozen=True, eq=False)
class Content:
    """An index that need not be in memory. ``arrays`` are those it has, by name."""

    photo_ids: tuple[str, ...]
    sha256: tuple[str, ...]
    encoder_name: str
    encoder_fingerprint: str
    dim: int
    arrays: Mapping[str, Blocks]


def taken(array: NDArray[Any], positions: Sequence[int]) -> Blocks:
    """Return some rows of an array, which may be mapped from a file, as blocks."""

    def blocks() -> Iterator[NDArray[Any]]:
        for start in range(0, len(positions), _BLOCK):
            yield rows_at(array, positions[start : start + _BLOCK])

    return Blocks((len(positions), *array.shape[1:]), array.dtype, blocks)


def rows_at(array: NDArray[Any], positions: Sequence[int]) -> NDArray[Any]:
    """Return rows of an array; of a mapped one by reading its file.

    What is read through a mapping stays counted as this program's memory as long as the mapping
    is open, and would grow to the size of the file.
    """
    mapped = isinstance(array, np.memmap) and array.flags.c_contiguous
    if not isinstance(array, np.memmap) or not mapped or array.filename is None:
        found: NDArray[Any] = np.asarray(array[np.asarray(positions, np.intp)])
        return found
    rows = np.empty((len(positions), *array.shape[1:]), array.dtype)
    size = rows[:1].nbytes
    with open(array.filename, "rb") as file:
        for row, position in enumerate(positions):
            file.seek(array.offset + position * size)
            rows[row] = np.fromfile(file, array.dtype, rows[row].size).reshape(rows.shape[1:])
    return rows
