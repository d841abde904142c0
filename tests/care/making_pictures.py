"""Pictures for the tests of care: invented, with detail of their own, drawn from a seed."""

from __future__ import annotations

import io

import cv2
import numpy as np
from PIL import Image

from simsearch.photo import open_photo


def textured(seed: int, side: int = 240) -> Image.Image:
    """Return a blotched disc on a plain ground: what no other seed has."""
    rng = np.random.default_rng(seed)
    fine = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), 3)
    broad = cv2.GaussianBlur(rng.normal(0, 1, (side, side)).astype(np.float32), (0, 0), 12)
    blotches = 120 + 30 * fine / fine.std() + 20 * broad / broad.std()
    rows, columns = np.mgrid[:side, :side] / side
    wide, high = rng.uniform(0.25, 0.38, 2)
    disc = ((rows - 0.5) / high) ** 2 + ((columns - 0.48) / wide) ** 2 < 1
    ground = 205 + 10 * columns
    grey = np.where(disc, blotches, ground)
    colour = np.stack([grey, grey * 0.95, grey * 0.85], axis=-1)
    return Image.fromarray(np.clip(colour, 0, 255).astype(np.uint8))


def saved(photo: Image.Image, quality: int = 75) -> Image.Image:
    """Return a photo as it is after saving it as JPEG."""
    buffer = io.BytesIO()
    photo.save(buffer, "JPEG", quality=quality)
    return open_photo(buffer.getvalue())
