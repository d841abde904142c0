"""What a broken piece of a type may look like: its photos of fragments, or parts cut from others.

The part is cut straight across, because a drawn break would claim to know where such things break;
the words of the type say that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from PIL.Image import Image

_GROUND_STEP = 28  # of 255: so far from the ground's colour is object
_SHARE, _MARGIN = 0.5, 0.04
_SMALLEST = 16  # pixels; less cannot be seen as a part


def object_box(photo: Image) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of what differs from the photo's rim, or else the whole photo."""
    pixels = np.asarray(photo.convert("RGB"), dtype=np.int16)
    rim = np.concatenate([pixels[0], pixels[-1], pixels[:, 0], pixels[:, -1]])
    away = np.abs(pixels - np.median(rim, axis=0)).max(axis=2) > _GROUND_STEP
    # Single specks of the ground do not count: a row or column needs some share of object.
    rows = np.flatnonzero(away.mean(axis=1) > 0.01)
    columns = np.flatnonzero(away.mean(axis=0) > 0.01)
    if not len(rows) or not len(columns):
        return 0, 0, photo.width, photo.height
    return int(columns[0]), int(rows[0]), int(columns[-1]) + 1, int(rows[-1]) + 1


def cut_parts(photo: Image) -> tuple[Image, ...]:
    """Two halves of the object on a photo, along its longer side; none where it is too small."""
    left, top, right, bottom = object_box(photo)
    wide, high = right - left, bottom - top
    if min(wide, high) < _SMALLEST:
        return ()
    edge = round(_MARGIN * max(wide, high))
    left, top = max(left - edge, 0), max(top - edge, 0)
    right, bottom = min(right + edge, photo.width), min(bottom + edge, photo.height)
    if wide >= high:
        middle = round(left + (right - left) * _SHARE)
        return photo.crop((left, top, middle, bottom)), photo.crop((middle, top, right, bottom))
    middle = round(top + (bottom - top) * _SHARE)
    return photo.crop((left, top, right, middle)), photo.crop((left, middle, right, bottom))
