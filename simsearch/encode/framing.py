"""Finding the object in a photo and cutting a square around it.

Coordinates are pixels of the photo, the left upper corner of the first pixel being (0, 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image

#: The object spans this share of the square's side, unless the photo is tighter. Measured on
#: photographs of coins: a closer cut loses more by masks that miss a bit than it gains.
FILL = 0.75
#: A mask below this share of the picture, or with no cell as sure as this, is not believed: on a
#: picture of one grey the network may half believe in some cells, on a find it is all but certain.
LEAST_SHARE, LEAST_SURE = 0.004, 0.85


@dataclass(frozen=True)
class Square:
    """A square part of a photo: centre and side in pixels; it may reach beyond the photo."""

    x: float
    y: float
    side: float


def whole(photo: Image.Image) -> Square:
    """The smallest square that holds the whole photo."""
    return Square(photo.width / 2, photo.height / 2, float(max(photo.size)))


def cut(photo: Image.Image, square: Square, size: int) -> Image.Image:
    """The square as a picture of ``size`` x ``size`` pixels.

    What lies beyond the photo is filled with the colour that its border has most.
    """
    half = square.side / 2
    box = (square.x - half, square.y - half, square.x + half, square.y + half)
    inside = (max(box[0], 0), max(box[1], 0), min(box[2], photo.width), min(box[3], photo.height))
    if inside == box:
        return photo.resize((size, size), Image.Resampling.BICUBIC, box=box, reducing_gap=2.0)
    scale = size / square.side
    left, top = round((inside[0] - box[0]) * scale), round((inside[1] - box[1]) * scale)
    width = max(1, min(size - left, round((inside[2] - inside[0]) * scale)))
    height = max(1, min(size - top, round((inside[3] - inside[1]) * scale)))
    part = photo.resize((width, height), Image.Resampling.BICUBIC, box=inside, reducing_gap=2.0)
    ground = Image.new("RGB", (size, size), border_colour(part))
    ground.paste(part, (left, top))
    return ground


def border_colour(photo: Image.Image) -> tuple[int, int, int]:
    """The median colour of the outermost pixels."""
    small = np.asarray(photo.resize((32, 32), Image.Resampling.BILINEAR))
    edge = np.concatenate([small[0], small[-1], small[:, 0], small[:, -1]])
    red, green, blue = (int(v) for v in np.median(edge, axis=0))
    return red, green, blue


def square_around(mask: npt.NDArray[np.float32], seen: Square) -> Square | None:
    """The square around the object, or None when the mask shows none.

    ``mask`` (rows, cols) holds the probability of object over the square ``seen``.
    """
    body = largest_piece(mask > 0.5)
    if body.mean() < LEAST_SHARE or mask.max() < LEAST_SURE:
        return None
    rows, cols = np.nonzero(body)
    cell = seen.side / mask.shape[0]
    low_y, high_y = rows.min() * cell, (rows.max() + 1) * cell
    low_x, high_x = cols.min() * cell, (cols.max() + 1) * cell
    side = min(max(high_x - low_x, high_y - low_y) / FILL, seen.side)
    corner_x, corner_y = seen.x - seen.side / 2, seen.y - seen.side / 2
    x = corner_x + (low_x + high_x) / 2
    y = corner_y + (low_y + high_y) / 2
    # A square that leaves the photo shows invented border: move it inside instead.
    room = (seen.side - side) / 2
    x = min(max(x, seen.x - room), seen.x + room)
    y = min(max(y, seen.y - room), seen.y + room)
    return Square(x, y, side)


def largest_piece(body: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """The largest connected piece, together with others of at least a quarter of its area.

    A break or a shadow can part one object in two; a scale bar or a label is usually slighter.
    """
    label = np.where(body, np.arange(1, body.size + 1).reshape(body.shape), 0)
    while True:
        padded = np.pad(label, 1)
        around = [
            padded[1 + i : padded.shape[0] - 1 + i, 1 + j : padded.shape[1] - 1 + j]
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
        ]
        spread = np.where(body, np.max(around, axis=0), 0)
        if (spread == label).all():
            break
        label = spread
    names, areas = np.unique(label[body], return_counts=True)
    if not len(names):
        return body
    return np.isin(label, names[areas * 4 >= areas.max()])
