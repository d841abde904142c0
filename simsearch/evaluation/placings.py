"""How far off a placing is, where the true place is known.

Two sources of truth. Coins: a part is cut out of a photo and laid on another ground under a
similarity drawn at random, in other light, so every pixel of the part has a known place on the
photo. Renders: the renderer knows which point of the undamaged form each pixel shows, so the
true place of a fragment's pixel is the pixel of the reference picture that shows the nearest
point. Errors are shares of the coin's diameter, or of the object's length in the reference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image

from simsearch.encode.framing import border_colour
from simsearch.evaluation.halves import circle_of
from simsearch.leads.overlay import Box
from simsearch.leads.placing import Placed

SIDE = 192  # pixels of the picture of a part
_INSIDE = 0.97  # a slightly smaller circle, so that no old ground comes along

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Part:
    """A part of a coin on another ground.

    ``mask`` (SIDE, SIDE) says which pixels of ``picture`` show it; ``true`` (m, 2) is where each
    of them lies in the whole photo, in pixels; ``diameter`` is the coin's in that photo.
    """

    picture: Image.Image
    mask: Mask
    true: Floats
    diameter: float


def cut_part(photo: Image.Image, kept: tuple[float, float], rng: np.random.Generator) -> Part:
    """Cut a part off the coin in the middle of ``photo``: ``kept`` is its share of the area.

    The break is a straight line at any angle. The part is turned by any angle and laid in the
    middle, its length between half and four fifths of the picture's side.
    """
    x, y, radius = circle_of(photo)
    across = _unit(rng.uniform(0, 2 * np.pi))
    limit = _chord(rng.uniform(*kept)) * radius
    cols, rows = np.meshgrid(np.arange(photo.width) + 0.5, np.arange(photo.height) + 0.5)
    inside = np.hypot(cols - x, rows - y) <= _INSIDE * radius
    in_photo = inside & ((cols - x) * across[0] + (rows - y) * across[1] > limit)
    places = np.stack([cols[in_photo], rows[in_photo]], axis=1)
    length = np.ptp(places @ np.stack([across, [-across[1], across[0]]]).T, axis=0).max()
    step = length / (rng.uniform(0.5, 0.8) * SIDE)
    turned = _unit(rng.uniform(0, 2 * np.pi)) * step
    matrix = np.array([[turned[0], -turned[1]], [turned[1], turned[0]]])
    middle = (places.min(0) + places.max(0)) / 2
    offset = middle - matrix @ np.full(2, SIDE / 2 + rng.uniform(-0.05, 0.05, 2) * SIDE)
    coefficients = (*matrix[0], offset[0], *matrix[1], offset[1])
    layer = Image.fromarray(in_photo.astype(np.uint8) * 255)
    mask = np.asarray(_moved(layer, coefficients)) > 127
    picture = _on_ground(np.asarray(_moved(photo, coefficients)), mask, border_colour(photo), rng)
    here = np.argwhere(mask)[:, ::-1] + 0.5
    return Part(picture, mask, here @ matrix.T + offset, 2 * radius)


def _unit(angle: float) -> Floats:
    return np.array([np.cos(angle), np.sin(angle)])


def _chord(share: float) -> float:
    """How far from the middle of a unit circle a chord runs that leaves ``share`` of its area."""
    distance = np.linspace(-1, 1, 2001)
    left = (np.arccos(distance) - distance * np.sqrt(1 - distance**2)) / np.pi
    return float(np.interp(share, left[::-1], distance[::-1]))


def _moved(photo: Image.Image, coefficients: tuple[float, ...]) -> Image.Image:
    affine, smooth = Image.Transform.AFFINE, Image.Resampling.BICUBIC
    return photo.transform((SIDE, SIDE), affine, coefficients, smooth)


def _on_ground(
    coin: npt.NDArray[np.uint8], mask: Mask, old: tuple[int, int, int], rng: np.random.Generator
) -> Image.Image:
    """Light the part from another side and lay it on a ground unlike the ``old`` one."""
    y, x = np.mgrid[-1 : 1 : SIDE * 1j, -1 : 1 : SIDE * 1j]
    side = _unit(rng.uniform(0, 2 * np.pi))
    light = rng.uniform(0.75, 1.25) * (1 + rng.uniform(0.1, 0.35) * (x * side[0] + y * side[1]))
    tint = rng.uniform(0.85, 1.15, 3)
    lit = 255 * (coin / 255) ** rng.uniform(0.7, 1.4) * light[..., None] * tint
    ground = rng.uniform(20, 235, 3)
    while np.linalg.norm(ground - old) < 60:
        ground = rng.uniform(20, 235, 3)
    picture = np.where(mask[..., None], lit, ground) + rng.normal(0, 3, (SIDE, SIDE, 1))
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))


def true_places(
    find_points: npt.NDArray[np.float32], find_mask: Mask,
    points: npt.NDArray[np.float32], mask: Mask, most: int = 400,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Return where pixels of a fragment lie, and where they belong on the reference.

    ``*points`` (S, S, 3) are the surface points of the undamaged form that the pixels show,
    ``*mask`` (S, S) which pixels show the object. Both answers are (m, 2), x and y as fractions
    of the pictures; ``m`` is at most ``most``, evenly thinned. A point that the reference does
    not show is taken to belong where it shows the nearest one.
    """
    here, there = np.argwhere(find_mask), np.argwhere(mask)
    if not len(here) or not len(there):
        return np.zeros((0, 2)), np.zeros((0, 2))
    here = here[np.linspace(0, len(here) - 1, min(most, len(here))).round().astype(int)]
    wanted = find_points[here[:, 0], here[:, 1]].astype(np.float64)
    shown = points[there[:, 0], there[:, 1]].astype(np.float64)
    nearest = ((wanted[:, None] - shown[None]) ** 2).sum(-1).argmin(1)
    return _fractions(here, find_mask.shape), _fractions(there[nearest], mask.shape)


def _fractions(pixels: npt.NDArray[np.int64], shape: tuple[int, ...]) -> Floats:
    found: Floats = (pixels[:, ::-1] + 0.5) / np.array([shape[1], shape[0]])
    return found


def length_of(mask: Mask) -> float:
    """The longer side of the box around an object, as a fraction of its picture's side."""
    rows, cols = np.nonzero(mask)
    return float(max(np.ptp(rows) + 1, np.ptp(cols) + 1) / max(mask.shape)) if len(rows) else 0.0


def placing_error(
    placed: Placed, find: Box, reference: Box, here: Floats, true: Floats, length: float
) -> float:
    """Mean distance between where ``here`` is placed and where it belongs, over ``length``.

    ``here`` and ``true`` (m, 2) and ``length`` in any one unit of square pictures; the boxes
    are those of the squares that were laid over each other, in the same unit.
    """
    carried = reference.outward(placed.carry(find.inward(here)))
    return float(np.linalg.norm(carried - true, axis=1).mean() / length)
