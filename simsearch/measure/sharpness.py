"""How wide a marker's edge is in a photo: the one place where what is sharp is known."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from simsearch.measure.layout import CELLS, Box
from simsearch.measure.plane import Plane

Floats = NDArray[np.float64]

_STEPS = 61  # samples along a line across an edge
_LINES = 9  # lines across each edge


def edge_rise(grey: NDArray[np.uint8], plane: Plane, markers: list[Box]) -> float:
    """Distance in mm in which a marker's outer edge goes from 10 to 90 in 100 of black to white.

    The median of all sides that run alike, and of the two directions the worse one: a photo may
    be shaken along one of them only.
    """
    reach = 0.85 * markers[0].width / CELLS
    widths = [
        [_rise(_profile(grey, plane, box, side, reach), reach) for box in markers for side in pair]
        for pair in ((0, 2), (1, 3))
    ]
    return max(float(np.median(one)) for one in widths)


def _profile(grey: NDArray[np.uint8], plane: Plane, box: Box, side: int, reach: float) -> Floats:
    """Grey levels (_STEPS,) across a side of a marker, from inside to outside."""
    corners = box.corners()
    start, end = corners[side], corners[(side + 1) % 4]
    outwards = (start + end) / 2 - corners.mean(0)
    outwards /= np.linalg.norm(outwards)
    along = start + np.linspace(0.15, 0.85, _LINES)[:, None] * (end - start)
    across = np.linspace(-reach, reach, _STEPS)[:, None] * outwards
    places = plane.to_photo((along[:, None] + across[None]).reshape(-1, 2)).astype(np.float32)
    x, y = (places - 0.5).T.reshape(2, _LINES, _STEPS)
    seen = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float64).mean(0)


def _rise(profile: Floats, reach: float) -> float:
    third = _STEPS // 3
    low, high = float(np.median(profile[:third])), float(np.median(profile[-third:]))
    if high - low < 10:
        return 2 * reach
    share = (profile - low) / (high - low)
    # Outwards from the middle of the edge: farther off, the marker's pattern begins.
    middle = int(np.abs(share[third:-third] - 0.5).argmin()) + third
    dark = np.flatnonzero(share[:middle] <= 0.1)
    light = np.flatnonzero(share[middle:] >= 0.9)
    first = float(dark[-1]) if len(dark) else 0.0
    last = float(light[0]) + middle if len(light) else _STEPS - 1.0
    return (last - first) * 2 * reach / (_STEPS - 1)
