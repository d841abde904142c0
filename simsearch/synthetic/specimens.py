"""Pictures of specimens of the named types, by seed: for reference sets and for measuring.

A specimen is fixed by its type, a series and its number; series with different names never share
a specimen, so that what was shipped is never what is measured with.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import torch
from PIL import Image

from simsearch.synthetic.batch import pack
from simsearch.synthetic.form import Form
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.typed import typed_form

#: How finds are photographed to measure with: the usual wear, light and ground, from the front ...
USUAL = Shot(view="front", tilt=20.0, fill=(0.45, 0.9))
#: ... whole, about half left, about a third left.
AMOUNTS = {
    "complete": USUAL,
    "half": replace(USUAL, kept=(0.45, 0.6)),
    "third": replace(USUAL, kept=(0.25, 0.4)),
}
MAP = 48  # rows and columns of the map of surface points that goes with a picture


@dataclass(frozen=True)
class Picture:
    """A rendered picture of one specimen of a type.

    ``kept`` is the share left of what the camera would see of the whole object; ``point``
    (MAP, MAP, 3) float16 the surface points of the undamaged form that the picture shows, in
    unit coordinates, and ``mask`` (MAP, MAP) where it shows any.
    """

    type_id: str
    number: int
    image: Image.Image
    kept: float
    point: np.ndarray
    mask: np.ndarray


def specimen(type_id: str, series: str, number: int) -> Form:
    """The form of one specimen."""
    seed = [zlib.crc32(series.encode()), zlib.crc32(type_id.encode()), number]
    return typed_form(type_id, np.random.default_rng(seed))


def photograph(
    type_ids: Sequence[str],
    series: str,
    number: int,
    shot: Shot,
    size: int,
    *,
    take: int = 0,
    device: str = "cpu",
) -> Iterator[Picture]:
    """One picture of specimen ``number`` of each type; ``take`` distinguishes its pictures.

    Pictures repeat on the same kind of ``device`` only: a GPU draws other random numbers.
    """
    batch = pack([specimen(t, series, number) for t in type_ids])
    seed = zlib.crc32(f"{series} {number} {take}".encode()) % 2**31
    shots = render(batch.to(device), shot, size, seed, parts=False)
    pixels = (shots.picture.permute(0, 2, 3, 1) * 255).round().to(torch.uint8).cpu().numpy()
    kept = shots.kept.tolist()
    middle = ((torch.arange(MAP, device=device) + 0.5) * size / MAP).long()
    points = shots.point[:, middle][:, :, middle].half().cpu().numpy()
    masks = shots.mask[:, middle][:, :, middle].cpu().numpy()
    for i, type_id in enumerate(type_ids):
        picture = Image.fromarray(pixels[i])
        yield Picture(type_id, number, picture, kept[i], points[i], masks[i])
