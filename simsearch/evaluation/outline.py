"""A baseline that sees nothing but the outline of the object.

The outline is walked round at equal steps and the distance from its middle noted: a signature
that does not change when the object is moved, does not change but for its size when it is
enlarged, and is shifted round when it is turned. So the score of two photos is the best over all
shifts. The object is told from its ground in the plainest ways: by brightness, or by how far a
colour is from that of the photo's border.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from PIL import Image
from skimage.color import rgb2lab
from skimage.filters import threshold_otsu

from simsearch.evaluation.scoring import Steps

SIDE = 160  # pixels of the longer side of a photo as it is segmented
POINTS = 128  # steps round the outline
GROUNDS = ("brightness", "border colour")
MEASURES = ("form", "form and depth")

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]


class Outline(Steps):
    """Compares centroid-distance signatures at the best cyclic shift.

    ``ground`` is one of GROUNDS; ``measure`` one of MEASURES: "form" is the correlation of the
    signatures, "form and depth" minus the distance of signatures of mean 1, to which it matters
    how deep the outline runs in and out. A mirrored object is another object.
    """

    def __init__(self, ground: str = "border colour", measure: str = "form") -> None:
        if ground not in GROUNDS or measure not in MEASURES:
            raise ValueError(f"choose from {GROUNDS} and {MEASURES}, not {ground!r}, {measure!r}")
        self.name = f"outline by {ground}, {measure}"
        self.describer = ("outline", ground)
        self._ground, self._measure = ground, measure

    def look_in(self, gallery: list[Image.Image]) -> Floats:
        """Return the signatures, float32 ``(gallery, POINTS)``."""
        rows = [signature(segment(photo, self._ground)) for photo in gallery]
        return np.stack(rows) if rows else np.zeros((0, POINTS), np.float32)

    look_up = look_in

    def compare(self, queries: Floats, gallery: Floats) -> Floats:
        """Return float32 ``(queries, gallery)``, higher is closer."""
        if self._measure == "form":
            return best_shift(_unit(queries), _unit(gallery))
        squares = [(table.astype(np.float64) ** 2).sum(axis=1) for table in (queries, gallery)]
        apart = squares[0][:, None] + squares[1][None, :] - 2 * best_shift(queries, gallery)
        nearness: Floats = -np.sqrt(np.maximum(apart, 0)).astype(np.float32)
        return nearness


def segment(photo: Image.Image, ground: str = "border colour") -> Mask:
    """Return where the object is: the largest piece that stands out from the ground.

    By "brightness" Otsu's threshold parts the photo and the side that the border has less of is
    the object; by "border colour" Otsu's threshold parts the distances (CIELAB) from the median
    colour of the border. All False where nothing stands out.
    """
    scale = SIDE / max(photo.size)
    size = (max(8, round(photo.width * scale)), max(8, round(photo.height * scale)))
    small = np.asarray(photo.convert("RGB").resize(size, Image.Resampling.BICUBIC))
    if ground == "brightness":
        grey = cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), (0, 0), 1.0)
        bright = grey > threshold_otsu(grey)
        found = ~bright if _border(bright).mean() > 0.5 else bright
    else:
        lab = rgb2lab(cv2.GaussianBlur(small, (0, 0), 1.0))
        apart = np.linalg.norm(lab - np.median(_border(lab), axis=0), axis=-1)
        found = apart > threshold_otsu(apart)
    opened = cv2.morphologyEx(found.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return _largest(opened)


def signature(mask: Mask, points: int = POINTS) -> Floats:
    """Return distances from the middle of the outline, float32 ``(points,)``.

    Divided by their mean, less 1; so all 0 for a circle, and for an empty mask.
    """
    outlines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    longest = max(outlines, key=len, default=None)
    if longest is None or len(longest) < 8:
        return np.zeros(points, np.float32)
    walk = longest[:, 0, :].astype(np.float64)
    around = np.vstack([walk, walk[:1]])
    gone = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(around, axis=0), axis=1))])
    at = np.linspace(0, gone[-1], points, endpoint=False)
    even = np.stack([np.interp(at, gone, around[:, axis]) for axis in (0, 1)], axis=1)
    distance = np.linalg.norm(even - even.mean(axis=0), axis=1)
    return (distance / max(distance.mean(), 1e-9) - 1).astype(np.float32)


def best_shift(queries: npt.NDArray[Any], gallery: npt.NDArray[Any]) -> Floats:
    """Return the largest inner product over all cyclic shifts, float32 ``(queries, gallery)``.

    ``queries`` is (q, points), ``gallery`` (g, points).
    """
    points = gallery.shape[1]
    turned = np.fft.rfft(gallery, axis=1)
    rows = [
        np.fft.irfft(turned * np.fft.rfft(one).conj(), n=points, axis=1).max(axis=1)
        for one in queries
    ]
    return np.asarray(rows, dtype=np.float32).reshape(len(queries), len(gallery))


def _unit(signatures: Floats) -> Floats:
    centred = signatures - signatures.mean(axis=1, keepdims=True)
    lengths = np.linalg.norm(centred, axis=1, keepdims=True)
    unit: Floats = centred / np.maximum(lengths, 1e-9)
    return unit


def _border(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    return np.concatenate([values[0], values[-1], values[:, 0], values[:, -1]])


def _largest(found: npt.NDArray[Any]) -> Mask:
    count, labels, stats, _ = cv2.connectedComponentsWithStats(found)
    if count < 2:
        return np.zeros(found.shape, dtype=bool)
    largest = 1 + int(stats[1:, cv2.CC_STAT_AREA].argmax())
    return np.asarray(labels == largest)
