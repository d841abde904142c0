"""From a mask to sizes, and what an object's height does to them.

A camera sees an object's upper parts farther out than where they stand, since they are nearer to
it. How far follows from the camera's place and the object's thickness; whether the object has
upright sides or tapers does not, so the true size is only known to lie between two ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from simsearch.measure.plane import Camera

Floats = NDArray[np.float64]

_CAMERA_DOUBT = 1.2
"""How much nearer the camera may be than it seems: its focal length is worked out or assumed
(``scripts/evaluate_card.py`` prints how far off it usually is)."""


@dataclass(frozen=True, eq=False)
class Sizes:
    """Sizes of a mask in its own unit: ``length`` is the largest Feret diameter along the unit
    vector ``along``; ``box`` the long and short side of the smallest rectangle, the short one
    along ``across``; ``centre`` the middle of the mask."""

    length: float
    along: Floats
    box: tuple[float, float]
    across: Floats
    area: float
    perimeter: float
    centre: Floats


def sizes_of(mask: NDArray[np.bool_], scale: float = 1.0) -> Sizes:
    """Sizes of a mask with ``scale`` pixels to the unit; the mask must not be empty."""
    lines, _ = cv2.findContours(
        np.pad(mask, 1).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    middles = np.concatenate(lines).reshape(-1, 2).astype(np.float64) - 1
    # A pixel is a square, not a point: its four corners, in pixels from the picture's corner.
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]], float)
    points = (middles[:, None] + corners).reshape(-1, 2) / scale
    length, along = longest(points)
    (_, (one, other), turn) = cv2.minAreaRect(points.astype(np.float32))
    angle = np.radians(turn) + (0 if one <= other else np.pi / 2)
    y, x = np.nonzero(mask)
    return Sizes(
        length, along, (max(one, other), min(one, other)),
        np.array([np.cos(angle), np.sin(angle)]),
        float(mask.sum()) / scale**2,
        sum(float(cv2.arcLength(line, True)) for line in lines) / scale,
        (np.array([x.mean(), y.mean()]) + 0.5) / scale,
    )  # fmt: skip


def longest(points: Floats) -> tuple[float, Floats]:
    """The largest distance between two of the points (n, 2), and its direction (unit vector)."""
    hull = cv2.convexHull(points.astype(np.float32)).reshape(-1, 2).astype(np.float64)
    between = hull[:, None] - hull[None]
    distances = np.linalg.norm(between, axis=-1)
    one, other = np.unravel_index(int(distances.argmax()), distances.shape)
    length = float(distances[one, other])
    return length, between[one, other] / length if length else np.array([1.0, 0.0])


@dataclass(frozen=True)
class Standing:
    """What a height of ``thickness`` mm does to sizes at one place under one camera.

    ``larger`` is by which share the upper face looks larger than the lower one, ``shift`` how far
    (mm) it looks moved away from the camera.
    """

    larger: float
    shift: tuple[float, float]

    def range_of(self, seen: float, along: Floats) -> tuple[float, float]:
        """The least and the greatest true size (mm) that can look like ``seen`` along a direction.

        Greatest: the object is flat or tapers upwards. Least: its sides are upright, so that the
        outline is that of both faces together.
        """
        moved = abs(float(np.dot(self.shift, along)))
        least = min(seen / (1 + self.larger), (seen - moved) / (1 + self.larger / 2))
        return max(least, 0.0), seen

    def area_range(self, sizes: Sizes) -> tuple[float, float]:
        """The least and the greatest true area (mm²)."""
        moved = float(np.hypot(*self.shift))
        swept = moved * min(sizes.length, sizes.perimeter / 2)
        return max((sizes.area - swept) / (1 + self.larger), 0.0), sizes.area


def standing(camera: Camera, at: Floats, thickness: float) -> Standing:
    """The effect of ``thickness`` mm at a point of the card (mm)."""
    share = _CAMERA_DOUBT * thickness / max(camera.height - thickness, 1.0)
    x, y = (at - camera.foot) * share
    return Standing(share, (float(x), float(y)))
