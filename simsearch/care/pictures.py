"""Reading every photo of a set once, for all that is looked for in the pictures themselves.

Five thousand photos do not fit into memory, and reading each of them three times takes minutes.
So one pass keeps what is needed: a small grey square of each (a photo's sides are brought to one
length, which a copy of it survives) and the figures that ``quality`` takes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from simsearch.care.measures import Measures, measures_of
from simsearch.errors import PhotoError
from simsearch.index import PHOTO_SIDE
from simsearch.photo import open_photo
from simsearch.sets.photos import PhotoRow
from simsearch.sets.reference_set import ReferenceSet

SQUARE = 160
"""Side in pixels of the grey squares that copies are told by."""
_AT_ONCE = 2  # photos decoded side by side; the decoders let go of Python's lock
_BATCH = 32

Bytes = NDArray[np.uint8]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, eq=False)
class Pictures:
    """What was kept of the photos that could be read, in the order of the table.

    ``squares`` is uint8 (n, SQUARE, SQUARE) and ``measures`` one entry per row of ``rows``;
    ``unread`` holds the rows whose file could not be read, each with the reason in words.
    """

    rows: tuple[PhotoRow, ...]
    squares: Bytes
    measures: tuple[Measures, ...]
    unread: tuple[tuple[PhotoRow, str], ...] = ()


def read_pictures(reference: ReferenceSet, progress: Progress | None = None) -> Pictures:
    """Read every photo of a set once; ``progress`` is called with (photos done, photos in all).

    A photo that cannot be read is noted and the others go on.
    """
    total = len(reference.photos)
    squares = np.zeros((total, SQUARE, SQUARE), np.uint8)
    rows: list[PhotoRow] = []
    measures: list[Measures] = []
    unread: list[tuple[PhotoRow, str]] = []
    for done, (row, read) in enumerate(_read_all(reference)):
        if progress:
            progress(done, total)
        if isinstance(read, str):
            unread.append((row, read))
            continue
        squares[len(rows)] = read[0]
        rows.append(row)
        measures.append(read[1])
    if progress:
        progress(total, total)
    return Pictures(tuple(rows), squares[: len(rows)], tuple(measures), tuple(unread))


def grey_square(photo: Image.Image) -> Bytes:
    """Return a photo as a grey square, uint8 (SQUARE, SQUARE), whatever its proportions."""
    smaller = min(photo.size) >= SQUARE
    how = Image.Resampling.BOX if smaller else Image.Resampling.BICUBIC
    return np.asarray(photo.convert("L").resize((SQUARE, SQUARE), how))


_Read = tuple[Bytes, Measures] | str


def _read_all(reference: ReferenceSet) -> Iterator[tuple[PhotoRow, _Read]]:
    """Read a few photos at a time, so that decoded pictures never pile up."""
    left = iter(reference.photos)
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        while batch := list(islice(left, _BATCH)):
            yield from zip(batch, pool.map(lambda row: _read(reference, row), batch), strict=True)


def _read(reference: ReferenceSet, row: PhotoRow) -> _Read:
    try:
        photo = open_photo(reference.path_of(row), max_side=PHOTO_SIDE)
    except PhotoError as error:
        return error.message
    except OSError as error:
        return f"The file '{row.file}' cannot be read ({error.strerror})."
    return grey_square(photo), measures_of(photo)
