"""Halves of coins, cut out of photos: a find of which a part is left, on another ground.

The coin is found as the circle that the photo shows best. A random chord near its middle parts
it; what lies beyond is taken away, the rest is laid turned on a plain ground of another colour.
The break is straight and clean, which that of a real fragment is not.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.evaluation.scoring import border_colour

KEPT = (0.45, 0.55)  # share of the coin's area that is left
_INSIDE = 0.97  # a slightly smaller circle, so that no old ground comes along
_BLUR, _EDGE, _VOTES = 5, 120, 15  # smoothing, edge threshold and votes for the circle transform
_COLOUR_APART = 60  # least distance of the new ground from the old one, RGB


def circle_of(photo: Image.Image) -> tuple[float, float, float]:
    """Return middle x, y and radius, in pixels, of the coin in the middle of ``photo``.

    Of the circles found (Hough transform) that are near the middle the one with most votes
    counts; without any, the circle of 0.45 of the shorter side in the middle.
    """
    side = min(photo.size)
    grey = cv2.medianBlur(np.asarray(photo.convert("L")), _BLUR)
    found = cv2.HoughCircles(
        grey, cv2.HOUGH_GRADIENT, 1, side / 8, param1=_EDGE, param2=_VOTES,
        minRadius=round(0.27 * side), maxRadius=round(0.52 * side),
    )  # fmt: skip
    middle_x, middle_y = photo.width / 2, photo.height / 2
    for x, y, radius in [] if found is None else np.asarray(found).reshape(-1, 3):
        if np.hypot(x - middle_x, y - middle_y) < 0.12 * side:
            return float(x), float(y), float(radius)
    return middle_x, middle_y, 0.45 * side


def half_of(photo: Image.Image, rng: np.random.Generator) -> Image.Image:
    """Return a photo of about half of the coin in ``photo``, turned by any angle, RGB.

    As large as a square round the coin with a fifth to spare, the half in the middle.
    """
    x, y, radius = circle_of(photo)
    side = round(2.4 * radius)
    corner = (x - side / 2, y - side / 2)
    square = photo.convert("RGB").transform(
        (side, side), Image.Transform.AFFINE, (1, 0, corner[0], 0, 1, corner[1])
    )
    kept = _kept(side, _INSIDE * radius, rng)
    ground = _other_colour(border_colour(photo), rng)
    angle = rng.uniform(0, 360)
    coin = np.asarray(square.rotate(angle, Image.Resampling.BICUBIC), dtype=np.float64)
    noise = rng.normal(0, 3, (side, side, 1))
    rows, columns = (side - 1 - int(where.min() + where.max()) for where in np.nonzero(kept))
    # Framed as one would a fragment, not as the coin it was: nobody knows where that lay.
    middle = (rows // 2, columns // 2)
    kept, coin = np.roll(kept, middle, (0, 1)), np.roll(coin, middle, (0, 1))
    laid = np.where(kept[..., None], coin, ground + noise)
    return Image.fromarray(np.clip(np.rint(laid), 0, 255).astype(np.uint8))


def _kept(side: int, radius: float, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """What is left of a disc in the middle of a square, beyond a chord at any angle."""
    rows, columns = np.mgrid[0:side, 0:side] - (side - 1) / 2
    disc = np.hypot(rows, columns) <= radius
    angle = rng.uniform(0, 2 * np.pi)
    along = columns * np.cos(angle) + rows * np.sin(angle)
    chord = np.quantile(along[disc], 1 - rng.uniform(*KEPT))
    return np.asarray(disc & (along > chord))


def _other_colour(old: tuple[int, int, int], rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """A plain, rather grey colour that is not the old ground's."""
    while True:
        colour = np.clip(rng.uniform(20, 235) + rng.uniform(-25, 25, 3), 0, 255)
        if np.linalg.norm(colour - np.array(old)) > _COLOUR_APART:
            return np.asarray(colour)
