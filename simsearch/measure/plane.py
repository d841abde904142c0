"""The plane of the card as a photo shows it: perspective, and one term for a bulging lens.

A point of the photo is taken relative to the photo's middle in units of half its diagonal, moved
along its radius by ``bulge`` times the cube of it (the first term of the usual radial model of
lens distortion; D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37
(1971) 855-866), and then taken to the card by a homography.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares  # type: ignore[import-untyped]

Floats = NDArray[np.float64]

USUAL_FOCAL = 0.8
"""Focal length over the photo's longer side: that of the main camera of most phones, 26 to 30 mm
for a 36 mm wide frame (from memory). Used where the photo itself does not tell."""
_FOCAL_RANGE = (0.65, 3.0)
_TELLING_TILT = 15.0  # degrees; nearer to straight down, the perspective hardly shows the focal
_MOST_BULGE = 0.15


class Camera(NamedTuple):
    """Where the photo was taken from: point of the card straight below it, height (mm), and how
    far the camera leans from straight down (degrees)."""

    foot: Floats
    height: float
    tilt: float


@dataclass(frozen=True, eq=False)
class Plane:
    """Takes points between a photo of ``size`` (width, height) pixels and the card in mm."""

    size: tuple[int, int]
    matrix: Floats
    bulge: float

    def to_card(self, pixels: Floats) -> Floats:
        """Points of the photo (n, 2) as points of the card in mm."""
        return _through(self.matrix, _unbulged(_centred(pixels, self.size), self.bulge))

    def to_photo(self, mm: Floats) -> Floats:
        """Points of the card (n, 2) in mm as points of the photo in pixels."""
        straight = _through(_inverse(self.matrix), mm)
        seen = straight
        for _ in range(12):  # converges fast for lenses that bulge little
            seen = straight / (1 + self.bulge * (seen**2).sum(1, keepdims=True))
        return seen * _half_diagonal(self.size) + np.array(self.size) / 2

    def pixels_per_mm(self, at: Floats) -> tuple[float, float]:
        """The smallest and the largest scale (pixels per mm) over all directions at a point."""
        step = 0.5 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])
        right, left, low, high = self.to_photo(at + step)
        least, most = sorted(np.linalg.svd(np.stack([right - left, low - high]))[1])
        return float(least), float(most)

    def camera(self) -> Camera:
        """Where the photo was taken from, the lens having its axis in the photo's middle.

        A tilted view shows the focal length by its perspective; otherwise it is assumed.
        """
        longer = max(self.size) / _half_diagonal(self.size)
        columns = _inverse(self.matrix)
        camera = _pose(columns, USUAL_FOCAL * longer)
        if camera.tilt < _TELLING_TILT:
            return camera
        focal = _focal(columns)
        low, high = (share * longer for share in _FOCAL_RANGE)
        return camera if focal is None else _pose(columns, min(max(focal, low), high))


def fit_plane(pixels: Floats, mm: Floats, size: tuple[int, int], *, lens: bool) -> Plane:
    """The plane for which points of the photo (n, 2) come closest to points of the card in mm.

    ``lens`` asks for the bulge too; that needs points well spread over the card.
    """
    points = _centred(pixels, size)
    start = _homography(points, mm)
    if not lens:
        return Plane(size, start, 0.0)
    # Nine numbers, the last of the matrix held at 1; in mm, so that steps are of like size.
    first = np.append(start.ravel()[:8] / start[2, 2], 0.0)

    def off(numbers: Floats) -> Floats:
        matrix = np.append(numbers[:8], 1).reshape(3, 3)
        return (_through(matrix, _unbulged(points, numbers[8])) - mm).ravel()

    limits = np.append(np.full(8, np.inf), _MOST_BULGE)
    scale = np.maximum(np.abs(first), np.append(np.full(8, 1e-2), 0.05))
    found = least_squares(off, first, bounds=(-limits, limits), x_scale=scale, max_nfev=60).x
    return Plane(size, np.append(found[:8], 1).reshape(3, 3), float(found[8]))


def _homography(points: Floats, mm: Floats) -> Floats:
    found, _ = cv2.findHomography(points.astype(np.float64), mm.astype(np.float64), 0)
    return np.asarray(found, np.float64)


def _inverse(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrix), np.float64)


def _half_diagonal(size: tuple[int, int]) -> float:
    return math.hypot(*size) / 2


def _centred(pixels: Floats, size: tuple[int, int]) -> Floats:
    return np.asarray((pixels - np.array(size) / 2) / _half_diagonal(size), np.float64)


def _unbulged(points: Floats, bulge: float) -> Floats:
    return np.asarray(points * (1 + bulge * (points**2).sum(1, keepdims=True)), np.float64)


def _through(matrix: Floats, points: Floats) -> Floats:
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:], np.float64)


def _pose(columns: Floats, focal: float) -> Camera:
    """Camera of a known focal length from the homography card -> centred photo."""
    first, second, shift = (np.diag([1 / focal, 1 / focal, 1]) @ columns).T
    scale = (np.linalg.norm(first) + np.linalg.norm(second)) / 2
    scale *= 1 if shift[2] > 0 else -1  # the card lies before the camera, not behind it
    first, second, shift = first / scale, second / scale, shift / scale
    # The nearest rotation; the columns are not quite at right angles.
    u, _, v = np.linalg.svd(np.stack([first, second, np.cross(first, second)], 1))
    turn = u @ v
    place = -turn.T @ shift
    tilt = math.degrees(math.acos(min(1.0, abs(float(turn[2, 2])))))
    return Camera(place[:2], abs(float(place[2])), tilt)


def _focal(columns: Floats) -> float | None:
    """The focal length at which the card's sides are seen at right angles and equally long."""
    (a1, a2), (b1, b2), (c1, c2) = columns[:, :2]
    plane = np.array([a1 * a2 + b1 * b2, (a1**2 + b1**2 - a2**2 - b2**2) / 2])
    depth = np.array([c1 * c2, (c1**2 - c2**2) / 2])
    inverse_square = -float(plane @ depth) / float(plane @ plane)
    return None if inverse_square <= 0 else inverse_square**-0.5
