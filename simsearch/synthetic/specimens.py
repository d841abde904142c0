"""Pictures of specimens of the named types, by seed: for reference sets and for measuring.

A specimen is fixed by its type, a series and its number; series with different names never share
a specimen, so that what was shipped is never what is measured with.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image

from simsearch.synthetic.batch import pack
from simsearch.synthetic.form import Form
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.typed import typed_form


@dataclass(frozen=True)
class Picture:
    """A rendered picture of one specimen of a type."""

    type_id: str
    number: int
    image: Image.Image
    kept: float


def specimen(type_id: str, series: str, number: int) -> Form:
    """The form of one specimen."""
    seed = [zlib.crc32(series.encode()), zlib.crc32(type_id.encode()), number]
    return typed_form(type_id, np.random.default_rng(seed))


def photograph(
    type_ids: Sequence[str], series: str, number: int, shot: Shot, size: int, *, take: int = 0
) -> Iterator[Picture]:
    """One picture of specimen ``number`` of each type; ``take`` distinguishes its pictures."""
    batch = pack([specimen(t, series, number) for t in type_ids])
    seed = zlib.crc32(f"{series} {number} {take}".encode()) % 2**31
    shots = render(batch, shot, size, seed, parts=False)
    pixels = (shots.picture.permute(0, 2, 3, 1).numpy() * 255).round().astype(np.uint8)
    for type_id, picture, kept in zip(type_ids, pixels, shots.kept.tolist(), strict=True):
        yield Picture(type_id, number, Image.fromarray(picture), kept)
